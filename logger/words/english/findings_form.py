"""Findings on the form: sag, walls, floating slabs, seams, what the resin touches."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "support-unknown": "The plan does not say what the bottom panel rests on.",
    "give-support": "Give the free span between two supports, how many there are, and what the panel is made of.",
    "panel-far-too-weak": "{thickness} {panel} over {span} is far too weak: by the formula it would sag by more than "
    "half its thickness.",
    "panel-sags": "{thickness} {panel} over {span} sags {sag}; the belly takes {belly} of resin.",
    "panel-softer-warm": "That is its stiffness at room temperature: under this pour it gets {panel}, and softer. Take "
    "its modulus at that temperature from its maker.",
    "closer-supports-or-thicker-panel": "Put supports every {apart} or closer, or use a panel of {panel} or more; "
    "predict again with it, it keeps more heat in.",
    "closer-supports-not-thicker-panel": "Put supports every {apart} or closer. A panel of {panel} would bear it, but "
    "keep so much heat in that it may reach {peak}.",
    "walls-pushed": "Each metre of wall is pushed out with {force}, a third of the way up; brace and seal it for that.",
    "slabs-stay-down": "The slabs are heavier than the resin they push away.",
    "slabs-held": "If resin gets under them, the slabs pull up with {force} (like {weight} lifting). The clamps hold "
    "{held}.",
    "slabs-may-float": "If resin gets under them, the slabs pull up with {force} (like {weight} lifting). The clamps "
    "hold {held} of the {needed} needed.",
    "clamp-slabs": Plural(
        "Use {n} clamp of {force} or more, put supports under it, and seal the slabs' undersides.",
        "Use {n} clamps of {force} or more, put supports under them, and seal the slabs' undersides.",
        "n",
    ),
    "seams-not-checked": "The seams have not been checked.",
    "check-seams": "Seal every seam, look for light through it with a lamp below, and say here that it is done.",
    "gap-loses": "A gap of {gap} over {seam} loses {flow} a minute.",
    "gap-empties-half": "A gap of {gap} over {seam} loses {flow} a minute; half the pour would be gone in {half}.",
    "test-seams": "Test the seams with a lamp below or a thin first pour, and close what shows.",
    "seal-seams": "Seal every seam with silicone or hot glue and tape: twice the gap leaks eight times as fast.",
    "face-unknown": "The plan does not say what the resin touches.",
    "say-face": "Say what the resin touches, and whether it is taped or waxed.",
    "face-taped": "The form will let go: {panel} is taped or waxed.",
    "face-sticks": "Resin sticks to bare {panel} ({source}).",
    "tape-panel-all-over": "Tape it all over, or lay polyethylene sheet, and add release.",
    "tape-panel": "Tape it or use release.",
    "tape-or-wax-melamine": "Tape it or wax it: melamine lets go only with tape or release.",
    "tape-acrylic": "Tape it or use release; resin bonds to acrylic.",
    "hdpe-lets-go": "The form will let go: bare HDPE does. Scuffed or flame-marked places hold, so look it over.",
    "polypropylene-lets-go": "The form will let go: bare polypropylene does.",
    "panel.birch-plywood": "birch plywood",
    "panel.osb": "OSB",
    "panel.particleboard": "particleboard",
    "panel.melamine": "melamine",
    "panel.mdf": "MDF",
    "panel.hdpe": "HDPE",
    "panel.polypropylene": "polypropylene",
    "panel.acrylic": "acrylic",
    "panel.glass": "glass",
    "panel.aluminium": "aluminium",
    "panel.silicone": "silicone",
    "silicone-lets-go": "The form will let go: silicone does.",
}
