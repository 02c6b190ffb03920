"""What is missing on a machine is skipped by name, and fails where nothing may be missing."""

from __future__ import annotations

import re
from pathlib import Path

import needs
import pytest

ROOT = Path(__file__).parent.parent


def test_what_is_missing_is_skipped_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a developer's machine; the name is what to install."""
    monkeypatch.delenv(needs.ALL, raising=False)
    with pytest.raises(pytest.skip.Exception, match="apt install postgresql"):
        needs.missing("no PostgreSQL server is installed; apt install postgresql")


def test_what_is_missing_fails_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    """A check that has stopped looking is not green; and CI's script says that nothing may be missing."""
    monkeypatch.setenv(needs.ALL, "1")
    with pytest.raises(pytest.fail.Exception, match="gcc"):
        needs.missing("gcc is not installed; apt install gcc")
    assert f"export {needs.ALL}=1\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_a_test_whose_program_is_missing_does_not_begin(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The mark is read before each test."""
    monkeypatch.delenv(needs.ALL, raising=False)
    item = request.node
    needs.check(item)
    item.add_marker(needs.needs_program("no-such-program", "no-such-package"))
    with pytest.raises(
        pytest.skip.Exception, match="no-such-program is not installed; apt install no-such-package"
    ):
        needs.check(item)


def test_whatever_is_asked_for_is_what_the_setup_installs() -> None:
    """tests/setup-debian brings every package that a test names."""
    setup = (ROOT / "tests" / "setup-debian").read_text(encoding="utf-8")
    (listed,) = re.findall(r"needed=\((.*?)\)", setup, re.DOTALL)
    asked = set()
    for path in (ROOT / "tests").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path == Path(__file__):
            continue
        for packages in re.findall(r'missing\(\s*f?"[^"]*; apt install ([a-z0-9 .-]+)"', text):
            asked |= set(packages.split())
        for packages in re.findall(r'needs_program\([^)]*?, "([a-z0-9 .-]+)"\)', text):
            asked |= set(packages.split())
    assert len(asked) > 6, "the search finds them"
    assert asked - {"mount"} <= set(listed.split())
