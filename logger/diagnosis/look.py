"""Looks at a machine: kernel files, disks, the service, the channels. Each may be another one in a test."""

from __future__ import annotations

import json
import os
import platform
import shutil
import socket
import sqlite3
import ssl
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from hardware.air import HWMON_FOLDER, IIO_FOLDER
from hardware.clock import Clock
from hardware.ds18b20 import W1_FOLDER, Ds18b20, find_probes
from hardware.errors import HardwareMissing
from hardware.health import power_low
from hardware.overlay import pins_in
from hardware.station import Wiring, kernel_buses
from logger.daemon.forward import load_httpx
from logger.daemon.look_at_pins import look_at_pins
from logger.daemon.station_file import StationConfig
from logger.delivery.channels import Channel, MessageChannels, shown
from logger.delivery.web_push import SenderKey, WebPush
from logger.diagnosis.machine_facts import (
    STATION_UNIT,
    ChannelSeen,
    DiskSeen,
    MachineFacts,
    MessagesSeen,
    NameSeen,
    PinSeen,
    PowerSeen,
    ProbeSeen,
    ServiceSeen,
    VersionsSeen,
    WiresSeen,
)
from logger.diagnosis.name import who_answers
from logger.diagnosis.system import Run, SystemPlaces, is_root, look_at_system, run, under_the_units_rules

if TYPE_CHECKING:
    from httpx import BaseTransport, Client

from logger.settings import Settings  # a station alone is looked at without the service's libraries
from logger.words.phrase import phrase
from logger.words.render import say

#: Seconds that the service gets for an answer.
ANSWER_S = 5.0
#: A held 85.0 needs the next read to be judged.
LOOKS = 2


@dataclass(frozen=True, slots=True)
class Places:
    """Where a machine keeps what is looked at."""

    w1: Path = W1_FOLDER
    hwmon: Path = HWMON_FOLDER
    iio: Path = IIO_FOLDER
    device: Path = Path("/dev")
    model: Path = Path("/proc/device-tree/model")
    #: The firmware's own word on its supply; its place in the kernel's tree as public monitors read it.
    throttled: Path = Path("/sys/devices/platform/soc/soc:firmware/get_throttled")
    configs: tuple[Path, ...] = (Path("/boot/firmware/config.txt"), Path("/boot/config.txt"))
    system: SystemPlaces = field(default_factory=SystemPlaces)


@dataclass(frozen=True, slots=True)
class Outside:
    """What a look reaches out to; a test gives its own.

    `transport`: of HTTP; None: the network. `channel`: sends a test message; None: the message library. `run`: runs a
    system's command. `who_answers`: see name.py.
    """

    places: Places = field(default_factory=Places)
    transport: BaseTransport | None = None
    channel: Channel | None = None
    run: Run = run
    who_answers: Callable[[str, str], tuple[str, ...]] = who_answers


def look(
    clock: Clock,
    station: StationConfig | None,
    settings: Settings | None,
    *,
    send: bool = False,
    units: Iterable[str] = (),
    outside: Outside | None = None,
) -> MachineFacts:
    """Look at all that concerns this machine: a station where there is a station file, a service where settings.

    `send` sends a real test message over each channel. `units`: those of systemd that should be there.
    """
    outside = outside or Outside()
    places = outside.places
    stamp = clock.stamp()
    bench = station is not None and station.wiring.hardware == "bench"
    address, units = _address(), tuple(units)
    disks = []
    if station is not None:
        disks.append(_disk("station", station.spool_file.parent))
    if settings is not None and settings.database_url is None:
        disks.append(_disk("service", Path(settings.data_dir)))
    return MachineFacts(
        is_pi="Raspberry Pi" in _text(places.model),
        bench=bench,
        wires=None if station is None or bench else _wires(clock, station, outside, units),
        clock_set=stamp.clock_set,
        clock_ms=stamp.wall_ms,
        battery_clock=(places.device / "rtc0").exists(),
        disks=tuple(disks),
        power=PowerSeen(power_low(places.hwmon), _throttled(places.throttled)),
        system=look_at_system(units, places.system, outside.run),
        address=address,
        name=_name(settings, address, outside),
        service=_service(station, settings, outside.transport),
        messages=None if settings is None else _messages(settings, outside.channel, send=send),
        versions=VersionsSeen(
            version("pourlog"),
            (sys.version_info.major, sys.version_info.minor, sys.version_info.micro),
            64 if sys.maxsize > 2**32 else 32,
            sqlite3.sqlite_version_info[:3],
            platform.machine(),
        ),
    )


def _wires(clock: Clock, station: StationConfig, outside: Outside, units: tuple[str, ...]) -> WiresSeen:
    places = outside.places
    config = next((path for path in places.configs if path.exists()), None)
    text = None if config is None else config.read_text(encoding="utf-8", errors="replace")
    wired = {probe.id: probe for probe in station.wiring.probes}
    try:
        on_bus = find_probes(places.w1)
    except HardwareMissing:
        on_bus, there = [], False
    else:
        there = True
    probes = []
    if there:
        for probe in sorted({*on_bus, *wired}):
            place = wired[probe].place if probe in wired else None
            probes.append(_probe(clock, probe, place, places.w1))
    others = Wiring("pi", air=station.wiring.air, thermocouples=station.wiring.thermocouples)
    for bus in kernel_buses(others, places.w1, (places.hwmon, places.iio)):
        for chip, wiring in zip(bus.probes, others.all_probes, strict=True):
            probes.append(ProbeSeen(chip.id, wiring.place, chip.read(clock)[-1].outcome))
    pins, as_unit = _pins(station, outside, units)
    return WiresSeen(
        overlay_pins=None if text is None else tuple(pins_in(text, _text(places.model))),
        # A station with chips alone needs no 1-Wire bus.
        bus_there=there or not wired,
        probes=tuple(probes),
        pins=pins,
        as_unit=as_unit,
    )


