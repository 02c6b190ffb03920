"""Wood species: shrinkage, movement and density, each figure with its source.

Shrinkage green to oven-dry in % of the green size (radial, tangential, volumetric): Glass & Zelinka 2010, Wood
Handbook FPL-GTR-190, Table 4-3. Movement per % moisture between 6 and 14 %: the same handbook, Table 13-5.
Basic specific gravity, oven-dry mass over green volume: U.S. Forest Service, Forest Inventory and Analysis, reference
table of species. Shrinkage of red oak is from memory; hard maple's is what the movement of Table 13-5 asks for (closed
form below). Red oak's two tables are different data groups: its movement is not to be computed from its shrinkage.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.errors import BadInput
from logger.facts import fact
from logger.planning import works

DERIVED = fact("source.derived-from-shrinkage")


@dataclass(frozen=True, slots=True)
class Species:
    """One species. Shrinkage in %, movement per % of moisture, basic specific gravity without unit."""

    name: str
    radial_pct: float
    tangential_pct: float
    volume_pct: float
    basic_gravity: float
    radial_move: float | None = None
    tangential_move: float | None = None

    def movement(self, cut: str) -> tuple[float, str]:
        """(movement per % of moisture across the slab, source); flat-sawn moves tangentially."""
        listed = self.tangential_move if cut == "flat" else self.radial_move
        if listed is not None:
            return listed, works.WOOD_TABLE_13_5
        shrinkage = self.tangential_pct if cut == "flat" else self.radial_pct
        return movement_from_shrinkage(shrinkage), DERIVED


def movement_from_shrinkage(shrinkage_pct: float) -> float:
    """Movement per % of moisture from the shrinkage green to oven-dry: (S/3000) / (1 − S (20/30)/100)."""
    return shrinkage_pct / 3000 / (1 - shrinkage_pct * (20 / 30) / 100)


_SPECIES = (
    Species("black walnut", 5.5, 7.8, 12.8, 0.51, 0.00190, 0.00274),
    Species("white ash", 4.9, 7.8, 13.3, 0.55, 0.00169, 0.00274),
    Species("black cherry", 3.7, 7.1, 11.5, 0.47, 0.00126, 0.00248),
    Species("white oak", 5.6, 10.5, 16.3, 0.60, 0.00180, 0.00365),
    Species("red oak", 4.0, 8.6, 13.7, 0.56, 0.00158, 0.00369),
    Species("American beech", 5.5, 11.9, 17.2, 0.56, 0.00190, 0.00431),
    Species("yellow birch", 7.3, 9.5, 16.8, 0.55),
    Species("hard maple", 4.8, 9.9, 14.7, 0.56, 0.00165, 0.00353),
    Species("American elm", 4.2, 9.5, 14.6, 0.46),
    Species("yellow-poplar", 4.6, 8.2, 12.7, 0.40),
    Species("western redcedar", 2.4, 5.0, 6.8, 0.31),
    Species("eastern redcedar", 3.1, 4.7, 7.8, 0.44),
    Species("Douglas-fir", 4.8, 7.6, 12.4, 0.45),
)
_BY_NAME = {species.name.lower(): species for species in _SPECIES}
_OTHER_NAMES = {
    "walnut": "black walnut",
    "ash": "white ash",
    "cherry": "black cherry",
    "oak": "white oak",
    "beech": "american beech",
    "birch": "yellow birch",
    "maple": "hard maple",
    "sugar maple": "hard maple",
    "elm": "american elm",
    "poplar": "yellow-poplar",
    "tulipwood": "yellow-poplar",
    "douglas fir": "douglas-fir",
    "northern red oak": "red oak",
    "cedar": "western redcedar",
}


#: Every name that a species is known by.
NAMES = frozenset({*(species.name for species in _SPECIES), *_OTHER_NAMES, *_OTHER_NAMES.values()})


def species_names() -> list[str]:
    """Names of the species that are known, for a page's list."""
    return [species.name for species in _SPECIES]


def find_species(name: str) -> Species:
    """Return the species of that name, in any case. Raises BadInput naming the known ones."""
    key = name.strip().lower()
    species = _BY_NAME.get(_OTHER_NAMES.get(key, key))
    if species is None:
        raise BadInput(
            fact("quantity.species"),
            fact("not-in-table"),
            value=name,
            allowed=fact("one-of-names", names=", ".join(species_names())),
            remedy=fact("mend.take-nearest-relative"),
        )
    return species
