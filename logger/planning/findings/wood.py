"""The slabs: moisture against the shop's air, movement at the resin line, source, bark, seal coat."""

from __future__ import annotations

from logger.errors import BadInput
from logger.plan.file import Plan
from logger.plan.planning_tables import Slab
from logger.planning.cure_answers import CureAnswers, room_c
from logger.planning.finding import (
    COMMON_PRACTICE,
    FROM_MEMORY,
    PLAN,
    Constant,
    Figure,
    Finding,
    Light,
    plain,
)
from logger.planning.physics import wood
from logger.planning.physics.air import WATCH_HUMIDITY
from logger.planning.physics.species import GRAVITY_SOURCE, Species, find_species

TOPIC = "wood"
APART = Constant("slab and room may differ by", 2.0, "% moisture", COMMON_PRACTICE)
TOO_DRY = Constant("a slab drier than this takes up water later", 5.0, "%", COMMON_PRACTICE)
USUAL_HIGH = Constant("slab a little damp above", 10.0, "%", COMMON_PRACTICE)
UNMEASURED = Constant("moisture taken where none was measured", 8.0, "%", COMMON_PRACTICE)
PIN_LOW = Constant("pin meters read poorly below", 6.0, "%", COMMON_PRACTICE)
COAT_MODEL = "cure model, a thin coat of the pour's own resin at the room's temperature"
UNKNOWN_WOOD = Constant("density of a wood that is not in the table", 650.0, "kg/m³", COMMON_PRACTICE)


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
    species = _species(slab)
    if slab.density_kg_m3 is not None:
        return Constant(f'density of "{slab.name}"', slab.density_kg_m3, "kg/m³", PLAN), species
    if species is None:
        return Constant(f'density of "{slab.name}"', UNKNOWN_WOOD.value, "kg/m³", UNKNOWN_WOOD.source), None
    moisture = moisture_of(slab)
    at = UNMEASURED.value if moisture is None else moisture.mean_pct
    value = wood.density_kg_m3(species, at)
    source = f"{wood.HANDBOOK_4}, eq. 4-12 at {plain(at)} %; basic gravity {GRAVITY_SOURCE}"
    return Constant(f'density of "{slab.name}"', value, "kg/m³", source), species


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
                "The plan names no slabs.",
                change="Name each slab, with its wood and its moisture readings.",
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
    name = f'"{slab.name}"'
    if moisture is None:
        return [
            Finding(
                TOPIC,
                "moisture-unknown",
                Light.STOP,
                f"{name} has not been measured for moisture.",
                change="Measure it in six places, also deep in the middle.",
            )
        ]
    figures = (
        Figure("moisture", moisture.mean_pct, "%"),
        Figure("spread", moisture.spread_pct, "%"),
        Figure("readings", moisture.count, ""),
    )
    source = wood.METER_SOURCE if moisture.corrected else "the meter corrects by itself"
    constants = (
        wood.STOP_ABOVE,
        USUAL_HIGH,
        wood.DRY_LOW,
        wood.DRY_HIGH,
        wood.SPREAD_LIMIT,
        wood.READINGS_WANTED,
        Constant(
            "temperature of the wood when measured", slab.meter.wood_c if slab.meter else 20.0, "°C", source
        ),
    )
    sentence = (
        f"{name} measures {plain(moisture.mean_pct)} % ({moisture.count} readings, "
        f"spread {plain(moisture.spread_pct)} %)."
    )
    if moisture.wettest_pct > wood.STOP_ABOVE.value:
        return [
            Finding(
                TOPIC,
                "damp",
                Light.STOP,
                f"{sentence} That is too damp for resin: it will bubble, let go and move.",
                figures,
                constants,
                f"Dry it to {plain(wood.DRY_LOW.value)} to {plain(wood.DRY_HIGH.value)} %, then measure it again.",
            )
        ]
    doubts = _moisture_doubts(slab, moisture)
    if not doubts:
        return [Finding(TOPIC, "moisture", Light.OK, sentence, figures, constants)]
    return [Finding(TOPIC, "moisture-doubt", Light.WATCH, sentence, figures, constants, _sentence(doubts))]


