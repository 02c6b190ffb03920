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
        says = "this kernel does not keep the program to its share of memory: MemoryMax does nothing"
        do = "write cgroup_enable=memory at the end of the line in /boot/firmware/cmdline.txt, then sudo reboot"
        findings.append(MachineFinding("memory", WARN, says, do))
    elif system.memory_limits:
        findings.append(MachineFinding("memory", OK, "the kernel keeps the program to its share"))
    if system.journal_kept is False:
        says = "the journal is in memory: after a restart nobody can see what went wrong"
        findings.append(MachineFinding("journal", WARN, says, KEEP_JOURNAL))
    elif system.journal_kept:
        findings.append(MachineFinding("journal", OK, "kept over a restart"))
    findings += [
        MachineFinding(
            "wifi",
            WARN,
            f"{device} sleeps between packets: phones wait, or do not reach the board",
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
        says = f"nobody in this network answers for {name.host}: phones do not find the board by it"
        do = f"sudo apt install avahi-daemon, or write public_url with {address} into the settings file"
        return [MachineFinding("name", WARN, says, do)]
    if address not in name.answers:
        says = f"{name.host} is another machine here ({', '.join(name.answers)}); this one is {address}"
        do = "give this machine a name of its own (sudo hostnamectl hostname NAME), and write it into public_url"
        return [MachineFinding("name", WARN, says, do)]
    return [MachineFinding("name", OK, f"{name.host} is found in this network")]


def _unit(unit: UnitSeen) -> list[MachineFinding]:
    short = unit.name.removesuffix(".service")
    if not unit.installed:
        return [MachineFinding("units", FAIL, f"{short} is not installed", "sudo bash systemd/install")]
    if unit.name == "pourlog-backup.service":
        return _backup(unit)
    look = f"sudo journalctl -u {short} -n 30"
    if unit.active != "active":
        says = (
            "is not running" if unit.active == "inactive" else f"does not run ({unit.active}: {unit.result})"
        )
        tries = f", and was started again {_times(unit.restarts)}" if unit.restarts else ""
        do = f"sudo systemctl restart {short}; if it does not stay: {look}"
        return [MachineFinding("units", FAIL, f"{short} {says}{tries}", do)]
    findings = []
    if unit.restarts:
        says = f"{short} runs, but had to be started again {_times(unit.restarts)}"
        findings.append(MachineFinding("units", WARN, says, f"see why: {look}"))
    if not unit.enabled:
        says, do = f"{short} does not start with the machine", f"sudo systemctl enable {unit.name}"
        findings.append(MachineFinding("units", WARN, says, do))
    trouble = unit.status.partition("; ")[2] if unit.name == STATION_UNIT else unit.status
    if trouble not in CALM:
        findings.append(MachineFinding("units", WARN, f"{short} says: {trouble}", f"see since when: {look}"))
    status = f": {unit.status}" if unit.status else ""
    return findings or [MachineFinding("units", OK, f"{short} runs{status}")]


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _backup(unit: UnitSeen) -> list[MachineFinding]:
    """Judge the nightly backup by its last run: unlike the others it does not go on running."""
    if unit.result in ("", "success"):
        return []
    do = "sudo journalctl -u pourlog-backup -n 30"
    return [MachineFinding("units", FAIL, f"the last backup failed ({unit.result})", do)]


def _watchdog(system: SystemSeen, *, is_pi: bool) -> list[MachineFinding]:
    if system.watchdog_s is None or not is_pi:
        return []
    if system.watchdog_s and system.watchdog_chip:
        after = "" if system.watchdog_s == float("inf") else f" after {system.watchdog_s:g} s"
        return [MachineFinding("watchdog", OK, f"a system that hangs is restarted{after}")]
    if system.watchdog_s:
        says = "systemd would feed a hardware watchdog, but this machine shows none"
        return [
            MachineFinding(
                "watchdog", WARN, says, "write dtparam=watchdog=on to the end of config.txt, then sudo reboot"
            )
        ]
    return [MachineFinding("watchdog", WARN, "a system that hangs as a whole stays hung", FEED_WATCHDOG)]
