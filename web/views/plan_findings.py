"""A plan's findings as its page shows them: one that leads, the rest by what is to be done about them. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from logger.planning.finding import Constant, Finding, Light
from logger.planning.readiness import SigningPoint, Where
from logger.planning.verdict import Item, PlanVerdict
from logger.words.phrase import phrase

#: Topics about heat: where several things must change, one of these leads.
_HEAT = ("layers", "room")
#: Topic of a finding that no point has → where it is looked at; every other: on paper.
_PLACES = {
    "assumed": Where.FORM,
    "form": Where.FORM,
    "wood": Where.FORM,
    "sun": Where.FORM,
    "mixing": Where.BENCH,
    "volume": Where.BENCH,
    "colour": Where.BENCH,
    "heat tools": Where.BENCH,
}
_ASSUMED = "assumed"


@dataclass(frozen=True, slots=True)
class Entry:
    """What is done about one thing, or about several alike: their sentences, one change, its link, its sources.

    items: as the verdict counts them.
    """

    tone: str
    items: tuple[Item, ...]
    change: str = ""
    link: str = ""

    @property
    def constants(self) -> tuple[Constant, ...]:
        """What the sentences rest on, each once."""
        every = [constant for item in self.items if item.finding for constant in item.finding.constants]
        return tuple(dict.fromkeys(every))

    @property
    def keys(self) -> set[str]:
        """The keys of the findings."""
        return {item.finding.key for item in self.items if item.finding}


@dataclass(frozen=True, slots=True)
class Group:
    """Entries with one thing to do about them. folded: it asks for nothing."""

    name: str
    heading: str
    entries: tuple[Entry, ...]
    folded: bool = False

    @property
    def count(self) -> int:
        """How many things of the verdict it holds."""
        return sum(len(entry.items) for entry in self.entries)

    @property
    def constants(self) -> tuple[Constant, ...]:
        """What its sentences rest on, each once."""
        return tuple(dict.fromkeys(constant for entry in self.entries for constant in entry.constants))


@dataclass(frozen=True, slots=True)
class Findings:
    """main: what leads, with the verdict; None where nothing leads. groups: the rest, in order."""

    main: Entry | None
    groups: tuple[Group, ...]


@dataclass(slots=True)
class _Collector:
    """Gathers the items of one group, alike ones together."""

    link_of: Callable[[Item], str]
    tone: str = ""
    entries: dict[tuple[str, ...], list[Item]] = field(default_factory=dict)

    def add(self, item: Item) -> None:
        """Add an item to those that ask for the same, or that say the same."""
        key = item.finding.key if item.finding else item.points[0]
        alike = (key, item.change) if item.change else (item.sentence,)
        there = self.entries.setdefault(alike, [])
        there.append(item)

    def made(self) -> tuple[Entry, ...]:
        """Return the entries in the order in which they came."""
        return tuple(
            Entry(self.tone or items[0].light.value, tuple(items), items[0].change, self.link_of(items[0]))
            for items in self.entries.values()
        )


def arranged(
    verdict: PlanVerdict,
    fine: Sequence[Item],
    points: Sequence[SigningPoint],
    link_of: Callable[[Item], str],
    *,
    leads: bool = True,
    asked: str = "",
) -> Findings:
    """Return the findings as they are read. fine: what nothing is to be done about; leads: one stands with the verdict
    and so in no group; asked: the key of the finding that the page's question would answer.
    """
    where = {point.id: point.where for point in points}
    main = _main(verdict, fine, asked, link_of) if leads else None
    gathered: dict[str, _Collector] = {}

    def put(group: str, item: Item) -> None:
        if main is None or item not in main.items:
            gathered.setdefault(group, _Collector(link_of, _TONES.get(group, ""))).add(item)

    for item in verdict.stops:
        put("change", item)
    for item in verdict.passed:
        put("passed-by-name", item)
    for item in verdict.watches:
        put(f"check-{_where(item, where).value}", item)
    for item in fine:
        put("assumed" if item.finding and item.finding.topic == _ASSUMED else "passed", item)
    groups = tuple(
        Group(name, heading, gathered[name].made(), name in ("assumed", "passed"))
        for name, heading in _HEADINGS.items()
        if name in gathered
    )
    return Findings(main, groups)


#: Group → its heading, in the order in which they are read.
_HEADINGS = {
    "change": phrase("Change before pouring"),
    "passed-by-name": phrase("Signed exceptions"),
    "check-desk": phrase("Check on paper"),
    "check-bench": phrase("Check at the bench"),
    "check-form": phrase("Check at the form"),
    "assumed": phrase("What we assumed"),
    "passed": phrase("Checks passed"),
}
#: Group whose items have another tone than their light: somebody has answered for them.
_TONES = {"passed-by-name": "watch"}


def _main(
    verdict: PlanVerdict, fine: Sequence[Item], asked: str, link_of: Callable[[Item], str]
) -> Entry | None:
    """Return what the verdict hangs on: of the gravest, the first about heat, else what is asked, else the first; with
    it go those that ask for the same. Where nothing is to be done, that is the peak.
    """
    gravest = next((items for items in (verdict.stops, verdict.passed, verdict.watches) if items), ())
    if not gravest:
        peak = _first(fine, lambda finding: finding.key == "peak")
        return None if peak is None else Entry("ok", (peak,))
    main = (
        _first(gravest, lambda finding: finding.topic in _HEAT)
        or _first(gravest, lambda finding: finding.key == asked)
        or gravest[0]
    )
    collected = _Collector(link_of, "watch" if main in verdict.passed else "")
    for item in gravest:
        collected.add(item)
    return next(entry for entry in collected.made() if main in entry.items)


def _first(items: Sequence[Item], fits: Callable[[Finding], bool]) -> Item | None:
    """Return the first item whose finding fits."""
    return next((item for item in items if item.finding and fits(item.finding)), None)


def _where(item: Item, where: Mapping[str, Where]) -> Where:
    """Return where an item is looked at: as its topic says where that is the form of an assumption, else its point."""
    topic = item.finding.topic if item.finding else ""
    if topic == _ASSUMED or not item.points:
        return _PLACES.get(topic, Where.DESK)
    return where.get(item.points[0], Where.DESK)


def fine_items(findings: Sequence[Finding]) -> list[Item]:
    """Return the findings that nothing is to be done about, as items."""
    return [Item(f.light, f.sentence, f.change, (), f) for f in findings if f.light is Light.OK]
