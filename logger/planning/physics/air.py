"""Room air: dew point, margin to the coldest surface, damp, amine blush, and the heating or cooling it takes.

Saturation pressure after Magnus, p = 611.2 Pa · exp(17.62 T / (243.12 + T)) (World Meteorological Organization, its
formula over water, as public weather programs quote it; within 0.02 °C of dew point of the ASHRAE equations between 10
and 30 °C).
"""

from __future__ import annotations

import math

from logger.facts import fact
from logger.planning.finding import (
    PROJECT_CHOICE,
    Constant,
    Light,
    above,
    not_negative,
    within,
)
from logger.quantities import temperature

MARGIN = Constant(fact("constant.dew-margin"), 3.0, "K", fact("source.iso-8502-4"))
WATCH_HUMIDITY = Constant(fact("constant.humidity-watch"), 65.0, "%", PROJECT_CHOICE)
STOP_HUMIDITY = Constant(fact("constant.humidity-stop"), 85.0, "%", fact("source.iso-12944-7"))
AIR_J_M3K = Constant(fact("constant.heat-of-air"), 1200.0, "J/(m³·K)", fact("source.air-at-20-c"))
BLUSH = fact("amine-blush")

#: Where the Magnus formula holds, °C, and the least humidity of which a dew point is worked out, %.
MAGNUS_C, LEAST_HUMIDITY_PCT = (-45.0, 60.0), 0.1
MAGNUS_HOLDS = fact("mend.holds-between", low=temperature(MAGNUS_C[0], 0), high=temperature(MAGNUS_C[1], 0))


def saturation_pa(celsius: float) -> float:
    """Vapour pressure over water at saturation, Pa (Magnus)."""
    t = within(fact("quantity.temperature"), celsius, *MAGNUS_C, "°C", MAGNUS_HOLDS)
    return 611.2 * math.exp(17.62 * t / (243.12 + t))


def dew_point_c(celsius: float, humidity_pct: float) -> float:
    """Dew point, °C."""
    t = within(fact("quantity.temperature"), celsius, *MAGNUS_C, "°C", MAGNUS_HOLDS)
    h = (
        within(
            "relative_humidity_pct",
            humidity_pct,
            LEAST_HUMIDITY_PCT,
            100,
            "%",
            fact("mend.give-rooms-relative-humidity"),
        )
        / 100
    )
    g = math.log(h) + 17.62 * t / (243.12 + t)
    return 243.12 * g / (17.62 - g)


def vapour_pa(celsius: float, humidity_pct: float) -> float:
    """Vapour pressure, Pa."""
    return (
        saturation_pa(celsius)
        * within(
            fact("quantity.humidity"), humidity_pct, 0, 100, "%", fact("mend.give-rooms-relative-humidity")
        )
        / 100
    )


def warmed_humidity_pct(from_c: float, humidity_pct: float, to_c: float) -> float:
    """Relative humidity after the same air is warmed or cooled, %; 100 where it would condense."""
    return min(100.0, vapour_pa(from_c, humidity_pct) / saturation_pa(to_c) * 100)


def light_of(humidity_pct: float, margin_k: float) -> Light:
    """ok, watch or stop from humidity and margin."""
    if margin_k < MARGIN.value or humidity_pct > STOP_HUMIDITY.value:
        return Light.STOP
    return Light.WATCH if humidity_pct > WATCH_HUMIDITY.value else Light.OK


def room_power_w(
    volume_m3: float, inside_c: float, outside_c: float, air_changes_per_h: float, loss_w_k: float
) -> float:
    """Heating (above 0) or cooling (below 0) that holds the room, W: through the walls and with the air."""
    above(fact("quantity.room-volume"), volume_m3, 0, "m³", fact("mend.measure-room"))
    not_negative("air_changes_per_h", air_changes_per_h, "1/h", fact("mend.usual-air-changes"))
    not_negative("loss_w_k", loss_w_k, "W/K", fact("mend.give-heat-loss-walls-windows-roof"))
    carried = AIR_J_M3K.value * volume_m3 * air_changes_per_h / 3600
    return (loss_w_k + carried) * (
        within(
            fact("quantity.inside-temperature"),
            inside_c,
            -40,
            60,
            "°C",
            fact("mend.give-wanted-room-temperature"),
        )
        - within(
            fact("quantity.outside-temperature"),
            outside_c,
            -60,
            60,
            "°C",
            fact("mend.give-coldest-hour-outside"),
        )
    )
