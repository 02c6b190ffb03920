"""When the mix stops being a liquid: the gel point, from how many reactive places each molecule has.

Flory 1953, Principles of Polymer Chemistry, ch. 9, and Stockmayer 1952, J. Polym. Sci. 9:69 (citation of the
second from memory): an ideal network gels where  p_epoxide · p_amine · (f_E − 1)(f_A − 1) = 1.
Real mixes close rings and gel somewhat later, so this is the earliest gel and is told with "about".
"""

from __future__ import annotations

import math

from logger.arrays import Floats
from logger.cure.model.crossing import first_crossing
from logger.errors import OutOfRange

#: Reactive places per molecule: a diepoxide, a diamine with four hydrogens.
DIEPOXIDE = 2.0
DIAMINE = 4.0
#: Where a gel has been reported, on the late side of theory (Abali et al. 2021, Polym. Test.).
LATEST_REPORTED_GEL = 0.70


def gel_conversion(
    ratio: float = 1.0, epoxide_places: float = DIEPOXIDE, amine_places: float = DIAMINE
) -> float | None:
    """Conversion of the epoxide at the earliest gel, or None where this mix never gels.

    ratio: amine hydrogens per epoxide group, 1 = the right mix, above 1 = too much hardener.
    epoxide_places, amine_places: reactive places per molecule (fractions are means over a blend).
    p_E = sqrt[ratio / ((f_E − 1)(f_A − 1))]; it must not exceed what the scarcer side allows, min(1, ratio),
    so a diepoxide with a diamine gels only for ratios from 1/3 to 3. Raises OutOfRange.
    """
    if not (math.isfinite(ratio) and ratio > 0):
        raise OutOfRange(
            "ratio",
            "is no mix",
            value=ratio,
            allowed="above 0",
            remedy="give amine hydrogens per epoxide group; 1 is the right mix",
        )
    for name, places in (("epoxide_places", epoxide_places), ("amine_places", amine_places)):
        if not 1 <= places <= 20:
            raise OutOfRange(
                name,
                "is no number of reactive places",
                value=places,
                allowed="1 to 20",
                remedy="2 for a diepoxide, 4 for a diamine, 5 or 6 for a polyamine",
            )
    branching = (epoxide_places - 1.0) * (amine_places - 1.0)
    if branching <= 0:
        return None
    at_gel = math.sqrt(ratio / branching)
    # At the very edge of the range the two are equal; the rounding of a square root must not decide.
    return at_gel if at_gel <= min(1.0, ratio) * (1.0 + 1e-12) else None


def gel_of_scarcer(
    ratio: float = 1.0, epoxide_places: float = DIEPOXIDE, amine_places: float = DIAMINE
) -> float | None:
    """The same gel point as conversion of the scarcer side, which is what the cure model counts.

    With too little hardener the scarcer side is the amine, and its conversion at gel is higher.
    """
    epoxide = gel_conversion(ratio, epoxide_places, amine_places)
    return None if epoxide is None else min(1.0, epoxide / min(1.0, ratio))


def gel_at_h(hours: Floats, conversion: Floats, gel: float | None) -> float | None:
    """First hour at which the conversion (same shape as hours) reaches the gel point; None if it never does."""
    if gel is None:
        return None
    return first_crossing(hours, conversion, gel)


def gel_message(ratio: float = 1.0, gelled_h: float | None = None) -> str:
    """The gel point as a sentence for the maker; it says "about", because theory gives only the earliest."""
    gel = gel_of_scarcer(ratio)
    if gel is None:
        return (
            f"At {ratio:.2f} amine hydrogens per epoxide this mix never gels (it gels between 1/3 and 3): "
            "it stays a syrup. Check the ratio before pouring."
        )
    percent = f"about {100 * gel:.0f} % conversion at the earliest"
    if gelled_h is None:
        return f"Gels at {percent}; a real resin gels somewhat later."
    return f"Gels after about {gelled_h:.1f} h ({percent}; a real resin gels somewhat later)."
