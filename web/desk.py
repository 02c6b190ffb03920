"""What people ask the service to do, for pages and API alike: plan, predict, start, note, move on."""

from __future__ import annotations

from typing import Any

from logger.alarms.first_hour import Finding
from logger.alarms.state import Change
from logger.alarms.watchbook import Watchbook
from logger.cure.prediction import MODEL_VERSION, predict
from logger.errors import NotAllowed
from logger.plan_file import Plan, plan_from_text
from logger.pour import Stage
from logger.store import alarms, events, pours, stations
from web.service import Service


def plan_pour(service: Service, plan_toml: str, client: str, station: str | None, by: str) -> int:
    """A new pour from a plan file's text, with its prediction. Gives its id. Raises BadPlan, NotFound."""
    plan = plan_from_text(plan_toml)
    prediction = predict(plan).to_json()
    with service.store.write() as tx:
        station_id = stations.by_name(tx, station).id if station else None
        pour_id = pours.add_pour(
            tx,
            title=plan.title,
            client=client,
            plan_toml=plan_toml,
            station_id=station_id,
            by=by,
            now_ms=service.timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, prediction, MODEL_VERSION)
    service.news.tell("pour", pour=pour_id)
    return pour_id


def change_plan(service: Service, pour_id: int, plan_toml: str, by: str) -> None:
    """Another plan for a pour that has not been poured, predicted anew. Raises BadPlan, NotAllowed, NotFound."""
    plan = plan_from_text(plan_toml)
    prediction = predict(plan).to_json()
    with service.store.write() as tx:
        pours.change_plan(tx, pour_id, plan_toml, plan.title, by, service.timeline.true_ms())
        pours.freeze_prediction(tx, pour_id, prediction, MODEL_VERSION)
    service.news.tell("pour", pour=pour_id)


def choose_station(service: Service, pour_id: int, station: str, by: str) -> None:
    """Says which station's probes are in the form. Raises NotAllowed once pouring has started, NotFound."""
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        if pour.stage not in (Stage.PLANNED, Stage.READY):
            raise NotAllowed(f"pour {pour_id} is {pour.stage}: its station was fixed when pouring started")
        pours.choose_probes(tx, pour_id, stations.by_name(tx, station).id, [])
        events.add_event(tx, pour_id, service.timeline.true_ms(), "station-chosen", by, station)
    service.news.tell("pour", pour=pour_id)


def move_on(service: Service, pour_id: int, to: Stage, by: str, text: str = "") -> None:
    """The pour's next stage. Raises NotAllowed, NotFound."""
    with service.store.write() as tx:
        if to is Stage.POURING and pours.get_pour(tx, pour_id).station_id is None:
            raise NotAllowed(f"pour {pour_id} has no station: choose the one whose probes are in the form")
        pours.move_on(tx, pour_id, to, by, service.timeline, text=text)
    service.news.tell("pour", pour=pour_id)


def acknowledge(service: Service, alarm_id: int, by: str, text: str = "") -> None:
    """Somebody has an alarm in hand. Raises NotFound."""

    def act(book: Watchbook, key: str, now_ms: int) -> list[Change]:
        return book.acknowledge(key, by, now_ms)

    service.watch.act(alarm_id, by, act)
    if text:
        with service.store.read() as connection:
            pour_id = alarms.get_alarm(connection, alarm_id).pour_id
        note(service, pour_id, text, by)


def look(service: Service, pour_id: int, finding: Finding, by: str, text: str = "") -> None:
    """A look at the form in the first hour. Raises NotFound."""
    note(service, pour_id, text, by, kind="look", data={"finding": str(finding)})
    service.watch.wake()


def note(service: Service, pour_id: int, text: str, by: str, kind: str = "note",
         data: dict[str, Any] | None = None) -> None:  # fmt: skip
    """A note on a pour, whatever its stage: on a sealed record it is an addition. Raises NotFound."""
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        kind = "addition" if pour.stage == Stage.CLOSED and kind == "note" else kind
        events.add_event(tx, pour_id, service.timeline.true_ms(), kind, by, text, data)
    service.news.tell("pour", pour=pour_id)


def plan_of(pour: Any) -> Plan:
    """The plan that a pour was made from."""
    return plan_from_text(pour.plan_toml, f"pour {pour.id}'s plan")
