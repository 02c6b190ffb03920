"""Too deep, too hot, too warm or cold a room, and when the next layer may go on."""

from __future__ import annotations

from logger.cure.bond import LayerVerdict
from logger.plan_file import Plan
from logger.planning.answers import CureAnswers, deepest_allowed_mm, layer_depths_mm, room_range_c
from logger.planning.findings import PROJECT_CHOICE, Constant, Figure, Finding, Light, plain
from logger.planning.layers import SCUFF, SCUFF_GRIT, layer_plan, split_depth
from logger.planning.stress import EXPANSION, POISSON, STIFFNESS, STOP_SPREAD, WATCH_SPREAD, skin_mpa

TOPIC = "layers"
CLOSE = Constant("peak this near to the limit is noted", 5.0, "K", PROJECT_CHOICE)


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Depth, peak, room and layers."""
    return [*_depth(plan, cure), *_peak(plan, cure), *_room(plan), *_joints(plan, cure), *_spread(cure)]


def _depth(plan: Plan, cure: CureAnswers) -> list[Finding]:
    allowed = deepest_allowed_mm(plan, cure.deepest_mm)
    depths = layer_depths_mm(plan)
    if allowed is None:
        return [Finding(
            TOPIC, "depth-unknown", Light.WATCH, "No deepest pour is known: neither datasheet nor model gave one.",
            change="Give max_depth_mm from the datasheet.",
        )]  # fmt: skip
    by_sheet = plan.resin.limits.max_depth_mm == allowed
    limit = Constant(
        "deepest single pour", allowed, "mm", "datasheet, in the plan file" if by_sheet else "cure model"
    )
    deepest = max(depths)
    if deepest <= allowed + 1e-9:
        return [Finding(TOPIC, "depth", Light.OK, f"{plain(deepest)} mm is within the {plain(allowed)} mm allowed.",
                        (Figure("depth", deepest, "mm"),), (limit,))]  # fmt: skip
    sheet = plan.resin.limits.max_depth_mm
    why = f"{plain(allowed)} mm is allowed."
    if not by_sheet:
        why = f"by the model {plain(allowed)} mm stays under {plain(plan.resin.limits.max_core_c)} °C"
        why += "." if sheet is None else f"; the datasheet allows {plain(sheet)} mm."
    parts = split_depth(sum(depths), allowed)
    advice = " ".join(step.words for step in layer_plan(parts, cure.window))
    return [Finding(
        TOPIC, "too-deep", Light.STOP,
        f"{plain(deepest)} mm in one pour is too deep: {why}",
        (Figure("depth", deepest, "mm"), Figure("layers needed", len(parts), ""), Figure("each", parts[0], "mm")),
        (limit, SCUFF_GRIT), f"Pour {len(parts)} layers of {plain(parts[0])} mm. {advice}",
    )]  # fmt: skip


def _peak(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.peak_c is None:
        return []
    limit = Constant(
        "hottest the core may get", plan.resin.limits.max_core_c, "°C", "datasheet, in the plan file"
    )
    when = f" after {plain(cure.peak_at_h)} h" if cure.peak_at_h is not None else ""
    sentence = f"The resin is predicted to reach {plain(cure.peak_c)} °C{when}; {plain(limit.value)} °C is the limit."
    figures = (Figure("peak", cure.peak_c, "°C"), Figure("limit", limit.value, "°C"))
    if cure.peak_c > limit.value:
        return [Finding(
            TOPIC, "too-hot", Light.STOP, sentence, figures, (limit,),
            "Pour shallower layers, cool the room, open the underside or plan a fan; then predict again. "
            "A pour that runs away can smoke and burn.",
        )]  # fmt: skip
    if cure.peak_c > limit.value - CLOSE.value:
        return [Finding(TOPIC, "peak-close", Light.WATCH, sentence, figures, (limit, CLOSE),
                        "Have a fan ready and watch it through the peak.")]  # fmt: skip
    return [Finding(TOPIC, "peak", Light.OK, sentence, figures, (limit, CLOSE))]


def _room(plan: Plan) -> list[Finding]:
    coldest, warmest = room_range_c(plan)
    limits = plan.resin.limits
    low = Constant("coldest room", limits.min_room_c, "°C", "datasheet, in the plan file")
    high = Constant("warmest room", limits.max_room_c, "°C", "datasheet, in the plan file")
    found = []
    if warmest > limits.max_room_c:
        found.append(Finding(
            "room", "room-warm", Light.STOP,
            f"The room reaches {plain(warmest)} °C; {plain(limits.max_room_c)} °C is the most. "
            "A warm room speeds the cure and raises the peak.",
            (Figure("room", warmest, "°C"),), (high,),
            f"Cool the room to {plain(limits.max_room_c)} °C or below, or pour in the cool of the night.",
        ))  # fmt: skip
    if coldest < limits.min_room_c:
        found.append(Finding(
            "room", "room-cold", Light.STOP,
            f"The room falls to {plain(coldest)} °C; {plain(limits.min_room_c)} °C is the least. It would stay soft.",
            (Figure("room", coldest, "°C"),), (low,),
            f"Heat the room gently to {plain(limits.min_room_c)} °C or above, through the night too; no flame heater.",
        ))  # fmt: skip
    if not found:
        words = f"The room stays between {plain(coldest)} and {plain(warmest)} °C."
        if coldest == warmest:
            words = f"The room stays at {plain(coldest)} °C."
        found.append(Finding("room", "room", Light.OK, words,
                             (Figure("room", warmest, "°C"),), (low, high)))  # fmt: skip
    return found


def _joints(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if not plan.layer:
        return []
    if not cure.verdicts:
        return [Finding(
            TOPIC, "joint-unknown", Light.WATCH, "When the next layer bonds without sanding is not known.",
            change="Predict the cure first, or wait until it is hard and scuff it, the walls above it too.",
        )]  # fmt: skip
    return [_joint(verdict) for verdict in cure.verdicts]


def _joint(verdict: LayerVerdict) -> Finding:
    window = verdict.window
    named = (("next layer not before", window.opens_h), ("scuff from", window.closes_h))
    constants = tuple(
        Constant(name, hours, "h after the first pour", "cure model") for name, hours in named if hours
    )
    light, key, change = {
        "too early": (Light.STOP, "joint-too-early", "Pour it later, once the layer below has gelled and cooled."),
        "bonds": (Light.OK, "joint-bonds", ""),
        "scuff": (Light.WATCH, "joint-scuff", f"Before it: {SCUFF}."),
    }[verdict.verdict]  # fmt: skip
    return Finding(
        TOPIC, key, light, verdict.message, (Figure("poured at", verdict.at_h, "h"),), constants, change
    )


def _spread(cure: CureAnswers) -> list[Finding]:
    if cure.spread_k is None:
        return []
    light = Light.OK
    if cure.spread_k > WATCH_SPREAD.value:
        light = Light.STOP if cure.spread_k > STOP_SPREAD.value else Light.WATCH
    return [Finding(
        TOPIC, "spread", light,
        f"Core and surface differ by up to {plain(cure.spread_k)} K: at most {plain(skin_mpa(cure.spread_k))} MPa in "
        "the skin if it were already hard.",
        (Figure("core over surface", cure.spread_k, "K"), Figure("stress in the skin", skin_mpa(cure.spread_k), "MPa")),
        (WATCH_SPREAD, STOP_SPREAD, STIFFNESS, EXPANSION, POISSON),
        "" if light is Light.OK else "Slow the cooling of the surface after the peak, or pour shallower layers.",
    )]  # fmt: skip
