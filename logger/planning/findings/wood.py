"""The slabs: moisture against the shop's air, movement at the resin line, source, bark, seal coat."""

from __future__ import annotations

from logger.errors import BadInput
from logger.facts import NOTHING, Fact, Value, fact, in_a_row
from logger.plan.file import Plan
from logger.plan.planning_tables import Slab
from logger.planning import works
from logger.planning.cure_answers import CureAnswers, room_c
from logger.planning.finding import COMMON_PRACTICE, PLAN, Constant, Figure, Finding, Light, followed
from logger.planning.physics import wood
from logger.planning.physics.air import WATCH_HUMIDITY
from logger.planning.physics.species import Species, find_species
from logger.quantities import grams, hours_alone, length, number, percent, quantity

TOPIC = "wood"
MOISTURE = fact("unit.moisture")
APART = Constant(fact("constant.slab-and-room-differ"), 2.0, MOISTURE, COMMON_PRACTICE)
TOO_DRY = Constant(fact("constant.slab-too-dry"), 5.0, "%", COMMON_PRACTICE)
USUAL_HIGH = Constant(fact("constant.slab-a-little-damp"), 10.0, "%", COMMON_PRACTICE)
UNMEASURED = Constant(fact("constant.moisture-where-unmeasured"), 8.0, "%", COMMON_PRACTICE)
PIN_LOW = Constant(fact("constant.pin-meter-reads-poorly"), 6.0, "%", COMMON_PRACTICE)
COAT_MODEL = fact("source.coat-model")
UNKNOWN_WOOD = Constant(fact("constant.density-of-other-wood"), 650.0, "kg/m³", COMMON_PRACTICE)


def moisture_of(slab: Slab) -> wood.Moisture | None:
    """Return what the slab's readings come to; None when it was not measured."""
    meter = slab.meter
    if meter is None:
        return None
    return wood.slab_moisture(
        meter.readings_pct,
        meter.wood_c,
        corrects_itself=meter.corrects_temperature,
        slope=meter.species_slope,
        offset_pct=meter.species_offset_pct,
    )


def slab_density(slab: Slab) -> tuple[Constant, Species | None]:
    """Density of the slab as it is, with its source, and its species where the table has it."""
    species, name = _species(slab), fact("constant.density-of-slab", slab=slab.name)
    if slab.density_kg_m3 is not None:
        return Constant(name, slab.density_kg_m3, "kg/m³", PLAN), species
    if species is None:
        return Constant(name, UNKNOWN_WOOD.value, "kg/m³", UNKNOWN_WOOD.source), None
    moisture = moisture_of(slab)
    at = UNMEASURED.value if moisture is None else moisture.mean_pct
    code = "source.wood-density-european" if species.european else "source.wood-density"
    source = fact(code, work=works.WOOD_HANDBOOK_4, moisture=percent(at))
    return Constant(name, wood.density_kg_m3(species, at), "kg/m³", source), species


def _species(slab: Slab) -> Species | None:
    try:
        return find_species(slab.species)
    except BadInput:
        return None


def findings(plan: Plan, cure: CureAnswers) -> list[Finding]:
    """Everything about every slab."""
    answers: list[Finding] = []
    if not plan.slab and plan.pour.shape == "river":
        answers.append(
            Finding(
                TOPIC,
                "slabs-missing",
                Light.WATCH,
                fact("slabs-missing"),
                change=fact("name-slabs"),
            )
        )
    for slab in plan.slab:
        answers += [
            *_moisture(slab),
            *_movement(plan, slab),
            *_source(slab),
            _bark(slab),
            _seal(plan, slab, cure),
        ]
    return answers


