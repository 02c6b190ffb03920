"""The commands that the help and `pourlog check` tell a maker to type, typed: on a system without the folders."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from namespaces import needs_namespace

from logger.diagnosis.judge_system import FEED_WATCHDOG, KEEP_JOURNAL, WIFI_AWAKE

INSTALLATION = Path(__file__).parents[2] / "web" / "help" / "installation.md"

#: An /etc with nothing in it; sudo and systemctl do nothing of their own.
EMPTY_ETC = """
set -e
mount -t tmpfs tmpfs /etc
PATH="$1:$PATH"
{command}
cat /etc/{file}
"""


def readmes_watchdog() -> str:
    """The lines of the help about the hardware watchdog."""
    (block,) = re.findall(
        r"hardware watchdog.*?\n\n((?:    [^\n]+\n)+)", INSTALLATION.read_text(encoding="utf-8"), re.DOTALL
    )
    return re.sub("^    ", "", block, flags=re.MULTILINE)


@needs_namespace
@pytest.mark.parametrize(
    ("command", "file", "section", "setting"),
    [
        (readmes_watchdog(), "systemd/system.conf.d/pourlog.conf", "Manager", ("runtimewatchdogsec", "14")),
        (FEED_WATCHDOG, "systemd/system.conf.d/pourlog.conf", "Manager", ("runtimewatchdogsec", "14")),
        (KEEP_JOURNAL, "systemd/journald.conf.d/pourlog.conf", "Journal", ("storage", "persistent")),
        (WIFI_AWAKE, "NetworkManager/conf.d/pourlog.conf", "connection", ("wifi.powersave", "2")),
    ],
    ids=["the help's watchdog", "watchdog", "journal", "WiFi"],
)
def test_advice_works_as_it_is_typed(
    tmp_path: Path, command: str, file: str, section: str, setting: tuple[str, str]
) -> None:
    """Also where the folder does not exist; what it writes is what the setting's owner reads."""
    for name, does in (("sudo", 'exec "$@"'), ("systemctl", "exit 0")):
        (tmp_path / name).write_text(f"#!/bin/sh\n{does}\n")
        (tmp_path / name).chmod(0o755)
    script = EMPTY_ETC.replace("{command}", command).replace("{file}", file)
    done = subprocess.run(
        [
            "unshare",
            "--mount",
            "--propagation",
            "private",
            shutil.which("bash") or "bash",
            "-c",
            script,
            "bash",
            str(tmp_path),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    written = configparser.ConfigParser()
    written.read_string(done.stdout[done.stdout.rindex(f"[{section}]") :])
    assert setting in written.items(section)
