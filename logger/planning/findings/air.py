"""The room's air and heating, the sun, colour, and heat tools."""

from __future__ import annotations

from logger.cure.model.materials import resin_material
from logger.plan.file import Plan
from logger.planning.cure_answers import room_range_c
from logger.planning.finding import PLAN, PROJECT_CHOICE, Constant, Figure, Finding, Light, plain
from logger.planning.findings.volume import quantity_of
from logger.planning.physics import air, colour, heat_tools, sun
from logger.planning.physics.shape import total_depth_m

FREE_LOSS = Constant(
    "heat loss of a workshop where none is given", 2.0, "W/K per m² of floor", PROJECT_CHOICE
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
                "The room's humidity is not known.",
                change="Hang a hygrometer up and give the humidity that it shows.",
            )
        ]
    warmest = min(room_range_c(plan)[1], 60.0)
    dew = air.dew_point_c(warmest, humidity)
    surface = coldest_surface_c(plan)
    margin = surface - dew
    light = air.light_of(humidity, margin)
    figures = (
        Figure("dew point", dew, "°C"),
        Figure("coldest surface", surface, "°C"),
        Figure("margin", margin, "K"),
        Figure("humidity", humidity, "%"),
    )
    constants = (air.MARGIN, air.WATCH_HUMIDITY, air.STOP_HUMIDITY)
    sentence = (
        f"At {plain(humidity)} % humidity the dew point is {plain(dew)} °C; the coldest surface, {plain(surface)} °C, "
        f"is {plain(margin)} K above it."
    )
    if light is Light.OK:
        return [Finding("air", "air", light, sentence, figures, constants)]
    change = (
        "Dry the air (electric dehumidifier), and warm the slabs and the form, not only the air. " + air.BLUSH
    )
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
                "A flame heater burns in the room: water, carbon dioxide and a flame.",
                change="Turn it off, air the room, and heat with electric or hot-water heaters. " + air.BLUSH,
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
    word = "heating" if power >= 0 else "cooling"
    figures = (Figure(word, abs(power), "kW"),)
    constants = (
        FREE_LOSS if shop.loss_w_k is None else Constant("heat loss of the room", loss, "W/K", PLAN),
        air.AIR_J_M3K,
        Constant("air changes", shop.air_changes_per_h, "1/h", PLAN),
    )
    sentence = (
        f"Holding the room at {plain(target_c)} °C against {plain(shop.outside_c)} °C outside takes "
        f"{plain(abs(power))} kW of {word}."
    )
    short = power > 0 and shop.heater_kw is not None and shop.heater_kw < power
    if short:
        change = "Add a heater, close doors, or wait for a milder day; mains work is an electrician's."
        answers.append(Finding("room", "heating-short", Light.WATCH, sentence, figures, constants, change))
    else:
        answers.append(Finding("room", "heating", Light.OK, sentence, figures, constants))
    if shop.outside_humidity_pct is not None and shop.outside_c >= -40:
        inside = air.warmed_humidity_pct(shop.outside_c, shop.outside_humidity_pct, min(target_c, 60.0))
        answers.append(
            Finding(
                "air",
                "outside-air",
                Light.OK,
                f"Outside air let in and brought to {plain(target_c)} °C has {plain(inside)} % humidity.",
                (Figure("humidity of outside air indoors", inside, "%"),),
                (Constant("outside", shop.outside_humidity_pct, "%", PLAN),),
            )
        )
    return answers


