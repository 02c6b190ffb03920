"""How much resin, what it costs, and holes that go right through."""

from __future__ import annotations

from logger.plan.file import Plan
from logger.planning.finding import COMMON_PRACTICE, PLAN, Constant, Figure, Finding, Light, plain
from logger.planning.physics.shape import layers_m3, reading_doubt_m2, top_area_m2, voids_m3
from logger.planning.physics.volume import Quantity, with_allowances

TOPIC = "volume"
DOUBT = Constant("two rules of area may differ by", 3.0, "%", "this project's choice, no standard")


def quantity_of(plan: Plan, belly_m3: float = 0.0) -> Quantity | None:
    """Return the quantity to mix for all layers; None when the plan does not give its length."""
    layers = layers_m3(plan)
    if layers is None:
        return None
    displaced = plan.outline.displaced_l / 1000 if plan.outline else 0.0
    return with_allowances(
        sum(layers),
        voids_m3(plan),
        plan.resin.density_kg_m3,
        plan.allowance,
        displaced_m3=displaced,
        belly_m3=belly_m3,
    )


def layer_litres(plan: Plan, belly_m3: float = 0.0) -> list[float] | None:
    """Litres to mix for each layer; voids and the belly are filled by the first, the rest is shared by volume."""
    quantity = quantity_of(plan, belly_m3)
    shapes = layers_m3(plan)
    if quantity is None or shapes is None or sum(shapes) <= 0:
        return None
    first = quantity.voids_l + quantity.belly_l
    shared = quantity.total_l - first
    litres = [shared * shape / sum(shapes) for shape in shapes]
    litres[0] += first
    return litres


def findings(plan: Plan, belly_m3: float = 0.0) -> list[Finding]:
    """Volume, cost and voids."""
    answers = []
    quantity = quantity_of(plan, belly_m3)
    if quantity is None:
        answers.append(
            Finding(
                TOPIC,
                "volume-unknown",
                Light.WATCH,
                "The volume is not known: the plan has no length.",
                change="Give the length, or widths at places along it, or points around its edge.",
            )
        )
    else:
        answers += [_volume(plan, quantity), *_cost(plan, quantity), *_doubt(plan)]
    answers += [
        Finding(
            TOPIC,
            "void-open",
            Light.STOP,
            f'"{void.name}" goes right through and has no backing: it will drain.',
            change=f'Tape over "{void.name}" from below and screw or clamp a backing board over the tape.',
        )
        for void in plan.void
        if void.through and not void.backed
    ]
    return answers


def _volume(plan: Plan, q: Quantity) -> Finding:
    parts = [f"{plain(q.shape_l)} L shape"]
    parts += [
        f"{plain(litres)} L {word}"
        for litres, word in (
            (q.voids_l, "voids"),
            (q.soak_l, "soak"),
            (q.waste_l, "waste"),
            (q.belly_l, "belly"),
        )
        if litres > 0
    ]
    return Finding(
        TOPIC,
        "volume",
        Light.OK,
        f"Mix {plain(q.total_l)} L in all ({plain(q.total_kg)} kg): {', '.join(parts)}.",
        (
            Figure("to mix", q.total_l, "L"),
            Figure("to mix", q.total_gal, "US gal"),
            Figure("to mix", q.total_kg, "kg"),
            Figure("shape", q.shape_l, "L"),
        ),
        (
            Constant("density of the mix", q.density_kg_m3, "kg/m³", PLAN),
            Constant("waste", plan.allowance.waste_pct, "%", f"{PLAN}; default 10 %: {COMMON_PRACTICE}"),
            Constant(
                "soak into the wood", plan.allowance.soak_pct, "%", f"{PLAN}; default 3 %: {COMMON_PRACTICE}"
            ),
        ),
    )


def _cost(plan: Plan, q: Quantity) -> list[Finding]:
    if plan.cost is None:
        return []
    total = q.cost(plan.cost.resin_per_kg, plan.cost.other)
    return [
        Finding(
            "cost",
            "cost",
            Light.OK,
            f"Resin and extras: {total:.2f} {plan.cost.currency} ({plain(q.total_kg)} kg).",
            (Figure("cost", total, plan.cost.currency),),
            (
                Constant("resin", plan.cost.resin_per_kg, f"{plan.cost.currency}/kg", PLAN),
                Constant("extras", plan.cost.other, plan.cost.currency, PLAN),
            ),
        )
    ]


def _doubt(plan: Plan) -> list[Finding]:
    area = top_area_m2(plan)
    doubt = 100 * reading_doubt_m2(plan) / area if area else 0.0
    if doubt <= DOUBT.value:
        return []
    return [
        Finding(
            TOPIC,
            "stations-few",
            Light.WATCH,
            f"The edge turns more than the stations show: two rules of area differ by {plain(doubt)} %.",
            (Figure("difference", doubt, "%"),),
            (DOUBT,),
            "Measure the width at twice as many stations.",
        )
    ]