def _moisture(slab: Slab) -> list[Finding]:
    moisture = moisture_of(slab)
    if moisture is None:
        return [
            Finding(
                TOPIC,
                "moisture-unknown",
                Light.STOP,
                fact("slab-not-measured", slab=slab.name),
                change=fact("measure-slab"),
                about=slab.name,
            )
        ]
    figures = (
        Figure(fact("figure.moisture"), moisture.mean_pct, "%"),
        Figure(fact("figure.spread"), moisture.spread_pct, "%"),
        Figure(fact("figure.readings"), moisture.count, ""),
    )
    source = wood.METER_SOURCE if moisture.corrected else fact("source.meter-corrects")
    constants = (
        wood.STOP_ABOVE,
        USUAL_HIGH,
        wood.DRY_LOW,
        wood.DRY_HIGH,
        wood.SPREAD_LIMIT,
        wood.READINGS_WANTED,
        Constant(
            fact("constant.temperature-of-wood"), slab.meter.wood_c if slab.meter else 20.0, "°C", source
        ),
    )
    measured: dict[str, Value] = {
        "slab": slab.name,
        "moisture": percent(moisture.mean_pct),
        "n": moisture.count,
        "spread": percent(moisture.spread_pct),
    }
    if moisture.wettest_pct > wood.STOP_ABOVE.value:
        return [
            Finding(
                TOPIC,
                "damp",
                Light.STOP,
                Fact("slab-too-damp", measured),
                figures,
                constants,
                fact("dry-slab", low=number(wood.DRY_LOW.value), high=percent(wood.DRY_HIGH.value)),
                slab.name,
            )
        ]
    doubts = _moisture_doubts(slab, moisture)
    light, key = (Light.WATCH, "moisture-doubt") if doubts else (Light.OK, "moisture")
    sentence = Fact("slab-moisture", measured)
    return [Finding(TOPIC, key, light, sentence, figures, constants, in_a_row(doubts), slab.name)]


def _moisture_doubts(slab: Slab, moisture: wood.Moisture) -> list[Fact]:
    """Return what leaves the moisture of a slab in doubt, and what to do about each."""
    doubts = []
    if moisture.mean_pct > USUAL_HIGH.value:
        doubts.append(fact("slab-a-little-damp"))
    if moisture.mean_pct < TOO_DRY.value:
        doubts.append(fact("slab-very-dry"))
    if moisture.spread_pct > wood.SPREAD_LIMIT.value:
        doubts.append(fact("moisture-readings-apart"))
    if moisture.count < wood.READINGS_WANTED.value:
        doubts.append(fact("moisture-readings-few"))
    meter = slab.meter
    if meter is not None and meter.kind == "pins" and moisture.driest_pct < PIN_LOW.value:
        doubts.append(fact("pin-meter-guesses", below=percent(PIN_LOW.value)))
    if meter is not None and meter.set_to is not None and not _same_wood(meter.set_to, slab.species):
        doubts.append(fact("meter-set-to-other-wood", set_to=meter.set_to, species=slab.species))
    return doubts


def _same_wood(one: str, other: str) -> bool:
    """Whether two names mean one species, also where only one of them is in the table."""
    if one.strip().casefold() == other.strip().casefold():
        return True
    try:
        return find_species(one) == find_species(other)
    except BadInput:
        return False


def _movement(plan: Plan, slab: Slab) -> list[Finding]:
    moisture = moisture_of(slab)
    humidity = plan.air.relative_humidity_pct
    species = _species(slab)
    if moisture is None or humidity is None:
        return []
    celsius = room_c(plan)
    settles = wood.equilibrium_moisture_pct(celsius, humidity)
    off = settles - moisture.mean_pct
    figures = [
        Figure(fact("figure.moisture-in-the-shop"), settles, "%"),
        Figure(fact("figure.moisture-now"), moisture.mean_pct, "%"),
    ]
    constants = [
        APART,
        Constant(fact("constant.humidity"), humidity, "%", PLAN),
        Constant(fact("constant.temperature"), celsius, "°C", PLAN),
    ]
    sentence = fact("slab-settles", slab=slab.name, moisture=percent(settles))
    if species is not None and max(settles, moisture.mean_pct) <= wood.FIBRE_SATURATION.value:
        coefficient, source = species.movement(slab.cut)
        line = wood.resin_line(slab.width_mm, coefficient, moisture.mean_pct, settles)
        code = "slab-settles-opens" if line.opens else "slab-settles-shrinks"
        sentence = fact(
            "slab-settles-swells" if line.moves_mm > 0 else code,
            slab=slab.name,
            moisture=percent(settles),
            change=length(abs(line.moves_mm), None),
            width=length(slab.width_mm, None),
            stress=quantity(line.stress_mpa, "MPa", None),
        )
        sentence = followed(sentence, *_beyond(moisture.mean_pct, settles))
        figures += [
            Figure(fact("figure.movement"), line.moves_mm, "mm"),
            Figure(fact("figure.stress-if-held"), line.stress_mpa, "MPa"),
        ]
        constants += [
            Constant(fact("constant.movement-per-moisture"), coefficient, "1/%", source),
            wood.ACROSS_GRAIN,
            wood.ACROSS_STRENGTH,
            wood.STRAIGHT_FROM,
            wood.STRAIGHT_TO,
        ]
    if abs(off) <= APART.value:
        light, key, change = Light.OK, "movement", NOTHING
    else:
        light, key, change = Light.WATCH, "movement-wide", _rest(celsius, moisture.mean_pct)
    return [Finding(TOPIC, key, light, sentence, tuple(figures), tuple(constants), change, slab.name)]


