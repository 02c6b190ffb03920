"""The installation below a folder of the test's own, by systemd's own tools; the program itself is not fetched here.

tests/bench/clean-debian does the whole of it in a clean Debian, the program included.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

SCRIPTS = Path(__file__).parents[2] / "systemd"
TOOLS = ("systemd-sysusers", "systemd-tmpfiles", "systemctl", "bash")
pytestmark = [
    pytest.mark.skipif(os.geteuid() != 0, reason="users and services can only be made as root; run the tests as root"),
    pytest.mark.skipif(
        any(shutil.which(tool) is None for tool in TOOLS), reason=f"needs {', '.join(TOOLS)}; install systemd"
    ),
]  # fmt: skip
CONFIG = b"dtparam=audio=on\r\n[pi4]\r\narm_boost=1"

#: In the place of python3: makes an environment without fetching anything, and is itself for everything else.
PYTHON = f"""#!/bin/sh
if [ "$1 $2" = "-m venv" ]; then
  mkdir -p "$3/bin" && printf '#!/bin/sh\n' > "$3/bin/python" && chmod +x "$3/bin/python"
  exit 0
fi
exec {shutil.which("python3")} "$@"
"""


class Root:
    """A root folder with its boot folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "root"
        (self.folder / "etc").mkdir(parents=True)
        for name in ("passwd", "group"):
            (self.folder / "etc" / name).write_text(
                "root:x:0:0:root:/root:/bin/sh\n" if name == "passwd" else "root:x:0:\n"
            )
        self.config = self.folder / "boot" / "firmware" / "config.txt"
        self.config.parent.mkdir(parents=True)
        self.config.write_bytes(CONFIG)
        self._tools = folder / "tools"
        self._tools.mkdir()
        (self._tools / "python3").write_text(PYTHON)
        (self._tools / "python3").chmod(0o755)

    def run(self, script: str, *options: str, answer: str = "") -> subprocess.CompletedProcess[str]:
        """One script, with `answer` on its standard input."""
        return subprocess.run(
            ["bash", str(SCRIPTS / script), "--root", str(self.folder), *options],
            env={"PATH": f"{self._tools}:/usr/sbin:/usr/bin:/sbin:/bin", "HOME": "/root"},
            input=answer, capture_output=True, text=True, check=False,
        )  # fmt: skip

    def state(self) -> dict[str, tuple[int, int, int, bytes]]:
        """Every path with its mode, owner, group and contents."""
        found = {}
        for path in sorted(self.folder.rglob("*")):
            if path.suffix == ".new" or path.name.endswith("-"):
                continue
            told = path.lstat()
            contents = (
                os.fsencode(path.readlink())
                if path.is_symlink()
                else path.read_bytes()
                if path.is_file()
                else b""
            )
            found[str(path.relative_to(self.folder))] = (told.st_mode, told.st_uid, told.st_gid, contents)
        return found


@pytest.fixture
def root(tmp_path: Path) -> Iterator[Root]:
    """A clean root."""
    made = Root(tmp_path)
    yield made
    assert not (SCRIPTS.parent / "build").exists(), "the checkout stays as it was"


