"""Findings on what surrounds the program: its units, watchdog, memory, journal, WiFi, name. Pure."""

from __future__ import annotations

from logger.diagnosis.machine_facts import (
    STATION_UNIT,
    CheckState,
    MachineFinding,
    NameSeen,
    SystemSeen,
    UnitSeen,
)
from logger.quantities import seconds
from logger.words.phrase import phrase, phrases

OK, WARN, FAIL = CheckState.OK, CheckState.WARN, CheckState.FAIL
#: What the service says of itself while all is well.
CALM = ("", "watching", "listening")
KEEP_JOURNAL = (
    "sudo mkdir -p /etc/systemd/journald.conf.d && "
    "printf '[Journal]\\nStorage=persistent\\nSystemMaxUse=100M\\n' | "
    "sudo tee /etc/systemd/journald.conf.d/pourlog.conf && sudo systemctl restart systemd-journald"
)
FEED_WATCHDOG = (
    "sudo mkdir -p /etc/systemd/system.conf.d && printf '[Manager]\\nRuntimeWatchdogSec=14\\n' | "
    "sudo tee /etc/systemd/system.conf.d/pourlog.conf && sudo systemctl daemon-reexec"
)
WIFI_AWAKE = (
    "sudo mkdir -p /etc/NetworkManager/conf.d && printf '[connection]\\nwifi.powersave=2\\n' | "
    "sudo tee /etc/NetworkManager/conf.d/pourlog.conf && sudo systemctl restart NetworkManager"
)


def judge_system(system: SystemSeen, *, is_pi: bool) -> list[MachineFinding]:
    """Return every finding about the system around the program."""
    findings = [finding for unit in system.units for finding in _unit(unit)]
    findings += _watchdog(system, is_pi=is_pi)
    if system.memory_limits is False:
        says = phrase("this kernel does not keep the program to its share of memory: MemoryMax does nothing")
        do = phrase(
            "write cgroup_enable=memory at the end of the line in /boot/firmware/cmdline.txt, then "
            "sudo reboot"
        )
        findings.append(MachineFinding("memory", WARN, says, do))
    elif system.memory_limits:
        findings.append(MachineFinding("memory", OK, phrase("the kernel keeps the program to its share")))
    if system.journal_kept is False:
        says = phrase("the journal is in memory: after a restart nobody can see what went wrong")
        findings.append(MachineFinding("journal", WARN, says, KEEP_JOURNAL))
    elif system.journal_kept:
        findings.append(MachineFinding("journal", OK, phrase("kept over a restart")))
    findings += [
        MachineFinding(
            "wifi",
            WARN,
            phrase("{device} sleeps between packets: phones wait, or do not reach the board", device=device),
            WIFI_AWAKE,
        )
        for device in system.wifi_saving
    ]
    return findings


def judge_name(name: NameSeen | None, address: str | None) -> list[MachineFinding]:
    """Judge whether phones find the board by the name that they are given."""
    if name is None:
        return []
    if not name.answers:
        says = phrase(
            "nobody in this network answers for {host}: phones do not find the board by it", host=name.host
        )
        do = phrase(
            "sudo apt install avahi-daemon, or write public_url with {address} into the settings file",
            address=address or "–",
        )
        return [MachineFinding("name", WARN, says, do)]
    if address not in name.answers:
        says = phrase(
            "{host} is another machine here ({answers}); this one is {address}",
            host=name.host,
            answers=", ".join(name.answers),
            address=address or "–",
        )
        do = phrase(
            "give this machine a name of its own (sudo hostnamectl hostname NAME), and write it into "
            "public_url"
        )
        return [MachineFinding("name", WARN, says, do)]
    return [MachineFinding("name", OK, phrase("{host} is found in this network", host=name.host))]


def _unit(unit: UnitSeen) -> list[MachineFinding]:
    short = unit.name.removesuffix(".service")
    if not unit.installed:
        return [
            MachineFinding(
                "units", FAIL, phrase("{short} is not installed", short=short), "sudo bash systemd/install"
            )
        ]
    if unit.name == "pourlog-backup.service":
        return _backup(unit)
    look = f"sudo journalctl -u {short} -n 30"
    if unit.active != "active":
        says = (
            phrase("{unit} is not running", unit=short)
            if unit.active == "inactive"
            else phrase(
                "{unit} does not run ({active}: {result})", unit=short, active=unit.active, result=unit.result
            )
        )
        if unit.restarts:
            says = phrases(
                "{says}, and was started again once",
                "{says}, and was started again {n} times",
                unit.restarts,
                says=says,
            )
        do = phrase("sudo systemctl restart {short}; if it does not stay: {look}", short=short, look=look)
        return [MachineFinding("units", FAIL, says, do)]
    findings = []
    if unit.restarts:
        says = phrases(
            "{unit} runs, but had to be started again once",
            "{unit} runs, but had to be started again {n} times",
            unit.restarts,
            unit=short,
        )
        findings.append(MachineFinding("units", WARN, says, phrase("see why: {look}", look=look)))
    if not unit.enabled:
        says = phrase("{short} does not start with the machine", short=short)
        findings.append(MachineFinding("units", WARN, says, f"sudo systemctl enable {unit.name}"))
    trouble = unit.status.partition("; ")[2] if unit.name == STATION_UNIT else unit.status
    if trouble not in CALM:
        findings.append(
            MachineFinding(
                "units",
                WARN,
                phrase("{unit} says: {trouble}", unit=short, trouble=trouble),
                phrase("see since when: {look}", look=look),
            )
        )
    runs = (
        phrase("{unit} runs: {status}", unit=short, status=unit.status)
        if unit.status
        else phrase("{unit} runs", unit=short)
    )
    return findings or [MachineFinding("units", OK, runs)]


def _backup(unit: UnitSeen) -> list[MachineFinding]:
    """Judge the nightly backup by its last run: unlike the others it does not go on running."""
    if unit.result in ("", "success"):
        return []
    do = "sudo journalctl -u pourlog-backup -n 30"
    return [
        MachineFinding("units", FAIL, phrase("the last backup failed ({result})", result=unit.result), do)
    ]


def _watchdog(system: SystemSeen, *, is_pi: bool) -> list[MachineFinding]:
    if system.watchdog_s is None or not is_pi:
        return []
    if system.watchdog_s and system.watchdog_chip:
        says = phrase("a system that hangs is restarted")
        if system.watchdog_s != float("inf"):
            says = phrase("a system that hangs is restarted after {after}", after=seconds(system.watchdog_s))
        return [MachineFinding("watchdog", OK, says)]
    if system.watchdog_s:
        says = phrase("systemd would feed a hardware watchdog, but this machine shows none")
        return [
            MachineFinding(
                "watchdog",
                WARN,
                says,
                phrase("write dtparam=watchdog=on to the end of config.txt, then sudo reboot"),
            )
        ]
    return [
        MachineFinding("watchdog", WARN, phrase("a system that hangs as a whole stays hung"), FEED_WATCHDOG)
    ]
