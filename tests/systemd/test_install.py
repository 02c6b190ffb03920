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
from needs import needs_program

SCRIPTS = Path(__file__).parents[2] / "systemd"
TOOLS = ("systemd-sysusers", "systemd-tmpfiles", "systemctl")
pytestmark = [
    pytest.mark.skipif(
        os.geteuid() != 0, reason="users and services can only be made as root; run the tests as root"
    ),
    *(needs_program(tool, "systemd") for tool in TOOLS),
]
CONFIG = b"dtparam=audio=on\r\n[pi4]\r\narm_boost=1"

#: In the place of python3: makes an environment without fetching anything, says which Python it is, and is itself for
#: everything else. What its pip is asked for is written down; its program's self-test fails where there is a "broken".
PYTHON = f"""#!/bin/sh
case "$1 $2" in
  "-m venv")
    mkdir -p "$3/bin" "$3/lib/$PYTHON_TAG"
    printf '#!/bin/sh\\necho "$TMPDIR $*" >> "{{log}}"\\n' > "$3/bin/python"
    printf '#!/bin/sh\\n[ ! -e "%s/broken" ] || {{{{ echo UnknownSchema >&2; exit 1; }}}}\\n' "$3" > "$3/bin/pourlog"
    [ -z "$BROKEN" ] || touch "$3/broken"
    chmod +x "$3/bin/python" "$3/bin/pourlog"
    exit 0 ;;
  "-c "*python%d*version_info*) echo "$PYTHON_TAG"; exit 0 ;;
esac
exec {shutil.which("python3")} "$@"
"""


