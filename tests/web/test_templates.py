"""Templates are read by people, too."""

from __future__ import annotations

from pathlib import Path

import pytest

from web.views.render import HERE

SOURCES = sorted(
    path
    for folder, kind in (("templates", "html"), ("static", "js"), ("static", "css"))
    for path in (HERE / folder).rglob(f"*.{kind}")
    if "vendor" not in path.parts  # built by others
)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.name)
def test_no_line_of_a_template_script_or_style_runs_off_the_screen(path: Path) -> None:
    """120 characters, as in code: break between elements or attributes, or before a {%- that takes the blank away."""
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [n for n, line in enumerate(lines, 1) if len(line) > 120] == []
