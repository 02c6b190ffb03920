"""Too deep, too hot, too warm or cold a room, and when the next layer may go on."""

from __future__ import annotations

from logger import extremes
from logger.cure.advice.layering import LayerVerdict
from logger.cure.solver.assumptions import UNDERSIDE_UNSAID
from logger.cure.solver.hardness import GLASS_RANGE_C
from logger.facts import NOTHING, Fact, Value, fact, in_a_row
from logger.plan.file import Plan
from logger.planning.chances import FLOW, FORM, GREEN_BELOW, MIX, RED_ABOVE, RESIN, ROOM, WORDS, Chances
from logger.planning.cure_answers import (
    RUNS_AWAY,
    CureAnswers,
    deepest_allowed_mm,
    in_its_datasheet,
    layer_depths_mm,
    room_range_c,
    too_hot,
)
from logger.planning.finding import (
    CURE_MODEL,
    DATASHEET,
    FROM_MEMORY,
    PROJECT_CHOICE,
    Constant,
    Figure,
    Finding,
    Light,
    followed,
    plain,
)
from logger.planning.physics.layers import SCUFF_BEFORE, SCUFF_GRIT, each_wait_h, layer_advice
from logger.planning.physics.stress import EXPANSION, POISSON, STIFFNESS, STOP_SPREAD, WATCH_SPREAD, skin_mpa
from logger.quantities import (
    at_most,
    chance,
    difference,
    hours_alone,
    length,
    number,
    peak,
    quantity,
    temperature,
    typed_length,
    whole_hours,
)

TOPIC = "layers"
REFUSED_PART = Constant(fact("constant.chance-refused"), 100 * RED_ABOVE, "%", PROJECT_CHOICE)
ALLOWED_PART = Constant(
    fact("constant.chance-refused-in-datasheet", runaway=temperature(extremes.RUNAWAY_C, 0)),
    100 * RUNS_AWAY,
    "%",
    PROJECT_CHOICE,
)
WATCHED_PART = Constant(fact("constant.chance-noted"), 100 * GREEN_BELOW, "%", PROJECT_CHOICE)
CLOSE = Constant(fact("constant.peak-close"), 5.0, "K", PROJECT_CHOICE)
#: The pour in this room is as the datasheet allows, though some resins of that datasheet would pass the limit.
_IN_DATASHEET = fact("datasheet-allows-this")
_UNKNOWN_RUNAWAY = fact("runaway-can-burn")
#: What tells more of each unknown.
_NARROW = {
    RESIN: fact("narrow-resin"),
    FORM: fact("narrow-form"),
    MIX: fact("narrow-mix"),
    ROOM: fact("narrow-room"),
    FLOW: fact("narrow-flow"),
}


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Depth, peak, what was assumed, room and layers."""
    return [
        *_depth(plan, cure),
        *_peak(plan, cure),
        *_void(plan, cure),
        *_assumed(cure),
        *_room(plan, cure),
        *_joints(plan, cure),
        *_glass(cure),
        *_spread(plan, cure),
    ]


def _depth(plan: Plan, cure: CureAnswers) -> list[Finding]:
    limits = plan.resin.limits
    allowed = deepest_allowed_mm(plan, cure.deepest_mm)
    deepest = max(layer_depths_mm(plan))
    depth = Figure(fact("figure.depth"), deepest, "mm")
    shown, limit_c = typed_length(deepest), temperature(limits.max_core_c, None)
    if allowed is None:
        if cure.peak_c is None or cure.peak_c > limits.max_core_c:
            unknown = fact("depth-unknown")
            return [Finding(TOPIC, "depth-unknown", Light.WATCH, unknown, change=fact("give-deepest-pour"))]
        by_model = fact("depth-held-by-model", depth=shown, limit=limit_c)
        return [Finding(TOPIC, "depth", Light.OK, by_model, (depth,), (_limit(plan),))]
    by_sheet = limits.max_depth_mm == allowed
    most = at_most(typed_length(allowed))
    limit = Constant(fact("constant.deepest-pour"), allowed, "mm", DATASHEET if by_sheet else CURE_MODEL)
    if deepest <= allowed + 1e-9:
        within = fact("depth-allowed", depth=shown, most=most)
        return [Finding(TOPIC, "depth", Light.OK, within, (depth,), (limit,))]
    too_deep = fact("depth-over-datasheet", depth=shown, most=most)
    if not by_sheet:
        sheet_mm = limits.max_depth_mm
        too_deep = fact(
            "depth-over-model",
            depth=shown,
            most=most,
            limit=limit_c,
            where=_where(cure),
            sheet=NOTHING
            if sheet_mm is None
            else fact("datasheet-allows", depth=at_most(length(sheet_mm, None))),
        )
    return [
        Finding(
            TOPIC,
            "too-deep",
            Light.STOP,
            too_deep,
            (depth, *_layer_figures(cure)),
            (limit, SCUFF_GRIT),
            advised_layers(plan, cure),
        )
    ]


def _where(cure: CureAnswers) -> str:
    """Return the room that the answers are for, to follow a statement; NOTHING for the plan's own."""
    return fact("where-room", room=cure.room_words) if cure.room_words else NOTHING


