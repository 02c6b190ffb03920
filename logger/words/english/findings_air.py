"""Findings on the room's air and heating, the sun, colour, heat tools."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "humidity-unknown": "The room's humidity is not known.",
    "hang-up-hygrometer": "Hang a hygrometer up and give the humidity that it shows.",
    "dew-point": "At {humidity} humidity the dew point is {dew}; the coldest surface, {surface}, is {margin} above it.",
    "dew-point-above-surface": "At {humidity} humidity the dew point is {dew}; the coldest surface, {surface}, is "
    "{margin} below it: it gets wet.",
    "dry-air": "Dry the air (electric dehumidifier), and warm the slabs and the form, not only the air.",
    "amine-blush": "Damp air, carbon dioxide and unreacted hardener make an oily film or haze (amine blush). No flame "
    "heater in the room; wash the skin with clean water before the next layer.",
    "flame-heater-burns": "A flame heater burns in the room: water, carbon dioxide and a flame.",
    "turn-flame-heater-off": "Turn it off, air the room, and heat with electric or hot-water heaters.",
    "room-takes-heating": "Holding the room at {room} against {outside} outside takes {power} of heating.",
    "room-takes-cooling": "Holding the room at {room} against {outside} outside takes {power} of cooling.",
    "add-heater": "Add a heater, close doors, or wait for a milder day; mains work is an electrician's.",
    "outside-air-indoors": "Outside air let in and brought to {room} has {humidity} humidity.",
    "sun-warms-pour": "Sun on the pour brings {flux}: up to {warming}, for {hours}.",
    "shade-form": "Shade the form and the windows, or move it: sun counts like a second cure. To see it in the curve, "
    "enter {flux} as heat on the top, with the room.",
    "look-of-dip": "the dip's look",
    "look-hidden-bottom": "a hidden bottom",
    "look-light-through": "{light} of the light through",
    "colour-dose": "At {depth}, {dose} by weight gives {look}.",
    "colour-additions": "Add {additions} in turn, with a dip at full depth between.",
    "pigment-scatters": "A pigment scatters light: the rule holds for dyes that only absorb. It fails with scattering "
    "pigment, mica or metal flake, fluorescence and high doses: make a cup at full depth.",
    "flake-scatters": "A flake scatters light: the rule holds for dyes that only absorb. It fails with scattering "
    "pigment, mica or metal flake, fluorescence and high doses: make a cup at full depth.",
    "dip-says-little": "The dip's absorbance {absorbance} is outside {low} to {high}: make it deeper or shallower and "
    "read it again.",
    "dip-scaled-far": "Dose × depth is scaled {times} times; trust it within {most} times: make a cup nearer to it.",
    "colour-dose-high": "The plan's {planned} is more than the {dose} this comes to: start low, colour cannot be taken "
    "out.",
    "colour-spoils-cure": "So much colour may spoil the cure: ask the maker.",
    "heat-tool-warms": "{time} s on one spot warms the skin by {skin} and the whole layer by {layer}; it reaches "
    "{reach} deep.",
    "keep-heat-tool-moving": "Keep moving: {longest} s on a spot at most, and let it cool between passes.",
    "heat-tool-caution": "Hot air and flame near resin vapour, wipes and dust can start a fire. Keep solvents away, an "
    "extinguisher at hand, never leave it lying. The safety data sheet rules.",
}
