"""The room's air and heating, the sun, colour, and heat tools."""

from __future__ import annotations

from logger.cure.model.materials import resin_material
from logger.facts import NOTHING, Fact, Value, fact, in_a_row
from logger.plan.file import Plan
from logger.plan.planning_tables import Colour
from logger.planning.cure_answers import room_range_c
from logger.planning.finding import PLAN, PROJECT_CHOICE, Constant, Figure, Finding, Light, followed
from logger.planning.findings.volume import quantity_of
from logger.planning.physics import air, colour, heat_tools, sun
from logger.planning.physics.shape import total_depth_m
from logger.quantities import (
    difference,
    grams,
    hours_alone,
    length,
    number,
    percent,
    quantity,
    rate,
    temperature,
)

FREE_LOSS = Constant(
    fact("constant.heat-loss-of-workshop"), 2.0, fact("unit.heat-loss-of-floor"), PROJECT_CHOICE
)


def findings(plan: Plan) -> list[Finding]:
    """Air, heating, sun, colour and heat tools."""
    return [*_air(plan), *_heating(plan), *_sun(plan), *_colour(plan), *_heat_tool(plan)]


def coldest_surface_c(plan: Plan) -> float:
    """Return the coldest surface the resin will meet, °C: measured, a slab's, or the coldest room."""
    surfaces = [slab.surface_c for slab in plan.slab if slab.surface_c is not None]
    if plan.air.coldest_surface_c is not None:
        surfaces.append(plan.air.coldest_surface_c)
    return min([room_range_c(plan)[0], *surfaces])


def _air(plan: Plan) -> list[Finding]:
    humidity = plan.air.relative_humidity_pct
    if humidity is None or humidity < 0.1:
        return [
            Finding(
                "air",
                "humidity-unknown",
                Light.WATCH,
                fact("humidity-unknown"),
                change=fact("hang-up-hygrometer"),
            )
        ]
    warmest = min(room_range_c(plan)[1], 60.0)
    dew = air.dew_point_c(warmest, humidity)
    surface = coldest_surface_c(plan)
    margin = surface - dew
    light = air.light_of(humidity, margin)
    figures = (
        Figure(fact("figure.dew-point"), dew, "°C"),
        Figure(fact("figure.coldest-surface"), surface, "°C"),
        Figure(fact("figure.margin"), margin, "K"),
        Figure(fact("figure.humidity"), humidity, "%"),
    )
    constants = (air.MARGIN, air.WATCH_HUMIDITY, air.STOP_HUMIDITY)
    sentence = fact(
        "dew-point",
        humidity=percent(humidity),
        dew=temperature(dew, None),
        surface=temperature(surface, None),
        margin=difference(abs(margin), None),
    )
    if margin < 0:
        sentence = Fact("dew-point-above-surface", sentence.values)
    if light is Light.OK:
        return [Finding("air", "air", light, sentence, figures, constants)]
    change = in_a_row([fact("dry-air"), air.BLUSH])
    return [Finding("air", "air-damp", light, sentence, figures, constants, change)]


def _heating(plan: Plan) -> list[Finding]:
    shop = plan.shop
    if shop is None:
        return []
    answers = []
    if shop.heater == "flame":
        answers.append(
            Finding(
                "air",
                "heater-flame",
                Light.STOP,
                fact("flame-heater-burns"),
                change=in_a_row([fact("turn-flame-heater-off"), air.BLUSH]),
            )
        )
    if shop.outside_c is None:
        return answers
    loss = FREE_LOSS.value * shop.floor_m2 if shop.loss_w_k is None else shop.loss_w_k
    coldest, warmest = room_range_c(plan)
    target_c = coldest if shop.outside_c < coldest else warmest
    power = (
        air.room_power_w(
            shop.floor_m2 * shop.height_m, min(target_c, 60.0), shop.outside_c, shop.air_changes_per_h, loss
        )
        / 1000
    )
    heating = power >= 0
    figures = (Figure(fact("figure.heating" if heating else "figure.cooling"), abs(power), "kW"),)
    constants = (
        FREE_LOSS
        if shop.loss_w_k is None
        else Constant(fact("constant.heat-loss-of-room"), loss, "W/K", PLAN),
        air.AIR_J_M3K,
        Constant(fact("constant.air-changes"), shop.air_changes_per_h, "1/h", PLAN),
    )
    sentence = fact(
        "room-takes-heating" if heating else "room-takes-cooling",
        room=temperature(target_c, None),
        outside=temperature(shop.outside_c, None),
        power=quantity(abs(power), "kW", None),
    )
    short = power > 0 and shop.heater_kw is not None and shop.heater_kw < power
    light, key = (Light.WATCH, "heating-short") if short else (Light.OK, "heating")
    change = fact("add-heater") if short else NOTHING
    answers.append(Finding("room", key, light, sentence, figures, constants, change))
    if shop.outside_humidity_pct is not None and shop.outside_c >= -40:
        inside = air.warmed_humidity_pct(shop.outside_c, shop.outside_humidity_pct, min(target_c, 60.0))
        answers.append(
            Finding(
                "air",
                "outside-air",
                Light.OK,
                fact("outside-air-indoors", room=temperature(target_c, None), humidity=percent(inside)),
                (Figure(fact("figure.humidity-of-outside-air"), inside, "%"),),
                (Constant(fact("constant.humidity-outside"), shop.outside_humidity_pct, "%", PLAN),),
            )
        )
    return answers


