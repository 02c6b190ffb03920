"""Reads a station file (TOML). Unknown names are refused: a typing mistake must not become a default.

name = "bench-1"
service_url = "http://127.0.0.1:8080"
token_file = "station.token"        # relative to this file
spool_file = "spool.sqlite3"        # the same
# service_certificate = "service.pem"   over https:// this one is trusted and no other
hardware = "pi"                     # or "bench"; nothing is ever taken in place of it

[[probe]]
id = "28-0000000000a1"
place = "core"                      # core, surface, underside, room, or a word of your own
offset_c = -0.25                    # added to each temperature

[[air]]                             # humidity chip, by its name in the kernel
name = "sht4x"
place = "room"

[[thermocouple]]
name = "max31856"
place = "core"

[pins]                              # GPIO numbers
lamp = 23
fan = 25
fan_active_high = false

[periods]
first_hour_s = 5
later_s = 30

[last_resort]
limit_c = 95
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from hardware.ds18b20 import PROBE_ID
from hardware.pins import INPUT_PINS, OUTPUT_PINS, PIN_NUMBERS, Pins
from hardware.station import ProbeWiring, Wiring
from logger.daemon.placement import PLACE, as_placed
from logger.daemon.sample import FIRST_HOUR_PERIOD_S, LATER_PERIOD_S, Periods
from logger.daemon.signals import LIMIT_C
from logger.errors import BadSettings
from logger.facts import NOTHING, Quantity, fact
from logger.toml_text import either, meant, toml_problem

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,62}")
URL = re.compile(r"https?://[^\s/?#]+/?")
HARDWARE = ("pi", "bench")
OFFSET_C = (-5.0, 5.0)
PERIOD_S = (1.0, 600.0)
LIMITS_C = (30.0, 125.0)


@dataclass(frozen=True, slots=True)
class StationConfig:
    """What a station file says."""

    name: str
    service_url: str
    token_file: Path
    spool_file: Path
    service_certificate: Path | None
    wiring: Wiring
    periods: Periods
    limit_c: float
    path: Path
    #: The same wiring as the file itself has it: `wiring` has the places that a page has given since.
    filed: Wiring

    def token(self) -> str:
        """Return the station's token, read anew each time so that a new one needs no restart. Raises OSError."""
        return self.token_file.read_text(encoding="utf-8").strip()


def station_from_file(path: Path | str) -> StationConfig:
    """Read the station file at `path`. Raises BadSettings with place, value, what is allowed, and the remedy."""
    path = Path(path)
    return station_from(read_content(path), path)


def read_content(path: Path) -> dict[str, Any]:
    """Return a station file's tables as they are. Raises BadSettings for what cannot be read or is no TOML."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        problem = fact("file-not-opened", reason=str(error.strerror))
        raise BadSettings(str(path), problem, remedy=fact("file-give-station-file")) from error
    except UnicodeDecodeError as error:
        raise BadSettings(str(path), fact("file-no-utf8"), remedy=fact("file-save-as-utf8")) from error
    return content_of(text, path)


def content_of(text: str, path: Path) -> dict[str, Any]:
    """Return the tables in a station file's text. Raises BadSettings with the line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        problem, remedy = toml_problem(str(error), text)
        raise BadSettings(str(path), problem, remedy=remedy) from error


def station_from(content: Mapping[str, Any], path: Path) -> StationConfig:
    """Return the station that `content`, read from `path`, describes. Raises BadSettings."""
    top = _Table(str(path), content)
    wiring = Wiring(
        hardware=top.choice("hardware", HARDWARE),
        probes=tuple(_probe(table) for table in top.tables("probe")),
        air=tuple(_chip(table) for table in top.tables("air")),
        thermocouples=tuple(_chip(table) for table in top.tables("thermocouple")),
        pins=_pins(top.table("pins")),
    )
    periods = top.table("periods")
    last_resort = top.table("last_resort")
    certificate = top.maybe_text("service_certificate")
    spool_file = path.parent / top.text("spool_file", None, fact("station-a-path"), "spool.sqlite3")
    config = StationConfig(
        name=top.text("name", NAME, fact("station-name-signs")),
        service_url=top.text("service_url", URL, fact("station-address-without-path")),
        token_file=path.parent / top.text("token_file", None, fact("station-a-path"), "station.token"),
        spool_file=spool_file,
        service_certificate=None if certificate is None else path.parent / certificate,
        wiring=as_placed(wiring, spool_file),
        periods=Periods(
            periods.number("first_hour_s", PERIOD_S, "s", FIRST_HOUR_PERIOD_S),
            periods.number("later_s", PERIOD_S, "s", LATER_PERIOD_S),
        ),
        limit_c=last_resort.number("limit_c", LIMITS_C, "°C", LIMIT_C),
        path=path,
        filed=wiring,
    )
    for table in (top, periods, last_resort):
        table.done()
    _no_duplicates(str(path), wiring)
    if config.service_certificate is not None and not config.service_certificate.is_file():
        raise BadSettings(
            f"{path}: service_certificate",
            fact("station-not-there"),
            value=str(config.service_certificate),
            remedy=fact("station-copy-certificate"),
        )
    if not config.spool_file.parent.is_dir():
        raise BadSettings(
            f"{path}: spool_file",
            fact("station-no-folder"),
            value=str(config.spool_file),
            remedy=fact("station-make-folder", folder=str(config.spool_file.parent)),
        )
    return config


