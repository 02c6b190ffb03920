"""The words of a message: who, what, why, what first, where to tap."""

from __future__ import annotations

import pytest

from logger.alarms.notify_policy import NotifyReason
from logger.alarms.registry import KINDS
from logger.alarms.state import AlarmState, Phase
from logger.delivery.wording import OPENINGS, About
from logger.facts import fact
from logger.quantities import temperature
from logger.words.reader import METRIC, units_from
from logger.words.render import Channel, say
from tests.messages_as_sent import words

STATE = AlarmState(Phase.RAISED, 1, 1, "The core reads 61.0 °C: it is over the resin's limit of 60.0 °C.")
TOLD = sorted(OPENINGS)


def test_a_hot_core_says_what_is_wrong_what_to_do_first_and_to_keep_out_of_smoke() -> None:
    """Somebody reads this on a lock screen, half asleep."""
    found = words(
        KINDS["core-hot"], STATE, NotifyReason.FIRST_TIME, About("River table", "http://pi/alert/1")
    )
    assert found.title == "URGENT: The core is too hot - River table"
    assert found.body.splitlines() == [
        "The core reads 61.0 °C: it is over the resin's limit of 60.0 °C.",
        "Respond within 5 min. First: Keep clear and look from a distance first.",
        "If it smokes, hisses or smells sharp: keep everybody out, do not touch it and do not move it.",
        "More, and acknowledge (in the workshop's network): http://pi/alert/1",
    ]


@pytest.mark.parametrize("why", TOLD)
@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_message_of_every_kind_is_short_and_whole(name: str, why: NotifyReason) -> None:
    """Fits a text message's few parts, has no hole where a name should be, and carries the reason."""
    found = words(KINDS[name], STATE, why, About("River table", "http://pi/alert/1"))
    assert len(found.title) <= 80
    assert len(found.body) <= 600
    assert "{" not in found.title + found.body
    assert "\n" not in found.title
    assert STATE.reason in found.body


def test_every_reason_for_telling_has_its_words() -> None:
    """A new reason without words would be a message without an explanation."""
    silent = {"already-told", "held-quiet-hours", "shelved", "out-of-service", "nothing-up", "nobody-to-tell"}
    assert {str(why) for why in OPENINGS} == {str(w) for w in NotifyReason} - silent
    first = words(KINDS["core-hot"], STATE, NotifyReason.FIRST_TIME, About("River table")).body
    for why in OPENINGS:
        said = words(KINDS["core-hot"], STATE, why, About("River table")).body
        assert why is NotifyReason.FIRST_TIME or set(said.splitlines()) - set(first.splitlines()), why


def test_the_end_tells_nobody_to_go_and_names_who_took_it() -> None:
    """An all-clear with instructions in it sends people running."""
    over = words(KINDS["core-hot"], STATE, NotifyReason.RETURNED, About("River table"))
    assert over.title == "Cleared: The core is too hot - River table"
    assert "First:" not in over.body
    taken = AlarmState(Phase.ACKNOWLEDGED, 1, 1, "61 °C", acknowledged_by="Jo")
    assert "Jo is on it." in words(KINDS["core-hot"], taken, NotifyReason.TAKEN, About("River table")).body


def test_late_news_says_that_it_is_late() -> None:
    """What was true two hours ago must not look like now."""
    late = AlarmState(Phase.RAISED, 1, 1, "61 °C", late=True)
    assert "comes late" in words(KINDS["core-hot"], late, NotifyReason.FIRST_TIME, About("River table")).body


@pytest.mark.parametrize("name", sorted(KINDS))
def test_a_title_fits_a_lock_screen_however_long_the_pours_name_is(name: str) -> None:
    """It keeps what is wrong, and as much of the name as there is room for."""
    long = "River table of black walnut for the meeting room on the second floor of the old mill by the weir"
    title = words(KINDS[name], STATE, NotifyReason.REALARM, About(long)).title
    assert len(title) <= Channel.TITLE
    shown = (say(KINDS[name].title, METRIC), say(KINDS[name].short, METRIC))
    assert any(alarm in title for alarm in shown)
    assert "River table" in title


def test_an_american_reads_fahrenheit_and_a_german_decimal_commas() -> None:
    """The same message, for its reader; what has no translation yet stays English."""
    state = AlarmState(
        Phase.RAISED, 1, 1, fact("core-over", core=temperature(61), limit=temperature(60), trend="")
    )
    said = words(
        KINDS["core-hot"], state, NotifyReason.FIRST_TIME, About("x"), units_from("f.in.gal.lb")
    ).body
    # 61 °C = 141.8 °F, 60 °C = 140 °F (NIST SP 811, 2008, B.8: °F = 1.8 °C + 32).
    assert "141.8 °F" in said
    assert "140.0 °F" in said
    assert "°C" not in said
    german = words(KINDS["core-hot"], state, NotifyReason.FIRST_TIME, About("x"), units_from(None, "de")).body
    assert "61,0 °C" in german
