"""A page and its API twin keep one rule: the same deed in each stage is taken by both or refused by both, and leaves
the same events behind. Nothing outside the project says what may be done when: the two are judged by each other."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from PIL import Image

from logger.pour import FOLLOWS, Stage
from logger.store import alarms, events, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.actions import readiness

Ask = tuple[str, str, dict[str, Any]]  #: method, path, and what httpx takes beside them


def _photo() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (32, 24), "peru").save(made, "PNG")
    return made.getvalue()


#: The stages through which a pour gets to one.
WAY_TO = {
    stage: list(Stage)[1 : number + 1] for number, stage in enumerate(Stage) if stage is not Stage.SPOILED
} | {Stage.SPOILED: [Stage.SPOILED]}
PHOTO = {"photo": ("photo.png", _photo(), "image/png")}


@dataclass(frozen=True)
class Deed:
    """One thing that somebody does: as a form, and as a program's call."""

    name: str
    page: Ask
    api: Ask


def form(path: str, **data: Any) -> Ask:
    """A page's form."""
    return "POST", path, {"data": data}


def call(path: str, method: str = "POST", **body: Any) -> Ask:
    """A program's call."""
    return method, path, {"json": body}


def deeds(pour: int, plan_toml: str, point: str) -> Iterator[Deed]:
    """What can be done to a pour by page and by API, with what is right and what is wrong, but for its stages."""
    page, api = f"/pours/{pour}", f"/api/pours/{pour}"
    for finding, text in (("dry", "all well"), ("leaking", "left corner"), ("fine", "")):
        yield Deed(
            f"look {finding}",
            form(f"{page}/looks", finding=finding, text=text),
            call(f"{api}/looks", finding=finding, text=text),
        )
    for text, reason in (("a knot shows", ""), ("a knot shows", "seen later"), ("  ", "seen later")):
        yield Deed(
            f"note {text!r} {reason!r}",
            form(f"{page}/notes", text=text, reason=reason),
            call(f"{api}/notes", text=text, reason=reason),
        )
    for person, reason in (
        ("Ben", "cold to the hand on all sides"),
        ("Ben", "cold"),
        (" ", "cold to the hand, all over"),
    ):
        yield Deed(
            f"exception {person!r} {reason!r}",
            form(f"{page}/ending", person=person, reason=reason),
            call(f"{api}/ending/exception", person=person, reason=reason),
        )
    for litres in (12.0, 0.0):
        yield Deed(
            f"poured {litres}",
            form(f"{page}/measured", poured=f"{litres}"),
            call(f"{api}/poured", litres=litres),
        )
    for mm in (1.5, -3.5, 5000.0):
        yield Deed(f"level {mm}", form(f"{page}/measured", level=f"{mm}"), call(f"{api}/level", level_mm=mm))
    for name in (point, "no-such-point"):
        for act in ("sign", "unsign"):
            yield Deed(
                f"{act} {name}",
                form(f"{page}/ready/{act}", point=name, person="Ben"),
                call(f"{api}/ready/{act}", point=name, person="Ben"),
            )
        for reason in ("it is only a test piece", " "):
            yield Deed(
                f"override {name} {reason!r}",
                form(f"{page}/ready/override", point=name, person="Ben", reason=reason),
                call(f"{api}/ready/override", point=name, person="Ben", reason=reason),
            )
    for name, text in (
        ("the same plan", plan_toml),
        ("another plan", plan_toml.replace("depth_mm = 40", "depth_mm = 38")),
        ("no plan", plan_toml.replace("depth_mm = 40", "depth_mm = -40")),
    ):
        yield Deed(name, form(f"{page}/plan", plan_toml=text), call(f"{api}/plan", "PUT", plan_toml=text))
    for reason in ("", "found later"):
        for state in ("good", "splendid"):
            yield Deed(
                f"outcome {state} {reason!r}",
                form(f"{page}/record/outcome", state=state, reason=reason),
                call(f"{api}/outcome", state=state, reason=reason),
            )
        for value in ("let go all around", " "):
            yield Deed(
                f"test {value!r} {reason!r}",
                form(f"{page}/record/test", what="release", value=value, reason=reason),
                call(f"{api}/tests", what="release", value=value, reason=reason),
            )
        for kg in (1.25, 0.0):
            yield Deed(
                f"lot {kg} {reason!r}",
                form(f"{page}/record/lot", product="P", part="A", lot="L-1", kg=f"{kg}", reason=reason),
                call(f"{api}/lots", product="P", part="A", lot="L-1", kg=kg, reason=reason),
            )
        for number in (2, 1):
            yield Deed(
                f"layer {number} {reason!r}",
                form(f"{page}/record/layer", number=f"{number}", reason=reason),
                call(f"{api}/layers", number=number, reason=reason),
            )
        about = {"text": "the left side", "reason": reason}
        yield Deed(
            f"photo {reason!r}",
            ("POST", f"{page}/photos", {"data": about, "files": PHOTO}),
            ("POST", f"{api}/photos", {"data": about, "files": PHOTO}),
        )
    for name in (point, "no-such-point"):
        about = {"point": name}
        yield Deed(
            f"photo of {name}",
            ("POST", f"{page}/ready/photo", {"data": about, "files": PHOTO}),
            ("POST", f"{api}/photos", {"data": about, "files": PHOTO}),
        )


