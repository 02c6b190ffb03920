"""The form: sag of the bottom, push on the walls, slabs floating up, leaks, and panels that stick."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.cure.model.heat_transfer import underside_w_m2k
from logger.cure.solver.assumptions import underside_is_closed
from logger.facts import NOTHING, Fact, Value, fact
from logger.plan.file import Plan
from logger.plan.planning_tables import Seam, Slab, Support
from logger.planning import works
from logger.planning.cure_answers import NO_ANSWERS, CureAnswers, room_range_c
from logger.planning.finding import (
    COMMON_PRACTICE,
    CURE_MODEL,
    PLAN,
    PROJECT_CHOICE,
    Constant,
    Figure,
    Finding,
    Light,
    followed,
    within,
)
from logger.planning.findings.wood import slab_density
from logger.planning.physics import floating, form, leaks
from logger.planning.physics.panels import find_panel, panel_label, softens, stiffness
from logger.planning.physics.shape import top_area_m2, total_depth_m
from logger.quantities import (
    at_least,
    at_most,
    hours_alone,
    length,
    mass,
    peak,
    quantity,
    temperature,
    typed_length,
    volume,
)
from logger.units import GRAVITY_M_S2

TOPIC = "form"
LOSS_WATCH = Constant(fact("constant.leak-watch"), 1.0, "%", PROJECT_CHOICE)
LOSS_STOP = Constant(fact("constant.leak-stop"), 5.0, "%", PROJECT_CHOICE)
#: From this on a plastic panel is said to be softer than its modulus, which is that of 23 °C. This project's choice.
WARM_PANEL_C = 30.0
#: Area over perimeter of a form's underside, m: it moves the coefficient of its air by little.
_FACE_M = 0.15
UNKNOWN_GEL_H = Constant(fact("constant.gel-unpredicted"), 24.0, "h", COMMON_PRACTICE)


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


def panel_c(plan: Plan, cure: CureAnswers) -> float:
    """Return how warm the middle of the bottom panel gets, °C: from its lower face as predicted, by the heat that
    leaves there; the warmest room where nothing was predicted.
    """
    warmest, face_c = room_range_c(plan)[1], cure.underside_c
    if face_c is None or face_c <= warmest:
        return warmest
    air, bottom = plan.air, plan.form.bottom
    leaves_w_m2k = air.bottom_w_m2k
    if leaves_w_m2k is None:
        closed = underside_is_closed(plan)
        leaves_w_m2k = float(
            underside_w_m2k(face_c, warmest, size_m=_FACE_M, emissivity=air.emissivity, closed=closed)
        )
    half = 0.5 * bottom.thickness_mm / 1000 / bottom.conductivity_w_mk
    return face_c + half * leaves_w_m2k * (face_c - warmest)


def sag_of(plan: Plan, cure: CureAnswers = NO_ANSWERS) -> Sag | None:
    """Return the sag of the bottom panel with its creep, as warm as it gets under the resin; None when the plan does
    not say what it rests on.
    """
    support = plan.form.support
    thickness = plan.form.bottom.thickness_mm / 1000
    if support is None or thickness == 0:
        return None
    within(
        fact("quantity.bottom-panels-thickness"),
        thickness * 1000,
        0.1,
        2000,
        "mm",
        fact("mend.measure-panel-0-means-none"),
    )
    load = load_pa(plan)
    modulus, creep = stiffness(
        support.panel, support.hours_loaded, panel_c(plan, cure), support.modulus_gpa, support.creep_factor
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
    return Constant(fact("constant.sag-of-plate"), alpha, "", works.ROARK)


def belly_m3(plan: Plan, cure: CureAnswers = NO_ANSWERS) -> float:
    """Resin that the belly of the form takes, m³; 0 when the sag is not known."""
    sag = sag_of(plan, cure)
    return 0.0 if sag is None else sag.belly_m3


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Sag, walls, floating slabs, leaks and sticking."""
    return [_sag(plan, cure), _walls(plan), *_floating(plan), *_leak(plan, cure), *_sticking(plan)]


def thicker_panel(plan: Plan, cure: CureAnswers = NO_ANSWERS) -> Plan | None:
    """Return the plan on the thinnest bottom that bears it within what is to be watched; None where its own does."""
    sag, support = sag_of(plan, cure), plan.form.support
    if sag is None or support is None or sag.sag_m * 1000 <= support.watch_sag_mm:
        return None
    bottom = plan.form.bottom.model_copy(update={"thickness_mm": float(math.ceil(sag.thicker_m * 1000))})
    return plan.model_copy(update={"form": plan.form.model_copy(update={"bottom": bottom})})