def _beyond(*moistures_pct: float) -> list[Fact]:
    """Return that a movement is rough where it goes beyond the moisture in which it was measured."""
    low, high = wood.STRAIGHT_FROM.value, wood.STRAIGHT_TO.value
    if low <= min(moistures_pct) and max(moistures_pct) <= high:
        return []
    return [fact("movement-outside-range", low=percent(low, 0), high=percent(high, 0))]


def _rest(celsius: float, moisture_pct: float) -> Fact:
    """Return how a slab that would move is brought to rest."""
    # A damp slab is dried, not kept damp: a room is offered only within what the pour itself bears.
    if 0 < moisture_pct < wood.equilibrium_moisture_pct(celsius, WATCH_HUMIDITY.value):
        holds = wood.humidity_for_moisture_pct(celsius, moisture_pct)
        return fact("let-slab-rest-or-hold-humidity", humidity=percent(holds))
    return fact("let-slab-rest")


def _source(slab: Slab) -> list[Finding]:
    answers = []
    if _species(slab) is None:
        answers.append(
            Finding(
                TOPIC,
                "species-unknown",
                Light.WATCH,
                fact("species-unknown", species=slab.species),
                constants=(UNKNOWN_WOOD,) if slab.density_kg_m3 is None else (),
                change=fact("name-relative-species"),
                about=slab.name,
            )
        )
    if slab.source is None or slab.dried == "unknown":
        answers.append(
            Finding(
                TOPIC,
                "source-unknown",
                Light.WATCH,
                fact("slab-source-unknown", slab=slab.name),
                change=fact("note-slab-source"),
                about=slab.name,
            )
        )
    return answers


def _bark(slab: Slab) -> Finding:
    if slab.bark == "on":
        return Finding(
            TOPIC,
            "bark-on",
            Light.STOP,
            fact("slab-bark-on", slab=slab.name),
            change=fact("take-bark-off"),
            about=slab.name,
        )
    return Finding(TOPIC, "bark", Light.OK, fact("slab-bark-off", slab=slab.name), about=slab.name)


def _seal(plan: Plan, slab: Slab, cure: CureAnswers) -> Finding:
    name, coat = slab.name, plan.allowance.seal_coat_g_m2
    uptake = Constant(fact("constant.seal-coat"), coat, "g/m²", fact("source.seal-coat"))
    edge_g = coat * slab.length_mm * slab.thickness_mm / 1e6
    weight = Figure(fact("figure.seal-coat-of-edge"), edge_g, "g")
    if slab.seal == "none":
        return Finding(
            TOPIC,
            "seal-none",
            Light.WATCH,
            fact("seal-coat-missing", slab=name),
            (weight,),
            (uptake,),
            fact("brush-seal-coat"),
            name,
        )
    times = cure.coat
    if slab.seal == "cured":
        hard = None if times is None else times.hard_h
        sentence = fact("seal-coat-cures-first", slab=name)
        constants: tuple[Constant, ...] = (uptake,)
        if hard is not None:
            sentence = fact("seal-coat-cures-first-hours", slab=name, hours=hours_alone(hard))
            constants = (uptake, Constant(fact("constant.coat-hard"), hard, "h", COAT_MODEL))
        return Finding(TOPIC, "seal-cured", Light.OK, sentence, (weight,), constants, about=name)
    if times is None or times.opens_h is None or not times.open:
        sentence = fact("seal-coat-tacky", slab=name)
        return Finding(TOPIC, "seal-tacky", Light.OK, sentence, (weight,), (uptake,), about=name)
    opens = Constant(fact("constant.coat-tacky"), times.opens_h, "h", COAT_MODEL)
    figures = [weight, Figure(fact("figure.pour-from"), opens.value, "h")]
    said = {"slab": name, "coat": grams(edge_g, None), "opens": hours_alone(opens.value)}
    sentence = Fact("seal-coat-tacky-from", said)
    if times.closes_h is not None:
        figures.append(Figure(fact("figure.pour-until"), times.closes_h, "h"))
        sentence = Fact(
            "seal-coat-tacky-between",
            {**said, "opens": number(opens.value), "closes": number(times.closes_h)},
        )
    return Finding(
        TOPIC,
        "seal-tacky",
        Light.OK,
        followed(sentence, fact("test-seal-coat")),
        tuple(figures),
        (opens, uptake),
        about=name,
    )