def _moisture_doubts(slab: Slab, moisture: wood.Moisture) -> list[str]:
    """Return what leaves the moisture of a slab in doubt, and what to do about each."""
    doubts = []
    if moisture.mean_pct > USUAL_HIGH.value:
        doubts.append("a little damp: let it dry in the shop")
    if moisture.mean_pct < TOO_DRY.value:
        doubts.append("very dry: it will take up water and swell; let it rest in the shop's air")
    if moisture.spread_pct > wood.SPREAD_LIMIT.value:
        doubts.append("readings far apart: wet core or a bad place; measure more, deeper")
    if moisture.count < wood.READINGS_WANTED.value:
        doubts.append("too few readings: take six or more")
    meter = slab.meter
    if meter is not None and meter.kind == "pins" and moisture.driest_pct < PIN_LOW.value:
        doubts.append("below 6 % a pin meter only guesses")
    if meter is not None and meter.set_to is not None and not _same_wood(meter.set_to, slab.species):
        doubts.append(f"the meter was set to {meter.set_to}, not {slab.species}: set it right, measure again")
    return doubts


def _same_wood(one: str, other: str) -> bool:
    """Whether two names mean one species, also where only one of them is in the table."""
    if one.strip().casefold() == other.strip().casefold():
        return True
    try:
        return find_species(one) == find_species(other)
    except BadInput:
        return False


def _sentence(doubts: list[str]) -> str:
    text = "; ".join(doubts)
    return f"{text[0].upper()}{text[1:]}."


def _movement(plan: Plan, slab: Slab) -> list[Finding]:
    moisture = moisture_of(slab)
    humidity = plan.air.relative_humidity_pct
    species = _species(slab)
    if moisture is None or humidity is None:
        return []
    celsius = room_c(plan)
    settles = wood.equilibrium_moisture_pct(celsius, humidity)
    off = settles - moisture.mean_pct
    figures = [Figure("the shop's air makes it", settles, "%"), Figure("now", moisture.mean_pct, "%")]
    constants = [
        APART,
        Constant("humidity", humidity, "%", PLAN),
        Constant("temperature", celsius, "°C", PLAN),
    ]
    words = f'In the shop\'s air "{slab.name}" would settle at {plain(settles)} % moisture.'
    if species is not None and max(settles, moisture.mean_pct) <= wood.FIBRE_SATURATION.value:
        coefficient, source = species.movement(slab.cut)
        line = wood.resin_line(slab.width_mm, coefficient, moisture.mean_pct, settles)
        verb = "swells" if line.moves_mm > 0 else "shrinks"
        words += f" On its way it {verb} by {plain(abs(line.moves_mm))} mm across {plain(slab.width_mm)} mm"
        words += f"; if it is held, up to {plain(line.stress_mpa)} MPa at the resin line"
        words += ", more than wood bears across the grain: a gap or a split." if line.opens else "."
        figures += [Figure("movement", line.moves_mm, "mm"), Figure("stress if held", line.stress_mpa, "MPa")]
        constants += [
            Constant("movement per % of moisture", coefficient, "1/%", source),
            wood.ACROSS_GRAIN,
            wood.ACROSS_STRENGTH,
        ]
    if abs(off) <= APART.value:
        return [Finding(TOPIC, "movement", Light.OK, words, tuple(figures), tuple(constants))]
    change = "Let it rest in the shop until its weight stays the same"
    # A damp slab is dried, not kept damp: a room is offered only within what the pour itself bears.
    if 0 < moisture.mean_pct < wood.equilibrium_moisture_pct(celsius, WATCH_HUMIDITY.value):
        holds = wood.humidity_for_moisture_pct(celsius, moisture.mean_pct)
        change += f", or hold the room at {plain(holds)} % humidity"
    return [
        Finding(TOPIC, "movement-wide", Light.WATCH, words, tuple(figures), tuple(constants), change + ".")
    ]


