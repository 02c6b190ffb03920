"""From what the plan says to the field that answers it: each finding and each readiness point has its place. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from logger.plan.file import Plan
from logger.planning.finding import Finding
from logger.planning.verdict import Item, PlanVerdict
from web.views.plan_fields import SECTIONS
from web.views.plan_sections import anchor_of

#: The quick numbers of a plan's page: not a section of the plan file, but all that is tried first.
NUMBERS = "numbers"
#: Finding → the field that answers it: a key of the plan file, "slab." and "void." standing for the one it names;
#: "numbers.…" for a quick number; a path for what another page answers.
FIELD_OF = {
    "air": "air.relative_humidity_pct",
    "air-damp": "air.relative_humidity_pct",
    "bark": "slab.bark",
    "bark-on": "slab.bark",
    "batches": "pails.sizes_l",
    "colour": "colour.dose_pct",
    "cost": "cost.resin_per_kg",
    "damp": "slab.meter.readings_pct",
    "density-apart": "mix.density_a_kg_m3",
    "depth": "numbers.depth",
    "depth-unknown": "/resins",
    "face": "form.face.material",
    "face-sticks": "form.face.taped",
    "face-unknown": "form.face.material",
    "floating": "form.clamp.count",
    "floating-loose": "form.clamp.count",
    "heat-tool": "heat_tool.pass_s",
    "heater-flame": "shop.heater",
    "heating": "shop.heater_kw",
    "heating-short": "shop.heater_kw",
    "humidity-unknown": "air.relative_humidity_pct",
    "joint-bonds": "layer.0.at_h",
    "joint-scuff": "layer.0.at_h",
    "joint-too-early": "layer.0.at_h",
    "joint-unknown": "layer.0.at_h",
    "mix-missing": "mix.ratio_parts",
    "moisture": "slab.meter.readings_pct",
    "moisture-doubt": "slab.meter.readings_pct",
    "moisture-unknown": "slab.meter.readings_pct",
    "movement": "slab.meter.readings_pct",
    "movement-wide": "slab.meter.readings_pct",
    "outside-air": "shop.outside_humidity_pct",
    "peak": "numbers.depth",
    "peak-close": "numbers.depth",
    "peak-open": "/resins",
    "glass-open": "/resins",
    "ratio": "mix.ratio_parts",
    "ratio-chemistry": "mix.eew_g_eq",
    "chemistry-unknown": "mix.eew_g_eq",
    "ratio-wrong": "mix.measure_by",
    "room": "air.room_c.0.1",
    "room-cold": "air.room_c.0.1",
    "room-warm": "air.room_c.0.1",
    "sag": "form.support.span_mm",
    "sag-wide": "form.support.span_mm",
    "scale": "scale.resolution_g",
    "scale-missing": "scale.resolution_g",
    "seal-cured": "slab.seal",
    "seal-none": "slab.seal",
    "seal-tacky": "slab.seal",
    "seams": "form.seam.sealed",
    "seams-open": "form.seam.sealed",
    "seams-unknown": "form.seam.sealed",
    "slabs-missing": "slab.0.name",
    "source-unknown": "slab.source",
    "species-unknown": "slab.species",
    "spread": "numbers.depth",
    "stations-few": "outline.stations_mm.0.0",
    "sun": "sun.hours",
    "support-unknown": "form.support.span_mm",
    "too-deep": "numbers.depth",
    "too-hot": "numbers.depth",
    "underside-unsaid": "form.underside",
    "void-hot": "void.depth_mm",
    "void-open": "void.backed",
    "volume": "outline.stations_mm.0.0",
    "volume-unknown": "pour.length_mm",
    "walls": "form.support.span_mm",
    "widest": "outline.stations_mm.0.0",
    "refused-volume": "outline.stations_mm.0.0",
    "refused-mixing": "mix.ratio_parts",
    "refused-layers": "numbers.depth",
    "refused-form": "form.support.span_mm",
    "refused-wood": "slab.0.name",
    "refused-air": "air.relative_humidity_pct",
}
#: Readiness point → its field, where no finding explains it; "-" in the end stands for a number and what it is about.
FIELD_OF_POINT = {"people": "person.0.name", "layers": "layer.0.at_h", "volume": "pour.length_mm"}


def field_of(finding: Finding, plan: Plan) -> str:
    """Return the name of the field that answers a finding; empty where none does."""
    name = FIELD_OF.get(finding.key, "")
    named = {"slab": [one.name for one in plan.slab], "void": [one.name for one in plan.void]}
    for table, there in named.items():
        if name.startswith(f"{table}.") and not name.split(".")[1].isdigit():
            number = next((i for i, one in enumerate(there) if one == finding.about), 0)
            return name.replace(f"{table}.", f"{table}.{number}.", 1)
    return name


def section_of(name: str) -> str:
    """Return the section that a field is in; empty where there is none."""
    if name.startswith("numbers."):
        return NUMBERS
    for section in SECTIONS.values():
        for part in section.parts:
            if part.table and name.startswith(f"{part.table}."):
                return section.name
    return ""


def link_to(pour_id: int, name: str) -> str:
    """Return the address of a field on the plan's page, its section open; empty where there is none."""
    if name.startswith("/"):
        return name
    section = section_of(name)
    return f"/pours/{pour_id}/plan?open={section}#{anchor_of(name)}" if section else ""


def link_of(item: Item, plan: Plan, pour_id: int) -> str:
    """Return where one thing of the plan's list is answered; empty where nowhere."""
    if item.finding is not None:
        return link_to(pour_id, field_of(item.finding, plan))
    return next(
        (link for point in item.points if (link := link_to(pour_id, FIELD_OF_POINT.get(point, "")))), ""
    )


def links_of_points(verdict: PlanVerdict, plan: Plan, pour_id: int) -> dict[str, str]:
    """Return for each readiness point that something stands at where that is answered."""
    links: dict[str, str] = {}
    for item in _all(verdict):
        for point in item.points:
            link = link_of(item, plan, pour_id)
            if link:
                links.setdefault(point, link)
    return links


def _all(verdict: PlanVerdict) -> Sequence[Item]:
    return (*verdict.stops, *verdict.passed, *verdict.watches)
