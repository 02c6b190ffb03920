"""Ratio, batches and scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.plan.file import Glass, Plan
from logger.plan.planning_tables import Mix
from logger.planning.cure_answers import workable_conversion, working_time_of
from logger.planning.finding import FROM_MEMORY, PLAN, Constant, Figure, Finding, Light, plain, worst
from logger.planning.findings.volume import layer_litres
from logger.planning.physics.batch_slips import OVER_BATCH, PlannedBatch, name_mistake
from logger.planning.physics.batches import (
    SAFE_PART,
    STEPS_NEEDED,
    Batches,
    Card,
    MixingBench,
    card,
    plan_batches,
)
from logger.planning.physics.mixing import GREEN, LAST, effect_of, effect_words, light_of
from logger.planning.physics.parts import (
    Ratio,
    Recipe,
    hardener_error_pct,
    mix_density_kg_m3,
    parts_per_hundred,
    portions,
    scale_error,
)

TOPIC = "mixing"
DENSITY_APART = Constant(
    "density of the mix may differ from its parts by", 3.0, "%", "this project's choice, no standard"
)


def ratio_of(mix: Mix) -> Ratio:
    """Return the ratio that the datasheet states."""
    return Ratio(*mix.ratio_parts, mix.ratio_by)


def recipe_of(mix: Mix) -> Recipe:
    """Return the datasheet's ratio with the densities of both parts."""
    return Recipe(ratio_of(mix), mix.density_a_kg_m3, mix.density_b_kg_m3)


def by_weight_of(mix: Mix) -> Ratio | None:
    """Return the right ratio by weight; None for one by volume without densities."""
    both = mix.density_a_kg_m3 is not None and mix.density_b_kg_m3 is not None
    return recipe_of(mix).by_weight if both or mix.ratio_by == "weight" else None


def measured_of(mix: Mix) -> Ratio:
    """Return the ratio that the shop means to measure; worked out from the datasheet's where it gives none."""
    if mix.measure_parts is not None:
        return Ratio(*mix.measure_parts, mix.measure_by)
    right = ratio_of(mix)
    if mix.measure_by == "weight":
        return right.by_weight(mix.density_a_kg_m3, mix.density_b_kg_m3)
    return right.by_volume(mix.density_a_kg_m3, mix.density_b_kg_m3)


def batches_of(plan: Plan, belly_m3: float = 0.0) -> list[Batches]:
    """Return the pails of each layer; empty when the plan gives no mix or no volume."""
    litres = layer_litres(plan, belly_m3)
    if plan.mix is None or litres is None:
        return []
    bench = MixingBench(
        plan.pails.sizes_l,
        fill_pct=plan.pails.fill_pct,
        mix_min=plan.mix.mix_min,
        pour_min_per_l=plan.mix.pour_min_per_l,
        max_kg=plan.scale.max_kg if plan.scale else None,
    )
    return [
        plan_batches(layer_l, plan.resin.density_kg_m3, bench, lambda kg: working_time_of(plan, kg))
        for layer_l in litres
        if layer_l > 0
    ]


def cards_of(plan: Plan, belly_m3: float = 0.0) -> list[Card]:
    """Return the mixing card of each layer."""
    mix = plan.mix
    if mix is None:
        return []
    return [
        card(plan.title, batches, mix, number)
        for number, batches in enumerate(batches_of(plan, belly_m3), start=1)
    ]


@dataclass(frozen=True, slots=True)
class NextBatch:
    """The batch that is weighed next: of which layer, which pail of its layer, and how much of each part.

    mixed_g, layer_g: of that layer, mixed already and in all.
    """

    card: Card
    number: int
    mixed_g: float
    layer_g: float
    planned: PlannedBatch


def next_batch(plan: Plan, cards: Sequence[Card], mixed_g: float) -> NextBatch | None:
    """Return the batch that follows when so many grams of the pour have been mixed; None where no pails are planned or
    none can be weighed: a ratio by volume without densities.

    One batch may weigh a quarter more than the planned one, and no more than the pail's fill and the error that
    weighing makes.
    """
    layers_g = [1000 * one.batches.count * one.batches.kg_each for one in cards]
    before_g = 0.0
    for at, (layer, layer_g) in enumerate(zip(cards, layers_g, strict=True)):
        each = layer.each
        if each.a_g is None or each.b_g is None:
            return None
        batch_g = each.a_g + each.b_g
        mixed_of_layer_g = mixed_g - before_g
        all_mixed = mixed_of_layer_g > layer_g - batch_g / 2
        if all_mixed and at + 1 < len(cards):
            before_g += layer_g
            continue
        b = layer.batches
        pail_g = b.pail_l * plan.pails.fill_pct / 100 * 1000 * b.kg_each / b.litres_each
        most_g = min(OVER_BATCH.value * batch_g, (1 + LAST.value / 100) * max(pail_g, batch_g))
        number = min(round(mixed_of_layer_g / batch_g), b.count - 1) + 1
        planned = PlannedBatch(each.a_g, each.b_g, most_g, all_mixed)
        return NextBatch(layer, max(number, 1), mixed_of_layer_g, layer_g, planned)
    return None


