"""Wrapping time."""

from hypothesis import given
from hypothesis import strategies as st

from becklight.ticks import LONGEST_MS, PERIOD_MS, ticks_add, ticks_diff

INSTANTS = st.integers(0, PERIOD_MS - 1)
LENGTHS = st.integers(-LONGEST_MS, LONGEST_MS)


def test_an_hour_across_the_wrap():
    before_ms = PERIOD_MS - 1_000
    after_ms = ticks_add(before_ms, 3_600_000)
    assert after_ms == 3_599_000
    assert ticks_diff(after_ms, before_ms) == 3_600_000
    assert ticks_diff(before_ms, after_ms) == -3_600_000


def test_the_period_is_six_days_and_the_longest_length_just_below_half():
    assert PERIOD_MS == 2**29
    assert 2 * (LONGEST_MS + 1) == PERIOD_MS


@given(INSTANTS, LENGTHS)
def test_the_difference_undoes_the_sum(instant_ms, length_ms):
    assert ticks_diff(ticks_add(instant_ms, length_ms), instant_ms) == length_ms


@given(INSTANTS, LENGTHS)
def test_every_instant_lies_in_the_period(instant_ms, length_ms):
    assert 0 <= ticks_add(instant_ms, length_ms) < PERIOD_MS


@given(INSTANTS, INSTANTS)
def test_the_difference_turns_its_sign_with_the_order(later_ms, earlier_ms):
    forth_ms = ticks_diff(later_ms, earlier_ms)
    if forth_ms == -PERIOD_MS // 2:  # half a period apart: neither is the later one
        assert ticks_diff(earlier_ms, later_ms) == forth_ms
    else:
        assert ticks_diff(earlier_ms, later_ms) == -forth_ms


@given(INSTANTS, INSTANTS)
def test_every_sum_on_the_way_is_a_small_integer(later_ms, earlier_ms):
    # The sums as written in ticks.py; 31-bit boards box anything outside -2**30 .. 2**30 - 1.
    assert -(2**30) <= later_ms - earlier_ms + PERIOD_MS // 2 < 2**30
    assert later_ms + LONGEST_MS < 2**30
