"""How much resin, what it costs, and holes that go right through."""

from __future__ import annotations

from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.planning.finding import COMMON_PRACTICE, PLAN, PROJECT_CHOICE, Constant, Figure, Finding, Light
from logger.planning.physics.shape import layers_m3, reading_doubt_m2, top_area_m2, voids_m3
from logger.planning.physics.volume import Quantity, with_allowances
from logger.quantities import mass, percent, quantity, volume

TOPIC = "volume"
DOUBT = Constant(fact("constant.rules-of-area-differ"), 3.0, "%", PROJECT_CHOICE)


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
    needed = quantity_of(plan, belly_m3)
    if needed is None:
        answers.append(
            Finding(
                TOPIC,
                "volume-unknown",
                Light.WATCH,
                fact("volume-unknown"),
                change=fact("give-length"),
            )
        )
    else:
        answers += [_volume(plan, needed), *_cost(plan, needed), *_doubt(plan)]
    answers += [
        Finding(
            TOPIC,
            "void-open",
            Light.STOP,
            fact("void-open", void=void.name),
            change=fact("back-void", void=void.name),
            about=void.name,
        )
        for void in plan.void
        if void.through and not void.backed
    ]
    return answers


def _volume(plan: Plan, q: Quantity) -> Finding:
    parts = [fact("litres-of-shape", volume=volume(q.shape_l, None))]
    parts += [
        Fact(code, {"volume": volume(litres, None)})
        for litres, code in (
            (q.voids_l, "litres-of-voids"),
            (q.soak_l, "litres-of-soak"),
            (q.waste_l, "litres-of-waste"),
            (q.belly_l, "litres-of-belly"),
        )
        if litres > 0
    ]
    return Finding(
        TOPIC,
        "volume",
        Light.OK,
        fact("mix-in-all", volume=volume(q.total_l, None), mass=mass(q.total_kg, None), parts=parts),
        (
            Figure(fact("figure.to-mix"), q.total_l, "L"),
            Figure(fact("figure.to-mix"), q.total_gal, "US gal"),
            Figure(fact("figure.to-mix"), q.total_kg, "kg"),
            Figure(fact("figure.shape"), q.shape_l, "L"),
        ),
        (
            Constant(fact("constant.density-of-mix"), q.density_kg_m3, "kg/m³", PLAN),
            Constant(fact("constant.waste"), plan.allowance.waste_pct, "%", _usual(10)),
            Constant(fact("constant.soak"), plan.allowance.soak_pct, "%", _usual(3)),
        ),
    )


def _usual(pct: float) -> Fact:
    return fact("source.plan-or-default", default=percent(pct), source=COMMON_PRACTICE)


def _cost(plan: Plan, q: Quantity) -> list[Finding]:
    if plan.cost is None:
        return []
    total = q.cost(plan.cost.resin_per_kg, plan.cost.other)
    return [
        Finding(
            "cost",
            "cost",
            Light.OK,
            fact(
                "cost-in-all",
                cost=quantity(total, plan.cost.currency, 2),
                mass=mass(q.total_kg, None),
            ),
            (Figure(fact("figure.cost"), total, plan.cost.currency),),
            (
                Constant(
                    fact("constant.resin-price"), plan.cost.resin_per_kg, f"{plan.cost.currency}/kg", PLAN
                ),
                Constant(fact("constant.extras"), plan.cost.other, plan.cost.currency, PLAN),
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
            fact("stations-few", difference=percent(doubt)),
            (Figure(fact("figure.difference"), doubt, "%"),),
            (DOUBT,),
            fact("measure-more-stations"),
        )
    ]