def findings(plan: Plan, belly_m3: float = 0.0) -> list[Finding]:
    """Return the ratio as it will be measured, the chemistry behind it, pails and scale."""
    mix = plan.mix
    if mix is None:
        return [
            Finding(
                TOPIC,
                "mix-missing",
                Light.WATCH,
                "The plan does not say how the two parts are mixed.",
                change="Give the datasheet's ratio, and whether it is by weight or by volume.",
            )
        ]
    answers = [_ratio(mix, plan.resin.glass), *_chemistry(mix), *_density(plan, mix)]
    all_batches = batches_of(plan, belly_m3)
    for number, batches in enumerate(all_batches, start=1):
        answers += [_batches(plan, number, batches), *_scale(plan, mix, number, batches)]
    return answers


def _ratio(mix: Mix, glass: Glass) -> Finding:
    right, done = ratio_of(mix), measured_of(mix)
    densities = (mix.density_a_kg_m3, mix.density_b_kg_m3)
    error = hardener_error_pct(done, right, *densities)
    light = light_of(error)
    constants: tuple[Constant, ...] = (GREEN, LAST)
    figures: tuple[Figure, ...] = (Figure("part B off by", error, "%"),)
    weight: Ratio | None = right if right.by == "weight" else None
    if mix.density_a_kg_m3 is None or mix.density_b_kg_m3 is None:
        other = "volume" if right.by == "weight" else "weight"
        both = f"by {other} it is another ratio, which only both densities tell"
        instead = f"Measure {right}."
    else:
        weight, volume = right.by_weight(*densities), right.by_volume(*densities)
        both = f"{weight} is the same as {volume}"
        instead = f"Weigh {weight}, or measure {volume}."
        constants += (
            Constant("density of part A", mix.density_a_kg_m3, "kg/m³", PLAN),
            Constant("density of part B", mix.density_b_kg_m3, "kg/m³", PLAN),
        )
    if weight is not None:
        figures += (Figure("part B for 100 of A by weight", 100 * weight.b_over_a, "parts"),)
    if light is Light.OK:
        return Finding(TOPIC, "ratio", light, f"Measure {done} ({both}).", figures, constants)
    more = "too much" if error > 0 else "too little"
    mistake = name_mistake(done, recipe_of(mix))
    # By volume without densities the two are nearly as heavy as one another: the effect of the same error by weight.
    effect = effect_of(error, weight or Ratio(right.a, right.b, "weight"), glass)
    if effect is not None:
        figures += (
            Figure("heat of the right mix", effect.heat_pct, "%"),
            Figure("glass transition lower by", effect.softer_k, "K"),
        )
    return Finding(
        TOPIC,
        "ratio-wrong",
        light,
        f"Measuring {done} would put in {plain(abs(error))} % {more} hardener; the datasheet means {right}"
        + (f". This looks like {mistake}. " if mistake else ". ")
        + effect_words(effect),
        figures,
        constants,
        instead,
    )


