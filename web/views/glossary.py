"""The terms of the trade and of the science that the pages use, each in one plain sentence.

The trade's terms are common practice, no source; the science's follow the plan file's contract and logger/cure.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from logger.facts import Fact
from logger.quantities import temperature
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import say


@dataclass(frozen=True, slots=True)
class Term:
    """A term and what it means. Both are phrases."""

    word: Fact
    means: Fact


#: Anchor → term.
TERMS: Mapping[str, Term] = {
    "acknowledge": Term(
        phrase("Acknowledge"),
        phrase(
            "To say by name that you have seen an alarm and are on it: it stops repeating, and stays until it clears."
        ),
    ),
    "activation-energy": Term(
        phrase("Activation energy"),
        phrase("How strongly warmth speeds a cure up: the higher it is, the more a warm room hastens it."),
    ),
    "amine-blush": Term(
        phrase("Amine blush"),
        phrase(
            "A greasy or cloudy film where the hardener met damp, cool air; the next layer does not bond until it is "
            "washed off."
        ),
    ),
    "amine-hydrogen-equivalent-weight": Term(
        phrase("Amine hydrogen equivalent weight"),
        phrase(
            "The grams of hardener that hold one mole of reacting hydrogen; datasheets give it for part B."
        ),
    ),
    "arrhenius": Term(
        phrase("Arrhenius law"),
        phrase("The rule by which a reaction goes faster in warmth: each step warmer multiplies its speed."),
    ),
    "batch": Term(phrase("Batch"), phrase("What is mixed in one pail at one time.")),
    "bond-window": Term(
        phrase("Bond window"),
        phrase(
            "The hours in which the next layer bonds to the one below without sanding: that one has gelled and is not "
            "hard yet."
        ),
    ),
    "chance": Term(
        phrase("Chance"),
        phrase("How many of a hundred such pours would end so, by everything that was measured until now."),
    ),
    "check-of-the-form": Term(
        phrase("Check of the form"),
        phrase("A look at the form in the first hour: dry below, the level as it was, no smell of heat."),
    ),
    "cleared": Term(
        phrase("Cleared"),
        phrase("An alarm whose reason is over; it stays listed until somebody has acknowledged it."),
    ),
    "core": Term(
        phrase("Core"),
        phrase("The inside of the pour, where it gets hottest and where the core probe sits."),
    ),
    "cup-test": Term(
        phrase("Cup test"),
        phrase(
            "A small cup of the mix with one probe: how hot it gets, and when, shows how this resin cures."
        ),
    ),
    "cure": Term(
        phrase("Cure"),
        phrase("The reaction that turns the liquid mix into a solid, and gives off heat while it does."),
    ),
    "deadband": Term(
        phrase("Deadband"),
        phrase(
            "How far a reading must go back inside its limit before the alarm clears, so that it does not flicker."
        ),
    ),
    "degassing": Term(
        phrase("Degassing"),
        phrase("Taking the air out of the mix before it is poured, by a vacuum or by letting it stand."),
    ),
    "degree-of-cure": Term(
        phrase("Degree of cure"),
        phrase(
            "How much of the reaction is done: 0 % when the parts meet, 100 % when nothing is left to react."
        ),
    ),
    "demould": Term(
        phrase("Demould"),
        phrase("To take the casting out of its form, once it is hard and cool all through."),
    ),
    "density": Term(
        phrase("Density"),
        phrase("How much a volume weighs; with it a ratio by volume becomes a ratio by weight."),
    ),
    "dew-point": Term(
        phrase("Dew point"),
        phrase(
            "The temperature at which the air's moisture settles as water: do not pour on a surface near it."
        ),
    ),
    "dip-test": Term(
        phrase("Dip test"),
        phrase(
            "A probe moved into warm water: how fast it follows shows whether it touches what it measures."
        ),
    ),
    "epoxide-equivalent-weight": Term(
        phrase("Epoxide equivalent weight"),
        phrase("The grams of resin that hold one mole of epoxide groups; datasheets give it for part A."),
    ),
    "exotherm": Term(
        phrase("Exotherm"),
        phrase("The heat that a curing mix gives off; a deep pour keeps it in and gets hot by itself."),
    ),
    "flood-coat": Term(
        phrase("Flood coat"), phrase("A thin coat that is poured over the whole top and levels itself.")
    ),
    "floating": Term(
        phrase("Floating"),
        phrase("What wood does in resin, since it is lighter: a slab that is not held down rises."),
    ),
    "forecast": Term(
        phrase("Forecast"),
        phrase("What the pour will do from now on, worked out again and again from what its probes read."),
    ),
    "form": Term(
        phrase("Form"),
        phrase("The box that holds slabs and liquid resin until the casting is hard; also called mould."),
    ),
    "gel": Term(
        phrase("Gel"),
        phrase("The moment when the mix stops flowing: from then on bubbles and slabs stay where they are."),
    ),
    "glass-transition": Term(
        phrase("Glass transition"),
        phrase(
            "The temperature at which cured resin goes from hard to rubbery; it rises as the cure goes on."
        ),
    ),
    "hardener": Term(phrase("Hardener"), phrase("Part B of the mix, which reacts with the resin, part A.")),
    "heat-of-cure": Term(
        phrase("Heat of cure"),
        phrase("The heat that one gram of the mix gives off when it cures to the end."),
    ),
    "ice-point": Term(
        phrase("Ice point"),
        phrase(
            "Crushed ice in a little water, which is at {zero}: a probe in it shows by how much it reads wrong.",
            zero=temperature(0.0),
        ),
    ),
    "layer": Term(
        phrase("Layer"), phrase("One of several pours into the same form, each on the one before.")
    ),
    "levelling": Term(
        phrase("Levelling"),
        phrase(
            "Setting the form so that its surface is level, since the resin will be; also how a coat flows out flat."
        ),
    ),
    "limit": Term(phrase("Limit"), phrase("The value that must not be passed; beyond it there is an alarm.")),
    "live-edge": Term(phrase("Live edge"), phrase("The natural edge of a slab, as it was under the bark.")),
    "lot": Term(
        phrase("Lot"), phrase("Resin or hardener of one production, as the number on its container says.")
    ),
    "melamine": Term(
        phrase("Melamine"),
        phrase("Board with a hard, smooth coat that resin does not soak into: the usual form."),
    ),
    "microbubbles": Term(
        phrase("Microbubbles"),
        phrase("Air bubbles too fine to rise before the gel; they make a casting cloudy."),
    ),
    "moisture-content": Term(
        phrase("Moisture content"),
        phrase(
            "The water in wood, in percent of the dry wood's weight; too much makes bubbles and moves the wood later."
        ),
    ),
    "90-range": Term(
        phrase("90 % range"), phrase("From here to there the true value lies in nine cases of ten.")
    ),
    "override": Term(
        phrase("Exception"),
        phrase(
            "Somebody lets a point pass that stands in the way, by name and with a reason that the record keeps."
        ),
    ),
    "part-a-and-b": Term(
        phrase("Part A and part B"),
        phrase("The resin and its hardener, which cure only when they are mixed."),
    ),
    "peak": Term(phrase("Peak"), phrase("The hottest that the pour gets, and when.")),
    "post-cure": Term(
        phrase("Post-cure"),
        phrase("Warming a hard casting for some hours so that its cure goes on to the end."),
    ),
    "pot-life": Term(
        phrase("Pot life"),
        phrase("How long a stated mass of mix stays workable in its cup; a larger one sets sooner."),
    ),
    "probe": Term(phrase("Probe"), phrase("A thermometer in the pour, on it, below it or in the room.")),
    "ratio-by-volume": Term(
        phrase("Ratio by volume"),
        phrase("How many parts of A go with how many of B in a measuring jug; by weight it is another."),
    ),
    "ratio-by-weight": Term(
        phrase("Ratio by weight"),
        phrase("How many parts of A go with how many of B on a scale; by volume it is another."),
    ),
    "record": Term(
        phrase("Record"),
        phrase(
            "Everything that was planned, measured and done at a pour, with a seal that shows any later change."
        ),
    ),
    "relative-humidity": Term(
        phrase("Relative humidity"),
        phrase("How much of the water that air can hold at its temperature is in it."),
    ),
    "release-agent": Term(
        phrase("Release agent"), phrase("Wax or a spray on the form, so that the casting comes out of it.")
    ),
    "river": Term(phrase("River"), phrase("The strip of resin between two slabs.")),
    "runaway": Term(
        phrase("Runaway"),
        phrase("A cure that heats itself faster than the heat can leave: it may crack, smoke, boil or burn."),
    ),
    "safety-data-sheet": Term(
        phrase("Safety data sheet"),
        phrase(
            "The maker's paper on a product's dangers, protection and first aid; it goes before all that is said here."
        ),
    ),
    "seal": Term(
        phrase("Seal"),
        phrase(
            "A number worked out from the whole record when the pour is closed: any later change gives another."
        ),
    ),
    "seal-coat": Term(
        phrase("Seal coat"),
        phrase("A thin first coat on the wood, so that no air comes out of it into the pour."),
    ),
    "set": Term(phrase("Set"), phrase("Gelled: it no longer flows, and is not hard yet.")),
    "shelved": Term(
        phrase("Snoozed"),
        phrase(
            "An alarm that somebody has silenced for some hours, by name and with a reason; it comes back by itself."
        ),
    ),
    "shrinkage": Term(
        phrase("Shrinkage"),
        phrase("How much smaller a casting gets as it cures and cools; it pulls at the wood and can crack."),
    ),
    "slab": Term(phrase("Slab"), phrase("A thick board, cut along the whole trunk.")),
    "spread": Term(
        phrase("Spread"),
        phrase("The difference between core and surface: a wide one strains the casting while it cools."),
    ),
    "station": Term(
        phrase("Station"),
        phrase(
            "The small computer at the form that reads the probes, and keeps what it read when the network is down."
        ),
    ),
    "surface": Term(phrase("Surface"), phrase("The top of the pour, where the surface probe sits.")),
    "thermal-conductivity": Term(
        phrase("Thermal conductivity"),
        phrase("How easily heat goes through a material: little through wood and resin, much through metal."),
    ),
    "undercut": Term(
        phrase("Undercut"),
        phrase("A hollow below an edge: it traps air, and may hold the casting in its form."),
    ),
    "underside": Term(
        phrase("Underside"), phrase("The bottom of the form from outside, where the underside probe sits.")
    ),
    "viscosity": Term(
        phrase("Viscosity"), phrase("How thick a liquid is: how slowly it flows and lets bubbles go.")
    ),
    "vitrification": Term(
        phrase("Vitrification"),
        phrase(
            "The resin has become as hard as its own temperature allows: it cures on only when it gets warmer."
        ),
    ),
    "void": Term(phrase("Void"), phrase("A hole, knot or crack in the wood that is filled with resin.")),
    "working-time": Term(
        phrase("Working time"),
        phrase(
            "How long the mix can be poured and worked after its parts have met; in a full pail it is shorter."
        ),
    ),
}


@dataclass(frozen=True, slots=True)
class Listed:
    """A term as the page lists it, in words."""

    anchor: str
    word: str
    means: str


def listed(reader: Reader) -> list[tuple[str, list[Listed]]]:
    """Return every term in the alphabetical order of the reader's language, by first letter."""
    terms = [
        Listed(anchor, say(term.word, reader), say(term.means, reader)) for anchor, term in TERMS.items()
    ]
    by_letter: dict[str, list[Listed]] = {}
    for term in sorted(terms, key=lambda term: in_order(term.word, reader.language)):
        by_letter.setdefault(first_letter(term.word, reader.language), []).append(term)
    return list(by_letter.items())


def in_order(word: str, language: str) -> tuple[str, str]:
    """Return what a word is sorted by: without accents and capitals. Spanish ñ comes after n (RAE, Ortografía, 2010);
    German ä is sorted as a (DIN 5007-1).
    """
    lowered = word.casefold()
    if language == "es":
        lowered = lowered.replace("ñ", "n\uffff")
    bare = "".join(one for one in unicodedata.normalize("NFD", lowered) if not unicodedata.combining(one))
    return bare, word


def first_letter(word: str, language: str) -> str:
    """Return the letter below which a word is listed; "0–9" for a number."""
    if word[:1].casefold() == "ñ" and language == "es":
        return "Ñ"
    letter = in_order(word, language)[0][:1].upper()
    return "0–9" if letter.isdigit() else letter