def test_twice_is_as_once_and_removal_leaves_settings_and_data(root: Root) -> None:
    """Users, folders, units and the line in config.txt; then config.txt is to the byte what it was."""
    first = root.run("install", "--yes", "--name", "bench-1", "--listen", "network")
    assert first.returncode == 0, first.stderr
    installed = root.state()
    assert installed["etc/pourlog/service.toml"][3].count(b'host = "0.0.0.0"') == 1
    units = {
        "pourlog-station.service",
        "pourlog-service.service",
        "pourlog-backup.service",
        "pourlog-backup.timer",
    }
    assert units <= {Path(path).name for path in installed}
    for wanted in (
        "multi-user.target.wants/pourlog-station.service",
        "timers.target.wants/pourlog-backup.timer",
    ):
        assert f"etc/systemd/system/{wanted}" in installed
    assert b"[all]\r\ndtoverlay=w1-gpio,gpiopin=4\r\n" in root.config.read_bytes()
    assert "These lines go to the end of" in first.stdout
    users = dict(line.split(":")[::2][:2] for line in (root.folder / "etc/passwd").read_text().splitlines())
    assert installed["var/lib/pourlog"][:2] == (0o40750, int(users["pourlog"]))
    assert installed["var/lib/pourlog-station"][:2] == (0o40750, int(users["pourlog-station"]))

    second = root.run("install", "--yes", "--name", "bench-1", "--listen", "network")
    assert second.returncode == 0, second.stderr
    assert root.state() == installed

    (root.folder / "var/lib/pourlog/pourlog.sqlite3").write_text("readings")
    removed = root.run("remove")
    assert removed.returncode == 0, removed.stderr
    assert root.config.read_bytes() == CONFIG
    left = root.state()
    assert {"etc/pourlog/service.toml", "var/lib/pourlog/pourlog.sqlite3", "var/lib/pourlog-station"} <= set(
        left
    )
    assert [path for path in left if path.startswith(("opt/pourlog", "etc/systemd/system/pourlog"))] == []
    assert not any(Path(path).name in units for path in left)
    assert root.run("remove").returncode == 0, "a second removal finds nothing to do"


def test_settings_that_are_there_stay(root: Root) -> None:
    """Somebody has written their phone into them."""
    assert root.run("install", "--service", "--listen", "here").returncode == 0
    settings = root.folder / "etc/pourlog/service.toml"
    settings.write_text(settings.read_text() + '[messages]\nurls = ["json://phone.invalid"]\n')
    before = settings.read_bytes()
    assert root.run("install", "--service", "--listen", "network").returncode == 0
    assert settings.read_bytes() == before


def test_a_service_alone_touches_neither_pins_nor_config_txt(root: Root) -> None:
    """An office computer."""
    assert root.run("install", "--service", "--yes").returncode == 0
    assert root.config.read_bytes() == CONFIG
    state = root.state()
    assert "etc/systemd/system/pourlog-service.service" in state
    assert "etc/systemd/system/pourlog-station.service" not in state


def test_a_station_alone_is_told_where_its_service_is(root: Root) -> None:
    """And has no service of its own."""
    refused = root.run("install", "--station", "--yes")
    assert (refused.returncode, "needs --service-url" in refused.stderr) == (2, True)
    done = root.run(
        "install", "--station", "--service-url", "http://office.invalid:8080", "--name", "bench-2", "--yes"
    )
    assert done.returncode == 0, done.stderr
    assert 'enrol "bench-2"' in done.stdout
    head = (root.folder / "etc/pourlog/station.head.toml").read_text()
    assert 'service_url = "http://office.invalid:8080"' in head
    assert not (root.folder / "etc/systemd/system/pourlog-service.service").exists()


def test_without_a_yes_nothing_is_written_to_config_txt_and_no_port_is_opened(root: Root) -> None:
    """Nobody at the keyboard is no consent."""
    done = root.run("install", "--name", "bench-1")
    assert done.returncode == 0, done.stderr
    assert "dtoverlay=w1-gpio,gpiopin=4" in done.stdout, "shown all the same"
    assert root.config.read_bytes() == CONFIG
    assert 'host = "127.0.0.1"' in (root.folder / "etc/pourlog/service.toml").read_text()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--w1-pin", "40"], "give a GPIO number"),
        (["--service-url", "office:8080"], "give http://host:port"),
        (["--listen", "everybody"], "give network or here"),
        (["--name", "two words"], "letters, digits"),
        (["--faster"], "is not an option"),
    ],
)
def test_a_wrong_option_changes_nothing(root: Root, options: list[str], said: str) -> None:
    """Exit code 2, with what is allowed."""
    before = root.state()
    refused = root.run("install", *options)
    assert (refused.returncode, said in refused.stderr) == (2, True)
    assert root.state() == before
