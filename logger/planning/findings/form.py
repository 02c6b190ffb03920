"""The form: sag of the bottom, push on the walls, slabs floating up, leaks, and panels that stick."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger import extremes
from logger.plan.file import Plan
from logger.plan.planning_tables import Seam, Slab, Support
from logger.planning.cure_answers import CureAnswers, room_range_c
from logger.planning.finding import (
    COMMON_PRACTICE,
    PLAN,
    PROJECT_CHOICE,
    Constant,
    Figure,
    Finding,
    Light,
    plain,
    within,
)
from logger.planning.findings.wood import slab_density
from logger.planning.physics import floating, form, leaks
from logger.planning.physics.panels import find_panel, stiffness
from logger.planning.physics.shape import top_area_m2, total_depth_m

TOPIC = "form"
LOSS_WATCH = Constant("part of the pour that may leak before it gels", 1.0, "%", PROJECT_CHOICE)
LOSS_STOP = Constant("part of the pour lost before it gels, stop", 5.0, "%", PROJECT_CHOICE)
UNKNOWN_GEL_H = Constant("hours until it gels, where no prediction gives them", 24.0, "h", COMMON_PRACTICE)


@dataclass(frozen=True, slots=True)
class Sag:
    """Sag of the bottom, and what would mend it; lengths in m."""

    sag_m: float
    belly_m3: float
    load_pa: float
    coefficient: Constant
    modulus: Constant
    creep: Constant
    closer_m: float
    thicker_m: float


def load_pa(plan: Plan) -> float:
    """Return the heavier of resin and slab on the bottom, Pa."""
    resin = form.pressure_pa(plan.resin.density_kg_m3, total_depth_m(plan))
    slabs = [form.pressure_pa(slab_density(slab)[0].value, slab.thickness_mm / 1000) for slab in plan.slab]
    return max([resin, *slabs])


def sag_of(plan: Plan) -> Sag | None:
    """Return the sag of the bottom panel with its creep; None when the plan does not say what it rests on."""
    support = plan.form.support
    thickness = plan.form.bottom.thickness_mm / 1000
    if support is None or thickness == 0:
        return None
    within("bottom panel's thickness", thickness * 1000, 0.1, 2000, "mm", "measure the panel; 0 means none")
    load = load_pa(plan)
    warmest = room_range_c(plan)[1]
    modulus, creep = stiffness(
        support.panel, support.hours_loaded, warmest, support.modulus_gpa, support.creep_factor
    )
    stiff = modulus.value * 1e9 / creep.value
    span = support.span_mm / 1000
    coefficient = _coefficient(support)
    allowed = support.watch_sag_mm / 1000
    # A plate's coefficient already holds the twelve that a strip's formula adds.
    strip = coefficient.value if support.edges == "two" else coefficient.value / 12
    sag = form.strip_sag_m(load, span, thickness, stiff, strip)
    # Beyond half the thickness the formulas no longer hold: no volume is drawn from them.
    area = (top_area_m2(plan) or 0.0) if sag <= thickness / 2 else 0.0
    return Sag(
        sag,
        form.belly_m3(sag, area, two_way=support.edges == "four"),
        load,
        coefficient,
        modulus,
        creep,
        form.longest_span_m(load, allowed, thickness, stiff, strip),
        form.thinnest_m(load, allowed, span, stiff, strip),
    )


def _coefficient(support: Support) -> Constant:
    if support.edges == "two":
        return form.beam_coefficient(support.supports)
    long_side = support.span_mm if support.panel_length_mm is None else support.panel_length_mm
    # With a long side shorter than the span, the span is no longer the short side: take the square, on the safe side.
    alpha, _ = form.plate_factors(max(long_side, support.span_mm) / 1000, support.span_mm / 1000)
    return Constant("sag coefficient, plate on four edges", alpha, "", form.ROARK)


def belly_m3(plan: Plan) -> float:
    """Resin that the belly of the form takes, m³; 0 when the sag is not known."""
    sag = sag_of(plan)
    return 0.0 if sag is None else sag.belly_m3


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Sag, walls, floating slabs, leaks and sticking."""
    return [_sag(plan, cure), _walls(plan), *_floating(plan), *_leak(plan, cure), *_sticking(plan)]


def thicker_panel(plan: Plan) -> Plan | None:
    """Return the plan on the thinnest bottom that bears it within what is to be watched; None where its own does."""
    sag, support = sag_of(plan), plan.form.support
    if sag is None or support is None or sag.sag_m * 1000 <= support.watch_sag_mm:
        return None
    bottom = plan.form.bottom.model_copy(update={"thickness_mm": float(math.ceil(sag.thicker_m * 1000))})
    return plan.model_copy(update={"form": plan.form.model_copy(update={"bottom": bottom})})


