"""What a test needs that no Python package brings: a program, a server, a browser.

Where it is missing, the test is skipped and says what to install; in .ci/run, which installs all of it, it fails
instead: a check that has silently stopped looking is worse than none. What a machine does not permit (namespaces,
mounts, being root) is another matter, and is skipped everywhere.
"""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest

#: Set by .ci/run.
ALL = "POURLOG_TEST_ALL"


def missing(what: str) -> NoReturn:
    """Skips the test, or fails it where nothing may be missing."""
    if os.environ.get(ALL) == "1":
        pytest.fail(f"{what} ({ALL}=1: nothing may be missing)", pytrace=False)
    pytest.skip(what)


def needs_program(program: str, package: str) -> pytest.MarkDecorator:
    """A mark for tests that run a program, with the Debian package that brings it."""
    return pytest.mark.needs_program(program, package)


def check(item: pytest.Item) -> None:
    """Before each test: the programs that its marks name are there."""
    for mark in item.iter_markers("needs_program"):
        program, package = mark.args
        if shutil.which(program) is None:
            missing(f"{program} is not installed; apt install {package}")
