"""Attacks the service by machine. Run by hand, all parts or some:

    python tests/bench/security.py api 10000       # random requests by the OpenAPI description, signed in
    python tests/bench/security.py parsers 1000000 # random bytes for everything that reads what others send
    python tests/bench/security.py rude 20         # seconds of 500 requests/s and 20 logins at once; alarms in time?
    python tests/bench/security.py passwords       # how much of a published list is refused
    python tests/bench/security.py bandit          # the linter for security, with what is left and why

It wants schemathesis, hypothesis, bandit and zxcvbn beside the test extra. Every part ends with one line of figures.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import logging
import random
import secrets
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any
from unittest import SkipTest

from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from pydantic import ValidationError

from hardware.clock import SystemClock
from hardware.errors import HardwareError
from hardware.scratchpad import decode
from logger.delivery.channels import Outcome
from logger.errors import LoggerError
from logger.plan.file import plan_from_text
from logger.planning import examples
from logger.planning.finding import Light
from logger.pour import Stage
from logger.record.bundle import accept, write_bundle
from logger.record.past_log import Column, Mapping, read_log
from logger.record.readings_file import read_readings
from logger.settings import Messages, Settings
from logger.store import people, stations
from web.actions import pours, readiness
from web.schemas import BatchShape
from web.security import passwords
from web.security.access import COOKIE
from web.security.throttle import unlimited
from web.server.app import make_app
from web.server.serve import Running, server_for
from web.service.service import Service
from web.views.photo_sanitize import redrawn

PLAN = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
TITLE = next(line for line in PLAN.splitlines() if line.startswith("title"))
PASSWORD = "three plain words"


@contextlib.contextmanager
def shop(**more: Any) -> Iterator[tuple[Service, str, str]]:
    """A service in a temporary folder with an owner, a station and a live pour: (service, cookie, station's token)."""
    with tempfile.TemporaryDirectory() as folder:
        service = Service.open(Settings(data_dir=folder, **more), SystemClock())
        with service.store.write() as tx:
            person = people.add_person(tx, "Ada", people.Role.OWNER, passwords.hash_of(PASSWORD), 0)
            token = people.start_sign_in(tx, person, service.timeline.now_ms(), "bench")
            _row, station = stations.enrol(tx, "bench-1", 0)
        for _ in range(2):
            pours.plan_pour(service, PLAN, "A client (invented)", "bench-1", "Ada")
        pour_it(service, 1)
        try:
            yield service, token, station
        finally:
            service.close()


def pour_it(service: Service, pour_id: int) -> None:
    """Every point signed by two, or let pass by name and reason; then the resin flows."""
    with service.store.read() as connection:
        points = readiness.readiness_of(service, connection, pour_id).points
    for point in points:
        for person in ("Ada", "Ben")[: point.people]:
            readiness.sign(service, pour_id, point.id, person, "Ada")
        if point.light is Light.STOP or point.unknown or point.needs_photo:
            readiness.let_pass(service, pour_id, point.id, "Ada", "a pour of a benchmark", "Ada")
    for stage in (Stage.READY, Stage.POURING):
        pours.move_on(service, pour_id, stage, "Ada")


def api(cases: int) -> None:
    """Random requests, valid and not, to every operation: no 5xx, no status that is not described."""
    import schemathesis

    with shop(messages=Messages(urls=["json://127.0.0.1:9/"])) as (service, token, station):
        app = make_app(service, unlimited())
        schema = schemathesis.openapi.from_dict(app.openapi())
        client = TestClient(app, raise_server_exceptions=False)
        operations = [found.ok() for found in schema.get_all_operations()]
        told: Counter[int] = Counter()
        wrong: Counter[str] = Counter()
        each = max(1, cases // len(operations))
        for operation in operations:
            bearer = {"Authorization": f"Bearer {station}"} if operation.path == "/api/batches" else {}
            headers = bearer | {"Cookie": f"{COOKIE}={token}"}
            ask = asker(client, headers, operation, told, wrong)
            for mode in ("positive", "negative"):
                strategy = operation.as_strategy(generation_mode=schemathesis.GenerationMode(mode))
                run = settings(
                    max_examples=max(1, each // 2),
                    deadline=None,
                    database=None,
                    phases=[Phase.generate],
                    suppress_health_check=list(HealthCheck),
                )(given(strategy)(ask))
                # Nothing can be wrong with a request that has no parts.
                with contextlib.suppress(Unsatisfiable, SkipTest):
                    run()
        seen: Counter[str] = Counter()
        for line in wrong:
            seen[" ".join(line.split(" ")[:3])] += wrong[line]
        for line in list(wrong)[:12]:
            print("  wrong:", line)
        asked = f"{sum(told.values())} requests to {len(operations)} operations"
        print(f"api: {asked}, answers {dict(sorted(told.items()))}, wrong: {dict(seen)}")


def asker(
    client: TestClient, headers: dict[str, str], operation: Any, told: Counter[int], wrong: Counter[str]
) -> Callable[[Any], None]:
    """Sends a case of one operation and counts its answer."""
    described = {int(code) for code in operation.definition.raw["responses"]}
    names = ("method", "url", "params", "json", "data", "content")

    def ask(case: Any) -> None:
        there = {"pour_id": random.choice((1, 2)), "alarm_id": 1, "name": "bench-1"}
        if case.path_parameters and random.random() < 0.7:  # most of the time, something that exists
            case.path_parameters.update({name: there[name] for name in case.path_parameters if name in there})
        sent = case.as_transport_kwargs(base_url="http://testserver")
        given_headers = {**dict(sent.get("headers") or {}), **headers}
        sent = {name: sent[name] for name in names if name in sent}
        if isinstance(sent.get("data"), bytes):
            sent["content"] = sent.pop("data")
        try:
            answer = client.request(**sent, headers=given_headers)
        except (UnicodeEncodeError, ValueError, TypeError):
            told[0] += 1  # the client itself cannot send it
            return
        told[answer.status_code] += 1
        # "Not ready" (503) is an answer that /api/ready describes: nothing judges here.
        unwell = answer.status_code >= 500 and (answer.status_code, operation.path) != (503, "/api/ready")
        if unwell or answer.status_code not in described:
            wrong[f"{case.method} {operation.path} {answer.status_code} {str(sent)[:300]}"] += 1

    return ask


def parsers(inputs: int) -> None:
    """Random and damaged bytes: each parser refuses in its own words or takes them; anything else is a fault."""
    import io

    from PIL import Image  # heavy, needed here alone

    folder = Path(tempfile.mkdtemp())
    drawn = io.BytesIO()
    Image.new("RGB", (24, 16), "peru").save(drawn, "JPEG")
    png = io.BytesIO()
    Image.new("RGB", (24, 16), "peru").save(png, "PNG")

    def csv(raw: bytes) -> None:
        path = folder / "readings.csv"
        path.write_bytes(raw)
        read_readings(path)

    def toml(raw: bytes) -> None:
        plan_from_text(raw.decode("utf-8", "replace"))

    tried: dict[str, tuple[Callable[[bytes], object], list[bytes], float]] = {
        "w1": (
            decode_w1,
            [b"57 01 4b 46 7f ff 0c 10 ab : crc=ab YES\n57 01 4b 46 7f ff 0c 10 ab t=21437\n"],
            0.45,
        ),
        "plan": (toml, [PLAN.encode(), b'title = "x"\n[resin]\nname = "y"\n'], 0.2),
        "csv": (csv, [b"elapsed_s,place,celsius\n0,core,21.5\n5,room,20\n"], 0.168),
        "past log": (
            past_log,
            [b"Time;Core;Room\n05/01/2026 09:00;21,5;20\n05/01/2026 09:05;22,1;20\n"],
            0.05,
        ),
        "bundle": (bundle, [packed()], 0.002),
        "batch": (BatchShape.model_validate_json, [BATCH.encode()], 0.08),
        "photo": (redrawn, [drawn.getvalue(), png.getvalue()], 0.05),
    }
    random.seed(1)
    done: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    began = time.monotonic()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, (parse, seeds, share) in tried.items():
            for _ in range(round(inputs * share)):
                raw = (
                    damaged(random.choice(seeds))
                    if random.random() < 0.8
                    else random.randbytes(random.randrange(200))
                )
                done[name] += 1
                try:
                    parse(raw)
                except (LoggerError, HardwareError, ValidationError):
                    pass
                except Exception as error:  # noqa: BLE001 - whatever it is, it is what this looks for
                    faults[f"{name}: {type(error).__name__}: {error} for {raw[:80]!r}"] += 1
    for line, times in faults.most_common(12):
        print(f"  fault ({times}x): {line}")
    took_s = time.monotonic() - began
    print(
        f"parsers: {sum(done.values())} inputs {dict(done)} in {took_s:.0f} s, {sum(faults.values())} faults"
    )


BATCH = json.dumps(
    {
        "station": "bench-1",
        "spool": "s",
        "sent": {"wall_ms": 1, "boot_id": "b", "boot_ms": 1, "clock_set": True},
        "rows": [
            {
                "seq": 1,
                "probe": "28-0",
                "place": "core",
                "milli_c": 21437,
                "fault": None,
                "raw": None,
                "stamp": {"wall_ms": 1, "boot_id": "b", "boot_ms": 1, "clock_set": True},
            }
        ],
    }
)
LOG_MAPPING = Mapping(
    ("Time",),
    "%d/%m/%Y %H:%M",
    (Column("Core", "core", "c"), Column("Room", "room", "c")),
    zone="UTC",
    delimiter=";",
    decimal_comma=True,
)


def bundle(raw: bytes) -> object:
    """A record from elsewhere, put together and proven as when it is brought in."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sent.zip"
        path.write_bytes(raw)
        return accept(path, Path(folder), "sent.zip")


def past_log(raw: bytes) -> object:
    """A log of another program through its mapping."""
    return read_log(raw.decode("utf-8", "replace"), LOG_MAPPING, leave_out_bad=True)


def packed() -> bytes:
    """A real bundle of a pour."""
    import io

    with shop() as (service, _token, _station):
        made = io.BytesIO()
        with service.store.read() as connection:
            write_bundle(connection, 2, "The workshop", None, made, 0)
    return made.getvalue()


def decode_w1(raw: bytes) -> object:
    """A probe's nine bytes as the kernel gives them."""
    return decode(raw.decode("ascii", "replace"))


def damaged(raw: bytes) -> bytes:
    """Bytes with a few of them changed, lost, doubled or put in."""
    made = bytearray(raw)
    for _ in range(random.randrange(1, 6)):
        at = random.randrange(len(made) + 1)
        match random.randrange(5):
            case 0:
                made[at : at + 1] = bytes([random.randrange(256)])
            case 1:
                del made[at : at + random.randrange(1, 8)]
            case 2:
                made[at:at] = made[at : at + random.randrange(1, 30)]
            case 3:
                made[at:at] = random.choice(
                    [b"nan", b"1e999", b"-1", b"9" * 30, b"\x00", b"\xff\xfe", b'"', b"[", b"=", b"\n"]
                )
            case _:
                del made[at:]
    return bytes(made)


def rude(seconds: float) -> None:
    """500 requests/s from a rude client and 20 logins at once, while a core goes over its limit again and again."""
    took: list[float] = []
    began_at: dict[str, float] = {}
    lock = threading.Lock()

    def channel(_url: str, title: str, body: str) -> Outcome:
        with lock:
            named = [name for name in began_at if name in title + body]
            took.extend(time.monotonic() - began_at.pop(name) for name in named)
        return Outcome(True)

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with shop(port=port, messages=Messages(urls=["json://127.0.0.1:9/"])) as (service, _token, _station):
        running = Running(service, channel)
        server = server_for(service)
        http_thread = threading.Thread(target=server.run)
        running.start()
        http_thread.start()
        running.go_on(lambda: None)
        counts: Counter[str] = Counter()
        # A process of their own: strangers do not run on the service's interpreter.
        spawn = get_context("spawn")
        ours, theirs = spawn.Pipe()
        strangers = spawn.Process(target=crowd, args=(port, theirs))
        strangers.start()
        try:
            calm_pours, loud_pours = range(100, 108), range(200, 200 + max(8, round(seconds)))
            tokens = {number: hot_pour(service, number) for number in (*calm_pours, *loud_pours)}
            time.sleep(SPAN_S + 5)
            calm = alarm_times(port, {number: tokens[number] for number in calm_pours}, took, began_at, lock)
            ours.send("begin")
            began_s = time.monotonic()
            time.sleep(2)
            loud = alarm_times(port, {number: tokens[number] for number in loud_pours}, took, began_at, lock)
            took_s = time.monotonic() - began_s
            ours.send("end")
            counts = ours.recv()
        finally:
            strangers.join(10)
            strangers.kill()
            service.news.close()
            server.should_exit = True
            http_thread.join(10)
            running.close()
        for name, times in (("calm", calm), ("rude", loud)):
            times.sort()
            p99 = times[min(len(times) - 1, round(0.99 * len(times)))]
            middle = statistics.median(times)
            print(
                f"  {name}: {len(times)} alarms, reading to channel: median {middle:.2f} s, p99 {p99:.2f} s"
            )
        asked = {
            kind: sum(n for name, n in counts.items() if name.startswith(kind)) for kind in ("rude", "login")
        }
        print(
            f"  offered: {asked['rude'] / took_s:.0f} rude requests/s, {asked['login'] / took_s:.0f} logins/s"
        )
        print(
            f"rude: {dict(counts)}, alarms' p99 is {loud[-1] / calm[-1]:.1f} times that of calm; goal below 5 s"
        )


#: Hot readings are sent all at once, five seconds apart from each other, so long back, s.
SPAN_S = 65


def hot_pour(service: Service, number: int) -> str:
    """A pour that has just been poured, with a station of its own; gives the station's token."""
    pour = pours.plan_pour(service, PLAN.replace(TITLE, f'title = "Table {number}"'), "", "bench-1", "Ada")
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, f"hot-{number}", 0)
    pours.choose_station(service, pour, f"hot-{number}", "Ada")
    pour_it(service, pour)
    return token


def alarm_times(
    port: int, tokens: dict[int, str], took: list[float], began_at: dict[str, float], lock: threading.Lock
) -> list[float]:
    """Seconds from a hot batch's POST to the channel, one pour a second."""
    before = len(took)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    clock = SystemClock()
    for number, token in tokens.items():
        now, rows = clock.stamp(), []
        for age_s in range(SPAN_S, -1, -5):
            stamp = {
                "wall_ms": now.wall_ms - 1000 * age_s,
                "boot_id": now.boot_id,
                "boot_ms": now.boot_ms - 1000 * age_s,
                "clock_set": True,
            }
            for place, milli_c in (
                ("core", 95_000),
                ("surface", 60_000),
                ("underside", 50_000),
                ("room", 21_000),
            ):
                probe = f"28-{number:06d}{place[:1].encode().hex():0>6}"
                row = {"seq": len(rows) + 1, "probe": probe, "place": place, "stamp": stamp}
                rows.append(row | {"milli_c": milli_c, "fault": None, "raw": None})
        sent = {"station": f"hot-{number}", "spool": f"s{number}", "sent": rows[-1]["stamp"], "rows": rows}
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        with lock:
            began_at[f"Table {number}"] = time.monotonic()
        connection.request("POST", "/api/batches", json.dumps(sent), headers)
        answer = connection.getresponse()
        body = answer.read()
        assert answer.status == 200, body
        time.sleep(1)
    until = time.monotonic() + 20
    while len(took) - before < len(tokens) and time.monotonic() < until:
        time.sleep(0.05)
    got = took[before:]
    with lock:
        missing = len(began_at)
        began_at.clear()
    if missing:
        print(f"  {missing} of {len(tokens)} alarms did not arrive within 20 s")
    return got + [20.0] * missing


def crowd(port: int, told: Connection) -> None:
    """The rude client's and the guessers' own process: from the first word that it is told to the second."""
    told.recv()
    stop, counts = threading.Event(), Counter[str]()
    # Many slow hands: each waits for its answer, so that a few quick ones would not come to 500 a second.
    hands = [threading.Thread(target=hammer, args=(port, 12.5, stop, counts)) for _ in range(40)]
    hands += [threading.Thread(target=log_in, args=(port, stop, counts)) for _ in range(20)]
    for hand in hands:
        hand.start()
    told.recv()
    stop.set()
    for hand in hands:
        hand.join()
    told.send(counts)


def hammer(port: int, per_s: float, stop: threading.Event, counts: Counter[str]) -> None:
    """A rude client: so many requests a second, whatever it is told."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    next_s = time.monotonic()
    paths = ("/", "/api/pours", "/sign-in", "/api/health", "/shared/guess")
    number = 0
    while not stop.is_set():
        next_s += 1 / per_s
        number += 1
        try:
            connection.request("GET", paths[number % len(paths)])
            answer = connection.getresponse()
            answer.read()
            counts[f"rude {answer.status}"] += 1
        except (OSError, http.client.HTTPException):
            counts["rude cut off"] += 1
            connection.close()
        stop.wait(max(0.0, next_s - time.monotonic()))


def log_in(port: int, stop: threading.Event, counts: Counter[str]) -> None:
    """Somebody who tries passwords without a pause."""
    while not stop.is_set():
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        try:
            connection.request(
                "POST",
                "/sign-in",
                f"name=Ada&password={secrets.token_hex(6)}",
                {"Content-Type": "application/x-www-form-urlencoded"},
            )
            counts[f"login {connection.getresponse().status}"] += 1
        except (OSError, http.client.HTTPException):
            counts["login cut off"] += 1
        connection.close()
        stop.wait(0.02)


def published_passwords() -> None:
    """How much of a published list is refused, beyond the 3000 that were read from it."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # a bench-only package

    long = [word for word in FREQUENCY_LISTS["passwords"] if len(word) >= 8]
    top, rest = long[:3000], long[3000:]
    print(
        f"passwords: refused {sum(map(passwords.is_common, top))} of the first {len(top)}, "
        f"{sum(map(passwords.is_common, rest))} of the next {len(rest)}"
    )


#: What bandit says and why it stands.
KNOWN = {
    "B404": "subprocess is used for our own program alone, without a shell",
    "B603": "its arguments are a list of our own words",
    "B101": "assert states what the type checker cannot see; nothing rests on it",
    "B104": "a default in words only: the service listens on loopback unless the settings file says otherwise",
    "B311": "random serves simulations and priors, no secret",
    "B608": "a table's name of our own, no value",
    "B110": "see the comment beside it",
    "B105": "no password but a word that looks like one: a cookie's name, an event's kind, what a removed hash becomes",
    "B106": "the same",
    "B406": "it escapes text for our own drawing; nothing is parsed",
    "B704": "an icon's name from our own templates, formatted by Markup itself, which escapes it",
}


def bandit() -> None:
    """The linter's words, grouped; any without a known reason is printed."""
    root = Path(__file__).parents[2]
    ran = subprocess.run(
        [sys.executable, "-m", "bandit", "-q", "-f", "json", "-r", "hardware", "logger", "web"],
        cwd=root,
        capture_output=True,
        text=True,
        check=False,
    )
    found = json.loads(ran.stdout)["results"]
    for issue in found:
        if issue["test_id"] not in KNOWN:
            print(f"  {issue['filename']}:{issue['line_number']} {issue['test_id']} {issue['issue_text']}")
    told = Counter(issue["test_id"] for issue in found)
    for name, times in sorted(told.items()):
        print(f"  {name} {times}x: {KNOWN.get(name, 'NO REASON GIVEN')}")
    print(
        f"bandit: {len(found)} remarks, {sum(issue['test_id'] not in KNOWN for issue in found)} without a reason"
    )


def main() -> None:
    """Runs the parts that were named, or all at a tenth."""
    logging.disable(logging.CRITICAL)
    parts: dict[str, Callable[[int], None]] = {
        "api": api,
        "parsers": parsers,
        "rude": rude,
        "passwords": lambda _: published_passwords(),
        "bandit": lambda _: bandit(),
    }
    usual = {"api": 1000, "parsers": 100_000, "rude": 20}
    names = sys.argv[1:2] or list(parts)
    for name in names:
        parts[name](int(sys.argv[2]) if len(sys.argv) > 2 else usual.get(name, 0))


if __name__ == "__main__":
    main()
