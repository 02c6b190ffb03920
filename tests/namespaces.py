"""Mount namespaces of a test's own: a system that is read-only, or empty in one place."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

#: Everything read-only, also for root, but for the state ($1), and in memory the folder to work in ($2). No right of
#: root is left.
READ_ONLY = """
set -e
mount --bind "$1" "$1"
mount -o remount,bind,ro /
shift
mount -t tmpfs tmpfs /run
mkdir -p "$1"
cd "$1"
shift
exec setpriv --no-new-privs --inh-caps=-all --ambient-caps=-all --bounding-set=-all "$@"
"""


def _can() -> bool:
    """Whether this machine lets us make a mount namespace of our own, in which "/" is read-only."""
    if os.geteuid() != 0 or not shutil.which("unshare") or not shutil.which("setpriv"):
        return False
    return (
        subprocess.run(inside(Path("/dev"), "/run/x", "true"), capture_output=True, check=False).returncode
        == 0
    )


def inside(state: Path, folder: str, *command: str) -> list[str]:
    """A command in a read-only system, started in `folder`; `state` alone can be written."""
    own = ["unshare", "--mount", "--propagation", "private", "sh", "-c", READ_ONLY, "sh"]
    return [*own, str(state), folder, *command]


needs_namespace = pytest.mark.skipif(
    not _can(), reason="needs root and mount namespaces; run the tests as root"
)