def _probe(clock: Clock, probe: str, place: str | None, folder: Path) -> ProbeSeen:
    reader = Ds18b20(probe, folder)
    samples = [sample for _ in range(LOOKS) for sample in reader.read(clock)] or reader.release()
    power, bits = _text(folder / probe / "ext_power"), _text(folder / probe / "resolution")
    return ProbeSeen(
        probe,
        place,
        samples[-1].outcome,
        None if power not in ("0", "1") else power == "1",
        int(bits) if bits.isdigit() else None,
    )


def _pins(
    station: StationConfig, outside: Outside, units: tuple[str, ...]
) -> tuple[tuple[PinSeen, ...], bool | None]:
    """Return the wired pins, and whether the station's own user looked at them under its unit's rules.

    That is None where no unit is installed, and False where we may not start one.
    """
    places = outside.places
    installed = STATION_UNIT in units and places.system.systemd.is_dir() and station.wiring.pins.any
    if installed and is_root():
        command = [sys.executable, "-P", "-m", "logger.daemon", "pins", str(station.path)]
        printed = under_the_units_rules(STATION_UNIT, command, outside.run)
        if printed is not None:
            return tuple(PinSeen(**pin) for pin in json.loads(printed)), True
    pins = tuple(PinSeen(**pin) for pin in look_at_pins(station.wiring.pins, places.device))
    return pins, False if installed else None


def _name(settings: Settings | None, address: str | None, outside: Outside) -> NameSeen | None:
    """Return who answers for the .local name that phones are given; None where they are given none."""
    host = urlsplit((settings.public_url if settings else None) or "").hostname or ""
    if not host.endswith(".local") or address is None:
        return None
    return NameSeen(host, outside.who_answers(host, address))


def _disk(what: str, folder: Path) -> DiskSeen:
    try:
        free_mb: float | None = shutil.disk_usage(folder).free / 1e6
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".pourlog-check-") as file:
            file.write(b"0" * 4096)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        return DiskSeen(what, str(folder), None, False)
    return DiskSeen(what, str(folder), free_mb, True)


def _throttled(path: Path) -> int | None:
    try:
        return int(_text(path), 16)
    except ValueError:
        return None


def _address() -> str | None:
    """Return this machine's address in its network; None without one. Nothing is sent: the socket picks a route."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as route:
        try:
            # 192.0.2.1: an address for documents, which nobody has (RFC 5737).
            route.connect(("192.0.2.1", 9))
        except OSError:
            return None
        return str(route.getsockname()[0])


def _service(
    station: StationConfig | None, settings: Settings | None, transport: BaseTransport | None
) -> ServiceSeen | None:
    if station is not None:
        url = station.service_url
    elif settings is not None:
        scheme = "http" if settings.https.certificate is None else "https"
        url = f"{scheme}://127.0.0.1:{settings.port}"
    else:
        return None
    httpx = load_httpx()
    try:
        # A service asked about itself: its certificate is made out for its name, not for this address, and what is
        # asked is no secret.
        verify: bool | ssl.SSLContext = station is not None
        if station is not None and station.service_certificate is not None:
            verify = ssl.create_default_context(cafile=str(station.service_certificate))
        with httpx.Client(
            base_url=url, timeout=ANSWER_S, trust_env=False, transport=transport, verify=verify
        ) as client:
            answer = client.get("/api/health")
            if answer.status_code != 200:
                return ServiceSeen(url, phrase("answered {code}", code=str(answer.status_code)))
            if station is None:
                return ServiceSeen(url, None)
            return _token(url, station, client)
    except httpx.HTTPError as error:
        return ServiceSeen(url, phrase("does not answer ({name})", name=type(error).__name__))


def _token(url: str, station: StationConfig, client: Client) -> ServiceSeen:
    try:
        token = station.token()
    except OSError as error:
        return ServiceSeen(url, None, False, f"{station.token_file}: {error.strerror}")
    # An empty object is no batch: it is refused for its shape (422) only after the token was accepted, and changes
    # nothing.
    answer = client.post("/api/batches", json={}, headers={"Authorization": f"Bearer {token}"})
    if answer.status_code == 422:
        return ServiceSeen(url, None, True)
    return ServiceSeen(
        url,
        None,
        False,
        phrase("the service does not know it (answered {code})", code=answer.status_code),
    )


def _messages(settings: Settings, channel: Channel | None, *, send: bool) -> MessagesSeen:
    # A station alone has no database, and none of its libraries.
    from logger.store.channels import called_of

    messages = settings.messages
    pushes = WebPush(SenderKey(Path(settings.data_dir)), settings.link_base, messages.timeout_s)
    library = MessageChannels(messages.timeout_s, pushes)
    on_pages = called_of(settings.database)
    urls = (*messages.urls, *messages.second_urls, *(row.url for row in on_pages))
    wrong = {} if send else library.prepare(urls)
    channels = []
    for url in urls:
        problem = wrong.get(url)
        if send:
            title, body = (
                say(phrase("{workshop}: a test", workshop=settings.workshop)),
                say(phrase("Sent by pourlog check. Nothing is wrong.")),
            )
            outcome = (channel or library)(url, title, body)
            problem = None if outcome.taken else outcome.problem
        channels.append(ChannelSeen(shown(url), problem))
    second = bool(messages.second_urls) or any(row.turn == "second" for row in on_pages)
    heartbeat = messages.heartbeat_url is not None
    return MessagesSeen(tuple(channels), second, send, heartbeat)


def _text(path: Path) -> str:
    """Return a small file's text without white space and NUL at its ends; empty where it cannot be read."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip("\0 \t\r\n")
    except OSError:
        return ""
