"""What every table of a TOML file has in common: a plan's, a datasheet's, the settings'."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """One table of a TOML file: unknown keys refused, values not coerced from text, frozen once read."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
