"""What the instruments show: noise that is a function of the second, resolution, lag, and bands."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.instruments import MOST_DEVIATIONS, Instrument, noise, noises

keys = st.integers(0, 2**64 - 1)


def shown_by(instrument, shares, seconds):
    return [instrument.show(share, second) for share, second in zip(shares, seconds, strict=True)]


# -- noise ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", [0, 17, 2**64 - 1])
def test_noise_has_mean_0_deviation_1_and_its_bound(key):
    sample = noises(key, np.arange(200_000, dtype=np.uint64))
    assert abs(sample.mean()) < 0.01  # 4.5 standard errors
    assert abs(sample.std() - 1.0) < 0.01
    assert np.abs(sample).max() <= MOST_DEVIATIONS
    assert np.abs(sample).max() > 3.0
    # Near enough to normal: 68.3 % within one deviation.
    assert abs((np.abs(sample) < 1.0).mean() - 0.683) < 0.02


def test_noise_of_neighbouring_seconds_seeds_and_instruments_is_unrelated():
    seconds = np.arange(50_000, dtype=np.uint64)
    one = noises(Instrument(0, 1.0, 1.0, 0.0, 1).key, seconds)
    assert abs(np.corrcoef(one[:-1], one[1:])[0, 1]) < 0.02
    for other in (Instrument(1, 1.0, 1.0, 0.0, 1), Instrument(0, 1.0, 1.0, 0.0, 2)):
        assert abs(np.corrcoef(one, noises(other.key, seconds))[0, 1]) < 0.02


@settings(max_examples=60)
@given(keys, st.lists(st.integers(0, 2**40), min_size=1, max_size=20))
def test_noise_of_many_seconds_is_that_of_each(key, seconds):
    together = noises(key, np.array(seconds, dtype=np.uint64))
    assert together.tolist() == [noise(key, second) for second in seconds]


def test_noise_does_not_depend_on_what_was_asked_before():
    asked_often = [noise(99, second) for second in range(1_000)]
    assert noise(99, 700) == asked_often[700]


# -- what is shown ----------------------------------------------------------------------------------


WHOLE = st.integers(0, 50)


@st.composite
def laid_out(draw, resolutions):
    """An instrument somewhere in a stretch."""
    instrument = Instrument(
        draw(st.integers(0, 3)),
        draw(st.one_of(st.just(0.0), st.floats(0.01, 50.0))),
        draw(resolutions),
        draw(st.sampled_from([0.0, 1.0, 4.0, 60.0])),
        draw(st.integers(0, 2**31 - 1)),
    )
    instrument.begin(draw(st.floats(-500.0, 60_000.0)), 1.0)
    instrument.advance(1.0)
    instrument.begin(instrument.value + draw(st.floats(-300.0, 300.0)), draw(st.integers(1, 900)))
    return instrument


def _many(instrument, first=10_000, count=50):
    shares = np.linspace(0.0, 1.0, count)
    seconds = np.arange(first, first + count, dtype=np.uint64)
    return shares, seconds, instrument.shows(shares, seconds)


@settings(max_examples=80)
@given(laid_out(WHOLE))
def test_many_readings_are_exactly_the_single_ones(instrument):
    shares, seconds, shown = _many(instrument)
    assert shown.tolist() == shown_by(instrument, shares.tolist(), seconds.tolist())


def test_many_readings_are_the_single_ones_with_a_resolution_of_2_5_too():
    instrument = Instrument(0, 0.0, 2.5, 0.0, 1)
    instrument.begin(2.5, 1.0)
    shown = instrument.shows(np.array([0.0]), np.array([0], dtype=np.uint64))
    assert shown.tolist() == [instrument.show(0.0, 0)]


@settings(max_examples=80)
@given(laid_out(st.floats(1.0, 50.0)), st.integers(-1_000, 70_000), st.integers(0, 500))
def test_with_a_resolution_that_is_not_whole_no_single_reading_outside_a_band_is_missed(
    instrument, low, span
):
    """Single readings are cut to whole units; the many may stand outside when these do not, never inside."""
    shares, seconds, shown = _many(instrument)
    for many, single in zip(shown, shown_by(instrument, shares.tolist(), seconds.tolist()), strict=True):
        assert abs(many - single) < 1.0
        if not low <= single <= low + span:
            assert not low <= many <= low + span


@settings(max_examples=80)
@given(laid_out(WHOLE), st.integers(-400, 400), st.integers(0, 400))
def test_may_leave_never_says_no_when_a_reading_leaves(instrument, offset, span):
    low = int(instrument.from_value) + offset
    _, _, shown = _many(instrument)
    if ((shown < low) | (shown > low + span)).any():
        assert instrument.may_leave(low, low + span)


def test_may_leave_says_no_well_inside_a_wide_band():
    instrument = Instrument(0, 1.0, 1.0, 0.0, 1)
    instrument.begin(200.0, 900.0)
    assert not instrument.may_leave(190, 210)
    assert instrument.may_leave(199, 210)
    assert instrument.may_leave(190, 201)


@pytest.mark.parametrize(("resolution", "step"), [(0.0, 1), (1.0, 1), (5.0, 5), (10.0, 10)])
def test_readings_are_whole_steps_nearest_to_the_value(resolution, step):
    instrument = Instrument(1, 0.0, resolution, 0.0, 1)
    instrument.begin(100.0, 1.0)
    instrument.advance(1.0)
    instrument.begin(150.0, 100.0)
    for place in range(101):
        shown = instrument.show(place / 100.0, place)
        assert shown % step == 0
        assert abs(shown - (100.0 + place / 2.0)) <= step / 2.0


# -- lag --------------------------------------------------------------------------------------------


def _after_a_step(lag_s, length_s, total_s=12.0):
    instrument = Instrument(0, 0.0, 1.0, lag_s, 1)
    instrument.begin(0.0, 1.0)
    instrument.advance(1.0)
    for _ in range(int(total_s / length_s)):
        instrument.begin(1_000.0, length_s)
        instrument.advance(1.0)
    return instrument.value


def test_it_has_been_on_for_a_while_when_the_replay_begins():
    instrument = Instrument(0, 0.0, 1.0, 60.0, 1)
    instrument.begin(372.0, 1.0)
    assert instrument.show(0.0, 0) == instrument.show(1.0, 1) == 372


def test_without_lag_it_follows_at_once():
    assert _after_a_step(0.0, 1.0, 1.0) == 1_000.0


def test_after_its_lag_it_has_gone_63_percent_of_a_step():
    fine = _after_a_step(12.0, 0.01)
    assert fine == pytest.approx(1_000.0 * (1.0 - np.exp(-1.0)), rel=1e-3)
    # Backward Euler in 12 steps: 1 - (12/13)^12.
    assert _after_a_step(12.0, 1.0) == pytest.approx(1_000.0 * (1.0 - (12.0 / 13.0) ** 12), rel=1e-12)


@given(st.floats(0.0, 1.0))
def test_cutting_a_stretch_leaves_it_on_its_line(share):
    instrument = Instrument(0, 0.0, 1.0, 5.0, 1)
    instrument.begin(0.0, 1.0)
    instrument.advance(1.0)
    instrument.begin(800.0, 15.0)
    shown = instrument.show(share, 7)
    instrument.advance(share)
    assert instrument.value == pytest.approx(600.0 * share)
    assert shown == pytest.approx(instrument.value, abs=0.5)