def steps(pour: int) -> Iterator[tuple[Stage, Deed]]:
    """Every stage to which somebody may want to take a pour, with a word and without."""
    for stage in Stage:
        for text in ("", "said why"):
            yield (
                stage,
                Deed(
                    f"to {stage} {text!r}",
                    form(f"/pours/{pour}/stage", to=str(stage), text=text),
                    call(f"/api/pours/{pour}/stage", to=str(stage), text=text),
                ),
            )


class Both:
    """A workshop in which everything is done twice: to one pour by page, to its twin by API."""

    def __init__(self, maker: Any, shop: Any, plan_toml: str) -> None:
        self._maker, self.shop, self._plan = maker, shop, plan_toml
        self._sent: dict[int, int] = {}
        self.differences: list[str] = []

    def pour_at(self, stage: Stage) -> int:
        """A pour at that stage, at a station of its own."""
        with self.shop.service.store.write() as tx:
            stations.enrol(tx, f"twin-{len(self._sent)}", 0)
        pour = int(self.shop.plan(self._plan, station=f"twin-{len(self._sent)}"))
        self._sent[pour] = 0
        for step in WAY_TO[stage]:
            self.shop.go(pour, step)
        return pour

    def sweep(self, pour: int, **celsius: float) -> None:
        """One sweep of a pour's own station now: place=°C."""
        service, stamp = self.shop.service, self.shop.clock.stamp()
        rows = []
        for place, value in celsius.items():
            self._sent[pour] += 1
            rom = f"28-{pour:06d}{place}"
            rows.append(
                WireReading(rom, place, stamp, round(1000 * value), None, "00", None, seq=self._sent[pour])
            )
        with service.store.write() as tx:
            station = stations.by_name(tx, f"twin-{list(self._sent).index(pour)}")
            readings.save_batch(
                tx, ReadingBatch(station.id, f"spool-{pour}", stamp, rows), service.timeline.true_ms()
            )
        service.watch.judge_all()

    def point_of(self, pour: int) -> str:
        """A readiness point of a pour."""
        with self.shop.service.store.read() as connection:
            return readiness.readiness_of(self.shop.service, connection, pour).points[0].id

    def leaves(self, pour: int, ask: Ask) -> tuple[int, list[Any]]:
        """The status (a page's way on counts as done), and the events that a deed left with the pour."""
        before = len(self._events(pour))
        method, path, more = ask
        answer = self._maker.request(method, path, follow_redirects=False, **more)
        status = 200 if answer.status_code in (200, 201, 204, 303) else answer.status_code
        left = self._events(pour)[before:]
        return status, [
            # A seal is of its own pour, so its hash differs from any other's.
            (row.kind, row.by, *(() if row.kind == "sealed" else (row.text, row.data)))
            for row in left
        ]

    def _events(self, pour: int) -> list[Any]:
        with self.shop.service.store.read() as connection:
            return list(events.events_of(connection, pour))

    def compare(
        self, about: str, name: str, left: tuple[int, list[Any]], right: tuple[int, list[Any]]
    ) -> None:
        """Notes what differs."""
        if left != right:
            self.differences.append(f"{about}: {name}: page {left}, API {right}")


@pytest.fixture
def both(maker: Any, shop: Any, plan_toml: str) -> Both:
    """Pages and API over one workshop."""
    return Both(maker, shop, plan_toml)


@pytest.mark.parametrize("stage", list(Stage))
def test_a_deed_comes_to_the_same_by_page_and_by_api(
    both: Both, shop: Any, plan_toml: str, stage: Stage
) -> None:
    """Whoever is refused on the page finds no side door in the API, and the other way round."""
    by_page, by_api = both.pour_at(stage), both.pour_at(stage)
    point = both.point_of(by_page)
    for mine, twin in zip(deeds(by_page, plan_toml, point), deeds(by_api, plan_toml, point), strict=True):
        both.compare(stage, mine.name, both.leaves(by_page, mine.page), both.leaves(by_api, twin.api))
    assert not both.differences, "\n".join(both.differences)


@pytest.mark.parametrize("stage", list(Stage))
def test_a_step_comes_to_the_same_by_page_and_by_api(both: Both, stage: Stage) -> None:
    """No stage is reached by one way alone."""
    by_page, by_api = both.pour_at(stage), both.pour_at(stage)
    for (to, mine), (_to, twin) in zip(list(steps(by_page)), list(steps(by_api)), strict=True):
        if to in FOLLOWS[stage]:
            continue
        both.compare(stage, mine.name, both.leaves(by_page, mine.page), both.leaves(by_api, twin.api))
    for number, (to, _deed) in enumerate(list(steps(by_page))):
        if to in FOLLOWS[stage]:
            by_page, by_api = both.pour_at(stage), both.pour_at(stage)
            mine, twin = list(steps(by_page))[number][1], list(steps(by_api))[number][1]
            both.compare(stage, mine.name, both.leaves(by_page, mine.page), both.leaves(by_api, twin.api))
            mine.page[2]["data"]["confirm"] = both.shop.confirmation(by_page, to)
            twin.api[2]["json"]["confirm"] = both.shop.confirmation(by_api, to)
            both.compare(stage, mine.name, both.leaves(by_page, mine.page), both.leaves(by_api, twin.api))
    assert not both.differences, "\n".join(both.differences)


