"""The rules, one by one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.readings import UNKNOWN
from becklight.residual import Residual, release_ml_s
from becklight.rules import (
    NO_LIMIT,
    Hold,
    available_ml_s,
    binding,
    compensated_mv,
)
from becklight.settings import MOST_FLOW_ML_S
from becklight.ticks import LONGEST_MS, PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000  # a start from which every long test crosses the wrap


# -- which binds ------------------------------------------------------------------------------------


@given(st.lists(st.integers(0, NO_LIMIT), min_size=1, max_size=6))
def test_the_lowest_ceiling_binds_and_the_first_of_equals(ceilings):
    assert binding(ceilings) == ceilings.index(min(ceilings))


# -- a condition that lasts -------------------------------------------------------------------------


@pytest.mark.parametrize("start_ms", [0, WRAP_MS, PERIOD_MS - 1])
def test_a_hold_counts_only_once_it_has_lasted(start_ms):
    hold = Hold(10_000)
    assert not hold.lasted(True, start_ms)
    assert hold.left_ms(ticks_add(start_ms, 4_000)) == 6_000
    assert not hold.lasted(True, ticks_add(start_ms, 9_999))
    assert hold.lasted(True, ticks_add(start_ms, 10_000))


def test_a_hold_starts_anew_when_the_condition_fails():
    hold = Hold(10_000)
    hold.lasted(True, 0)
    assert not hold.lasted(False, 9_000)
    assert hold.left_ms(9_000) == NO_LIMIT
    assert not hold.lasted(True, 9_500)
    assert not hold.lasted(True, 19_499)
    assert hold.lasted(True, 19_500)


def test_a_hold_of_nothing_counts_at_once():
    assert Hold(0).lasted(True, 5)


def test_a_hold_keeps_no_instant_that_has_passed():
    hold = Hold(10_000)
    hold.lasted(True, 0)
    hold.lasted(True, 10_000)
    assert not hold.timing


@given(st.sets(st.integers(0, 99), max_size=30), st.integers(0, 20))
def test_how_often_a_hold_is_asked_makes_no_difference(extra, begin):
    seldom, often = Hold(50), Hold(50)
    for now_ms in range(100):
        condition = now_ms >= begin
        answer = often.lasted(condition, now_ms) if now_ms in extra or now_ms in (begin, begin + 50) else None
        if now_ms in (begin, begin + 50):
            assert seldom.lasted(condition, now_ms) == answer


# -- the stream -------------------------------------------------------------------------------------
# The plant built in conftest.py: 5000 mL/mm, residual flow 300 mL/s at the target of 100 mm.


def available(read, drawn_ml_s, then_mm, level_mm, elapsed_ms):
    doubt_dmm = 10 * read.rules.level_doubt_mm
    return available_ml_s(
        read, Residual(read), drawn_ml_s, 10 * then_mm, 10 * level_mm, elapsed_ms, doubt_dmm
    )


def test_at_rest_at_the_target_the_jets_keep_what_they_take(settings_of):
    assert available(settings_of(1, 1), 2_000, 100, 100, 60_000) == 2_000


def test_the_residual_flow_has_first_claim(settings_of):
    # at rest at 90 mm only 150 mL/s are let past: the missing 150 and the refilling come off the jets
    read = settings_of(1, 1)
    assert release_ml_s(read, 90) == 150
    assert available(read, 2_000, 90, 90, 60_000) == 2_000 - 150 - 10 * 5_000 // 2_000


def test_a_stream_no_larger_than_the_residual_flow_leaves_nothing(settings_of):
    assert available(settings_of(1, 1), 0, 100, 100, 60_000) == 0
    assert available(settings_of(1, 1), 0, 85, 85, 60_000) == 0


@pytest.mark.parametrize(("rise_mm", "per_s"), [(6, 500), (-6, -500), (1, 83), (-1, -84)])
def test_a_rising_level_is_inflow_and_a_falling_one_is_draw(settings_of, rise_mm, per_s):
    # one mm of 5000 mL in 60 s; the level now is the target, and the lower of now and the mean lets past
    read = settings_of(1, 1)
    lower_mm = min(100, (200 - rise_mm) // 2)
    expected = 2_000 + per_s + release_ml_s(read, lower_mm) - 300
    assert available(read, 2_000, 100 - rise_mm, 100, 60_000) == expected


def test_water_above_the_target_is_spread_over_the_recovery(settings_of):
    read = settings_of(1, 1)  # 8 mm of 5000 mL over 2000 s, and the release is the box's: 420 mL/s
    assert available(read, 2_000, 108, 108, 60_000) == 2_000 + 120 + 20


@given(st.integers(0, 5_000), st.integers(0, 400), st.integers(0, 400), st.integers(0, 10**8))
def test_never_negative_and_more_level_never_means_less(
    settings_of, drawn_ml_s, then_mm, level_mm, elapsed_ms
):
    read = settings_of(1, 1)
    found_ml_s = available(read, drawn_ml_s, then_mm, level_mm, elapsed_ms)
    assert 0 <= found_ml_s <= available(read, drawn_ml_s, then_mm, level_mm + 1, elapsed_ms)


def test_an_instant_measurement_does_not_divide_by_nothing(settings_of):
    assert available(settings_of(1, 1), 2_000, 100, 100, 0) == 2_000


# -- edges ------------------------------------------------------------------------------------------


def test_no_limit_lies_above_every_flow_and_every_length_of_time_and_is_a_small_integer():
    assert max(MOST_FLOW_ML_S, LONGEST_MS) < NO_LIMIT < 2**30


@pytest.mark.parametrize(
    ("temp_decic", "expected_mv"),
    [
        (UNKNOWN, 28_800),
        (250, 28_800),
        (260, 28_752),
        (-400, 31_920),
        (-500, 31_920),
        (800, 26_160),
        (900, 26_160),
    ],
)
def test_a_set_point_moves_with_the_temperature_as_far_as_batteries_work(
    settings_of, temp_decic, expected_mv
):
    assert compensated_mv(settings_of(battery_comp_mv_per_k=-48), 28_800, temp_decic) == expected_mv


def test_a_reading_in_doubt_counts_as_lower(settings_of):
    assert available(settings_of(1, 1, level_doubt_mm=10), 2_000, 100, 100, 60_000) == 2_000 - 150


@pytest.mark.parametrize(
    ("then_mm", "level_mm", "expected_ml_s"),
    [
        (0, 700, 5_000 + 2_500 + 60_000 + 20 * 5_000 // 2_000 - 300),  # rises no more than half a metre
        (700, 100, 5_000 - 2_500),  # nor falls more
        (-450, -450, 5_000 - 500 * 5_000 // 2_000 - 300),  # nor lacks more
    ],
)
def test_half_a_metre_is_the_most_that_counts(settings_of, then_mm, level_mm, expected_ml_s):
    assert available(settings_of(1, 1), 5_000, then_mm, level_mm, 1_000_000) == expected_ml_s


@pytest.mark.parametrize(
    ("then_mm", "elapsed_ms", "expected_ml_s"),
    [(99, 1_000, 2_000 + 5_000 - 15), (88, 1_200_000, 2_000 + 50 - 90)],
)
def test_a_rise_is_spread_over_its_seconds(settings_of, then_mm, elapsed_ms, expected_ml_s):
    # the lower of now and the mean lets past 15 mL/s less for each millimetre
    assert available(settings_of(1, 1), 2_000, then_mm, 100, elapsed_ms) == expected_ml_s


def test_a_tenth_of_a_millimetre_counts(settings_of):
    # 0.3 mm of 5000 mL/mm in 60 s, and no whole millimetre more or less
    read = settings_of(1, 1)
    assert available_ml_s(read, Residual(read), 2_000, 1_000, 1_003, 60_000, 0) == 2_000 + 25
    assert available_ml_s(read, Residual(read), 2_000, 1_006, 1_003, 60_000, 0) == 2_000 - 25


def test_doubt_means_less(settings_of):
    read = settings_of(1, 1)
    found_ml_s = [
        available_ml_s(read, Residual(read), 2_000, 1_080, 1_080, 60_000, d) for d in (0, 5, 10, 20)
    ]
    assert found_ml_s == sorted(found_ml_s, reverse=True)
    assert found_ml_s[0] > found_ml_s[-1]
