"""Health, readiness and figures: what an operator's programs ask, and who may."""

from __future__ import annotations

import json
import logging
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.settings import OperatorSettings
from logger.store import people, stations
from web.server.app import make_app
from web.server.logs import AsJson
from web.service import pipeline
from web.service.metrics import family

TOKEN = "the operators' own token"
#: Metric names, labels and sample lines of the text format 0.0.4, from its published description.
NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\["\\n])*"'
LINE = re.compile(
    rf"(?:# HELP {NAME} .+|# TYPE {NAME} (?:counter|gauge|histogram)|"
    rf"{NAME}(?:\{{{LABEL}(?:,{LABEL})*\}})? (?:-?\d+(?:\.\d+)?(?:e-?\d+)?))"
)


@pytest.fixture
def owned(service: Any) -> Any:
    """The service with an owner, so that it does not only ask for one."""
    with service.store.write() as tx:
        people.add_person(tx, "Ada", people.Role.OWNER, "x", 1)
    return service


def samples(text: str) -> dict[str, float]:
    """Each sample with its labels, as written → value."""
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return {line.rsplit(" ", 1)[0]: float(line.rsplit(" ", 1)[1]) for line in lines}


def ask(service: Any, host: str = "127.0.0.1", **headers: str) -> Any:
    """Asks for the figures from somewhere."""
    return TestClient(make_app(service), client=(host, 5000)).get("/metrics", headers=headers)


def test_every_line_is_of_the_text_format_and_every_metric_is_told_once(owned: Any) -> None:
    """A program that gathers figures refuses the whole answer for one bad line."""
    answer = ask(owned)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    assert answer.text.endswith("\n")
    assert [line for line in answer.text.splitlines() if not LINE.fullmatch(line)] == []
    told = re.findall(r"# TYPE (\S+)", answer.text)
    assert len(told) == len(set(told))
    for name in samples(answer.text):
        family_of = re.sub(r"(_bucket|_sum|_count)?(\{.*)?$", "", name)
        assert family_of in told, name


def test_a_label_with_quotes_lines_and_backslashes_stays_one_label() -> None:
    """The example of the format's description, escaped as it says."""
    text = family(
        "msdos_file_access_time_seconds",
        "gauge",
        "a \\ and\na line",
        [
            ("", {"path": "C:\\DIR\\FILE.TXT", "error": 'Cannot find file:\n"FILE.TXT"'}, 1.458255915e9),
        ],
    )
    assert text == (
        "# HELP msdos_file_access_time_seconds a \\\\ and\\na line\n"
        "# TYPE msdos_file_access_time_seconds gauge\n"
        'msdos_file_access_time_seconds{path="C:\\\\DIR\\\\FILE.TXT",error="Cannot find file:\\n\\"FILE.TXT\\""} '
        "1458255915\n"
    )


def test_batches_stations_and_alarms_are_counted(owned: Any, shop: Any, clock: Any) -> None:
    """What came in, in how much time, and who is silent by now."""
    with owned.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-2", 0)
    stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": 5, "clock_set": True}
    row = {
        "seq": 1,
        "probe": "28-1",
        "place": "core",
        "stamp": stamp,
        "milli_c": 21_000,
        "fault": None,
        "raw": "0",
    }
    batch = {"station": "bench-2", "spool": "s", "sent": stamp, "rows": [row]}
    client = TestClient(make_app(owned))
    for body in (batch, batch, batch | {"rows": [row | {"milli_c": 1}]}):
        client.post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"})
    clock.move(600)
    found = samples(ask(owned).text)
    assert found['pourlog_batches_total{outcome="stored"}'] == 2
    assert found['pourlog_batches_total{outcome="refused"}'] == 1
    assert (found["pourlog_readings_stored_total"], found["pourlog_readings_repeated_total"]) == (1, 1)
    assert found['pourlog_batch_seconds_bucket{le="+Inf"}'] == found["pourlog_batch_seconds_count"] == 2
    buckets = [value for name, value in found.items() if name.startswith("pourlog_batch_seconds_bucket")]
    assert buckets == sorted(buckets), "each holds what the smaller ones hold"
    assert (found["pourlog_stations"], found["pourlog_stations_silent"]) == (2, 1)


def test_figures_are_for_this_machine_or_for_the_token(owned: Any) -> None:
    """From elsewhere nobody without it; with one set, not even from here."""
    assert ask(owned, "192.0.2.7").status_code == 401
    owned.settings = owned.settings.model_copy(update={"operating": OperatorSettings(metrics_token=TOKEN)})
    assert ask(owned).status_code == 401
    assert ask(owned, "192.0.2.7", Authorization="Bearer something else").status_code == 401
    assert ask(owned, "192.0.2.7", Authorization=f"Bearer {TOKEN}").status_code == 200


def test_ready_means_that_alarms_are_judged(owned: Any, clock: Any) -> None:
    """Not before the first judgement, and not when the last is old; health stays well all the while."""
    client = TestClient(make_app(owned))
    assert client.get("/api/ready").status_code == 503
    owned.watch.judge_all()
    told = client.get("/api/ready").json()
    assert (told["status"], told["missing"], told["decides"]) == ("ready", [], True)
    assert told["seconds_ago"] == {"arrived": None, "judged": 0.0, "decided": 0.0, "sent": None}
    clock.move(pipeline.FRESH_MS / 1000 + 1)
    answer = client.get("/api/ready")
    assert (answer.status_code, answer.json()["missing"]) == (503, ["no live pour was judged for a minute"])
    assert client.get("/api/health").status_code == 200
    owned.watch.judge_all()
    owned.watch.trouble = "pour 7 of a client cannot be judged"
    answer = client.get("/api/ready")
    assert answer.status_code == 503
    assert "client" not in answer.text, "it is open to anybody, and tells nothing of pours"


def test_a_log_line_is_one_json_object_whatever_is_in_it() -> None:
    """Line breaks, quotes and a trace stay inside."""
    try:
        raise ValueError('two\n"lines"')
    except ValueError as error:
        record = logging.LogRecord(
            "web.server.app",
            logging.ERROR,
            "f",
            1,
            "it failed:\n%s",
            ("x\u2028y",),
            (type(error), error, error.__traceback__),
        )
    line = AsJson().format(record)
    assert "\n" not in line
    told = json.loads(line)
    assert (told["level"], told["logger"], told["message"]) == (
        "error",
        "web.server.app",
        "it failed:\nx\u2028y",
    )
    assert told["trace"].endswith('ValueError: two\n"lines"')
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", told["at"])
