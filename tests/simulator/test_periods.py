"""Periodic strokes are found, and what only follows stream or chance is not."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from becksim.periods import moves_of, stroke_periods

DAY_S = 86_400.0


def swing(starts_s, standings=((0, 400), (1000, 200))):
    """Orders that go from one standing to the next and round again."""
    laid = [(0.0, standings[0])]
    return laid + [
        (float(start_s), standings[(place + 1) % len(standings)]) for place, start_s in enumerate(starts_s)
    ]


@settings(max_examples=40, deadline=None)
@given(
    period_s=st.floats(1_000.0, 20_000.0),
    jitter=st.floats(0.0, 0.02),
    seed=st.integers(0, 1000),
    duty=st.floats(0.2, 0.8),
)
@example(
    period_s=5829.0, jitter=0.0, seed=0, duty=0.5
)  # at its edges a window holds more repeats than counted
def test_a_swing_is_found_with_its_period(period_s, jitter, seed, duty):
    turns = np.arange(0.0, DAY_S, period_s)
    starts_s = np.sort(np.concatenate([turns, turns + duty * period_s])) + 0.2 * period_s
    starts_s += jitter * period_s * np.random.default_rng(seed).uniform(-1.0, 1.0, starts_s.size)
    found = stroke_periods(swing(starts_s[starts_s < DAY_S]), days=1)
    assert len(found) == 1
    # A half of a day, and so of the moves, may be too short for it; a whole number of periods is one too.
    turns_found = found[0].period_s / period_s
    assert turns_found == pytest.approx(round(turns_found), rel=0.05)
    assert round(turns_found) >= 1
    assert found[0].moves > 5


@pytest.mark.parametrize("moves", [6, 10, 20, 60])
def test_moves_at_random_instants_are_hardly_ever_called_periodic(moves):
    draw = np.random.default_rng(5)
    found = [
        bool(stroke_periods(swing(np.sort(draw.uniform(60.0, DAY_S, moves))), days=1)) for _ in range(200)
    ]
    assert sum(found) <= 6  # 3 of 100


@pytest.mark.parametrize("every_s", [600.0, 3_600.0, 7_200.0])
def test_a_trim_that_follows_a_falling_stream_is_no_swing(every_s):
    steps = int(DAY_S / every_s)
    falling = [(every_s * place, (1000, 1000 - 900 * place // steps)) for place in range(steps)]
    assert stroke_periods(falling, days=1) == []
    # Nor if a fixed jet closes on the way and the trim opens again for it.
    halves = [
        (every_s * place, (0 if 2 * place > steps else 1000, 900 - 1800 * place // steps % 900))
        for place in range(steps)
    ]
    assert stroke_periods(halves, days=1) == []


def test_a_swing_of_some_hours_is_found_among_days_of_rest_and_told_once():
    start_s = 10 * DAY_S
    starts_s = [start_s + 1_800.0 * place for place in range(2 * 48)]
    found = stroke_periods(swing(starts_s), days=20)
    assert len(found) == 1
    assert found[0].period_s == pytest.approx(3_600.0)
    assert found[0].start_s <= start_s < start_s + 2 * DAY_S <= found[0].end_s


def test_a_slow_swing_needs_a_long_window():
    starts_s = [3_000.0 + 8.0 * 3_600.0 * place for place in range(9)]  # there and back in 16 hours
    assert stroke_periods(swing(starts_s), days=3) == []
    (found,) = stroke_periods(swing(starts_s), days=3, window_h=72.0)
    assert found.period_s == pytest.approx(16.0 * 3_600.0)


def test_few_moves_are_never_a_swing():
    assert stroke_periods([], days=3) == []
    assert stroke_periods([(0.0, (0,))], days=3) == []
    assert stroke_periods(swing([1_000.0 * place for place in range(1, 6)]), days=1) == []


def test_the_steps_of_a_stroke_are_one_move_and_travel_adds_up():
    changes = [(0.0, (0, 0)), (100.0, (40, 0)), (106.0, (80, 0)), (112.0, (80, 50)), (400.0, (20, 50))]
    moves = moves_of(changes)
    assert moves.start_s.tolist() == [100.0, 400.0]
    assert moves.standing.tolist() == [[0, 0], [80, 50], [20, 50]]
    assert moves.travel.tolist() == [0, 130, 190]
