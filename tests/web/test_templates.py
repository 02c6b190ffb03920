"""Templates are read by people, too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from web.views.render import HERE

TEMPLATES = sorted((HERE / "templates").rglob("*.html"))
#: What has no place to break: a drawing's path, and a value of which each blank counts.
UNBROKEN = re.compile(r"""\b(?:d|data-[\w-]+)="[^"]{90,}""")


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_line_of_a_template_runs_off_the_screen(path: Path) -> None:
    """120 characters, as in code: break inside a tag or between Jinja's braces, where a blank shows nowhere."""
    lines = path.read_text(encoding="utf-8").splitlines()
    long = [n for n, line in enumerate(lines, 1) if len(line) > 120 and not UNBROKEN.search(line)]
    assert long == []