def _limit(plan: Plan) -> Constant:
    return Constant(fact("constant.hottest-core"), plan.resin.limits.max_core_c, "°C", DATASHEET)


def advised_layers(plan: Plan, cure: CureAnswers) -> str:
    """Return layers that hold; that there are none, where they were asked for."""
    if cure.layers is None and not cure.layers_asked:
        return fact("pour-thinner-and-predict")
    where = fact("holds-in-that-room", room=cure.room_words) if cure.room_words else NOTHING
    if cure.layers is not None:
        advice = layer_advice(cure.layers)
    else:
        advice = fact("no-layers-hold", limit=temperature(plan.resin.limits.max_core_c, None))
    return in_a_row([one for one in (advice, where) if one])


def _layer_figures(cure: CureAnswers) -> tuple[Figure, ...]:
    """Return the advised layers as numbers, for programs and pages."""
    if cure.layers is None:
        return ()
    depths, joints = cure.layers.depths_mm, cure.layers.joints
    figures = [
        Figure(fact("figure.layers-needed"), len(depths), ""),
        Figure(fact("figure.each"), max(depths), "mm"),
    ]
    each = each_wait_h(cure.layers)
    if len(set(depths)) == 1 and each is not None:
        figures.append(Figure(fact("figure.wait-before-each"), each[0], "h"))
    figures += [
        Figure(fact("figure.layer-from", layer=layer), joint.from_h, fact("unit.hours-after-layer-below"))
        for layer, joint in enumerate(joints, start=2)
    ]
    return (*figures, Figure(fact("figure.hottest-so"), cure.layers.peak_c, "°C"))