def _sag(plan: Plan, cure: CureAnswers) -> Finding:
    support = plan.form.support
    sag = sag_of(plan, cure)
    if support is None or sag is None:
        return Finding(
            TOPIC,
            "support-unknown",
            Light.WATCH,
            fact("support-unknown"),
            change=fact("give-support"),
        )
    mm = sag.sag_m * 1000
    light = Light.OK
    if mm > support.watch_sag_mm:
        light = Light.STOP if mm > support.stop_sag_mm else Light.WATCH
    thickness = plan.form.bottom.thickness_mm
    figures = [
        Figure(fact("figure.sag"), mm, "mm"),
        Figure(fact("figure.load"), sag.load_pa, "Pa"),
        Figure(fact("figure.longest-span"), sag.closer_m * 1000, "mm"),
    ]
    constants = (
        sag.modulus,
        sag.creep,
        sag.coefficient,
        Constant(fact("constant.sag-watch"), support.watch_sag_mm, "mm", _usual_sag(0.5)),
        Constant(fact("constant.sag-stop"), support.stop_sag_mm, "mm", _usual_sag(1.0)),
    )
    panel: dict[str, Value] = {
        "thickness": typed_length(thickness),
        "panel": panel_label(support.panel),
        "span": typed_length(support.span_mm),
    }
    if mm > thickness / 2:
        sentence = fact("panel-far-too-weak", **panel)
    else:
        belly_l = sag.belly_m3 * 1000
        sentence = fact("panel-sags", **panel, sag=length(mm, None), belly=volume(belly_l, None))
        figures.append(Figure(fact("figure.belly"), belly_l, "L"))
    warm_c = panel_c(plan, cure)
    figures.append(Figure(fact("figure.panel-gets"), warm_c, "°C"))
    if support.modulus_gpa is None and warm_c > WARM_PANEL_C and softens(support.panel):
        sentence = followed(sentence, fact("panel-softer-warm", panel=temperature(warm_c, 0)))
    if light is Light.OK:
        return Finding(TOPIC, "sag", light, sentence, tuple(figures), constants)
    mended: dict[str, Value] = {
        "apart": at_most(length(math.floor(sag.closer_m * 1000 / 10) * 10, 0)),
        "panel": at_least(length(math.ceil(sag.thicker_m * 1000), 0)),
    }
    change = fact("closer-supports-or-thicker-panel", **mended)
    if cure.thick_panel_c is not None and cure.thick_panel_c > plan.resin.limits.max_core_c:
        change = fact("closer-supports-not-thicker-panel", **mended, peak=peak(cure.thick_panel_c, None))
    return Finding(TOPIC, "sag-wide", light, sentence, tuple(figures), constants, change)


def _usual_sag(mm: float) -> Fact:
    return fact("source.plan-or-default", default=length(mm), source=PROJECT_CHOICE)


def _walls(plan: Plan) -> Finding:
    depth = total_depth_m(plan)
    density = plan.resin.density_kg_m3
    force = form.wall_force_n_per_m(density, depth)
    return Finding(
        TOPIC,
        "walls",
        Light.OK,
        fact("walls-pushed", force=quantity(force, "N", None)),
        (
            Figure(fact("figure.push"), force, "N/m"),
            Figure(fact("figure.moment-at-foot"), form.wall_moment_nm_per_m(density, depth), "N·m/m"),
        ),
        (Constant(fact("constant.density-of-mix"), density, "kg/m³", PLAN),),
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
                fact("slabs-stay-down"),
                (Figure(fact("figure.float-up"), 0.0, "N"),),
                tuple(constants),
            )
        ]
    needed = floating.HOLD.value * total
    clamp = plan.form.clamp
    held = 0.0 if clamp is None else clamp.count * clamp.force_n
    figures = (
        Figure(fact("figure.float-up"), total, "N"),
        Figure(fact("figure.held"), held, "N"),
        Figure(fact("figure.hold-needed"), needed, "N"),
    )
    said: dict[str, Value] = {
        "force": quantity(total, "N", None),
        "weight": mass(total / GRAVITY_M_S2, None),
        "held": quantity(held, "N", None),
        "needed": quantity(needed, "N", None),
    }
    constants.append(floating.HOLD)
    if held >= needed:
        return [
            Finding(
                TOPIC,
                "floating",
                Light.OK,
                fact("slabs-held", **said),
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
            fact("slabs-may-float", **said),
            figures,
            tuple(constants),
            fact("clamp-slabs", n=count, force=quantity(force, "N", None)),
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
                fact("seams-not-checked"),
                change=fact("check-seams"),
            )
        ]
    gel = UNKNOWN_GEL_H if cure.gel_h is None else Constant(fact("constant.gel"), cure.gel_h, "h", CURE_MODEL)
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
    figures = [
        Figure(fact("figure.flow"), flow, "mL/min"),
        Figure(fact("figure.lost-before-gel"), lost, "%"),
    ]
    gap: dict[str, Value] = {
        "gap": typed_length(seam.gap_mm),
        "seam": typed_length(seam.gap_length_mm),
        "flow": quantity(flow, "mL", None),
    }
    sentence = fact("gap-loses", **gap)
    if math.isfinite(half):
        figures.append(Figure(fact("figure.half-gone"), half, "h"))
        sentence = fact("gap-empties-half", **gap, half=hours_alone(half))
    change = {Light.OK: NOTHING, Light.WATCH: fact("test-seams"), Light.STOP: fact("seal-seams")}[light]
    return [
        Finding(
            TOPIC,
            "seams" if light is Light.OK else "seams-open",
            light,
            sentence,
            tuple(figures),
            (
                LOSS_WATCH,
                LOSS_STOP,
                gel,
                Constant(fact("constant.viscosity"), seam.resin_viscosity_pa_s, "Pa·s", PLAN),
            ),
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
                fact("face-unknown"),
                change=fact("say-face"),
            )
        ]
    panel = find_panel(face.material)
    if not panel.sticks or face.taped or face.release:
        let_go = panel.lets_go or fact("face-taped", panel=panel_label(face.material))
        return [Finding(TOPIC, "face", Light.OK, let_go)]
    sticks = fact("face-sticks", panel=panel_label(face.material), source=COMMON_PRACTICE)
    return [Finding(TOPIC, "face-sticks", Light.STOP, sentence=sticks, change=panel.remedy)]