def _sun(plan: Plan) -> list[Finding]:
    s = plan.sun
    if s is None:
        return []
    flux = sun.absorbed_w_m2(s.irradiance_w_m2, s.absorptance, through_glass=s.through_glass)
    rate = sun.warming_k_h(
        flux, total_depth_m(plan), plan.resin.density_kg_m3, plan.resin.specific_heat_j_kgk
    )
    light = Light.OK if rate * min(s.hours, 1.0) <= sun.SHADED.value else Light.WATCH
    if rate * s.hours > sun.MOST.value:
        light = Light.STOP
    return [
        Finding(
            "sun",
            "sun",
            light,
            f"Sun on the pour brings {plain(flux)} W/m²: up to {plain(rate)} K an hour, for {plain(s.hours)} h.",
            (Figure("heat taken up", flux, "W/m²"), Figure("warming", rate, "K/h")),
            (
                Constant("sun", s.irradiance_w_m2, "W/m²", f"{PLAN}; a clear day has {sun.G173_GLOBAL}"),
                Constant("part taken up", s.absorptance, "", PLAN),
                sun.GLASS,
                sun.SHADED,
                sun.MOST,
            ),
            ""
            if light is Light.OK
            else "Shade the form and the windows, or move it: sun counts like a second cure. To see it in the curve, "
            f"enter {flux:.0f} W/m² as heat on the top, with the room.",
        )
    ]


def _colour(plan: Plan) -> list[Finding]:
    c = plan.colour
    if c is None:
        return []
    depth = total_depth_m(plan) * 1000
    dip = colour.absorbance(c.dip_transmission)
    target = dip
    look = "the dip's look"
    if c.hide_bottom:
        target, look = colour.hiding_absorbance(), "a hidden bottom"
    elif c.want_transmission is not None:
        target, look = (
            colour.absorbance(c.want_transmission),
            f"{plain(100 * c.want_transmission)} % of the light through",
        )
    dose = colour.dose_for_pct(dip, c.dip_depth_mm, c.dip_dose_pct, depth, target)
    doubts = colour.dip_doubts(dip, c.dip_depth_mm * c.dip_dose_pct, depth * dose, c.kind)
    quantity = quantity_of(plan)
    figures = [Figure("dose", dose, "% by weight"), Figure("absorbance of the dip", dip, "")]
    words = f"At {plain(depth)} mm, {plain(dose)} % by weight gives {look}."
    if quantity is not None:
        parts = colour.additions_g(dose, quantity.total_kg)
        figures.append(Figure("colour in all", sum(parts), "g"))
        words += f" Add {', '.join(plain(p) for p in parts)} g in turn, with a dip at full depth between."
    light = Light.WATCH if doubts else Light.OK
    change = "; ".join(doubts)
    if c.dose_pct is not None and c.dose_pct > dose * 1.1:
        light = Light.WATCH
        change = (change + "; " if change else "") + (
            f"the plan's {plain(c.dose_pct)} % is more than the {plain(dose)} % this comes to: start low, "
            "colour cannot be taken out"
        )
    if dose > colour.MOST_PIGMENT.value:
        light = Light.WATCH
        change = (change + "; " if change else "") + "so much colour may spoil the cure: ask the maker"
    constants = (
        colour.HIDDEN,
        colour.CLEAR_READING,
        colour.DARK_READING,
        colour.FARTHEST,
        colour.FIRST_PART,
        colour.MOST_PIGMENT,
    )
    text = f"{change[0].upper()}{change[1:]}." if change else ""
    return [Finding("colour", "colour", light, words, tuple(figures), constants, text.replace("..", "."))]


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
    change = ""
    if one.light is not Light.OK:
        seconds = heat_tools.longest_pass_s(
            heat_tools.LIGHT_PASS.value,
            one.flux_w_m2,
            resin,
        )
        change = f"Keep moving: {plain(seconds)} s on a spot at most, and let it cool between passes. "
    return [
        Finding(
            "heat tools",
            "heat-tool",
            one.light,
            f"{plain(tool.pass_s)} s on one spot warms the skin by {plain(one.skin_rise_k)} K and the whole layer by "
            f"{plain(one.whole_rise_k)} K; it reaches {plain(one.warmed_m * 1000)} mm deep.",
            (
                Figure("skin", one.skin_rise_k, "K"),
                Figure("whole layer", one.whole_rise_k, "K"),
                Figure("heat", one.flux_w_m2, "W/m²"),
            ),
            (transfer, heat_tools.LIGHT_PASS, heat_tools.LONG_PASS),
            change + heat_tools.CAUTION,
        )
    ]
