"""The service is away for a day: both sides notice within a minute, and everything is there afterwards, in order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import recorded_pour as recorded
from whole_shop import Shop

from logger.daemon.forward import AnswerListener, ForwardStep
from logger.daemon.signals import LastResort, Signals

PERIOD_S = 30.0
AWAY_SWEEPS = 24 * 120


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    """A station and its service."""
    made = Shop(tmp_path)
    yield made
    made.close()


def test_a_day_without_the_service_is_caught_up_in_order_and_marked_late(
    shop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2880 sweeps wait at the station; the core was too hot in them, which is told as late."""
    # A core that is too hot only while nobody can hear of it.
    away = range(10, 10 + AWAY_SWEEPS)
    monkeypatch.setattr(recorded, "core_milli_c", lambda sweep: 61_500 if 1000 <= sweep < 1100 else 40_000)
    signals = Signals(None, LastResort(), shop.clock.stamp().boot_s)
    shop.forwarder._listener = AnswerListener(
        lambda answer: signals.take_orders(answer.orders, shop.clock.stamp().boot_s)
    )
    silent_at_s = away_since_s = None
    for _ in range(away[0]):
        shop.sweep()
        shop.clock.advance(PERIOD_S - 5)
    away_since_s = shop.clock.stamp().boot_s - PERIOD_S
    for sweep in away:
        rows = recorded.rows_of(sweep, shop.clock)
        assert shop.keeper.store(rows, shop.clock.stamp().boot_s)
        shop.kept += len(rows)
        for _ in range(
            3
        ):  # the service does not hear the station, and the station's lamp looks every ten seconds
            now_s = shop.clock.stamp().boot_s
            if now_s - away_since_s <= 120:
                shop.service.watch.judge_all()
                shop.sender.send_due()
                if silent_at_s is None and any("The station is silent" in title for title in shop.took):
                    silent_at_s = now_s
                assert signals.decide(now_s).blink == (now_s - away_since_s > 60)
            shop.clock.advance(PERIOD_S / 3)
    assert silent_at_s is not None
    assert silent_at_s - away_since_s <= 60, "the service notices, and somebody is told"
    assert shop.keeper.pending == AWAY_SWEEPS * 4
    while shop.forwarder.step() is ForwardStep.SENT:
        shop.service.watch.judge_all()
        shop.sender.send_due()
    assert shop.stored() == list(range(1, shop.kept + 1)), (
        "every row once, in the order in which it was taken"
    )
    assert not signals.decide(shop.clock.stamp().boot_s).blink
    with shop.service.store.read() as connection:
        late = connection.exec_driver_sql("SELECT count(*) FROM reading WHERE late").scalar()
        (hot,) = connection.exec_driver_sql("SELECT late FROM alarm WHERE kind = 'core-hot'").all()
    assert AWAY_SWEEPS * 4 - 5 * 4 <= late <= AWAY_SWEEPS * 4
    assert hot.late, "an alarm on old readings says so"
