"""Whatever comes in from outside is taken, or refused in our own words. A few hundred inputs; more in the bench."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from hardware.scratchpad import decode
from logger.errors import LoggerError
from logger.plan.file import plan_from_text
from logger.planning import examples
from logger.record.readings_file import read_readings
from web.views.photo_sanitize import redrawn

PLAN = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
W1 = "57 01 4b 46 7f ff 0c 10 ab : crc=ab YES\n57 01 4b 46 7f ff 0c 10 ab t=21437\n"
CSV = "elapsed_s,place,celsius\n0,core,21.5\n5,room,20\n"
QUICK = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
SPOILT = st.sampled_from(
    [
        "nan",
        "inf",
        "1e999",
        "-1",
        "9" * 40,
        "\0",
        "\ufeff",
        '"',
        "[",
        "=",
        "\n",
        "[[",
        "true",
        "''",
        "\u202e",
        "é",
    ]
)


def damaged(text: str) -> st.SearchStrategy[str]:
    """The text with a piece of it replaced by something else."""
    places = st.integers(0, len(text))
    return st.builds(
        lambda a, b, new: text[: min(a, b)] + new + text[max(a, b) :],
        places,
        places,
        SPOILT | st.text(max_size=20),
    )


def near(text: str) -> st.SearchStrategy[str]:
    """Mostly the text with small damage, sometimes with much, sometimes something else altogether."""
    small = st.builds(
        lambda at, size, new: text[:at] + new + text[at + size :],
        st.integers(0, len(text)),
        st.integers(0, 6),
        SPOILT | st.text(max_size=6),
    )
    return small | damaged(text) | st.text(max_size=300)


@QUICK
@given(near(W1) | st.binary(max_size=120).map(lambda raw: raw.decode("ascii", "replace")))
def test_a_probes_bytes_give_a_verdict(text: str) -> None:
    """Never an exception: a thermometer's noise must not end a station."""
    decode(text)


@QUICK
@given(near(PLAN))
def test_a_plan_file_is_taken_or_refused_in_words(text: str) -> None:
    """With the place and the remedy, whatever is in it."""
    with contextlib.suppress(LoggerError):
        assert plan_from_text(text).title


@QUICK
@given(near(CSV).map(lambda text: text.encode("utf-8", "replace")) | st.binary(max_size=200))
def test_a_readings_file_is_taken_or_refused_in_words(tmp_path: Path, raw: bytes) -> None:
    """Half lines, other encodings, numbers that are none."""
    path = tmp_path / "readings.csv"
    path.write_bytes(raw)
    with contextlib.suppress(LoggerError):
        assert read_readings(path)


def drawn(kind: str) -> bytes:
    """A small picture of that kind."""
    made = io.BytesIO()
    Image.new("RGB", (24, 16), "peru").save(made, kind)
    return made.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_damaged_picture_is_taken_or_refused_in_words(kind: str) -> None:
    """Wherever it is damaged."""
    whole = drawn(kind)

    @settings(QUICK, max_examples=100)
    @given(st.integers(0, len(whole)), st.integers(0, 30), st.binary(max_size=30))
    def one(at: int, lost: int, new: bytes) -> None:
        with contextlib.suppress(LoggerError):
            kept = redrawn(whole[:at] + new + whole[at + lost :])
            assert Image.open(io.BytesIO(kept)).format == "JPEG"

    one()
