"""From what was seen of a machine to plain words: OK, WARN or FAIL, and what to do. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hardware.header import CONSUMER
from hardware.reading import Fault, FaultReason, Reading
from logger.diagnosis.judge_system import judge_name, judge_system
from logger.diagnosis.machine_facts import (
    STATION_UNIT,
    CheckState,
    DiskSeen,
    MachineFacts,
    MachineFinding,
    MessagesSeen,
    PinSeen,
    PowerSeen,
    ProbeSeen,
    UnitSeen,
    WiresSeen,
)
from logger.quantities import percent, quantity, temperature
from logger.words.phrase import phrase

OK, WARN, FAIL = CheckState.OK, CheckState.WARN, CheckState.FAIL
#: Room that a three-day pour with ten probes never fills, and room below which databases begin to fail. Our choice.
DISK_WARN_MB, DISK_FAIL_MB = 500.0, 100.0
#: What this program was released with: an earlier time is no time of day, ms (1 January 2026, UTC).
EARLIEST_MS = 1_767_225_600_000
#: RETURNING, which the store uses, came with this version of SQLite (its release history).
SQLITE = (3, 35, 0)
#: Bits of the firmware's answer (its documentation of get_throttled, as public tools quote it).
UNDER_VOLTAGE, CAPPED, THROTTLED, TOO_HOT, SINCE_START = 0x1, 0x2, 0x4, 0x8, 16

REMEDIES = {
    FaultReason.MISSING: phrase(
        "plug it in; look for a broken wire; warm each probe in the hand to see which one is gone"
    ),
    FaultReason.EMPTY: phrase("look at plug and cable; a pull-up of 4.7 kΩ belongs between data and 3.3 V"),
    FaultReason.MALFORMED: phrase("restart the Pi; if it comes back, look at the cable"),
    FaultReason.BAD_CRC: phrase(
        "lead the cable away from motors; twisted pairs; a smaller pull-up (2.2 kΩ) for a long one"
    ),
    FaultReason.ALL_ZERO: phrase(
        "the data wire touches ground: look for water in the plug and for a crushed cable"
    ),
    FaultReason.POWER_ON: phrase(
        "give it three wires: red to 3.3 V, black to ground, the third to the data pin"
    ),
    FaultReason.LOW_POWER: phrase("give it three wires, and the Pi a supply of its own rating"),
    FaultReason.OUT_OF_RANGE: phrase(
        "replace the probe, or use a thermocouple where it is hotter than {most}", most=temperature(125.0, 0)
    ),
    FaultReason.IO_ERROR: phrase("restart the Pi; if it comes back, replace the probe"),
    FaultReason.STUCK: phrase("look for a short, then restart the Pi"),
    FaultReason.OPEN_WIRE: phrase("the thermocouple's wire is broken or its screws are loose"),
}


def judge(facts: MachineFacts) -> list[MachineFinding]:
    """Return every finding, in the order of its topic."""
    findings: list[MachineFinding] = []
    if facts.bench:
        findings.append(
            MachineFinding(
                "probes",
                WARN,
                phrase("the station file says bench: its temperatures are invented"),
                phrase('write hardware = "pi" before a real pour'),
            )
        )
    elif facts.wires is not None:
        findings += _probes(facts.wires, is_pi=facts.is_pi)
        findings += _pins(facts.wires, facts.system.units)
    findings += _clock(facts)
    for disk in facts.disks:
        findings += _disk(disk)
    findings += _power(facts.power, is_pi=facts.is_pi)
    findings += judge_system(facts.system, is_pi=facts.is_pi)
    findings += _network(facts)
    findings += judge_name(facts.name, facts.address)
    findings += _messages(facts)
    findings += _versions(facts)
    return findings


def worst(findings: Iterable[MachineFinding]) -> CheckState:
    """Return the worst state of all."""
    states = {finding.state for finding in findings}
    return FAIL if FAIL in states else WARN if WARN in states else OK


def _probes(wires: WiresSeen, *, is_pi: bool) -> list[MachineFinding]:
    if not wires.bus_there:
        return [_no_bus(wires, is_pi=is_pi)]
    findings = [_one_probe(probe) for probe in wires.probes if probe.place is not None]
    findings += [
        MachineFinding(
            "probes",
            WARN,
            _not_named(probe),
            phrase("say where it sits: sudo pourlog place-probes"),
        )
        for probe in wires.probes
        if probe.place is None
    ]
    if not wires.probes:
        findings.append(
            MachineFinding(
                "probes",
                FAIL,
                phrase("no probe is plugged in"),
                phrase("look at plug, pull-up (4.7 kΩ between data and 3.3 V) and the data pin"),
            )
        )
    for probe in wires.probes:
        if probe.external_power is False:
            findings.append(
                MachineFinding(
                    "probes",
                    WARN,
                    phrase("{id} takes its power from the data wire", id=probe.id),
                    phrase(
                        "give it the third wire: without it, hot probes fail and wake up at {power_on}",
                        power_on=temperature(85.0, 0),
                    ),
                )
            )
        if probe.bits is not None and probe.bits < 12:
            findings.append(
                MachineFinding(
                    "probes",
                    WARN,
                    phrase("{id} resolves {bits} bit, not 12", id=probe.id, bits=probe.bits),
                    phrase(
                        "unplug the Pi for a minute; if it stays, write 12 to the probe's file resolution"
                    ),
                )
            )
    return findings


def _no_bus(wires: WiresSeen, *, is_pi: bool) -> MachineFinding:
    """Return why there is no 1-Wire bus, and what to do."""
    if not is_pi:
        return MachineFinding(
            "probes",
            FAIL,
            phrase("this machine has no 1-Wire bus: it is no Pi"),
            phrase("run the station on the Pi"),
        )
    if wires.overlay_pins:
        return MachineFinding(
            "probes",
            FAIL,
            phrase("config.txt switches 1-Wire on, but the kernel shows no bus"),
            phrase("restart the Pi: sudo reboot"),
        )
    return MachineFinding(
        "probes",
        FAIL,
        phrase("1-Wire is not switched on"),
        phrase("run sudo bash systemd/install again and let it write the line to config.txt"),
    )


def _not_named(probe: ProbeSeen) -> str:
    if not isinstance(probe.outcome, Reading):
        return phrase("{id} is plugged in, but the station file does not name it", id=probe.id)
    reads = temperature(probe.outcome.celsius)
    return phrase(
        "{id} is plugged in, but the station file does not name it ({reads})", id=probe.id, reads=reads
    )


def _one_probe(probe: ProbeSeen) -> MachineFinding:
    name = f"{probe.place} ({probe.id})"
    if isinstance(probe.outcome, Fault):
        return MachineFinding(
            "probes",
            FAIL,
            phrase("{name}: {detail}", name=name, detail=probe.outcome.detail),
            REMEDIES[probe.outcome.reason],
        )
    if probe.outcome is None:
        return MachineFinding(
            "probes",
            WARN,
            phrase("{name}: its value needs a second look", name=name),
            phrase("run the check again"),
        )
    reads, humidity = temperature(probe.outcome.celsius), probe.outcome.rh_percent
    says = phrase("{name}: {reads}", name=name, reads=reads)
    if humidity is not None:
        says = phrase(
            "{name}: {reads}, {humidity} humidity", name=name, reads=reads, humidity=percent(humidity, 0)
        )
    if probe.outcome.note:
        noted = phrase("{reads}; {note}", reads=says, note=probe.outcome.note)
        return MachineFinding("probes", WARN, noted, phrase("check it in ice water"))
    return MachineFinding("probes", OK, says)


def _pins(wires: WiresSeen, units: Sequence[UnitSeen]) -> list[MachineFinding]:
    if not wires.pins:
        return [MachineFinding("pins", OK, phrase("no lamp, buzzer, contact or fan is wired"))]
    runs = any(unit.name == STATION_UNIT and unit.active == "active" for unit in units)
    findings = [finding for pin in wires.pins if (finding := _one_pin(pin, wires, runs)) is not None]
    if wires.as_unit is False:
        says = phrase("the pins were looked at by you, not by the station's own user")
        findings.append(MachineFinding("pins", WARN, says, phrase("run it as root: sudo pourlog check")))
    if not findings:
        named = ", ".join(f"{pin.name} {pin.number}" for pin in wires.pins)
        says = (
            phrase("{named}: can be used by the station's own user, under its unit's rules", named=named)
            if wires.as_unit
            else phrase("{named}: can be used", named=named)
        )
        findings.append(MachineFinding("pins", OK, says))
    return findings


def _one_pin(pin: PinSeen, wires: WiresSeen, station_runs: bool) -> MachineFinding | None:
    name = f"{pin.name} (GPIO {pin.number})"
    if pin.number in (wires.overlay_pins or ()):
        return MachineFinding(
            "pins",
            FAIL,
            phrase("{name} is the probes' data pin too", name=name),
            phrase("wire it to another pin"),
        )
    if pin.problem is not None:
        do = phrase(
            "run sudo bash systemd/install again; the wires are right only on a Pi's own 40-pin header"
        )
        return MachineFinding("pins", FAIL, phrase("{name}: {problem}", name=name, problem=pin.problem), do)
    if pin.holder not in (None, CONSUMER):
        do = phrase("wire it to another pin, or end what uses it")
        return MachineFinding(
            "pins", FAIL, phrase("{name} is used by {holder}", name=name, holder=pin.holder), do
        )
    if station_runs and pin.holder is None:
        says = phrase("{name}: the station runs without it", name=name)
        return MachineFinding("pins", FAIL, says, "sudo systemctl restart pourlog-station")
    return None


def _clock(facts: MachineFacts) -> list[MachineFinding]:
    if facts.clock_ms < EARLIEST_MS:
        return [
            MachineFinding(
                "clock",
                FAIL,
                phrase("the clock stands in the past"),
                phrase("connect the network until it is set; readings are kept and dated later"),
            )
        ]
    if not facts.clock_set:
        do = (
            phrase("connect the network, and see: timedatectl")
            if facts.battery_clock
            else phrase(
                "connect the network, and see: timedatectl; a clock with a battery helps where there is no network"
            )
        )
        return [
            MachineFinding(
                "clock",
                WARN,
                phrase("nothing has set the clock since the start"),
                do,
            )
        ]
    return [MachineFinding("clock", OK, phrase("set by the network"))]


def _disk(disk: DiskSeen) -> list[MachineFinding]:
    if not disk.writable:
        return [
            MachineFinding(
                "disk",
                FAIL,
                phrase("{what}: {folder} cannot be written", what=disk.what, folder=disk.folder),
                phrase("look whether the card went read-only (dmesg); run sudo bash systemd/install again"),
            )
        ]
    if disk.free_mb is None:
        return [
            MachineFinding(
                "disk",
                WARN,
                phrase("{what}: how full the disk is cannot be told", what=disk.what),
                phrase("look at df {folder}", folder=disk.folder),
            )
        ]
    says = phrase("{what}: {free} free", what=disk.what, free=quantity(disk.free_mb / 1000, "GB"))
    if disk.free_mb < DISK_FAIL_MB:
        return [
            MachineFinding(
                "disk", FAIL, says, phrase("make room now: delete old files, or take a larger card")
            )
        ]
    if disk.free_mb < DISK_WARN_MB:
        return [MachineFinding("disk", WARN, says, phrase("make room before the pour"))]
    return [MachineFinding("disk", OK, says)]


def _power(power: PowerSeen, *, is_pi: bool) -> list[MachineFinding]:
    if power.low is None and power.throttled is None:
        says = phrase("the supply cannot be judged: the kernel says nothing about it")
        return [MachineFinding("power", WARN, says, phrase("update the system"))] if is_pi else []
    bits = power.throttled or 0
    if power.low or bits & UNDER_VOLTAGE:
        return [
            MachineFinding(
                "power",
                FAIL,
                phrase("the supply is too weak now"),
                phrase("use the Pi's own supply and a short, thick cable; probes lie when it sags"),
            )
        ]
    findings = []
    if bits >> SINCE_START & UNDER_VOLTAGE:
        findings.append(
            MachineFinding(
                "power",
                WARN,
                phrase("the supply was too weak at some time since the start"),
                phrase("use the Pi's own supply and a short, thick cable"),
            )
        )
    if bits & (CAPPED | THROTTLED | TOO_HOT):
        findings.append(
            MachineFinding(
                "power",
                WARN,
                phrase("the Pi slows itself down, being too hot"),
                phrase("give it air; keep it away from the form and out of the sun"),
            )
        )
    return findings or [MachineFinding("power", OK, phrase("the supply is strong enough"))]


def _network(facts: MachineFacts) -> list[MachineFinding]:
    findings = []
    if facts.address is None:
        findings.append(
            MachineFinding(
                "network",
                WARN,
                phrase("no network: phones are not reached, readings are kept here"),
                phrase("plug in the cable, or join the workshop's network: sudo nmtui"),
            )
        )
    else:
        findings.append(
            MachineFinding("network", OK, phrase("this machine is {address}", address=facts.address))
        )
    service = facts.service
    if service is None:
        return findings
    if service.problem is not None:
        findings.append(
            MachineFinding(
                "service",
                FAIL,
                phrase("{url}: {problem}", url=service.url, problem=service.problem),
                phrase(
                    "is it running (systemctl status pourlog-service), and does it listen to the network?"
                ),
            )
        )
        return findings
    findings.append(MachineFinding("service", OK, phrase("{url} answers", url=service.url)))
    if service.token is False:
        findings.append(
            MachineFinding(
                "service",
                FAIL,
                phrase("the station's token: {problem}", problem=service.token_problem or ""),
                phrase("enrol the station on the page of probes and put its token into the token file"),
            )
        )
    elif service.token:
        findings.append(MachineFinding("service", OK, phrase("it knows this station")))
    return findings


def _messages(facts: MachineFacts) -> list[MachineFinding]:
    messages = facts.messages
    if messages is None:
        return []
    if not messages.channels:
        nobody = phrase("nobody is told of an alarm: there is no channel")
        give = phrase("set up a phone on the page “Messages to my phone”")
        return [MachineFinding("messages", FAIL, nobody, give), *_heartbeat(messages)]
    findings = []
    for channel in messages.channels:
        if channel.problem is not None:
            findings.append(
                MachineFinding(
                    "messages",
                    FAIL,
                    channel.problem,
                    phrase(
                        "correct it on the page “Messages to my phone”, or in [messages] of the settings file"
                    ),
                )
            )
        elif messages.sent:
            findings.append(
                MachineFinding(
                    "messages", OK, phrase("{shown} took a test message: did it arrive?", shown=channel.shown)
                )
            )
        else:
            says = phrase("{shown} is understood, not yet proven", shown=channel.shown)
            findings.append(
                MachineFinding("messages", WARN, says, phrase("send one: pourlog check --message"))
            )
    if not messages.second:
        says = phrase("nobody is told when the first one does not answer")
        findings.append(
            MachineFinding("messages", WARN, says, phrase("set up a second person’s phone, on its page"))
        )
    return [*findings, *_heartbeat(messages)]


def _heartbeat(messages: MessagesSeen) -> list[MachineFinding]:
    """Judge whether anybody outside would miss this machine: one that has died cannot say so itself."""
    if messages.heartbeat:
        return [
            MachineFinding(
                "messages", OK, phrase("an outside watch is called every minute, and tells when that stops")
            )
        ]
    return [
        MachineFinding(
            "messages",
            WARN,
            phrase("nobody is told when this machine itself stops: no outside watch is set"),
            phrase(
                "give [messages] heartbeat_url: the address of a service that calls you when it is no "
                "longer called; until then only the station's lamp says so, by blinking"
            ),
        )
    ]


def _versions(facts: MachineFacts) -> list[MachineFinding]:
    versions = facts.versions
    python, sqlite = ".".join(map(str, versions.python)), ".".join(map(str, versions.sqlite))
    says = f"pourlog {versions.program}, Python {python}, SQLite {sqlite}, {versions.machine}"
    if versions.python < (3, 11):
        return [MachineFinding("versions", FAIL, says, phrase("Python 3.11 or newer is needed"))]
    if versions.sqlite < SQLITE:
        return [
            MachineFinding(
                "versions", FAIL, says, phrase("SQLite 3.35 or newer is needed: update the system")
            )
        ]
    if facts.is_pi and versions.bits != 64:
        return [MachineFinding("versions", FAIL, says, phrase("write the 64-bit system to the card"))]
    return [MachineFinding("versions", OK, says)]
