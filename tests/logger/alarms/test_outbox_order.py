"""What is still worth sending after a receiver was away."""

from __future__ import annotations

from logger.alarms.outbox_order import Waiting, sort_waiting


def test_after_a_day_away_only_the_newest_of_each_alarm_is_sent_in_order() -> None:
    """Forty repeats of an alarm that is over are one message: that it is over."""
    hot = [Waiting(i, "core-hot/1", "first", 1000 + i) for i in range(40)]
    cold = [Waiting(100, "room-cold/1", "first", 500), Waiting(101, "room-cold/1", "second", 1500)]
    found = sort_waiting([*hot, *cold])
    assert found.send == (100, 39, 101)
    assert found.overtaken == dict.fromkeys(range(39), 39)


def test_messages_to_different_receivers_do_not_replace_each_other() -> None:
    """The second person's is not the first one's."""
    found = sort_waiting([Waiting(1, "a", "first", 1), Waiting(2, "a", "second", 2)])
    assert found.send == (1, 2)


def test_a_message_that_is_about_no_alarm_is_always_sent() -> None:
    """A test message must arrive to be confirmed."""
    found = sort_waiting([Waiting(1, None, "first", 1), Waiting(2, None, "first", 1)])
    assert (found.send, found.overtaken) == ((1, 2), {})


def test_equal_times_keep_the_order_of_writing() -> None:
    """Two in one millisecond: the later row is the newer."""
    assert sort_waiting([Waiting(2, "a", "first", 5), Waiting(1, "a", "first", 5)]).send == (2,)