def _sag(plan: Plan, cure: CureAnswers) -> Finding:
    support = plan.form.support
    sag = sag_of(plan)
    if support is None or sag is None:
        return Finding(
            TOPIC,
            "support-unknown",
            Light.WATCH,
            "The plan does not say what the bottom panel rests on.",
            change="Give the free span between two supports, how many there are, and what the panel is made of.",
        )
    mm = sag.sag_m * 1000
    light = Light.OK
    if mm > support.watch_sag_mm:
        light = Light.STOP if mm > support.stop_sag_mm else Light.WATCH
    thickness = plan.form.bottom.thickness_mm
    figures = [
        Figure("sag", mm, "mm"),
        Figure("load", sag.load_pa, "Pa"),
        Figure("longest span", sag.closer_m * 1000, "mm"),
    ]
    constants = (
        sag.modulus,
        sag.creep,
        sag.coefficient,
        Constant("sag, watch", support.watch_sag_mm, "mm", f"{PLAN}; default 0.5 mm: {PROJECT_CHOICE}"),
        Constant("sag, stop", support.stop_sag_mm, "mm", f"{PLAN}; default 1.0 mm: {PROJECT_CHOICE}"),
    )
    sentence = f"{plain(thickness)} mm {support.panel} over {plain(support.span_mm)} mm "
    if mm > thickness / 2:
        sentence += "is far too weak: by the formula it would sag more than half its thickness."
    else:
        sentence += f"sags {plain(mm)} mm; the belly takes {plain(sag.belly_m3 * 1000)} L of resin."
        figures.append(Figure("belly", sag.belly_m3 * 1000, "L"))
    if light is Light.OK:
        return Finding(TOPIC, "sag", light, sentence, tuple(figures), constants)
    supports = f"Put supports every {plain(math.floor(sag.closer_m * 1000 / 10) * 10)} mm or closer"
    panel = math.ceil(sag.thicker_m * 1000)
    change = (
        f"{supports}, or use a panel of {panel} mm or more; predict again with it, it keeps more heat in."
    )
    if cure.thick_panel_c is not None and cure.thick_panel_c > plan.resin.limits.max_core_c:
        hot = extremes.shown(cure.thick_panel_c, lambda c: f"{plain(c)} °C")
        change = f"{supports}. A panel of {panel} mm would bear it, but keep so much heat in that it reaches {hot}."
    return Finding(TOPIC, "sag-wide", light, sentence, tuple(figures), constants, change)


def _walls(plan: Plan) -> Finding:
    depth = total_depth_m(plan)
    density = plan.resin.density_kg_m3
    force = form.wall_force_n_per_m(density, depth)
    return Finding(
        TOPIC,
        "walls",
        Light.OK,
        f"Each metre of wall is pushed out with {plain(force)} N, a third of the way up; brace and seal it for that.",
        (
            Figure("push", force, "N/m"),
            Figure("moment at the foot", form.wall_moment_nm_per_m(density, depth), "N·m/m"),
        ),
        (Constant("density of the mix", density, "kg/m³", PLAN),),
    )


def _floating(plan: Plan) -> list[Finding]:
    if not plan.slab:
        return []
    total, constants = 0.0, []
    for slab in plan.slab:
        density, up = _up(plan, slab)
        constants.append(density)
        total += max(0.0, up)
    if total == 0:
        return [
            Finding(
                TOPIC,
                "floating",
                Light.OK,
                "The slabs are heavier than the resin they push away.",
                (Figure("float-up force", 0.0, "N"),),
                tuple(constants),
            )
        ]
    needed = floating.HOLD.value * total
    clamp = plan.form.clamp
    held = 0.0 if clamp is None else clamp.count * clamp.force_n
    figures = (
        Figure("float-up force", total, "N"),
        Figure("held with", held, "N"),
        Figure("wanted", needed, "N"),
    )
    kilograms = plain(total / 9.80665)
    sentence = (
        f"If resin gets under them, the slabs pull up with {plain(total)} N (like {kilograms} kg lifting)."
    )
    constants.append(floating.HOLD)
    if held >= needed:
        return [
            Finding(
                TOPIC,
                "floating",
                Light.OK,
                f"{sentence} The clamps hold {plain(held)} N.",
                figures,
                tuple(constants),
            )
        ]
    sealed = all(slab.sealed_under for slab in plan.slab)
    force = clamp.force_n if clamp is not None else 500.0
    count = floating.clamps_needed(total, force)
    light = Light.WATCH if sealed and held >= total else Light.STOP
    return [
        Finding(
            TOPIC,
            "floating-loose",
            light,
            f"{sentence} The clamps hold {plain(held)} N of the {plain(needed)} N wanted.",
            figures,
            tuple(constants),
            f"Use {count} clamps of {plain(force)} N or more, put supports under them, and seal the slabs' undersides.",
        )
    ]


