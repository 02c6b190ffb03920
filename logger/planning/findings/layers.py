"""Too deep, too hot, too warm or cold a room, and when the next layer may go on."""

from __future__ import annotations

from logger import extremes
from logger.cure.advice.layering import LayerVerdict
from logger.cure.solver.assumptions import UNDERSIDE_UNSAID
from logger.cure.solver.planned_band import PlannedBand
from logger.plan.file import Plan
from logger.planning.cure_answers import (
    REFUSED,
    WATCHED,
    CureAnswers,
    deepest_allowed_mm,
    in_its_datasheet,
    layer_depths_mm,
    room_range_c,
    too_hot,
)
from logger.planning.finding import PROJECT_CHOICE, Constant, Figure, Finding, Light, plain
from logger.planning.physics.layers import SCUFF, SCUFF_GRIT, each_wait_h, layer_words
from logger.planning.physics.stress import EXPANSION, POISSON, STIFFNESS, STOP_SPREAD, WATCH_SPREAD, skin_mpa

TOPIC = "layers"
REFUSED_PART = Constant("chance to pass the limit that refuses a plan", 100 * REFUSED, "%", PROJECT_CHOICE)
ALLOWED_PART = Constant(
    f"chance to pass {extremes.RUNAWAY_C:g} °C that refuses one which its datasheet allows",
    100 * REFUSED,
    "%",
    PROJECT_CHOICE,
)
WATCHED_PART = Constant("chance to pass the limit that is noted", 100 * WATCHED, "%", PROJECT_CHOICE)
CLOSE = Constant("peak this near to the limit is noted", 5.0, "K", PROJECT_CHOICE)


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Depth, peak, what was assumed, room and layers."""
    return [
        *_depth(plan, cure),
        *_peak(plan, cure),
        *_void(plan, cure),
        *_assumed(cure),
        *_room(plan, cure),
        *_joints(plan, cure),
        *_spread(plan, cure),
    ]


def _depth(plan: Plan, cure: CureAnswers) -> list[Finding]:
    limits = plan.resin.limits
    allowed = deepest_allowed_mm(plan, cure.deepest_mm)
    deepest = max(layer_depths_mm(plan))
    depth = Figure("depth", deepest, "mm")
    if allowed is None:
        if cure.peak_c is None or cure.peak_c > limits.max_core_c:
            return [
                Finding(
                    TOPIC,
                    "depth-unknown",
                    Light.WATCH,
                    "No deepest pour is known: neither datasheet nor model gave one.",
                    change="Give the deepest single pour with the resin: it stands in its datasheet.",
                )
            ]
        return [
            Finding(
                TOPIC,
                "depth",
                Light.OK,
                f"By the model {deepest:g} mm stays under {plain(limits.max_core_c)} °C; the datasheet names no depth.",
                (depth,),
                (_limit(plan),),
            )
        ]
    by_sheet = limits.max_depth_mm == allowed
    limit = Constant("deepest single pour", allowed, "mm", "datasheet" if by_sheet else "cure model")
    if deepest <= allowed + 1e-9:
        return [
            Finding(
                TOPIC,
                "depth",
                Light.OK,
                f"{deepest:g} mm is within the {allowed:g} mm allowed.",
                (depth,),
                (limit,),
            )
        ]
    why = f"{allowed:g} mm is allowed."
    if not by_sheet:
        where = f" {cure.room_words}" if cure.room_words else ""
        why = f"by the model {allowed:g} mm stays under {plain(limits.max_core_c)} °C{where}"
        why += (
            "." if limits.max_depth_mm is None else f"; the datasheet allows {plain(limits.max_depth_mm)} mm."
        )
    return [
        Finding(
            TOPIC,
            "too-deep",
            Light.STOP,
            f"{deepest:g} mm in one pour is too deep: {why}",
            (depth, *_layer_figures(cure)),
            (limit, SCUFF_GRIT),
            layers_in_words(plan, cure),
        )
    ]


def _limit(plan: Plan) -> Constant:
    return Constant("hottest the core may get", plan.resin.limits.max_core_c, "°C", "datasheet")


def layers_in_words(plan: Plan, cure: CureAnswers) -> str:
    """Layers that hold, in words; that there are none, where they were asked for."""
    where = f" This is {cure.room_words}; any other may change it." if cure.room_words else ""
    if cure.layers is not None:
        return layer_words(cure.layers) + where
    if not cure.layers_asked:
        return (
            "Pour it in thinner layers, and predict them: a layer on warm resin gets hotter than one alone."
        )
    return (
        f"No layers were found that keep {plain(plan.resin.limits.max_core_c)} °C however they are timed. Cool the "
        f"room, give the form more air, or take a slower resin; ask its maker.{where}"
    )


def _layer_figures(cure: CureAnswers) -> tuple[Figure, ...]:
    """Return the advised layers as numbers, for programs and pages."""
    if cure.layers is None:
        return ()
    depths, joints = cure.layers.depths_mm, cure.layers.joints
    figures = [Figure("layers needed", len(depths), ""), Figure("each", max(depths), "mm")]
    each = each_wait_h(cure.layers)
    if len(set(depths)) == 1 and each is not None:
        figures.append(Figure("wait before each", each[0], "h"))
    figures += [
        Figure(f"layer {number} from", joint.from_h, "h after the layer below")
        for number, joint in enumerate(joints, start=2)
    ]
    return (*figures, Figure("hottest so", cure.layers.peak_c, "°C"))


def _peak(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.peak_c is None:
        return []
    limit = _limit(plan)
    when = f" after {plain(cure.peak_at_h)} h" if cure.peak_at_h is not None else ""
    open_ = "" if cure.band is None else f" ({_nine_in_ten(cure.band)})"
    peak, most = _shown(cure.peak_c), plain(limit.value)
    sentence = f"The resin is predicted to reach {peak}{when}{open_}; {most} °C is the limit."
    figures: tuple[Figure, ...] = (Figure("peak", cure.peak_c, "°C"), Figure("limit", limit.value, "°C"))
    constants: tuple[Constant, ...] = (limit, CLOSE)
    chance = 0.0
    if cure.band is not None:
        chance = cure.band.chance_over(limit.value)
        figures += (
            Figure("peak, 1 in 20 is cooler", cure.band.hottest_c(0.05), "°C"),
            Figure("peak, 1 in 20 is hotter", cure.band.hottest_c(0.95), "°C"),
            Figure("chance to pass the limit", 100 * chance, "%"),
        )
        constants = (limit, REFUSED_PART, ALLOWED_PART, WATCHED_PART)
    if chance > WATCHED:
        sentence += f" It passes it in {chances_in_words(chance)}."
    if too_hot(plan, cure.peak_c, cure.band):
        if plain(cure.peak_c) == plain(limit.value):
            sentence += " It passes it by a little."
        return [Finding(TOPIC, "too-hot", Light.STOP, sentence, figures, constants, _cooler(plan, cure))]
    if cure.band is not None and (chance > WATCHED or cure.peak_c > limit.value):
        if in_its_datasheet(plan):
            sentence += " The datasheet allows this depth in this room."
        change = (
            "Have a fan ready, keep the room at the cool end, and watch it through the peak. A test with a cup and one "
            "probe tells more: it is on the resin's page."
        )
        return [Finding(TOPIC, "peak-open", Light.WATCH, sentence, figures, constants, change)]
    if cure.peak_c > limit.value - CLOSE.value:
        return [
            Finding(
                TOPIC,
                "peak-close",
                Light.WATCH,
                sentence,
                figures,
                (limit, CLOSE),
                "Have a fan ready and watch it through the peak.",
            )
        ]
    return [Finding(TOPIC, "peak", Light.OK, sentence, figures, constants)]


def _shown(celsius: float) -> str:
    return extremes.shown(celsius, lambda c: f"{plain(c)} °C")


def _nine_in_ten(band: PlannedBand) -> str:
    low, high = (_about(band.hottest_c(part)) for part in (0.05, 0.95))
    return f"{low} to {high} in 9 of 10 cases: so far the datasheet leaves it open"


def chances_in_words(chance: float) -> str:
    """Return a chance as cases out of ten."""
    if chance > 0.95:
        return "nearly every case"
    return f"{max(1, round(10 * chance))} of 10 cases"


def _cooler(plan: Plan, cure: CureAnswers) -> str:
    """Return what brings a plan that is too hot under its limit; only what was solved, and held."""
    limit = plan.resin.limits.max_core_c
    sentences = []
    if cure.room_peak_c is not None and cure.room_peak_c <= limit:
        sentences.append(
            f"{cure.room_words[0].upper()}{cure.room_words[1:]}, it reaches {_about(cure.room_peak_c)}."
        )
    if cure.remedy is not None:
        where = f" {cure.room_words}" if cure.room_words else ""
        sentences.append(f"With {cure.remedy.words}{where} it reaches {_about(cure.remedy.peak_c)}.")
    deep = deepest_allowed_mm(plan, cure.deepest_mm)
    if deep is not None and max(layer_depths_mm(plan)) > deep + 1e-9:
        sentences.append(
            "Or pour it in layers, as said above." if sentences else "Pour it in layers, as said above."
        )
    elif cure.layers_asked:
        sentences.append(layers_in_words(plan, cure))
    elif not sentences:
        sentences.append("Pour shallower layers, cool the room or give it more air, and predict again.")
    runaway = extremes.caution(cure.peak_c) if cure.peak_c is not None else None
    return " ".join([*sentences, *([runaway] if runaway else ["A pour that runs away can smoke and burn."])])


def _void(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.hot_void is None:
        return []
    name, peak_c = cure.hot_void
    return [
        Finding(
            TOPIC,
            "void-hot",
            Light.STOP,
            f'"{name}" is deeper than the first layer that fills it: by itself it would reach {_about(peak_c)}; '
            f"{plain(plan.resin.limits.max_core_c)} °C is the limit.",
            (Figure("peak", peak_c, "°C"),),
            (_limit(plan),),
            "Fill it in layers of its own before, and plan them as a pour of their own.",
        )
    ]


def _about(celsius: float) -> str:
    return extremes.shown(celsius, lambda c: f"{c:.0f} °C")


def _assumed(cure: CureAnswers) -> list[Finding]:
    """Return what the heat was worked out for where the plan is silent or varies."""
    answers = []
    for sentence in cure.assumed:
        light, key = (
            (Light.WATCH, "underside-unsaid") if sentence == UNDERSIDE_UNSAID else (Light.OK, "widest")
        )
        change = "Look under the form, and say whether air moves there or it stands on a bench."
        answers.append(
            Finding(
                "assumed",
                key,
                light,
                sentence,
                change=change if light is Light.WATCH else "",
            )
        )
    return answers


def _room(plan: Plan, cure: CureAnswers) -> list[Finding]:
    coldest, warmest = room_range_c(plan)
    limits = plan.resin.limits
    low = Constant("coldest room", limits.min_room_c, "°C", "datasheet")
    high = Constant("warmest room", limits.max_room_c, "°C", "datasheet")
    answers = []
    if warmest > limits.max_room_c:
        answers.append(
            Finding(
                "room",
                "room-warm",
                Light.STOP,
                f"The room reaches {plain(warmest)} °C; {plain(limits.max_room_c)} °C is the most. "
                "A warm room speeds the cure and raises the peak.",
                (Figure("room", warmest, "°C"),),
                (high,),
                f"Cool the room to {plain(limits.max_room_c)} °C or below.{_then(plan, cure)}",
            )
        )
    if coldest < limits.min_room_c:
        answers.append(
            Finding(
                "room",
                "room-cold",
                Light.STOP,
                f"The room falls to {plain(coldest)} °C; {plain(limits.min_room_c)} °C is the least. "
                "It would stay soft.",
                (Figure("room", coldest, "°C"),),
                (low,),
                f"Heat the room gently to {plain(limits.min_room_c)} °C, through the night too; no flame heater."
                f"{_then(plan, cure)} Warmer runs hotter: predict it first.",
            )
        )
    if not answers:
        words = f"The room stays between {plain(coldest)} and {plain(warmest)} °C."
        if coldest == warmest:
            words = f"The room stays at {plain(coldest)} °C."
        answers.append(
            Finding("room", "room", Light.OK, words, (Figure("room", warmest, "°C"),), (low, high))
        )
    return answers


def _then(plan: Plan, cure: CureAnswers) -> str:
    """Return what the pour as planned comes to in the room that the datasheet allows."""
    if cure.room_peak_c is None:
        return ""
    if cure.room_peak_c <= plan.resin.limits.max_core_c:
        return f" This pour then reaches {_about(cure.room_peak_c)}."
    return f" That alone is not enough: this pour would still reach {_about(cure.room_peak_c)}."


def _joints(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if not plan.layer:
        return []
    if not cure.verdicts:
        return [
            Finding(
                TOPIC,
                "joint-unknown",
                Light.WATCH,
                "When the next layer bonds without sanding is not known.",
                change="Predict the cure first, or wait until it is hard and scuff it, the walls above it too.",
            )
        ]
    return [_joint(plan, cure, verdict) for verdict in cure.verdicts]


def _joint(plan: Plan, cure: CureAnswers, verdict: LayerVerdict) -> Finding:
    window = verdict.window
    named = (("the layer below gels", window.opens_h), ("scuff from", window.closes_h))
    constants = tuple(
        Constant(name, hours, "h after the first pour", "cure model") for name, hours in named if hours
    )
    light, key, change = {
        "too early": (Light.STOP, "joint-too-early", layers_in_words(plan, cure)),
        "bonds": (Light.OK, "joint-bonds", ""),
        "scuff": (Light.WATCH, "joint-scuff", f"Before it: {SCUFF}."),
    }[verdict.verdict]
    return Finding(
        TOPIC, key, light, verdict.message, (Figure("poured at", verdict.at_h, "h"),), constants, change
    )


def _spread(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.spread_k is None:
        return []
    light = Light.OK
    if cure.spread_k > WATCH_SPREAD.value:
        light = Light.STOP if cure.spread_k > STOP_SPREAD.value else Light.WATCH
    if cure.peak_c is not None and cure.band is not None and not too_hot(plan, cure.peak_c, cure.band):
        # One resin of many that the datasheet leaves possible: what it does by itself refuses nothing.
        light = min(light, Light.WATCH, key=lambda one: (Light.OK, Light.WATCH, Light.STOP).index(one))
    sentence = (
        f"Core and surface differ by up to {plain(cure.spread_k)} K: at most {plain(skin_mpa(cure.spread_k))} MPa in "
        "the skin if it were already hard."
    )
    if light is Light.STOP and cure.peak_c is not None and extremes.is_unknown(cure.peak_c):
        # Of what the model does not know it tells no other figure either.
        sentence = f"Core and surface differ by more than {plain(STOP_SPREAD.value)} K."
    return [
        Finding(
            TOPIC,
            "spread",
            light,
            sentence,
            (
                Figure("core over surface", cure.spread_k, "K"),
                Figure("stress in the skin", skin_mpa(cure.spread_k), "MPa"),
            ),
            (WATCH_SPREAD, STOP_SPREAD, STIFFNESS, EXPANSION, POISSON),
            ""
            if light is Light.OK
            else "Slow the cooling of the surface after the peak, or pour shallower layers.",
        )
    ]
