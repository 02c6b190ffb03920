"""What a 64-bit Pi would be given by the package index: binary wheels only, for Python 3.11 and 3.13. Run by hand:

    python tests/bench/arm_wheels.py            # needs the network; downloads nothing but metadata

Everything that was locked (systemd/requirements.lock), the pins' library included, must be there without a compiler,
with the sum that was locked.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

LOCK = Path(__file__).parents[2] / "systemd" / "requirements.lock"
#: Raspberry Pi OS 12 has Python 3.11 and glibc 2.36, 13 has 3.13 and 2.41 (from memory): wheels up to that count.
SYSTEMS = {"3.11": 36, "3.13": 41}
GLIBC = (17, 24, 26, 27, 28, 31, 34, 35, 36, 38, 39, 40, 41)


def resolve(python: str) -> tuple[list[tuple[str, str, str]], str]:
    """(name, version, platform) of every wheel that pip would take, and what it said if it could not."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--dry-run",
            "--ignore-installed",
            "--only-binary=:all:",
            "--target",
            folder,
            "--report",
            str(report),
            "--implementation",
            "cp",
            "--python-version",
            python,
            "--platform",
            "manylinux2014_aarch64",
        ]
        for minor in GLIBC:
            if minor <= SYSTEMS[python]:
                command += ["--platform", f"manylinux_2_{minor}_aarch64"]
        ran = subprocess.run(
            [*command, "--require-hashes", "--requirement", str(LOCK)],
            capture_output=True,
            text=True,
            check=False,
        )
        if ran.returncode:
            return [], [line for line in ran.stderr.splitlines() if "ERROR" in line][-1]
        taken = json.loads(report.read_text())["install"]
    files = [item["download_info"]["url"].rpartition("/")[2].removesuffix(".whl") for item in taken]
    return sorted((*file.split("-")[:2], file.split("-")[-1]) for file in files), ""  # type: ignore[misc]


def main() -> int:
    """Prints a table a Python; 1 if something cannot be had as a wheel."""
    bad = 0
    for python in SYSTEMS:
        wheels, problem = resolve(python)
        bad += bool(problem)
        pure = sum(platform == "any" for *_, platform in wheels)
        print(f"Python {python} on aarch64: {len(wheels)} wheels, {pure} of them pure Python. {problem}")
        for name, number, platform in wheels:
            if platform != "any":
                print(f"    {name:26} {number:12} {platform.split('.')[-1]}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
