"""Panels of a form: how stiff they are, how they creep, and which of them resin sticks to.

Every figure names its source. Figures marked "from memory" must be checked against the panel's own data sheet
before anybody relies on them; a plan can give its own modulus.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from logger.errors import BadInput
from logger.facts import Fact, fact
from logger.planning import works
from logger.planning.finding import FROM_MEMORY, PLAN, Constant, within
from logger.quantities import hours_alone, temperature

FINNISH_PLYWOOD = fact("source.work-from-memory", work=works.FINNISH_PLYWOOD)
EN_12369 = fact("source.en-12369")


@dataclass(frozen=True, slots=True)
class PanelMaterial:
    """A panel material. `creep` multiplies the sag of the first minutes over one to three days of load.

    remedy: what makes it let go; lets_go: that it does by itself; None for a material to which resin sticks.
    """

    name: str
    modulus_gpa: float
    source: str
    creep: float
    creep_source: str
    remedy: Fact
    lets_go: Fact | None = None

    @property
    def sticks(self) -> bool:
        """Whether resin sticks to it."""
        return self.lets_go is None


_SLOW = fact("source.creep-common-practice")
_RAW = fact("tape-panel-all-over")
_TAPE = fact("tape-panel")
_PANELS = (
    # birch plywood along the face grain, OSB the weaker mills along: the lower end on purpose
    PanelMaterial("birch plywood", 9.0, FINNISH_PLYWOOD, 1.2, _SLOW, _RAW),
    PanelMaterial("OSB", 4.41, works.WOOD_TABLE_12_3, 1.4, _SLOW, _RAW),
    PanelMaterial("particleboard", 2.5, EN_12369, 1.5, _SLOW, _RAW),
    PanelMaterial(
        "melamine", 2.5, fact("source.particleboard-core"), 1.5, _SLOW, fact("tape-or-wax-melamine")
    ),
    PanelMaterial("MDF", 2.5, fact("source.en-622-5"), 1.5, _SLOW, _RAW),
    # creep is in the modulus, which depends on the hours under load
    PanelMaterial(
        "HDPE", 0.396, works.PE_PIPE, 1.0, fact("source.creep-in-modulus"), _TAPE, fact("hdpe-lets-go")
    ),
    PanelMaterial("polypropylene", 0.9, FROM_MEMORY, 1.5, _SLOW, _TAPE, fact("polypropylene-lets-go")),
    PanelMaterial("acrylic", 2.9, works.CALLISTER, 1.2, _SLOW, fact("tape-acrylic")),
    PanelMaterial("glass", 70.0, works.GLASS, 1.0, fact("source.glass-does-not-creep"), _TAPE),
    PanelMaterial("aluminium", 69.0, works.ALUMINIUM, 1.0, fact("source.does-not-creep"), _TAPE),
    PanelMaterial(
        "silicone", 0.005, FROM_MEMORY, 1.0, fact("source.lies-on-panel"), _TAPE, fact("silicone-lets-go")
    ),
)
_BY_NAME = {panel.name.lower(): panel for panel in _PANELS}
_OTHER_NAMES = {
    "plywood": "birch plywood",
    "chipboard": "particleboard",
    "coated particleboard": "melamine",
    "melamine-faced particleboard": "melamine",
    "polyethylene": "hdpe",
    "osb/3": "osb",
    "pp": "polypropylene",
}

#: Every name that a panel is known by.
NAMES = frozenset({*(panel.name for panel in _PANELS), *_OTHER_NAMES, *_OTHER_NAMES.values()})

#: Apparent modulus of PE3xxx at 23 °C against hours of load, GPa (Handbook of PE Pipe, Table B.1.1).
PE3_MODULUS_GPA = ((0.5, 0.538), (2.0, 0.490), (12.0, 0.414), (100.0, 0.359), (8760.0, 0.262))
#: Factor on a polyethylene modulus against temperature, °C (Handbook of PE Pipe, Table B.1.2, 73, 100 and 140 °F; from
#: memory). A public table of short-term moduli gives 0.45 at 140 °F; 0.5 there is the factor on pressure.
PE_WARM = ((23.0, 1.0), (37.8, 0.73), (60.0, 0.43))


def panel_names() -> list[str]:
    """Names of the panels that are known, for a page's list."""
    return [panel.name for panel in _PANELS]


