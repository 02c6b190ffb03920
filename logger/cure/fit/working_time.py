"""How long a mass of mixed resin stays workable: a pail is the worst shape there is, it keeps its heat."""

from __future__ import annotations

from pydantic import ValidationError

from logger.cure.fit.datasheet import WorkingTime
from logger.cure.fit.datasheet_model import COARSE, FINENESS, WORKABLE, plan_for
from logger.cure.model.gel import first_crossing
from logger.cure.solver.prediction import predict
from logger.errors import DidNotConverge, OutOfRange
from logger.plan.file import Resin


def working_time_h(resin: Resin, mass_kg: float, celsius: float) -> float:
    """Hours until a mass in a cup as wide as it is deep, mixed and standing at this temperature, is too thick.

    "Too thick" is a mean conversion of WORKABLE, self-heating included. Spread out as a pour it lasts longer.
    Raises OutOfRange, DidNotConverge.
    """
    try:
        statement = WorkingTime(at_c=celsius, mass_kg=mass_kg, time_min=1.0)
    except ValidationError as error:
        raise OutOfRange(
            "working time",
            "mass or temperature is out of range",
            value=(mass_kg, celsius),
            allowed="0.001 to 200 kg, -10 to 80 °C",
            remedy="give the mass of one pail in kg",
        ) from error
    plan = plan_for(statement, resin)
    assert plan is not None  # a mass always has its cup
    curve = predict(plan, fineness=FINENESS, accuracy=COARSE).curve
    found = first_crossing(curve.hours, curve.mean_conversion, WORKABLE)
    if found is None:
        raise DidNotConverge(
            f"{mass_kg:g} kg at {celsius:g} °C does not thicken within {plan.run.hours:.0f} h; "
            "check the resin's rate constants and the temperature"
        )
    return found
