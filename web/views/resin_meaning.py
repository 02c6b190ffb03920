"""What a resin means in the shop, worked out once for each fit and kept: half a dozen seconds of solving."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.what_it_means import Narrowing, SafeDepth, safe_depths, what_would_narrow
from logger.plan.file import Resin
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.views.kept import Kept

#: Further statements that narrow the band by less than this part are not worth a question.
WORTH = 0.05
#: So many of them are shown.
SHOWN = 3


@dataclass(frozen=True)
class Meaning:
    """Safe depths by room, and what would narrow the peak's band, the best first. trouble: why there is neither."""

    depths: tuple[SafeDepth, ...] = ()
    narrowings: tuple[Narrowing, ...] = ()
    trouble: str = ""

    @property
    def worth(self) -> tuple[Narrowing, ...]:
        """The best of each kind that is worth asking for."""
        best: dict[str, Narrowing] = {}
        for one in self.narrowings:
            if one.narrower >= WORTH:
                best.setdefault(one.kind, one)
        return tuple(best.values())[:SHOWN]


def further_words(one: Narrowing, u: Reader) -> str:
    """Return a further statement as a shop says it."""
    where = u.temp(one.at_c, 0)
    if one.kind == "cup test":
        return phrase("Try a cup of {scale} with one probe", scale=u.scale(1000 * (one.mass_kg or 0.0)))
    if one.mass_kg is None:
        return phrase("Ask its maker when a thin casting is hard at {where}", where=where)
    mass = u.scale(1000 * one.mass_kg)
    return phrase(
        "Ask its maker for the {kind} of {mass} at {where}",
        kind=_KINDS.get(one.kind, one.kind),
        mass=mass,
        where=where,
    )


#: What a maker is asked for (`Narrowing.kind`).
_KINDS = {"gel time": phrase("gel time"), "working time": phrase("working time")}

_MEANINGS: Kept[Meaning] = Kept(64)


def asked_of(facts: Mapping[str, Any]) -> str | None:
    """Return what a resin of the list is worked out by; None for one without a datasheet or without its spread."""
    if not facts["sheet_toml"] or not facts["table"].get("possible"):
        return None
    source = json.dumps([facts["table"], facts["sheet_toml"]], sort_keys=True)
    return hashlib.sha256(source.encode()).hexdigest()


def meaning_kept(facts: Mapping[str, Any]) -> Meaning | None:
    """Return what a resin of the list means, None where it has not been worked out."""
    asked = asked_of(facts)
    return None if asked is None else _MEANINGS.get(asked)


def keep_meaning(asked: str, meaning: Meaning) -> None:
    """Keep what another process has worked out."""
    _MEANINGS.put(asked, meaning)


def work_out_meaning(table: dict[str, Any], sheet_toml: str) -> Meaning:
    """Work out what a resin means: seconds. Raises BadInput, DidNotConverge."""
    resin = Resin.model_validate(table)
    return Meaning(safe_depths(resin), what_would_narrow(resin, datasheet_from_text(sheet_toml, "datasheet")))