def alarm_deeds(alarm: int) -> Iterator[Deed]:
    """What can be done to an alarm."""
    page, api = f"/alarms/{alarm}", f"/api/alarms/{alarm}"
    for hours in (0.5, 100.0):
        yield Deed(
            f"shelve {hours}",
            form(f"{page}/quiet", act="shelve", hours=f"{hours}", reason="seen"),
            call(f"{api}/shelve", hours=hours, reason="seen"),
        )
    yield Deed("unshelve", form(f"{page}/quiet", act="unshelve"), call(f"{api}/unshelve"))
    for reason in ("the probe is broken", " "):
        yield Deed(
            f"out {reason!r}",
            form(f"{page}/quiet", act="out", hours="1", reason=reason),
            call(f"{api}/out-of-service", hours=1.0, reason=reason),
        )
    yield Deed("back", form(f"{page}/quiet", act="return"), call(f"{api}/return-to-service"))
    for text in ("", " on my way "):
        yield Deed(
            f"acknowledge {text!r}",
            form(f"{page}/acknowledge", text=text),
            call(f"{api}/acknowledge", text=text),
        )


@pytest.mark.parametrize("sealed", [False, True])
def test_an_alarm_is_handled_the_same_by_page_and_by_api(both: Both, shop: Any, sealed: bool) -> None:
    """Shelved, put aside and acknowledged by the same rule, of a live pour and of one whose record is sealed."""
    found: dict[int, int] = {}
    for _ in range(2):
        pour = both.pour_at(Stage.CURING)
        for _sweep in range(2):
            shop.clock.move(5)
            both.sweep(pour, core=90.0, room=21.0)
        with shop.service.store.read() as connection:
            (alarm,) = [a.id for a in alarms.open_alarms(connection, pour) if a.kind == "core-hot"]
        if sealed:
            with shop.service.store.write() as tx:  # as a program without the rule of ending has left it
                pours.move_on(tx, pour, Stage.RELEASED, "Ada", shop.service.timeline)
            shop.clock.move(25 * 3600)
            shop.go(pour, Stage.CLOSED)
        found[pour] = alarm
    (by_page, first), (by_api, second) = found.items()
    for mine, twin in zip(alarm_deeds(first), alarm_deeds(second), strict=True):
        left, right = both.leaves(by_page, mine.page), both.leaves(by_api, twin.api)
        both.compare("alarm", mine.name, _but_whose(left), _but_whose(right))
    assert not both.differences, "\n".join(both.differences)


def _but_whose(left: tuple[int, list[Any]]) -> tuple[int, list[Any]]:
    status, rows = left
    return status, [
        (k, by, text, {n: v for n, v in (data or {}).items() if n not in ("alarm", "measured_ms")})
        for k, by, text, data in rows
    ]


def test_what_belongs_to_no_pour_comes_to_the_same(maker: Any, shop: Any, plan_toml: str) -> None:
    """A new pour, stations, the fan and the test message."""
    bad = plan_toml.replace("depth_mm = 40", "depth_mm = -40")
    pairs: list[tuple[str, Ask, Ask]] = [
        (
            "new pour",
            form("/pours/new", plan_toml=plan_toml, client="C"),
            call("/api/pours", plan_toml=plan_toml),
        ),
        ("bad plan", form("/pours/new", plan_toml=bad), call("/api/pours", plan_toml=bad)),
        (
            "pour at no station",
            form("/pours/new", plan_toml=plan_toml, station="nowhere"),
            call("/api/pours", plan_toml=plan_toml, station="nowhere"),
        ),
        ("test message to nobody", form("/messages/test"), call("/api/messages/test")),
        ("station", form("/stations", name="bench-2"), call("/api/stations", name="bench-3")),
        ("station without a name", form("/stations", name=" "), call("/api/stations", name=" ")),
        ("revoke", form("/stations/bench-2/revoke"), call("/api/stations/bench-3/revoke")),
        ("revoke no station", form("/stations/nowhere/revoke"), call("/api/stations/nowhere/revoke")),
        ("fan on", form("/stations/bench-1/fan", on="on"), call("/api/stations/bench-1/fan", on=True)),
        (
            "fan given back",
            form("/stations/bench-1/fan", on="auto"),
            call("/api/stations/bench-1/fan", on=None),
        ),
        (
            "no station's fan",
            form("/stations/nowhere/fan", on="on"),
            call("/api/stations/nowhere/fan", on=True),
        ),
    ]
    different = []
    for name, by_page, by_api in pairs:
        left, right = [
            maker.request(method, path, follow_redirects=False, **more).status_code
            for method, path, more in (by_page, by_api)
        ]
        if (left if left >= 400 else 200) != (right if right >= 400 else 200):
            different.append(f"{name}: page {left}, API {right}")
    assert different == []