def _chemistry(mix: Mix) -> list[Finding]:
    if mix.eew_g_eq is None or mix.ahew_g_eq is None:
        return []
    ideal = parts_per_hundred(mix.ahew_g_eq, mix.eew_g_eq)
    if mix.ratio_by == "volume" and (mix.density_a_kg_m3 is None or mix.density_b_kg_m3 is None):
        return [
            Finding(
                TOPIC,
                "chemistry-unknown",
                Light.OK,
                "Whether the ratio fits the equivalent weights is not known: they speak of weight, it is by volume.",
                change="Add both densities to have it checked.",
            )
        ]
    stated = 100 * ratio_of(mix).by_weight(mix.density_a_kg_m3, mix.density_b_kg_m3).b_over_a
    error = (stated / ideal - 1) * 100
    light = Light.OK if abs(error) <= LAST.value else Light.WATCH
    return [
        Finding(
            TOPIC,
            "ratio-chemistry",
            light,
            f"The stated ratio is {plain(stated)} parts of hardener to 100 by weight; the equivalent weights ask for "
            f"{plain(ideal)} ({plain(error)} %).",
            (Figure("hardener by equivalent weights", ideal, "phr"), Figure("difference", error, "%")),
            (
                Constant("EEW of part A", mix.eew_g_eq, "g/eq", PLAN),
                Constant("AHEW of part B", mix.ahew_g_eq, "g/eq", PLAN),
                Constant("difference that is noted", LAST.value, "%", LAST.source),
            ),
            "" if light is Light.OK else "Ask the maker which ratio holds, and mix a small cup first.",
        )
    ]


def _density(plan: Plan, mix: Mix) -> list[Finding]:
    parts = mix_density_kg_m3(ratio_of(mix), mix.density_a_kg_m3, mix.density_b_kg_m3)
    if parts is None:
        return []
    apart = (plan.resin.density_kg_m3 / parts - 1) * 100
    if abs(apart) <= DENSITY_APART.value:
        return []
    return [
        Finding(
            TOPIC,
            "density-apart",
            Light.WATCH,
            f"The plan's mix weighs {plain(plan.resin.density_kg_m3)} kg/m³, its parts come to {plain(parts)}.",
            (Figure("difference", apart, "%"),),
            (DENSITY_APART,),
            "Correct density_kg_m3 or the parts' densities.",
        )
    ]


def _batches(plan: Plan, number: int, b: Batches) -> Finding:
    layer = f"Layer {number}: " if plan.layer else ""
    light = Light.OK if b.enough_time else Light.STOP if b.time_used > 1 else Light.WATCH
    mix = plan.mix
    return Finding(
        TOPIC,
        "batches",
        light,
        f"{layer}{b.count} pail{'s' if b.count > 1 else ''} of {plain(b.litres_each)} L ({plain(b.kg_each)} kg) in "
        f"{plain(b.pail_l)} L pails; each is workable for about {plain(b.working_time_min)} min and needs "
        f"{plain(b.needed_min)} min to mix and pour.",
        (
            Figure("pails", b.count, ""),
            Figure("each", b.kg_each, "kg"),
            Figure("working time", b.working_time_min, "min"),
            Figure("needed", b.needed_min, "min"),
        ),
        (
            SAFE_PART,
            Constant(
                "conversion at which the mix is taken as no longer workable",
                workable_conversion(plan),
                "",
                PLAN if mix is not None and mix.working_time_min is not None else FROM_MEMORY,
            ),
            Constant("pails filled to", plan.pails.fill_pct, "%", PLAN),
        ),
        ""
        if b.enough_time
        else "Take smaller pails, cool the parts, or pour with more hands: it may set in the pail.",
    )


def _scale(plan: Plan, mix: Mix, number: int, b: Batches) -> list[Finding]:
    if plan.scale is None:
        if mix.measure_by == "volume":
            return []
        return [
            Finding(
                TOPIC,
                "scale-missing",
                Light.WATCH,
                "The scale is not named.",
                change="Give the smallest step that the scale shows: it stands on its plate.",
            )
        ]
    each = portions(b.kg_each, ratio_of(mix), mix.density_a_kg_m3, mix.density_b_kg_m3)
    if each.a_g is None or each.b_g is None:
        return []  # measured by volume: nothing is weighed
    smaller = min(each.a_g, each.b_g)
    error = scale_error(each.a_g, each.b_g, plan.scale.resolution_g)
    fine = smaller >= STEPS_NEEDED.value * plan.scale.resolution_g
    light = Light.OK if fine else Light.STOP if error.worst_pct > GREEN.value else Light.WATCH
    figures = (Figure("ratio error at worst", error.worst_pct, "%"), Figure("smaller part", smaller, "g"))
    constants = (STEPS_NEEDED, Constant("step of the scale", plan.scale.resolution_g, "g", PLAN))
    return [
        Finding(
            TOPIC,
            "scale",
            worst([light]),
            f"Layer {number}: the scale's {plain(plan.scale.resolution_g)} g steps put the ratio off by "
            f"{plain(error.worst_pct)} % at worst.",
            figures,
            constants,
            "" if fine else "Use a finer scale, or mix more at once.",
        )
    ]
