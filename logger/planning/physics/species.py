"""Wood species: shrinkage, movement and density, each figure with its source.

Shrinkage green to oven-dry in % of the green size (radial, tangential, volumetric): Glass & Zelinka 2010, Wood
Handbook FPL-GTR-190, Table 4-3; European woods, by genus: Hoadley 1998, Table 1. Movement per % moisture between 6 and
14 %: the handbook, Table 13-5, else derived from the shrinkage.
Basic specific gravity, oven-dry mass over green volume: U.S. Forest Service, Forest Inventory and Analysis, reference
table of species. Shrinkage of red oak is from memory; hard maple's is what the movement of Table 13-5 asks for (closed
form below). Red oak's two tables are different data groups: its movement is not to be computed from its shrinkage.
European woods have theirs from the density at 12 % moisture (EN 350, from memory).

A wood is known by its botanical name too: "oak" or "beech" alone is another tree on either side of the Atlantic.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.errors import BadInput
from logger.facts import fact
from logger.planning import works

DERIVED = fact("source.derived-from-shrinkage")
DERIVED_BY_GENUS = fact("source.derived-from-shrinkage-of-genus", work=works.HOADLEY_1)


@dataclass(frozen=True, slots=True)
class Species:
    """One species. Shrinkage in %, movement per % of moisture, basic specific gravity without unit.

    botanical: its names in botany, the first the usual one. volume_pct: None where the source has none. european: its
    shrinkage is that of its genus, after Hoadley.
    """

    name: str
    botanical: tuple[str, ...]
    radial_pct: float
    tangential_pct: float
    volume_pct: float | None
    basic_gravity: float
    radial_move: float | None = None
    tangential_move: float | None = None
    european: bool = False

    def movement(self, cut: str) -> tuple[float, str]:
        """(movement per % of moisture across the slab, source); flat-sawn moves tangentially."""
        listed = self.tangential_move if cut == "flat" else self.radial_move
        if listed is not None:
            return listed, works.WOOD_TABLE_13_5
        shrinkage = self.tangential_pct if cut == "flat" else self.radial_pct
        derived = DERIVED_BY_GENUS if self.european else DERIVED
        return movement_from_shrinkage(shrinkage), derived


def movement_from_shrinkage(shrinkage_pct: float) -> float:
    """Movement per % of moisture from the shrinkage green to oven-dry: (S/3000) / (1 − S (20/30)/100)."""
    return shrinkage_pct / 3000 / (1 - shrinkage_pct * (20 / 30) / 100)


def gravity_from_density(density_at_12_kg_m3: float) -> float:
    """Return the basic specific gravity from the density at 12 % moisture: eqs. 4-9, 4-10 and 4-12 turned round."""
    at_12 = density_at_12_kg_m3 / 1000 / 1.12
    # G₁₂ = G_b / (1 − 0.265 G_b (30 − 12)/30)
    return at_12 / (1 + 0.265 * 0.6 * at_12)


def _european(
    name: str,
    botanical: tuple[str, ...],
    radial_pct: float,
    tangential_pct: float,
    density_at_12_kg_m3: float,
) -> Species:
    return Species(
        name,
        botanical,
        radial_pct,
        tangential_pct,
        None,
        gravity_from_density(density_at_12_kg_m3),
        european=True,
    )


_SPECIES = (
    Species("black walnut", ("Juglans nigra",), 5.5, 7.8, 12.8, 0.51, 0.00190, 0.00274),
    Species("white ash", ("Fraxinus americana",), 4.9, 7.8, 13.3, 0.55, 0.00169, 0.00274),
    Species("black cherry", ("Prunus serotina",), 3.7, 7.1, 11.5, 0.47, 0.00126, 0.00248),
    Species("white oak", ("Quercus alba",), 5.6, 10.5, 16.3, 0.60, 0.00180, 0.00365),
    Species("red oak", ("Quercus rubra",), 4.0, 8.6, 13.7, 0.56, 0.00158, 0.00369),
    Species("American beech", ("Fagus grandifolia",), 5.5, 11.9, 17.2, 0.56, 0.00190, 0.00431),
    Species("yellow birch", ("Betula alleghaniensis",), 7.3, 9.5, 16.8, 0.55),
    Species("hard maple", ("Acer saccharum",), 4.8, 9.9, 14.7, 0.56, 0.00165, 0.00353),
    Species("American elm", ("Ulmus americana",), 4.2, 9.5, 14.6, 0.46),
    Species("yellow-poplar", ("Liriodendron tulipifera",), 4.6, 8.2, 12.7, 0.40),
    Species("western redcedar", ("Thuja plicata",), 2.4, 5.0, 6.8, 0.31),
    Species("eastern redcedar", ("Juniperus virginiana",), 3.1, 4.7, 7.8, 0.44),
    Species("Douglas-fir", ("Pseudotsuga menziesii",), 4.8, 7.6, 12.4, 0.45),
    _european("European oak", ("Quercus robur", "Quercus petraea"), 5.2, 10.2, 710),
    _european("European beech", ("Fagus sylvatica",), 5.8, 11.8, 710),
    _european("European ash", ("Fraxinus excelsior",), 5.2, 8.3, 700),
    _european("European walnut", ("Juglans regia",), 4.3, 6.4, 670),
    _european("sweet chestnut", ("Castanea sativa",), 4.0, 6.8, 590),
    _european("wild cherry", ("Prunus avium",), 4.2, 7.8, 610),
    _european("sycamore maple", ("Acer pseudoplatanus",), 4.2, 8.8, 640),
    _european("European elm", ("Ulmus glabra", "Ulmus minor", "Ulmus laevis"), 5.2, 9.1, 650),
    _european("European lime", ("Tilia cordata", "Tilia platyphyllos"), 6.8, 9.5, 540),
    _european("European poplar", ("Populus nigra", "Populus alba"), 3.4, 8.5, 440),
    _european("common alder", ("Alnus glutinosa",), 4.4, 7.3, 530),
    _european("Scots pine", ("Pinus sylvestris",), 4.0, 7.7, 520),
    _european("European larch", ("Larix decidua",), 3.3, 7.8, 600),
    _european("Norway spruce", ("Picea abies",), 3.6, 7.4, 460),
)
_BY_NAME = {species.name.lower(): species for species in _SPECIES} | {
    name.lower(): species for species in _SPECIES for name in species.botanical
}
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
    "chestnut": "sweet chestnut",
    "european cherry": "wild cherry",
    "lime": "european lime",
    "linden": "european lime",
    "alder": "common alder",
    "larch": "european larch",
}


#: Every name that a species is known by.
NAMES = frozenset(
    {
        *(name for species in _SPECIES for name in (species.name, *species.botanical)),
        *_OTHER_NAMES,
        *_OTHER_NAMES.values(),
    }
)


def species_names() -> list[str]:
    """Names of the species that are known, for a page's list."""
    return [species.name for species in _SPECIES]


def names_offered() -> list[str]:
    """Every name of a species that a page offers while one types: the trade's, then the botanical ones."""
    return [*species_names(), *(name for species in _SPECIES for name in species.botanical)]


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
