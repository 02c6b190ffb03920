"""The line in config.txt: put in once, found, and taken out so that the file is what it was."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.overlay import main, pins_in, with_overlay, without_overlay

FILES = {
    "a usual one": "# For more options see the manual\ndtparam=audio=on\n[pi4]\narm_boost=1\n",
    "no line end": "dtparam=audio=on\n[pi4]\narm_boost=1",
    "of another system": "dtparam=audio=on\r\n[cm4]\r\notg_mode=1\r\n",
    "empty": "",
    "blank lines at the end": "dtparam=audio=on\n\n\n",
    "not UTF-8": b"# caf\xe9\ndtparam=audio=on\n".decode("utf-8", "surrogateescape"),
}


@pytest.mark.parametrize("text", FILES.values(), ids=FILES.keys())
def test_what_was_put_in_is_taken_out_to_the_byte(tmp_path: Path, text: str) -> None:
    """On the disk: add twice (the second finds nothing to do), remove twice."""
    path = tmp_path / "config.txt"
    before = text.encode("utf-8", "surrogateescape")
    path.write_bytes(before)
    assert [main([act, str(path)]) for act in ("add", "add", "remove", "remove")] == [0, 3, 0, 3]
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@given(st.text(alphabet="ab#[]=,\r\n \t"))
def test_any_file_comes_back_as_it_was(text: str) -> None:
    """Whatever stands in it, as long as it has no 1-Wire line of its own."""
    assert without_overlay(with_overlay(text)) == text


def test_the_line_counts_for_every_model() -> None:
    """It opens [all] first: the file may end inside another model's section."""
    lines = with_overlay(FILES["a usual one"], 17).splitlines()
    assert lines[lines.index("dtoverlay=w1-gpio,gpiopin=17") - 1] == "[all]"


def test_somebody_elses_line_is_neither_doubled_nor_taken_out() -> None:
    """Written by hand before: it stays, before and after."""
    for theirs in ("dtoverlay=w1-gpio\n", "[all]\n dtoverlay=w1-gpio-pullup,gpiopin=5,extpullup=6\n"):
        assert with_overlay(theirs) == theirs
        assert without_overlay(theirs) == theirs


def test_what_was_written_after_us_stays() -> None:
    """Only our own lines go."""
    text = with_overlay("dtparam=audio=on\n") + "dtparam=spi=on\n"
    assert without_overlay(text) == "dtparam=audio=on\ndtparam=spi=on\n"


@pytest.mark.parametrize(
    ("text", "pins"),
    [
        ("dtoverlay=w1-gpio\n", [4]),
        ("dtoverlay=w1-gpio,gpiopin=17,pullup=1\ndtoverlay=w1-gpio,gpiopin=27\n", [17, 27]),
        ("#dtoverlay=w1-gpio\n# dtoverlay=w1-gpio,gpiopin=5\ndtparam=spi=on\n", []),
    ],
)
def test_the_pins_are_read_from_the_lines(text: str, pins: list[int]) -> None:
    """A line without a pin means 4; a line that is commented out means none."""
    assert pins_in(text, "Raspberry Pi 4 Model B Rev 1.4") == pins


#: Models as kernels name them, and whether a line in these sections counts there (the makers' documentation of
#: config.txt, "Model filters": a Pi 400 reads [pi4] too, a Pi 4 does not read [pi400]).
ON = {
    "Raspberry Pi 3 Model B Rev 1.2": {"pi3"},
    "Raspberry Pi 3 Model B Plus Rev 1.3": {"pi3", "pi3+"},
    "Raspberry Pi Zero 2 W Rev 1.0": {"pi02", "pi0", "pi0w"},
    "Raspberry Pi Zero W Rev 1.1": {"pi0", "pi0w"},
    "Raspberry Pi 4 Model B Rev 1.4": {"pi4"},
    "Raspberry Pi 400 Rev 1.0": {"pi4", "pi400"},
    "Raspberry Pi Compute Module 4 Rev 1.0": {"pi4", "cm4"},
    "Raspberry Pi 5 Model B Rev 1.0": {"pi5"},
    "Raspberry Pi 500 Rev 1.0": {"pi5", "pi500"},
    "Raspberry Pi Compute Module 5 Rev 1.0": {"pi5", "cm5"},
    "": set(),
}


@pytest.mark.parametrize("model", ON, ids=lambda model: model or "no Pi")
@pytest.mark.parametrize("section", ["pi3", "pi3+", "pi0w", "pi02", "pi4", "pi400", "cm4", "pi5", "pi500"])
def test_a_line_in_another_models_section_does_not_count(model: str, section: str) -> None:
    """On this Pi the bus would never be switched on, however often the file names it."""
    counts = section in ON[model]
    text = f"dtparam=audio=on\n[{section}]\ndtoverlay=w1-gpio,gpiopin=17\n"
    assert pins_in(text, model) == ([17] if counts else [])
    assert (with_overlay(text, model=model) == text) is counts
    assert pins_in(with_overlay(text, model=model), model) == [17 if counts else 4]


@pytest.mark.parametrize(
    ("text", "pins"),
    [
        ("[pi5]\n[all]\ndtoverlay=w1-gpio\n", [4]),
        ("[pi5]\n[pi4]\ndtoverlay=w1-gpio\n", [4]),
        ("[pi4]\n[pi5]\ndtoverlay=w1-gpio\n", []),
        ("[none]\ndtoverlay=w1-gpio\n[ALL]\ndtoverlay=w1-gpio,gpiopin=5\n", [5]),
        ("[EDID=VSC-TD2220]\ndtoverlay=w1-gpio\n", []),
        ("[gpio4=1]\n[pi4]\ndtoverlay=w1-gpio\n", []),
        ("[0x12345678]\n[all]\ndtoverlay=w1-gpio\n", [4]),
    ],
)
def test_sections_follow_each_other_as_the_firmware_reads_them(text: str, pins: list[int]) -> None:
    """On a Pi 4."""
    assert pins_in(text, "Raspberry Pi 4 Model B Rev 1.4") == pins


def test_ours_is_put_in_once_on_whatever_card_the_model_changes() -> None:
    """A card that moves from a Pi 4 to a Pi 5 and back."""
    text = "[pi4]\ndtoverlay=w1-gpio\n"
    on_five = with_overlay(text, model="Raspberry Pi 5 Model B Rev 1.0")
    assert on_five.count("[all]\ndtoverlay=w1-gpio,gpiopin=4") == 1
    for model in ON:
        assert with_overlay(on_five, model=model) == on_five
    assert without_overlay(on_five) == text