class _Table:
    """One table of the file: reads keys, each with its check, and refuses those that are left."""

    def __init__(self, where: str, content: Mapping[str, Any]) -> None:
        self.where = where
        self._content = content
        self._allowed: set[str] = set()

    def _take(self, key: str, default: object, allowed: str) -> Any:
        self._allowed.add(key)
        if key in self._content:
            return self._content[key]
        if default is None:
            raise BadSettings(
                f"{self.where}: {key}",
                fact("input-missing"),
                allowed=allowed,
                remedy=fact("station-add", key=key),
            )
        return default

    def _refuse(self, key: str, problem: str, value: object, allowed: str) -> BadSettings:
        return BadSettings(
            f"{self.where}: {key}",
            fact(problem),
            value=value,
            allowed=allowed,
            remedy=fact("station-correct-line"),
        )

    def text(
        self, key: str, pattern: re.Pattern[str] | None, allowed: str, default: str | None = None
    ) -> str:
        value = self._take(key, default, allowed)
        if not isinstance(value, str) or not value or (pattern and not pattern.fullmatch(value)):
            raise self._refuse(key, "input-unusable", value, allowed)
        return value

    def maybe_text(self, key: str) -> str | None:
        self._allowed.add(key)
        return None if key not in self._content else self.text(key, None, fact("station-text-in-quotes"))

    def choice(self, key: str, choices: tuple[str, ...]) -> str:
        allowed = either(choices)
        value = self._take(key, None, allowed)
        if value not in choices:
            raise self._refuse(key, "input-no-choice", value, allowed)
        return str(value)

    def number(self, key: str, limits: tuple[float, float], unit: str, default: float) -> float:
        value = self._take(key, default, unit)
        low, high = Quantity(limits[0], "", None), Quantity(limits[1], unit, None)
        allowed = fact("station-range", low=low, high=high)
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not limits[0] <= value <= limits[1]
        ):
            raise self._refuse(key, "input-out-of-range", value, allowed)
        return float(value)

    def pin(self, key: str) -> int | None:
        self._allowed.add(key)
        value = self._content.get(key)
        if value is not None and (isinstance(value, bool) or value not in PIN_NUMBERS):
            raise self._refuse(key, "station-no-gpio", value, fact("station-gpio-numbers"))
        return value

    def flag(self, key: str, default: bool) -> bool:
        allowed = fact("input-true-or-false")
        value = self._take(key, default, allowed)
        if not isinstance(value, bool):
            raise self._refuse(key, "station-no-flag", value, allowed)
        return value

    def table(self, key: str) -> _Table:
        value = self._take(key, {}, NOTHING)
        if not isinstance(value, dict):
            raise self._refuse(key, "station-must-be-table", value, f"[{key}]")
        return _Table(f"{self.where}: [{key}]", value)

    def tables(self, key: str) -> list[_Table]:
        value = self._take(key, [], NOTHING)
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            raise self._refuse(key, "station-two-brackets", value, f"[[{key}]]")
        return [_Table(f"{self.where}: [[{key}]] {number}", entry) for number, entry in enumerate(value, 1)]

    def done(self) -> None:
        unknown = sorted(set(self._content) - self._allowed)
        if unknown:
            raise BadSettings(
                f"{self.where}: {unknown[0]}",
                fact("input-unknown-name"),
                allowed=", ".join(sorted(self._allowed)),
                remedy=meant(unknown[0], self._allowed) or fact("station-remove-line"),
            )


def _probe(table: _Table) -> ProbeWiring:
    return _wired(table, table.text("id", PROBE_ID, fact("station-probe-id")))


def _chip(table: _Table) -> ProbeWiring:
    return _wired(table, table.text("name", NAME, fact("station-chip-name")))


def _wired(table: _Table, probe_id: str) -> ProbeWiring:
    probe = ProbeWiring(
        probe_id,
        table.text("place", PLACE, fact("station-place-signs")),
        table.number("offset_c", OFFSET_C, "°C", 0.0),
        table.maybe_text("bench"),
    )
    table.done()
    return probe


def _pins(table: _Table) -> Pins:
    names = (*INPUT_PINS, *OUTPUT_PINS)
    values: dict[str, Any] = {}
    for field in fields(Pins):
        if field.name in names:
            values[field.name] = table.pin(field.name)
        else:
            values[field.name] = table.flag(field.name, bool(field.default))
    table.done()
    used: dict[int, str] = {}
    for name in names:
        number = values[name]
        if number is not None and used.setdefault(number, name) != name:
            raise BadSettings(
                f"{table.where}: {name}",
                fact("station-pin-twice", other=used[number]),
                value=number,
                allowed=fact("station-each-pin-once"),
                remedy=fact("station-other-pin"),
            )
    return Pins(**values)


def _no_duplicates(where: str, wiring: Wiring) -> None:
    ids: set[str] = set()
    for probe in wiring.all_probes:
        if probe.id in ids:
            raise BadSettings(
                f"{where}: [[probe]]",
                fact("station-probe-twice"),
                value=probe.id,
                allowed=fact("station-each-id-once"),
                remedy=fact("station-warm-a-probe"),
            )
        ids.add(probe.id)
    if not ids:
        raise BadSettings(
            f"{where}: [[probe]]",
            fact("station-no-probe"),
            allowed=fact("station-one-probe"),
            remedy=fact("station-add-one"),
        )
