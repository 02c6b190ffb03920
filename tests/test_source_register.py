"""The register of sources is what the code says today, and tells a source from what a program keeps in its memory."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
import source_register as register

DOCUMENT = register.DOCUMENT.read_text(encoding="utf-8")


def test_the_register_is_what_the_code_says() -> None:
    """Changed a source? Run python tests/source_register.py"""
    assert register.with_register(DOCUMENT, register.written()) == DOCUMENT


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        (
            "Kamal & Sourour 1973, Polym. Eng. Sci. 13:59 (from memory). Rate constants are referred to 25 °C.",
            ["from memory"],
        ),
        ("Flory 1953, Principles of Polymer Chemistry, ch. 9: α² (fE − 1)(fA − 1) = 1.", ["printed"]),
        ("Saturation pressure after Magnus (as public weather programs quote it).", ["quoted"]),
        ("A flood starts above 10 alarms in 10 min (ISA-18.2, second hand).", ["quoted"]),
        ("The update of a linear model (Kalman 1960; closed form).", ["closed form"]),
        ("Dew point within 0.02 °C of that by psychrolib.", ["library"]),
        ("Coatings practice, from memory.", ["from memory"]),
        (
            "A film this thin stays at the room's temperature, mm. Common practice, no source.",
            ["practice or choice"],
        ),
        ("Both: this project's choice, no standard.", ["practice or choice"]),
        (
            "Ice and water: 0.00 °C (any textbook; from memory). A jug stays within 0.1 K (common practice).",
            ["from memory", "practice or choice"],
        ),
        ("the watch goes on from memory: messages go out at once", []),
        ("tells how many pours are watched from memory and how many are too hot", []),
        ("None while it was lately. From memory alone.", []),
        ("What this program was released with, ms (1 January 2026, UTC).", []),
    ],
)
def test_a_marker_is_told_from_words(text: str, kinds: list[str]) -> None:
    """By the house's own wordings, each as it stands in the code."""
    assert [kind for kind, _ in register.markers_of(text)] == kinds


def test_each_marker_has_its_place(tmp_path: Path) -> None:
    """Comment, docstring and a source that a finding carries: the name that each stands beside."""
    module = tmp_path / "logger" / "made.py"
    module.parent.mkdir()
    module.write_text(
        '"""Rules (Roark, from memory)."""\n\n'
        "#: Steepness of the stand-in (from memory).\nSTEEPNESS = 40.0\n"
        'GLASS = Constant("light", 0.8, "", FROM_MEMORY)\n'
        'OSB = Panel("OSB", 4.41, works.WOOD_TABLE_12_3)\n\n'
        'def sag() -> float:\n    """Return it (closed form)."""\n',
        encoding="utf-8",
    )
    found = register.markers_in(module, tmp_path)
    assert Counter((marker.kind, marker.name) for marker in found) == Counter(
        [
            ("from memory", "module"),
            ("from memory", "STEEPNESS"),
            ("from memory", "GLASS 'light'"),
            ("printed", "OSB 'OSB'"),
            ("closed form", "sag"),
        ]
    )


def test_everything_from_memory_is_listed() -> None:
    """As many lines as the count says, so that nobody has to look for them."""
    text = DOCUMENT.partition(register.BEGIN)[2].partition(register.END)[0]
    live, _, checks = text.partition("Checks from memory in the tests")
    listed, checked = live.count("\n- `"), checks.count("\n- `")
    assert f"From memory in the live code ({listed}):" in live
    assert next(line for line in live.splitlines() if "**all**" in line).endswith(f"| **{listed}** |")
    assert f"({checked}):" in checks
