"""Ratio, batches and scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.facts import NOTHING, Value, fact
from logger.plan.file import Glass, Plan
from logger.plan.planning_tables import Mix
from logger.planning.cure_answers import workable_conversion, working_time_of
from logger.planning.finding import (
    FROM_MEMORY,
    PLAN,
    PROJECT_CHOICE,
    Constant,
    Figure,
    Finding,
    Light,
    followed,
)
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
from logger.planning.physics.mixing import GREEN, LAST, effect_of, effect_said, light_of
from logger.planning.physics.parts import (
    Ratio,
    Recipe,
    hardener_error_pct,
    mix_density_kg_m3,
    parts_per_hundred,
    portions,
    scale_error,
)
from logger.quantities import grams, mass, minutes, number, percent, quantity, volume

TOPIC = "mixing"
DENSITY_APART = Constant(fact("constant.density-of-mix-apart"), 3.0, "%", PROJECT_CHOICE)


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
        card(plan.title, batches, mix, layer)
        for layer, batches in enumerate(batches_of(plan, belly_m3), start=1)
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
        batch = min(round(mixed_of_layer_g / batch_g), b.count - 1) + 1
        planned = PlannedBatch(each.a_g, each.b_g, most_g, all_mixed)
        return NextBatch(layer, max(batch, 1), mixed_of_layer_g, layer_g, planned)
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
                fact("mix-unknown"),
                change=fact("give-ratio"),
            )
        ]
    answers = [_ratio(mix, plan.resin.glass), *_chemistry(mix), *_density(plan, mix)]
    all_batches = batches_of(plan, belly_m3)
    for layer, batches in enumerate(all_batches, start=1):
        answers += [_batches(plan, layer, batches), *_scale(plan, mix, layer, batches)]
    return answers


def _ratio(mix: Mix, glass: Glass) -> Finding:
    right, done = ratio_of(mix), measured_of(mix)
    densities = (mix.density_a_kg_m3, mix.density_b_kg_m3)
    error = hardener_error_pct(done, right, *densities)
    light = light_of(error)
    constants: tuple[Constant, ...] = (GREEN, LAST)
    figures: tuple[Figure, ...] = (Figure(fact("figure.part-b-off"), error, "%"),)
    weight: Ratio | None = right if right.by == "weight" else None
    if mix.density_a_kg_m3 is None or mix.density_b_kg_m3 is None:
        by_weight = right.by == "weight"
        measured = fact(
            "measure-by-weight-alone" if by_weight else "measure-by-volume-alone", ratio=done.said
        )
        instead = fact("measure-ratio", ratio=right.said)
    else:
        weight, volume_ratio = right.by_weight(*densities), right.by_volume(*densities)
        both: dict[str, Value] = {"weight": weight.said, "volume": volume_ratio.said}
        measured = fact("measure-ratio-either-way", ratio=done.said, **both)
        instead = fact("weigh-or-measure-ratio", **both)
        constants += (
            Constant(fact("constant.density-of-part-a"), mix.density_a_kg_m3, "kg/m³", PLAN),
            Constant(fact("constant.density-of-part-b"), mix.density_b_kg_m3, "kg/m³", PLAN),
        )
    if weight is not None:
        figures += (Figure(fact("figure.part-b-for-100"), 100 * weight.b_over_a, fact("unit.parts")),)
    if light is Light.OK:
        return Finding(TOPIC, "ratio", light, measured, figures, constants)
    mistake = name_mistake(done, recipe_of(mix))
    # By volume without densities the two are nearly as heavy as one another: the effect of the same error by weight.
    effect = effect_of(error, weight or Ratio(right.a, right.b, "weight"), glass)
    if effect is not None:
        figures += (
            Figure(fact("figure.heat-of-right-mix"), effect.heat_pct, "%"),
            Figure(fact("figure.glass-transition-lower"), effect.softer_k, "K"),
        )
    wrong = fact(
        "measures-too-much-hardener" if error > 0 else "measures-too-little-hardener",
        ratio=done.said,
        off=percent(abs(error)),
        right=right.said,
    )
    looks_like = [fact("looks-like", mistake=mistake)] if mistake else []
    sentence = followed(wrong, *looks_like, effect_said(effect))
    return Finding(TOPIC, "ratio-wrong", light, sentence, figures, constants, instead)


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
                fact("chemistry-unknown"),
                change=fact("add-both-densities"),
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
            fact(
                "ratio-against-chemistry",
                stated=number(stated),
                asked=number(ideal),
                off=percent(error, signed=True),
            ),
            (
                Figure(fact("figure.hardener-by-chemistry"), ideal, "phr"),
                Figure(fact("figure.difference"), error, "%"),
            ),
            (
                Constant(fact("constant.eew-of-part-a"), mix.eew_g_eq, "g/eq", PLAN),
                Constant(fact("constant.ahew-of-part-b"), mix.ahew_g_eq, "g/eq", PLAN),
                Constant(fact("constant.difference-noted"), LAST.value, "%", LAST.source),
            ),
            NOTHING if light is Light.OK else fact("ask-which-ratio"),
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
            fact(
                "density-apart",
                mix=quantity(plan.resin.density_kg_m3, "kg/m³", None),
                parts=quantity(parts, "kg/m³", None),
            ),
            (Figure(fact("figure.difference"), apart, "%"),),
            (DENSITY_APART,),
            fact("correct-densities"),
        )
    ]


def _batches(plan: Plan, layer: int, b: Batches) -> Finding:
    light = Light.OK if b.enough_time else Light.STOP if b.time_used > 1 else Light.WATCH
    mix = plan.mix
    said: dict[str, Value] = {
        "n": b.count,
        "litres": volume(b.litres_each, None),
        "mass": mass(b.kg_each, None),
        "pail": volume(b.pail_l, None),
        "working": minutes(b.working_time_min),
        "needed": minutes(b.needed_min),
    }
    return Finding(
        TOPIC,
        "batches",
        light,
        fact("pails-of-layer", layer=layer, **said) if plan.layer else fact("pails-of-pour", **said),
        (
            Figure(fact("figure.pails"), b.count, ""),
            Figure(fact("figure.each"), b.kg_each, "kg"),
            Figure(fact("figure.working-time"), b.working_time_min, "min"),
            Figure(fact("figure.time-needed"), b.needed_min, "min"),
        ),
        (
            SAFE_PART,
            Constant(
                fact("constant.workable-conversion"),
                workable_conversion(plan),
                "",
                PLAN if mix is not None and mix.working_time_min is not None else FROM_MEMORY,
            ),
            Constant(fact("constant.pails-filled-to"), plan.pails.fill_pct, "%", PLAN),
        ),
        NOTHING if b.enough_time else fact("take-smaller-pails"),
    )


def _scale(plan: Plan, mix: Mix, layer: int, b: Batches) -> list[Finding]:
    if plan.scale is None:
        if mix.measure_by == "volume":
            return []
        return [
            Finding(
                TOPIC,
                "scale-missing",
                Light.WATCH,
                fact("scale-unknown"),
                change=fact("give-scale-step"),
            )
        ]
    each = portions(b.kg_each, ratio_of(mix), mix.density_a_kg_m3, mix.density_b_kg_m3)
    if each.a_g is None or each.b_g is None:
        return []  # measured by volume: nothing is weighed
    smaller = min(each.a_g, each.b_g)
    error = scale_error(each.a_g, each.b_g, plan.scale.resolution_g)
    fine = smaller >= STEPS_NEEDED.value * plan.scale.resolution_g
    light = Light.OK if fine else Light.STOP if error.worst_pct > GREEN.value else Light.WATCH
    figures = (
        Figure(fact("figure.ratio-error-at-worst"), error.worst_pct, "%"),
        Figure(fact("figure.smaller-part"), smaller, "g"),
    )
    step = Constant(fact("constant.step-of-scale"), plan.scale.resolution_g, "g", PLAN)
    sentence = fact(
        "scale-steps-of-layer",
        layer=layer,
        step=grams(plan.scale.resolution_g, None),
        off=percent(error.worst_pct),
    )
    change = NOTHING if fine else fact("use-finer-scale")
    return [Finding(TOPIC, "scale", light, sentence, figures, (STEPS_NEEDED, step), change)]
