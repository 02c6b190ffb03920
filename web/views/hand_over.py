"""What a client is handed with a table, in words: what it is made of, how its cure went, what it may bear.

From the record alone: of a sealed pour that is what was sealed. Pure, but for the words.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.cure.solver.hardness import HARD_K
from logger.plan.file import Glass
from logger.quantities import at_most, hours, length, mass, percent, temperature, volume
from logger.words import numbers
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import say
from web.views.agenda import full_cure_h
from web.views.predicted import foretold_of

#: A time without a core reading that the client is told of, h: a peak of a thick pour lasts longer.
GAP_TOLD_H = 1.0
#: Lots on the sheet at most; the annex has them all.
MOST_LOTS = 4
#: How a slab was dried.
DRIED = {
    "kiln": phrase("kiln dried"),
    "air": phrase("air dried"),
    "unknown": phrase("drying unknown"),
}
COLOURS = {"dye": phrase("dye"), "pigment": phrase("pigment"), "flake": phrase("flakes")}
#: What a heat that it may bear is rounded down to, K: it rests on an estimate.
HEAT_STEP_K = 5.0
#: How a table is looked after. Common practice, no source; the resin maker's data sheet goes before it.
CARE = (
    phrase("Hot pots, pans and cups: always on a mat."),
    phrase("Clean with a soft damp cloth and mild soap; no solvents, nothing that scours."),
    phrase("Keep it out of strong sun: resin can yellow, wood can fade."),
    phrase("Keep the room's humidity steady, about 40 to 60 %: wood swells and shrinks."),
    phrase("Food straight on the resin: only if its maker's data sheet allows it."),
)
DATA_SHEET = phrase("The resin maker's data sheet goes before what is written here.")


@dataclass(frozen=True, slots=True)
class CureVerdict:
    """How the cure went: within (None: not measured), one sentence, and what more must be said of it."""

    within: bool | None
    sentence: str
    more: Sequence[str] = ()


def cure_verdict(record: Mapping[str, Any]) -> CureVerdict:
    """Return how a pour's core stood against its resin's limit, as plainly as the readings allow."""
    f = record["figures"]
    peak, limit, over_h = f["core_peak_c"], f["limit_c"], f["hours_over_limit"] or 0.0
    if peak is None or limit is None:
        return CureVerdict(None, phrase("The temperature inside the resin was not measured."))
    gap = f["longest_gap_h"] or 0.0
    more = []
    if gap >= GAP_TOLD_H:
        more.append(phrase("The longest time without a reading was {span}.", span=hours(gap)))
    # As the reader sees them: 60.04 against a limit of 60 is "60.0 against 60".
    values = {"peak": temperature(peak), "limit": temperature(limit, 0)}
    if peak <= limit and record["pour"]["released_ms"] is None:
        return CureVerdict(None, phrase("So far the hottest was {peak}; limit {limit}.", **values), more)
    if peak <= limit:
        told = phrase("The resin stayed within its limit: at most {peak}, limit {limit}.", **values)
        return CureVerdict(True, told, more)
    if over_h > 0:
        told = phrase(
            "The resin went over its limit: {peak}, limit {limit}, for {span}.", **values, span=hours(over_h)
        )
    else:
        told = phrase("The resin went over its limit for a moment: {peak}, limit {limit}.", **values)
    return CureVerdict(False, told, more)


def made_of(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return (what, which) of what a table is made of."""
    plan, pour = record["plan"], record["plan"]["pour"]
    lines: list[tuple[str, str]] = []
    by_kind: dict[tuple[str, str], int] = {}
    for slab in record["slabs"]:
        kind = (slab["species"], slab["dried"])
        by_kind[kind] = by_kind.get(kind, 0) + 1
    for (species, dried), n in by_kind.items():
        values = {"species": species, "dried": DRIED.get(dried, DRIED["unknown"])}
        what = phrase("{species}, {dried}", **values)
        lines.append((phrase("Wood"), what if n == 1 else phrase("{n} × {species}, {dried}", n=n, **values)))
    lines.append((phrase("Resin system"), plan["resin"]["name"]))
    poured_kg = sum(
        (batch["a_g"] + batch["b_g"]) / 1000.0
        for batch in record["batches"]
        if batch["light"] != "stop" and not batch.get("mistake")
    )
    if poured_kg > 0:
        litres = 1000.0 * poured_kg / plan["resin"].get("density_kg_m3", 1100.0)
        weighed = phrase("{litres}, {weight}", litres=volume(litres), weight=mass(poured_kg))
        lines.append((phrase("Resin mixed"), weighed))
    sizes = [length(pour[name], 0) for name in ("length_mm", "width_mm", "depth_mm") if pour.get(name)]
    lines.append((phrase("Size of the casting"), " × ".join(sizes)))
    if len(record["layers"]) > 1:
        lines.append((phrase("Layers"), str(len(record["layers"]))))
    colour = plan.get("colour")
    if colour:
        kind = COLOURS.get(colour["kind"], colour["kind"])
        dose = colour.get("dose_pct") or colour.get("dip_dose_pct")
        told = kind if dose is None else phrase("{kind}, {dose} of the mix", kind=kind, dose=percent(dose))
        lines.append((phrase("Colour"), told))
    lots = list(dict.fromkeys(f"{lot['part']}: {lot['lot']}" for lot in record["lots"]))
    if lots:
        lines.append((phrase("Lots"), ", ".join(lots[:MOST_LOTS])))
    return lines