#: What a known panel is called in a sentence.
_LABELS = {
    "birch plywood": fact("panel.birch-plywood"),
    "OSB": fact("panel.osb"),
    "particleboard": fact("panel.particleboard"),
    "melamine": fact("panel.melamine"),
    "MDF": fact("panel.mdf"),
    "HDPE": fact("panel.hdpe"),
    "polypropylene": fact("panel.polypropylene"),
    "acrylic": fact("panel.acrylic"),
    "glass": fact("panel.glass"),
    "aluminium": fact("panel.aluminium"),
    "silicone": fact("panel.silicone"),
}


def panel_label(name: str) -> str:
    """Return what a panel is called: a fact for one that is known by that very name, else as somebody typed it."""
    return _LABELS.get(name.strip(), name)


def find_panel(name: str) -> PanelMaterial:
    """Return the panel of that name, in any case. Raises BadInput naming the known ones."""
    key = name.strip().lower()
    panel = _BY_NAME.get(_OTHER_NAMES.get(key, key).lower())
    if panel is None:
        raise BadInput(
            fact("quantity.panel"),
            fact("no-known-material"),
            value=name,
            allowed=fact("one-of-names", names=", ".join(panel_names())),
            remedy=fact("mend.use-name-or-give-stiffness"),
        )
    return panel


def softens(name: str) -> bool:
    """Whether a panel's modulus is that of a plastic at 23 °C, for which no figures of a warmer one are at hand."""
    return find_panel(name).name in {"polypropylene", "acrylic", "silicone"}


def hdpe_modulus_gpa(hours_loaded: float, panel_c: float = 23.0) -> float:
    """Apparent modulus of HDPE (PE3) after some hours of load, GPa: straight between table rows in log time."""
    hours = within("hours_loaded", hours_loaded, 0.5, 8760, "h", fact("mend.give-load-time"))
    within(
        fact("quantity.panel-temperature"),
        panel_c,
        -20,
        60,
        "°C",
        fact("mend.hdpe-not-stiff", above=temperature(60, 0)),
    )
    rows = [(math.log(h), e) for h, e in PE3_MODULUS_GPA]
    return _straight(rows, math.log(hours)) * _straight(list(PE_WARM), max(panel_c, 23.0))


def _straight(rows: list[tuple[float, float]], at: float) -> float:
    """Between the two rows around `at`; the end rows beyond."""
    if at <= rows[0][0]:
        return rows[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(rows):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return rows[-1][1]


def stiffness(
    name: str, hours_loaded: float, panel_c: float, modulus_gpa: float | None, creep: float | None
) -> tuple[Constant, Constant]:
    """(modulus, creep factor) of a bottom panel, each with its source. Raises BadInput for an unknown one."""
    creep_name = fact("constant.creep-factor")
    if modulus_gpa is not None:
        factor = Constant(creep_name, creep or 1.0, "", PLAN if creep else fact("source.no-creep"))
        return Constant(_modulus_of(name), modulus_gpa, "GPa", PLAN), factor
    panel = find_panel(name)
    if panel.name == "HDPE":
        value = hdpe_modulus_gpa(hours_loaded, panel_c)
        loaded = fact(
            "constant.modulus-of-hdpe", hours=hours_alone(hours_loaded), panel=temperature(panel_c, 0)
        )
        modulus = Constant(loaded, value, "GPa", works.PE_PIPE)
    else:
        modulus = Constant(_modulus_of(panel.name), panel.modulus_gpa, "GPa", panel.source)
    if creep is not None:
        return modulus, Constant(creep_name, creep, "", PLAN)
    return modulus, Constant(creep_name, panel.creep, "", panel.creep_source)


def _modulus_of(panel: str) -> Fact:
    return fact("constant.modulus-of-panel", panel=panel_label(panel))