def _sun(plan: Plan) -> list[Finding]:
    s = plan.sun
    if s is None:
        return []
    flux = sun.absorbed_w_m2(s.irradiance_w_m2, s.absorptance, through_glass=s.through_glass)
    warming = sun.warming_k_h(
        flux, total_depth_m(plan), plan.resin.density_kg_m3, plan.resin.specific_heat_j_kgk
    )
    light = Light.OK if warming * min(s.hours, 1.0) <= sun.SHADED.value else Light.WATCH
    if warming * s.hours > sun.MOST.value:
        light = Light.STOP
    return [
        Finding(
            "sun",
            "sun",
            light,
            fact(
                "sun-warms-pour",
                flux=quantity(flux, "W/m²", None),
                warming=rate(warming, None),
                hours=hours_alone(s.hours),
            ),
            (
                Figure(fact("figure.heat-taken-up"), flux, "W/m²"),
                Figure(fact("figure.warming"), warming, "K/h"),
            ),
            (
                Constant(
                    fact("constant.sun"),
                    s.irradiance_w_m2,
                    "W/m²",
                    fact("source.plan-and-clear-day", clear_day=sun.G173_GLOBAL.said),
                ),
                Constant(fact("constant.part-taken-up"), s.absorptance, "", PLAN),
                sun.GLASS,
                sun.SHADED,
                sun.MOST,
            ),
            NOTHING if light is Light.OK else fact("shade-form", flux=quantity(flux, "W/m²", 0)),
        )
    ]


def _colour(plan: Plan) -> list[Finding]:
    c = plan.colour
    if c is None:
        return []
    depth = total_depth_m(plan) * 1000
    dip = colour.absorbance(c.dip_transmission)
    target, look = dip, fact("look-of-dip")
    if c.hide_bottom:
        target, look = colour.hiding_absorbance(), fact("look-hidden-bottom")
    elif c.want_transmission is not None:
        target = colour.absorbance(c.want_transmission)
        look = fact("look-light-through", light=percent(100 * c.want_transmission))
    dose = colour.dose_for_pct(dip, c.dip_depth_mm, c.dip_dose_pct, depth, target)
    figures = [
        Figure(fact("figure.dose"), dose, fact("unit.percent-by-weight")),
        Figure(fact("figure.absorbance-of-dip"), dip, ""),
    ]
    said: dict[str, Value] = {"depth": length(depth, None), "dose": percent(dose), "look": look}
    sentence = fact("colour-dose", **said)
    resin = quantity_of(plan)
    if resin is not None:
        parts = colour.additions_g(dose, resin.total_kg)
        figures.append(Figure(fact("figure.colour-in-all"), sum(parts), "g"))
        additions = tuple(grams(part, None) for part in parts)
        sentence = followed(sentence, fact("colour-additions", additions=additions))
    doubts = _colour_doubts(c, dip, dose, depth)
    light = Light.WATCH if doubts else Light.OK
    constants = (
        colour.HIDDEN,
        colour.CLEAR_READING,
        colour.DARK_READING,
        colour.FARTHEST,
        colour.FIRST_PART,
        colour.MOST_PIGMENT,
    )
    return [Finding("colour", "colour", light, sentence, tuple(figures), constants, in_a_row(doubts))]


def _colour_doubts(c: Colour, dip: float, dose: float, depth_mm: float) -> list[Fact]:
    """Return why the dose may not hold, and what to do about each."""
    doubts = colour.dip_doubts(dip, c.dip_depth_mm * c.dip_dose_pct, depth_mm * dose, c.kind)
    if c.dose_pct is not None and c.dose_pct > dose * 1.1:
        doubts.append(fact("colour-dose-high", planned=percent(c.dose_pct), dose=percent(dose)))
    if dose > colour.MOST_PIGMENT.value:
        doubts.append(fact("colour-spoils-cure"))
    return doubts


def _heat_tool(plan: Plan) -> list[Finding]:
    tool = plan.heat_tool
    if tool is None:
        return []
    transfer = heat_tools.JET if tool.kind == "gun" else heat_tools.FLAME
    resin = resin_material(plan.resin)
    surface = room_range_c(plan)[1]
    one = heat_tools.one_pass(
        tool.jet_c,
        surface,
        tool.pass_s,
        plan.pour.depth_mm / 1000,
        resin,
        transfer.value,
    )
    advice = [heat_tools.CAUTION]
    if one.light is not Light.OK:
        longest_s = heat_tools.longest_pass_s(heat_tools.LIGHT_PASS.value, one.flux_w_m2, resin)
        advice.insert(0, fact("keep-heat-tool-moving", longest=number(longest_s)))
    return [
        Finding(
            "heat tools",
            "heat-tool",
            one.light,
            fact(
                "heat-tool-warms",
                time=number(tool.pass_s),
                skin=difference(one.skin_rise_k, None),
                layer=difference(one.whole_rise_k, None),
                reach=length(one.warmed_m * 1000, None),
            ),
            (
                Figure(fact("figure.skin"), one.skin_rise_k, "K"),
                Figure(fact("figure.whole-layer"), one.whole_rise_k, "K"),
                Figure(fact("figure.heat"), one.flux_w_m2, "W/m²"),
            ),
            (transfer, heat_tools.LIGHT_PASS, heat_tools.LONG_PASS),
            in_a_row(advice),
        )
    ]