def _source(slab: Slab) -> list[Finding]:
    answers = []
    if _species(slab) is None:
        answers.append(
            Finding(
                TOPIC,
                "species-unknown",
                Light.WATCH,
                f'"{slab.species}" is not in the table of species: movement is unknown.',
                constants=(UNKNOWN_WOOD,) if slab.density_kg_m3 is None else (),
                change="Name the nearest relative in the table, and weigh the slab for its density.",
            )
        )
    if slab.source is None or slab.dried == "unknown":
        answers.append(
            Finding(
                TOPIC,
                "source-unknown",
                Light.WATCH,
                f'Where "{slab.name}" comes from, or how it was dried, is not noted.',
                change="Note the source and whether it was kiln-dried or air-dried: the next one must be as good.",
            )
        )
    return answers


def _bark(slab: Slab) -> Finding:
    if slab.bark == "on":
        return Finding(
            TOPIC,
            "bark-on",
            Light.STOP,
            f'"{slab.name}" still has bark: resin would bond to bark, not to wood.',
            change="Take off bark and loose skin down to sound wood, brush the edge and blow it out.",
        )
    return Finding(TOPIC, "bark", Light.OK, f'"{slab.name}": bark and loose skin are off.')


def _seal(plan: Plan, slab: Slab, cure: CureAnswers) -> Finding:
    name = f'"{slab.name}"'
    coat = plan.allowance.seal_coat_g_m2
    uptake = Constant(
        "seal coat on bare wood", coat, "g/m²", f"{PLAN}; 100 to 300 {FROM_MEMORY}: measure your own"
    )
    grams = Figure("seal coat for one long edge", coat * slab.length_mm * slab.thickness_mm / 1e6, "g")
    if slab.seal == "none":
        return Finding(
            TOPIC,
            "seal-none",
            Light.WATCH,
            f"{name} gets no seal coat: air from the pores will rise as bubbles.",
            (grams,),
            (uptake,),
            "Brush a thin coat on edges and end grain and pour while it is tacky.",
        )
    coat_h = cure.coat
    if slab.seal == "cured":
        hard = None if coat_h is None else coat_h.hard_h
        when = "" if hard is None else f" By the model that takes about {plain(hard)} h in this room."
        constants = (
            (uptake,) if hard is None else (uptake, Constant("coat hard after", hard, "h", COAT_MODEL))
        )
        return Finding(
            TOPIC,
            "seal-cured",
            Light.OK,
            f"{name}: the seal coat cures before the pour. Scuff it and wipe it then.{when}",
            (grams,),
            constants,
        )
    if coat_h is None or coat_h.opens_h is None or not coat_h.open:
        return Finding(
            TOPIC,
            "seal-tacky",
            Light.OK,
            f"{name}: brush the seal coat and pour while it is tacky.",
            (grams,),
            (uptake,),
        )
    opens = Constant("tacky from", coat_h.opens_h, "h", COAT_MODEL)
    until = "" if coat_h.closes_h is None else f" to about {plain(coat_h.closes_h)} h"
    figures = [grams, Figure("pour from", opens.value, "h")]
    if coat_h.closes_h is not None:
        figures.append(Figure("pour until", coat_h.closes_h, "h"))
    return Finding(
        TOPIC,
        "seal-tacky",
        Light.OK,
        f"{name}: brush the seal coat (about {plain(grams.value)} g on one long edge), pour from about "
        f"{plain(opens.value)} h{until} after it; later, scuff. "
        "Wood and air change a thin coat: test it with a gloved finger, and see its own datasheet if it is another.",
        tuple(figures),
        (opens, uptake),
    )
