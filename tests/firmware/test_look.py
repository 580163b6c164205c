"""Looks at the level: the mean of some samples, taken when they are due."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.look import MOST_SAMPLES, REST_SHARE, SHORT_REST_SHARE, Look
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 5_000
LONG_MS = 3_600_000  # a measurement of an intake so slow that a look takes all its samples


@pytest.fixture
def slow(settings_of):
    return Look(settings_of(measure_ms=LONG_MS, level_doubt_mm=1))


def _take(look, levels_mm, from_ms=0):
    """Whether the look was complete, after each second's sample."""
    return [
        look.take(ticks_add(WRAP_MS, from_ms + 1_000 * second), level_mm)
        for second, level_mm in enumerate(levels_mm)
    ]


@pytest.mark.parametrize(
    ("measure_ms", "samples"), [(20_000, 1), (119_000, 1), (120_000, 2), (600_000, 10), (7_200_000, 16)]
)
def test_a_small_intake_acts_on_one_sample_and_a_slow_one_on_many(settings_of, measure_ms, samples):
    look = Look(settings_of(measure_ms=measure_ms))
    assert look.samples == samples
    assert _take(look, [100] * samples) == [False] * (samples - 1) + [True]


def test_it_finds_the_mean_in_tenths_of_a_millimetre(slow):
    levels_mm = [100, 103] * 7 + [100, 101]
    assert _take(slow, levels_mm)[-1]
    assert slow.level_dmm == 1_014  # 101.375 mm
    assert not slow.running


@given(st.lists(st.integers(0, 30_000), min_size=MOST_SAMPLES, max_size=MOST_SAMPLES))
def test_the_mean_is_true_to_half_a_tenth(settings_of, levels_mm):
    look = Look(settings_of(measure_ms=LONG_MS))
    _take(look, levels_mm)
    assert abs(look.level_dmm - 10.0 * sum(levels_mm) / MOST_SAMPLES) <= 0.5


def test_asked_between_two_samples_it_takes_none(slow):
    slow.take(WRAP_MS, 100)
    for early_ms in (0, 1, 500, 999):
        assert not slow.take(ticks_add(WRAP_MS, early_ms), 900)
        assert slow.left_ms(ticks_add(WRAP_MS, early_ms)) == 1_000 - early_ms
    assert _take(slow, [100] * 15, from_ms=1_000)[-1]
    assert slow.level_dmm == 1_000


def test_what_is_dropped_is_begun_anew(slow):
    _take(slow, [900] * 15)
    slow.drop()
    assert slow.left_ms(WRAP_MS) == NO_LIMIT
    assert _take(slow, [100] * 16, from_ms=60_000)[-1]
    assert slow.level_dmm == 1_000


def test_after_a_look_samples_near_what_it_found_ask_for_none_until_it_has_rested(slow):
    _take(slow, [100] * 16)
    done_ms = ticks_add(WRAP_MS, 15_000)
    assert slow.left_ms(done_ms) == LONG_MS // REST_SHARE
    assert slow.low_mm(101) < 100 < slow.high_mm(99)
    assert (slow.low_mm(50), slow.high_mm(150)) == (50, 150)
    slow.rest(ticks_add(done_ms, LONG_MS // REST_SHARE - 1))
    assert slow.low_mm(101) < 100
    slow.rest(ticks_add(done_ms, LONG_MS // REST_SHARE))
    assert (slow.low_mm(101), slow.high_mm(99)) == (101, 99)
    assert slow.left_ms(done_ms) == NO_LIMIT


def test_while_water_is_lacking_it_rests_for_a_shorter_time(slow):
    _take(slow, [100] * 16)
    done_ms = ticks_add(WRAP_MS, 15_000)
    slow.look_soon(done_ms)
    assert slow.left_ms(done_ms) == LONG_MS // SHORT_REST_SHARE


def test_it_rests_no_longer_than_it_is_told_to(slow):
    _take(slow, [100] * 16)
    done_ms = ticks_add(WRAP_MS, 15_000)
    for rest_ms in (20_000, 10 * LONG_MS):
        slow.look_after(done_ms, rest_ms)
        assert slow.left_ms(done_ms) == min(rest_ms, slow.rest_ms)
    slow.drop()
    slow.look_after(done_ms, 20_000)
    assert slow.left_ms(done_ms) == NO_LIMIT


def test_a_look_of_one_sample_never_rests(settings_of):
    look = Look(settings_of())
    assert look.take(WRAP_MS, 100)
    look.look_soon(WRAP_MS)
    assert look.left_ms(WRAP_MS) == NO_LIMIT
    assert (look.low_mm(101), look.high_mm(99)) == (101, 99)


def test_a_mean_is_doubted_less_than_one_sample(settings_of):
    doubts_dmm = [Look(settings_of(measure_ms=ms, level_doubt_mm=4)).doubt_dmm for ms in (20_000, LONG_MS)]
    assert doubts_dmm == [40, 10]
