"""Until when the engine's answer stands; its bands are tried in test_engine.py."""

import pytest

from becklight import reasons
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.outlook import fill_orders
from becklight.phases import STEADY
from becklight.readings import UNKNOWN
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

NOW_MS = PERIOD_MS - 5_000


@pytest.fixture
def engine(settings_of, ask):
    """An engine that has looked once and rests, and its orders."""
    engine, orders = RuleEngine(settings_of(moves_per_hour=360)), Orders(4)
    ask(engine, orders, 0, [105, 4_900, 26_500, 250, *[UNKNOWN] * 4, 1], NOW_MS)
    engine.phase = STEADY
    return engine, orders


def _ahead_ms(engine, orders):
    fill_orders(engine, NOW_MS, orders)
    return ticks_diff(orders.next_ms, NOW_MS)


def test_spared_moves_are_waited_for_only_while_they_are_the_reason(engine):
    engine, orders = engine
    for _ in range(181):  # half an hour's moves and one at once; each costs 20 s
        engine.duties.moves.moved(ticks_add(NOW_MS, -12_000))
    before_ms = _ahead_ms(engine, orders)
    assert before_ms > 8_000
    engine.reason = reasons.MOVES_SPARED
    assert _ahead_ms(engine, orders) == 8_000


@pytest.mark.parametrize("part", ["duties", "book"])
def test_duties_and_rules_are_asked_when_they_wish(engine, part, monkeypatch):
    engine, orders = engine
    monkeypatch.setattr(getattr(engine, part), "left_ms", lambda now_ms: 7)
    assert _ahead_ms(engine, orders) == 7
    assert orders.next_ms == ticks_add(NOW_MS, 7)
