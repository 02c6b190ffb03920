"""Messages straight from memory: to every channel, until each has taken it."""

from __future__ import annotations

from logger.delivery.channels import Outcome
from logger.delivery.shout import BACK_OFF_S, Shouter


class Phones:
    """What each took; those in `down` refuse, those in `bad` raise."""

    def __init__(self) -> None:
        self.took: list[tuple[str, str]] = []
        self.asked = 0
        self.down: set[str] = set()
        self.bad: set[str] = set()

    def __call__(self, url: str, title: str, _body: str) -> Outcome:
        """One message."""
        self.asked += 1
        if url in self.bad:
            raise ValueError("nobody foresaw it")
        if url in self.down:
            return Outcome(False, f"{url} is down", hopeless=url.startswith("wrong"))
        self.took.append((url, title))
        return Outcome(True)


def test_each_channel_takes_it_once_and_one_that_is_away_when_it_is_back() -> None:
    """Whatever the others do."""
    phones = Phones()
    phones.down, phones.bad = {"one://b"}, {"one://c"}
    shouter = Shouter(phones, ["one://a", "one://b", "one://c", "one://a"])
    shouter.post("core-hot/1", "hot", "body", 0)
    assert shouter.send_due(0) == 1
    phones.down, phones.bad = set(), set()
    assert shouter.send_due(1000 * BACK_OFF_S[0] - 1) == 0
    assert shouter.send_due(1000 * BACK_OFF_S[0]) == 2
    assert sorted(phones.took) == [("one://a", "hot"), ("one://b", "hot"), ("one://c", "hot")]
    assert shouter.send_due(10**9) == 0


def test_what_is_newer_replaces_what_waits_and_what_is_withdrawn_is_sent_to_nobody() -> None:
    """Of one thing only what is true now; another thing goes its own way."""
    phones = Phones()
    phones.down = {"one://a"}
    shouter = Shouter(phones, ["one://a"])
    for about, title in (("1", "hot"), ("2", "other"), ("3", "gone")):
        shouter.post(about, title, "", 0)
    shouter.send_due(0)
    shouter.post("1", "over", "", 1)
    shouter.withdraw("3")
    phones.down = set()
    shouter.send_due(10**6)
    assert [title for _url, title in phones.took] == ["over", "other"]


def test_an_address_that_nothing_can_reach_is_tried_once() -> None:
    """It is told elsewhere."""
    phones = Phones()
    phones.down = {"wrong://x"}
    shouter = Shouter(phones, ["wrong://x"])
    shouter.post("1", "hot", "", 0)
    for at_ms in range(0, 10**6, 10**5):
        shouter.send_due(at_ms)
    assert phones.asked == 1
