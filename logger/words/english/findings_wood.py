"""Findings on the slabs: moisture, movement, species, bark, seal coat."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "slabs-missing": "The plan names no slabs.",
    "name-slabs": "Name each slab, with its wood and its moisture readings.",
    "slab-not-measured": '"{slab}" has not been measured for moisture.',
    "measure-slab": "Measure it in six places, also deep in the middle.",
    "slab-moisture": Plural(
        '"{slab}" measures {moisture} ({n} reading, spread {spread}).',
        '"{slab}" measures {moisture} ({n} readings, spread {spread}).',
        "n",
    ),
    "slab-too-damp": Plural(
        '"{slab}" measures {moisture} ({n} reading, spread {spread}). That is too damp for resin: it will bubble, '
        "let go and move.",
        '"{slab}" measures {moisture} ({n} readings, spread {spread}). That is too damp for resin: it will bubble, '
        "let go and move.",
        "n",
    ),
    "dry-slab": "Dry it to {low} to {high}, then measure it again.",
    "slab-a-little-damp": "A little damp: let it dry in the shop.",
    "slab-very-dry": "Very dry: it will take up water and swell. Let it rest in the shop's air.",
    "moisture-readings-apart": "The readings are far apart: a wet core or a bad place. Take more, and deeper.",
    "moisture-readings-few": "Too few readings: take six or more.",
    "pin-meter-guesses": "Below {below} a pin meter only guesses.",
    "meter-set-to-other-wood": "The meter was set to {set_to}, not {species}: set it right and measure again.",
    "slab-settles": 'In the shop\'s air "{slab}" would settle at {moisture} moisture.',
    "slab-settles-swells": 'In the shop\'s air "{slab}" would settle at {moisture} moisture. On its way it swells by '
    "{change} across {width}; if it is held, up to {stress} at the resin line.",
    "slab-settles-shrinks": 'In the shop\'s air "{slab}" would settle at {moisture} moisture. On its way it shrinks by '
    "{change} across {width}; if it is held, up to {stress} at the resin line.",
    "slab-settles-opens": 'In the shop\'s air "{slab}" would settle at {moisture} moisture. On its way it shrinks by '
    "{change} across {width}; if it is held, up to {stress} at the resin line, more than wood bears across the grain: "
    "a gap or a split.",
    "movement-outside-range": "This is rough: how wood moves is measured from {low} to {high} moisture, and this goes "
    "beyond.",
    "let-slab-rest": "Let it rest in the shop until its weight stays the same.",
    "let-slab-rest-or-hold-humidity": "Let it rest in the shop until its weight stays the same, or hold the room at "
    "{humidity} humidity.",
    "species-unknown": '"{species}" is not in the table of species: its movement is unknown.',
    "name-relative-species": "Name the nearest relative in the table, and weigh the slab for its density.",
    "slab-source-unknown": 'Where "{slab}" comes from, or how it was dried, is not noted.',
    "note-slab-source": "Note the source and whether it was kiln-dried or air-dried: the next one must be as good.",
    "slab-bark-on": '"{slab}" still has bark: resin would bond to the bark, not to the wood.',
    "slab-bark-off": '"{slab}": bark and loose skin are off.',
    "take-bark-off": "Take off bark and loose skin down to sound wood, brush the edge and blow it out.",
    "seal-coat-missing": '"{slab}" gets no seal coat: air from the pores will rise as bubbles.',
    "brush-seal-coat": "Brush a thin coat on edges and end grain, and pour while it is tacky.",
    "seal-coat-cures-first": '"{slab}": the seal coat cures before the pour. Scuff it and wipe it then.',
    "seal-coat-cures-first-hours": '"{slab}": the seal coat cures before the pour. Scuff it and wipe it then. By the '
    "model that takes about {hours} in this room.",
    "seal-coat-tacky": '"{slab}": brush the seal coat and pour while it is tacky.',
    "seal-coat-tacky-from": '"{slab}": brush the seal coat (about {coat} on one long edge) and pour from about {opens} '
    "after it; later, scuff.",
    "seal-coat-tacky-between": '"{slab}": brush the seal coat (about {coat} on one long edge) and pour from about '
    "{opens} to about {closes} h after it; later, scuff.",
    "test-seal-coat": "Wood and air change a thin coat: test it with a gloved finger, and see its own datasheet if it "
    "is another resin.",
}