class Root:
    """A root folder with its boot folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "root"
        self.checkout = SCRIPTS.parent
        self.python = "python3.11"
        self.asked = folder / "asked"
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
        (self._tools / "python3").write_text(PYTHON.format(log=self.asked))
        (self._tools / "python3").chmod(0o755)

    def run(
        self, script: str, *options: str, answer: str = "", **environ: str
    ) -> subprocess.CompletedProcess[str]:
        """One script, with `answer` on its standard input."""
        path = {"PATH": f"{self._tools}:/usr/sbin:/usr/bin:/sbin:/bin", "HOME": "/root"}
        return subprocess.run(
            ["bash", str(self.checkout / "systemd" / script), "--root", str(self.folder), *options],
            env=path | {"PYTHON_TAG": self.python} | environ,
            input=answer,
            capture_output=True,
            text=True,
            check=False,
        )

    def update(self, word: str) -> None:
        """The checkout holds another program."""
        if self.checkout == SCRIPTS.parent:
            self.checkout = self.folder.parent / "checkout"
            for name in ("systemd", "hardware"):
                shutil.copytree(SCRIPTS.parent / name, self.checkout / name)
            for name in ("pyproject.toml", "README.md"):
                shutil.copy(SCRIPTS.parent / name, self.checkout / name)
            (self.checkout / "web").mkdir()
            (self.checkout / "logger").mkdir()
        (self.checkout / "logger" / "word.py").write_text(f"# {word}\n")

    def install(self, **environ: str) -> subprocess.CompletedProcess[str]:
        """The usual installation."""
        return self.run("install", "--yes", "--name", "bench-1", "--listen", "here", **environ)

    def release(self, link: str = "current") -> str | None:
        """The release that a link points to; None without one."""
        path = self.folder / "opt" / "pourlog" / link
        return path.readlink().name if path.is_symlink() else None

    def releases(self) -> set[str]:
        """Every release that is there."""
        return {path.name for path in (self.folder / "opt/pourlog/releases").iterdir()}

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


def test_an_update_stands_beside_the_old_program_and_then_in_its_place(root: Root) -> None:
    """The same version or not: what the checkout holds is what runs. The one before it is kept, older ones are not."""
    root.update("first")
    assert root.install().returncode == 0
    first = root.release()
    assert root.install().returncode == 0
    assert (root.release(), root.release("previous"), root.releases()) == (first, None, {first})
    root.update("second")
    done = root.install()
    assert "--back" in done.stdout
    second = root.release()
    assert (root.release("previous"), root.releases()) == (first, {first, second})
    root.update("third")
    root.install()
    assert (root.release("previous"), root.releases()) == (second, {second, root.release()})
    assert str(first).startswith("0.1.0-python3.11-")
    program = (root.folder / "usr/local/bin/pourlog").read_text()
    assert "/opt/pourlog/current" in program
    for unit in ("station", "service", "backup"):
        text = (root.folder / f"etc/systemd/system/pourlog-{unit}.service").read_text()
        assert text.count("/opt/pourlog/current/bin/") >= 1


def test_another_python_is_another_environment(root: Root) -> None:
    """After an upgrade of the system nothing of the old one is found any more."""
    root.update("first")
    root.install()
    root.python = "python3.13"
    assert root.install().returncode == 0
    assert str(root.release()).startswith("0.1.0-python3.13-")
    back = root.run("install", "--back", BROKEN="1")
    assert back.returncode == 0, "its files are there, and this test's program works with any Python"
    (root.folder / "opt/pourlog/releases" / str(root.release("previous")) / "broken").touch()
    root.python = "python3.11"
    back = root.run("install", "--back")
    assert (back.returncode, "made for another Python" in back.stdout) == (1, True)


def test_a_program_that_does_not_work_here_never_takes_the_place_of_one_that_does(root: Root) -> None:
    """It is proven first; what fails is taken away again."""
    root.update("first")
    root.install()
    first, before = root.release(), root.state()
    root.update("second")
    refused = root.install(BROKEN="1")
    assert refused.returncode == 2
    assert f"The one that runs stays: {first}" in refused.stderr
    assert root.state() == before


def test_half_a_release_is_made_anew(root: Root) -> None:
    """The power went while it was made."""
    root.update("first")
    root.install()
    first = root.release()
    root.update("second")
    root.install()
    second = str(root.release())
    root.run("install", "--back")
    half = root.folder / "opt/pourlog/releases" / second
    (half / "rubbish").touch()
    assert root.install().returncode == 0
    assert (root.release(), root.release("previous")) == (second, first)
    assert not (half / "rubbish").exists()


def test_one_that_broke_is_made_anew_under_another_name(root: Root) -> None:
    """The same contents: the link still never points at half."""
    root.update("first")
    root.install()
    first = str(root.release())
    (root.folder / "opt/pourlog/releases" / first / "broken").touch()
    assert root.install().returncode == 0
    assert str(root.release()).startswith(f"{first}-")


def test_going_back_takes_the_units_along_and_works_both_ways(root: Root) -> None:
    """A unit belongs to its program. With nothing to go back to, nothing changes."""
    root.update("first")
    root.install()
    refused = root.run("install", "--back")
    assert (refused.returncode, "no earlier program" in refused.stderr) == (2, True)
    unit = root.folder / "etc/systemd/system/pourlog-station.service"
    old = unit.read_text()
    file = root.checkout / "systemd" / "pourlog-station.service"
    file.write_text(file.read_text().replace("MemoryMax=200M", "MemoryMax=150M"))
    root.install()
    first, second = root.release("previous"), root.release()
    new = unit.read_text()
    assert "MemoryMax=150M" in new
    for release, text in ((first, old), (second, new)):
        done = root.run("install", "--back")
        assert done.returncode == 0, done.stderr
        assert (root.release(), unit.read_text()) == (release, text)


def test_going_back_behind_a_newer_database_is_refused_with_the_way(root: Root) -> None:
    """The backup from before the update, and what is typed with it."""
    root.update("first")
    root.install()
    first = root.release()
    root.update("second")
    root.install()
    now = root.folder / "opt/pourlog/releases" / str(root.release())
    (now / "backup-before").write_text("/var/lib/pourlog/backups/pourlog-1.sqlite3\n")
    (root.folder / "opt/pourlog/releases" / str(first) / "broken").touch()
    before = root.state()
    refused = root.run("install", "--back")
    assert refused.returncode == 1
    assert (
        f"sudo -u pourlog /opt/pourlog/releases/{first}/bin/pourlog restore "
        "/var/lib/pourlog/backups/pourlog-1.sqlite3 /etc/pourlog/service.toml"
    ) in refused.stdout
    assert root.state() == before


def test_every_package_is_what_was_locked_and_is_unpacked_on_the_disk(root: Root, tmp_path: Path) -> None:
    """By sums, binary only; a small Pi has no room for it where /tmp is in memory."""
    (tmp_path / "wheels").mkdir()
    root.run("install", "--yes", "--wheels", str(tmp_path / "wheels"))
    packages, program = (line for line in root.asked.read_text().splitlines() if "-m pip" in line)
    assert packages.split()[0] == str(root.folder / "opt/pourlog/releases/.work")
    for word in (
        "--require-hashes",
        "--only-binary=:all:",
        f"-r {SCRIPTS}/requirements.lock",
        "--no-cache-dir",
        f"--no-index --find-links {tmp_path}/wheels",
    ):
        assert word in packages
    for word in ("--no-index", "--no-deps", "--no-build-isolation"):
        assert word in program
    assert not (root.folder / "opt/pourlog/releases/.work").exists()


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