def _up(plan: Plan, slab: Slab) -> tuple[Constant, float]:
    density = slab_density(slab)[0]
    volume = slab.thickness_mm * slab.width_mm * slab.length_mm / 1e9
    covered = min(1.0, total_depth_m(plan) * 1000 / slab.thickness_mm)
    return density, floating.float_up_n(volume, density.value, plan.resin.density_kg_m3, covered)


def _leak(plan: Plan, cure: CureAnswers) -> list[Finding]:
    seam = plan.form.seam
    area = top_area_m2(plan)
    if seam is None or area is None:
        return [
            Finding(
                TOPIC,
                "seams-unknown",
                Light.WATCH,
                "The seams have not been looked over.",
                change="Seal every seam, look for light through it with a lamp below, and say here that it is done.",
            )
        ]
    gel = UNKNOWN_GEL_H if cure.gel_h is None else Constant("gel", cure.gel_h, "h", "cure model")
    tau = leaks.emptying_s(
        seam.gap_mm / 1000,
        seam.gap_length_mm / 1000,
        seam.path_mm / 1000,
        seam.resin_viscosity_pa_s,
        area,
        plan.resin.density_kg_m3,
    )
    lost = 100 * leaks.lost_by_gel(tau, gel.value)
    half = leaks.half_gone_h(tau)
    flow = (
        leaks.slot_flow_m3_s(
            seam.gap_mm / 1000,
            seam.gap_length_mm / 1000,
            seam.path_mm / 1000,
            form.pressure_pa(plan.resin.density_kg_m3, total_depth_m(plan)),
            seam.resin_viscosity_pa_s,
        )
        * 6e7
    )
    light = _light_of_leak(seam, lost)
    figures = [Figure("flow", flow, "mL/min"), Figure("lost before it gels", lost, "%")]
    if math.isfinite(half):
        figures.append(Figure("half the pour gone", half, "h"))
    gone = f"; half the pour would be gone in {plain(half)} h" if math.isfinite(half) else ""
    change = {
        Light.OK: "",
        Light.WATCH: "Test the seams with a lamp below or a thin first pour, and close what shows.",
        Light.STOP: "Seal every seam with silicone or hot glue and tape: twice the gap leaks eight times as fast.",
    }[light]
    return [
        Finding(
            TOPIC,
            "seams" if light is Light.OK else "seams-open",
            light,
            f"A gap of {plain(seam.gap_mm)} mm over {plain(seam.gap_length_mm)} mm loses "
            f"{plain(flow)} mL a minute{gone}.",
            tuple(figures),
            (LOSS_WATCH, LOSS_STOP, gel, Constant("viscosity", seam.resin_viscosity_pa_s, "Pa·s", PLAN)),
            change,
        )
    ]


def _light_of_leak(seam: Seam, lost_pct: float) -> Light:
    """Return the light of a seam that loses so much before the resin gels."""
    if not seam.sealed or lost_pct > LOSS_STOP.value:
        return Light.STOP
    return Light.WATCH if lost_pct > LOSS_WATCH.value or not seam.tested else Light.OK


def _sticking(plan: Plan) -> list[Finding]:
    face = plan.form.face
    if face is None:
        return [
            Finding(
                TOPIC,
                "face-unknown",
                Light.WATCH,
                "The plan does not say what the resin touches.",
                change="Say what the resin touches, and whether it is taped or waxed.",
            )
        ]
    panel = find_panel(face.material)
    if not panel.sticks or face.taped or face.release:
        return [
            Finding(
                TOPIC,
                "face",
                Light.OK,
                f"The form will let go: {panel.remedy}."
                if not panel.sticks
                else f"{face.material} is taped or waxed: it will let go.",
            )
        ]
    return [
        Finding(
            TOPIC,
            "face-sticks",
            Light.STOP,
            f"Resin sticks to bare {face.material} ({COMMON_PRACTICE}).",
            change=f"{panel.remedy[0].upper()}{panel.remedy[1:]}.",
        )
    ]