def cured_ms(record: Mapping[str, Any]) -> int | None:
    """Return about when the casting was, or will be, fully cured, ms; None: not known, or not within 60 days."""
    prediction, poured_ms = record["prediction"], record["pour"]["poured_ms"]
    if poured_ms is None or not prediction or "foretold" not in prediction:
        return None
    forecasts = record["forecasts"]
    at_h = full_cure_h(foretold_of(record["plan_toml"], prediction), forecasts[-1] if forecasts else None)
    return None if at_h is None else int(poured_ms + round(3.6e6 * at_h))


def heat_c(record: Mapping[str, Any]) -> float | None:
    """Return the heat that the resin bears for sure, °C, estimated from this cure: below its glass transition when it
    left the form by as much as makes it hard (`hardness.HARD_K`). Later it bears more.

    None where the resin's own figures are not in the plan: what all resins have in common is no promise for one.
    """
    tg_c = record["figures"].get("tg_at_release_c")
    if (
        tg_c is None
        or not Glass.model_validate(
            tomllib.loads(record["plan_toml"]).get("resin", {}).get("glass", {})
        ).stated
    ):
        return None
    return float(HEAT_STEP_K * math.floor((tg_c - HARD_K) / HEAT_STEP_K))


def bears(record: Mapping[str, Any], reader: Reader) -> list[str]:
    """Return what a table may bear, and how it is looked after, sentence by sentence."""
    heat, cured = heat_c(record), cured_ms(record)
    said = [
        phrase("Heat: nothing hotter than {heat} straight on the resin.", heat=at_most(temperature(heat, 0)))
        if heat is not None and heat >= HEAT_STEP_K * 7
        else phrase("Heat: see the resin maker's data sheet; until you have it, nothing hot on the resin.")
    ]
    if cured is not None:
        said.append(
            phrase(
                "Fully cured about {day} (estimated): until then nothing heavy, hot or wet on it.",
                day=numbers.date(cured, reader.language, reader.zone),
            )
        )
    return [*said, *CARE]


def height_of(texts: Sequence[str], reader: Reader, letters: int, line_mm: float) -> float:
    """Return about how high texts stand below each other on paper, mm, in a column of so many letters."""
    return line_mm * sum(max(1, math.ceil(len(say(text, reader)) / letters)) for text in texts)


#: Heights on the client's sheet, mm, as template client-sheet.html sets them: head and signatures with the verdict
#: between them; a heading; a line of what it is made of, small and large, and one of its care; a verdict's second line.
FIXED, HEADING, MADE, CARED, MORE = 71.0, 9.0, (4.2, 4.3), 5.0, 4.6
#: By how much the foot of the sheet is lower without the proof's code, mm.
CODE = 12.0
#: Letters of a line: beside the photo; in the narrower and in the wider of two columns.
BESIDE, NARROW, WIDE = 28, 34, 56
#: The photo, mm: of usual shape (3:2), higher where what stands beside it is.
PHOTO_WIDE, PHOTO_HIGH = 116.0, (77.0, 110.0)
#: Heights that a curve may have, mm.
CURVE_HIGH = (44.0, 150.0)


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet: its name in sheets.css, and what its margins leave of it, mm."""

    name: str
    wide: float
    high: float


#: ISO 216, and ANSI/ASME Y14.1 for Letter (215.9 mm by 279.4 mm); margins of sheets.css.
A4, LETTER = Paper("a4", 182.0, 272.0), Paper("letter", 187.9, 254.4)


def paper_for(reader: Reader) -> Paper:
    """Return the sheet that a reader's printer holds: who measures in inches has Letter."""
    return LETTER if reader.length == "in" else A4


@dataclass(frozen=True, slots=True)
class SheetSpace:
    """How high photo (None: without one) and curve are, mm, so that one sheet is full."""

    photo: float | None
    curve: float


def shared_out(
    paper: Paper,
    texts: tuple[Sequence[tuple[str, str]], Sequence[str], Sequence[str]],
    reader: Reader,
    *,
    photo: bool,
    code: bool,
) -> SheetSpace:
    """Share out a sheet. texts: what the table is made of; what it may bear; what is said behind the verdict.

    code: the proof's code stands beside the signatures, which are lower without it.
    """
    made, said, more = texts
    rest = paper.high - FIXED + (0.0 if code else CODE) - MORE * len(more)
    small, large = MADE
    if photo:
        beside = HEADING + small * len(made) + height_of([which for _, which in made], reader, BESIDE, large)
        photo_mm = min(max(beside, PHOTO_HIGH[0]), PHOTO_HIGH[1])
        # Two columns, of which one may be an item longer.
        care = height_of(said, reader, WIDE, CARED) / 2 + CARED
        rest -= max(photo_mm, beside) + HEADING + care
    else:
        photo_mm = None
        column = small * len(made) + height_of([which for _, which in made], reader, NARROW, large)
        rest += 9.0 - HEADING - max(column, height_of(said, reader, WIDE, CARED))
    return SheetSpace(photo_mm, min(max(rest, CURVE_HIGH[0]), CURVE_HIGH[1]))