def _peak(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.peak_c is None:
        return []
    limit = _limit(plan)
    predicted = fact(
        "peak-predicted",
        peak=peak(cure.peak_c, None),
        when=NOTHING if cure.peak_at_h is None else fact("after-hours", hours=hours_alone(cure.peak_at_h)),
        open=NOTHING if cure.chances is None else _nine_in_ten(cure.chances),
        limit=temperature(limit.value, None),
    )
    said: list[Fact] = []
    figures: tuple[Figure, ...] = (
        Figure(fact("figure.peak"), cure.peak_c, "°C"),
        Figure(fact("figure.limit"), limit.value, "°C"),
    )
    constants: tuple[Constant, ...] = (limit, CLOSE)
    chances, chance = cure.chances, 0.0
    if chances is not None:
        chance = chances.over
        figures += (
            Figure(fact("figure.peak-low"), chances.peak_c(0.05), "°C"),
            Figure(fact("figure.peak-high"), chances.peak_c(0.95), "°C"),
            Figure(fact("figure.chance-over-limit"), 100 * chance, "%"),
        )
        constants = (limit, REFUSED_PART, ALLOWED_PART, WATCHED_PART)
    if chances is not None and chance > GREEN_BELOW:
        said.append(_passes(chance))
    if too_hot(plan, cure.peak_c, chances):
        if chances is None and plain(cure.peak_c) == plain(limit.value):
            said.append(fact("passes-limit-by-a-little"))
        said += [] if chances is None else [fact("open-most-by", unknown=WORDS[chances.widest])]
        light, key, change = Light.STOP, "too-hot", _cooler(plan, cure)
    elif chances is not None and chance > GREEN_BELOW:
        said.append(fact("too-uncertain", unknown=WORDS[chances.widest]))
        said += [_IN_DATASHEET] if in_its_datasheet(plan) else []
        light, key, change = Light.WATCH, "peak-open", _to_know(chances, cure)
    elif chances is None and cure.peak_c > limit.value - CLOSE.value:
        light, key, change, constants = Light.WATCH, "peak-close", fact("fan-ready"), (limit, CLOSE)
    else:
        light, key, change = Light.OK, "peak", NOTHING
    return [Finding(TOPIC, key, light, followed(predicted, *said), figures, constants, change)]


def _to_know(chances: Chances, cure: CureAnswers) -> str:
    """Return what would tell whether a plan keeps its limit, and what makes it sure as it is; of this only what was
    solved.
    """
    sentences: list[str] = [_NARROW[chances.widest]]
    if cure.sure_mm is not None:
        sentences.append(fact("sure-depth", depth=at_most(typed_length(cure.sure_mm)), where=_where(cure)))
    if cure.remedy is not None:
        sentences.append(fact("sure-with-remedy", remedy=cure.remedy.words, where=_where(cure)))
    return in_a_row([*sentences, fact("fan-ready")])


def _nine_in_ten(chances: Chances) -> Fact:
    return fact("nine-in-ten", low=peak(chances.peak_c(0.05)), high=peak(chances.peak_c(0.95)))


def _passes(chance: float) -> Fact:
    """Return how often the limit is passed, as cases out of ten."""
    if chance > 0.95:
        return fact("passes-limit-nearly-always")
    return fact("passes-limit-in-cases", cases=max(1, round(10 * chance)))


def _cooler(plan: Plan, cure: CureAnswers) -> str:
    """Return what brings a plan that is too hot under its limit; only what was solved, and held."""
    limit = plan.resin.limits.max_core_c
    sentences: list[str] = []
    if cure.room_peak_c is not None and _holds(cure.room_peak_c, cure.room_chances, limit):
        sentences.append(fact("reaches-in-room", peak=peak(cure.room_peak_c), room=cure.room_words))
    if cure.remedy is not None:
        reached = peak(cure.remedy.peak_c)
        sentences.append(
            fact("reaches-with-remedy", remedy=cure.remedy.words, where=_where(cure), peak=reached)
        )
    deep = deepest_allowed_mm(plan, cure.deepest_mm)
    if deep is not None and max(layer_depths_mm(plan)) > deep + 1e-9:
        sentences.append(fact("or-pour-in-layers" if sentences else "pour-in-layers"))
    elif cure.layers_asked:
        sentences.append(advised_layers(plan, cure))
    elif not sentences:
        sentences.append(fact("pour-shallower"))
    runaway = extremes.caution(cure.peak_c) if cure.peak_c is not None else None
    return in_a_row([*sentences, runaway or _UNKNOWN_RUNAWAY])


def _holds(peak_c: float, chances: Chances | None, limit_c: float) -> bool:
    """Whether what is advised keeps the limit: as good as surely, where its chances were asked for."""
    return peak_c <= limit_c if chances is None else chances.over <= GREEN_BELOW


def _void(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.hot_void is None:
        return []
    name, peak_c = cure.hot_void
    return [
        Finding(
            TOPIC,
            "void-hot",
            Light.STOP,
            fact(
                "void-hot",
                void=name,
                peak=peak(peak_c),
                limit=temperature(plan.resin.limits.max_core_c, None),
            ),
            (Figure(fact("figure.peak"), peak_c, "°C"),),
            (_limit(plan),),
            fact("fill-void-before"),
            name,
        )
    ]


def _assumed(cure: CureAnswers) -> list[Finding]:
    """Return what the heat was worked out for where the plan is silent or varies."""
    answers = []
    for sentence in cure.assumed:
        light, key = Light.OK, "law-left" if sentence.code.startswith("law-left") else "widest"
        if sentence == UNDERSIDE_UNSAID:
            light, key = Light.WATCH, "underside-unsaid"
        change = fact("look-under-form") if light is Light.WATCH else NOTHING
        answers.append(
            Finding(
                "assumed",
                key,
                light,
                sentence,
                change=change,
            )
        )
    return answers


def _room(plan: Plan, cure: CureAnswers) -> list[Finding]:
    coldest, warmest = room_range_c(plan)
    limits = plan.resin.limits
    low = Constant(fact("constant.coldest-room"), limits.min_room_c, "°C", DATASHEET)
    high = Constant(fact("constant.warmest-room"), limits.max_room_c, "°C", DATASHEET)
    least, most = temperature(limits.min_room_c, None), temperature(limits.max_room_c, None)
    then = _then(plan, cure)
    answers = []
    if warmest > limits.max_room_c:
        answers.append(
            Finding(
                "room",
                "room-warm",
                Light.STOP,
                fact("room-too-warm", room=temperature(warmest, None), most=most),
                (Figure(fact("figure.room"), warmest, "°C"),),
                (high,),
                in_a_row([fact("cool-room", most=most), *then]),
            )
        )
    if coldest < limits.min_room_c:
        answers.append(
            Finding(
                "room",
                "room-cold",
                Light.STOP,
                fact("room-too-cold", room=temperature(coldest, None), least=least),
                (Figure(fact("figure.room"), coldest, "°C"),),
                (low,),
                in_a_row([fact("heat-room", least=least), *then, fact("warmer-runs-hotter")]),
            )
        )
    if not answers:
        at = temperature(coldest, None)
        stays = fact("room-stays-between", coldest=at, warmest=temperature(warmest, None))
        if coldest == warmest:
            stays = fact("room-stays-at", room=at)
        room = Figure(fact("figure.room"), warmest, "°C")
        answers.append(Finding("room", "room", Light.OK, stays, (room,), (low, high)))
    return answers


def _then(plan: Plan, cure: CureAnswers) -> list[Fact]:
    """Return what the pour as planned comes to in the room that the datasheet allows."""
    if cure.room_peak_c is None:
        return []
    limit_c, chances, reached = plan.resin.limits.max_core_c, cure.room_chances, peak(cure.room_peak_c)
    if _holds(cure.room_peak_c, chances, limit_c):
        return [fact("pour-then-reaches", peak=reached)]
    if chances is None or cure.room_peak_c > limit_c:
        return [fact("pour-still-reaches", peak=reached)]
    return [fact("pour-still-open", peak=reached, chance=chance(chances.over))]


def _joints(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if not plan.layer:
        return []
    if not cure.verdicts:
        return [
            Finding(
                TOPIC,
                "joint-unknown",
                Light.WATCH,
                fact("joint-unknown"),
                change=fact("predict-or-scuff"),
            )
        ]
    return [_joint(plan, cure, verdict) for verdict in cure.verdicts]


def _joint(plan: Plan, cure: CureAnswers, verdict: LayerVerdict) -> Finding:
    window = verdict.window
    named = (
        (fact("constant.layer-below-gels"), window.opens_h),
        (fact("constant.scuff-from"), window.closes_h),
    )
    after = fact("unit.hours-after-first-pour")
    constants = tuple(Constant(name, hours, after, CURE_MODEL) for name, hours in named if hours)
    light, key, change = {
        "too early": (Light.STOP, "joint-too-early", advised_layers(plan, cure)),
        "bonds": (Light.OK, "joint-bonds", NOTHING),
        "scuff": (Light.WATCH, "joint-scuff", SCUFF_BEFORE),
    }[verdict.verdict]
    poured = Figure(fact("figure.poured-at"), verdict.at_h, "h")
    return Finding(TOPIC, key, light, verdict.message, (poured,), constants, change)


def _glass(cure: CureAnswers) -> list[Finding]:
    """Return how far an unstated glass transition leaves the hours open; nothing where it hardly does."""
    if cure.glass is None:
        return []
    (closes, closes_late), (hard, hard_late) = cure.glass.closes_h, cure.glass.hard_h
    if closes is None or hard is None:
        return []
    low_c, high_c = GLASS_RANGE_C
    constants = (
        Constant(fact("constant.glass-lowest"), low_c, "°C", FROM_MEMORY),
        Constant(fact("constant.glass-highest"), high_c, "°C", FROM_MEMORY),
    )
    said: dict[str, Value] = {
        "low": temperature(low_c, 0),
        "high": temperature(high_c, 0),
        "closes": number(closes, 0),
        "hard": number(hard, 0),
    }
    figures = [
        Figure(fact("figure.glass-soonest"), closes, "h"),
        Figure(fact("figure.hard-soonest"), hard, "h"),
    ]
    if closes_late is None or hard_late is None:
        sentence = Fact("glass-open-ended", said)
    else:
        sentence = Fact(
            "glass-open",
            {**said, "closes_late": whole_hours(closes_late), "hard_late": whole_hours(hard_late)},
        )
        figures += [
            Figure(fact("figure.glass-latest"), closes_late, "h"),
            Figure(fact("figure.hard-latest"), hard_late, "h"),
        ]
    return [
        Finding(
            TOPIC,
            "glass-open",
            Light.OK,
            followed(sentence, fact("state-glass-transition")),
            tuple(figures),
            constants,
        )
    ]


def _spread(plan: Plan, cure: CureAnswers) -> list[Finding]:
    if cure.spread_k is None:
        return []
    light = Light.OK
    if cure.spread_k > WATCH_SPREAD.value:
        light = Light.STOP if cure.spread_k > STOP_SPREAD.value else Light.WATCH
    left_open = plan.resin.possible is not None and cure.chances is not None
    if cure.peak_c is not None and left_open and not too_hot(plan, cure.peak_c, cure.chances):
        # One resin of many that the datasheet leaves possible: what it does by itself refuses nothing.
        light = min(light, Light.WATCH, key=lambda one: (Light.OK, Light.WATCH, Light.STOP).index(one))
    stress = skin_mpa(cure.spread_k)
    sentence = fact(
        "core-over-surface", spread=difference(cure.spread_k, None), stress=quantity(stress, "MPa", None)
    )
    if light is Light.STOP and cure.peak_c is not None and extremes.is_unknown(cure.peak_c):
        # Of what the model does not know it tells no other figure either.
        sentence = fact("core-far-over-surface", spread=difference(STOP_SPREAD.value, 0))
    return [
        Finding(
            TOPIC,
            "spread",
            light,
            sentence,
            (
                Figure(fact("figure.core-over-surface"), cure.spread_k, "K"),
                Figure(fact("figure.stress-in-skin"), stress, "MPa"),
            ),
            (WATCH_SPREAD, STOP_SPREAD, STIFFNESS, EXPANSION, POISSON),
            NOTHING if light is Light.OK else fact("slow-surface-cooling"),
        )
    ]
