import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydrology.series import FlowSeries


def series(time_s, flow_m3_s):
    return FlowSeries(0, np.array(time_s), np.array(flow_m3_s, dtype=float), "test")


def test_days_run_from_the_first_instant_to_the_last():
    assert series([0, 43200, 129600], [1, 1, 1]).days == 1.5


def test_a_series_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        series([0, 1], [1, 1]).start_s = 5


def test_between_points_the_flow_is_a_straight_line():
    got = series([0, 100, 400], [0.010, 0.020, 0.005]).resampled(50)
    assert got.tolist() == [0.010, 0.015, 0.020, 0.0175, 0.015, 0.0125, 0.010, 0.0075, 0.005]


def test_a_step_that_does_not_divide_the_length_stops_before_the_end():
    assert series([0, 100], [0.0, 0.1]).resampled(60).tolist() == [0.0, 0.06]


def test_halves_of_a_ml_s_round_up_whatever_the_float_does():
    assert series([0, 2], [0.000001, 0.000002]).resampled(1).tolist() == [0.000001, 0.000002, 0.000002]


@pytest.mark.parametrize(
    ("time_s", "flow_m3_s", "rule"),
    [
        ([0], [1], "at least 2"),
        ([0, 1], [1, 1, 1], "one length"),
        ([1, 2], [1, 1], "begin with 0"),
        ([0.0, 1.0], [1, 1], "whole seconds"),
        ([0, 5, 5], [1, 1, 1], "strictly increasing"),
        ([0, 10**10], [1, 1], "250 years"),
        ([0, 1], [1, -0.1], "from 0"),
        ([0, 1], [1, float("nan")], "from 0"),
        ([0, 1], [1, 1001], "to 1000"),
    ],
)
def test_a_series_that_breaks_a_rule_is_refused(time_s, flow_m3_s, rule):
    with pytest.raises(ValueError, match=rule):
        series(time_s, flow_m3_s)


def test_a_step_of_nothing_is_refused():
    with pytest.raises(ValueError, match="step_s"):
        series([0, 1], [1, 1]).resampled(0)


@pytest.mark.parametrize(
    ("gaps", "rule"),
    [
        (((-1, 50),), "between the first instant and the last"),
        (((50, 101),), "between the first instant and the last"),
        (((50, 50),), "each longer than 0 s"),
        (((50, 100), (0, 20)), "in order|longer|between"),
        (((0, 60), (50, 100)), "may not overlap"),
    ],
)
def test_gaps_that_cannot_be_are_refused(gaps, rule):
    with pytest.raises(ValueError, match=rule):
        FlowSeries(0, np.array([0, 100]), np.array([1.0, 1.0]), "test", gaps=gaps)


def test_the_ends_of_an_open_gap_are_known():
    at_s, flow = np.array([0, 100, 200]), np.array([0.1, 0.2, 0.3])
    open_gap = FlowSeries(0, at_s, flow, "test", gaps=((0, 100),), gaps_filled=False)
    assert np.array_equal(open_gap.resampled(50), [0.1, np.nan, 0.2, 0.25, 0.3], equal_nan=True)


@settings(max_examples=60, deadline=None)
@given(
    spacing_s=st.lists(st.integers(1, 10**6), min_size=1, max_size=20),
    data=st.data(),
    step_s=st.integers(500, 10**5),
)
def test_resampling_is_the_straight_line_to_the_ml_s(spacing_s, data, step_s):
    time_s = np.concatenate([[0], np.cumsum(spacing_s)])
    flow = data.draw(st.lists(st.floats(0, 1000), min_size=time_s.size, max_size=time_s.size))
    got = series(time_s, flow).resampled(step_s)
    at_s = np.arange(got.size) * step_s
    assert at_s[-1] <= time_s[-1] < at_s[-1] + step_s
    np.testing.assert_allclose(got, np.interp(at_s, time_s, flow), atol=1.01e-6)
    assert np.array_equal(got, np.round(got, 6))
