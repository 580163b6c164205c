import importlib.util

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from becksim.hydrology.series import FlowSeries
from becksim.hydrology.statistics import (
    base_flow_index,
    base_flow_lyne_hollick,
    daily_means_m3_s,
    flashiness,
    flow_exceeded,
    recession_constant,
    recession_constant_of_long,
    return_periods,
    stream_statistics,
)

FLOWS = arrays(np.float64, st.integers(2, 60), elements=st.floats(0.01, 1e3))


# --- the real headwater: figures worked out from the same file with other code ---


@pytest.mark.parametrize(("percent", "l_s"), [(95, 0.317), (50, 4.31), (5, 35.0)])
def test_flow_duration_of_the_real_headwater(headwater, percent, l_s):
    assert flow_exceeded(headwater.flow_l_s, percent) == pytest.approx(l_s, rel=2e-3)


def test_recession_of_the_real_headwater(headwater):
    assert recession_constant(headwater.flow_l_s) == pytest.approx(0.910, abs=5e-4)
    assert recession_constant_of_long(headwater.flow_l_s) == pytest.approx(0.917, abs=5e-4)


def test_base_flow_and_flashiness_of_the_real_headwater(headwater):
    index = base_flow_index(headwater.flow_l_s, alpha=0.925, passes=3, pad_days=0)
    assert index == pytest.approx(0.54, abs=5e-3)
    assert flashiness(headwater.flow_l_s) == pytest.approx(0.206, abs=5e-4)


def test_a_published_figure_of_two_clipped_passes(headwater):
    """baseflowx 0.2.2, lh(Q), of the same record: .5292."""
    assert base_flow_index(headwater.flow_l_s, passes=2, clip=True) == pytest.approx(0.5292, abs=5e-5)


# --- another program as the judge ---


@pytest.fixture(scope="module")
def oracle():
    if importlib.util.find_spec("baseflowx") is None:
        pytest.skip("baseflowx, the judge of the base-flow filter, is not installed")
    return pytest.importorskip("baseflowx")


def test_two_clipped_passes_are_those_of_baseflowx(oracle, headwater):
    want = oracle.lh(headwater.flow_l_s.copy(), 0.925)
    got = base_flow_lyne_hollick(headwater.flow_l_s, passes=2, clip=True)
    np.testing.assert_allclose(got, want, rtol=1e-9, atol=1e-9)


# --- properties ---


@settings(max_examples=40, deadline=None)
@given(flow=FLOWS, passes=st.integers(1, 4), pad=st.integers(0, 1), clip=st.booleans())
def test_base_flow_is_never_above_the_flow_and_keeps_its_length(flow, passes, pad, clip):
    base = base_flow_lyne_hollick(flow, passes=passes, pad_days=pad, clip=clip)
    assert base.shape == flow.shape
    assert np.all(base <= flow)


@settings(max_examples=40, deadline=None)
@given(flow=FLOWS, factor=st.floats(0.1, 10.0))
def test_the_figures_do_not_depend_on_the_unit(flow, factor):
    for figure in (base_flow_index, flashiness):
        assert figure(flow * factor) == pytest.approx(figure(flow), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(flow=FLOWS)
def test_a_flow_exceeded_more_of_the_time_is_not_higher(flow):
    duration = flow_exceeded(flow, np.arange(0.0, 101.0, 5.0))
    assert np.all(np.diff(duration) <= 1e-9)
    assert (duration[0], duration[-1]) == (flow.max(), flow.min())


def test_padding_changes_the_ends_only_a_little_in_a_long_record():
    flow = 10.0 - np.sin(np.arange(2000) / 20.0)  # falls at first
    assert base_flow_index(flow, pad_days=30) == pytest.approx(base_flow_index(flow), abs=1e-3)
    assert base_flow_lyne_hollick(flow, pad_days=30)[0] != base_flow_lyne_hollick(flow)[0]


def test_only_the_fourth_falling_day_and_later_count():
    flow = np.array([1.0, 100.0, 50.0, 25.0, 12.5, 11.25, 10.125, 30.0])
    assert recession_constant(flow) == pytest.approx(0.9)
    assert recession_constant(flow, from_day=1) == pytest.approx(0.5)
    assert np.isnan(recession_constant(np.array([3.0, 2.0, 1.0, 5.0])))


def test_a_recession_must_be_long_enough_and_its_first_falls_are_dropped():
    steep_then_slow = np.concatenate([[1000.0, 500.0, 100.0], 90.0 * 0.95 ** np.arange(9), [500.0]])
    assert recession_constant_of_long(steep_then_slow) == pytest.approx(0.95)
    assert np.isnan(recession_constant_of_long(steep_then_slow, falls=12))


def test_a_daily_mean_is_the_area_under_the_straight_lines():
    series = FlowSeries(0, np.array([0, 43200, 100000, 200000]), np.array([0.0, 0.2, 0.2, 0.0]), "test")
    at_s = np.arange(2 * 86400) + 0.5
    want = np.interp(at_s, series.time_s, series.flow_m3_s).reshape(2, -1).mean(axis=1)
    np.testing.assert_allclose(daily_means_m3_s(series), want, rtol=1e-9)


def test_weibulls_positions_leave_room_for_a_larger_flood():
    assert return_periods(9).tolist() == pytest.approx([10 / m for m in range(1, 10)])


@pytest.mark.parametrize(
    "call",
    [
        lambda: return_periods(5, "guess"),
        lambda: return_periods(0),
        lambda: base_flow_index(np.ones(5), alpha=1.0),
        lambda: base_flow_index(np.ones(5), passes=0),
        lambda: base_flow_index(np.ones(5), pad_days=5),
    ],
)
def test_parameters_out_of_range_are_refused(call):
    with pytest.raises(ValueError, match="must be"):
        call()


# --- the report's few numbers


def test_the_reports_numbers_of_the_real_headwater(headwater):
    found = stream_statistics(headwater.flow_l_s / 1e3, [0.0005] * headwater.flow_l_s.size)
    assert [found[f"q{percent}_l_s"] for percent in (95, 50, 5)] == pytest.approx(
        [0.317, 4.31, 35.0], rel=2e-3
    )
    assert found["mean_l_s"] == pytest.approx(9.415, abs=0.001)
    assert found["base_flow_index"] == round(base_flow_index(headwater.flow_l_s), 3)
    assert found["recession_k_per_day"] == pytest.approx(0.910, abs=0.001)
    assert found["days_below_residual"] == np.count_nonzero(headwater.flow_l_s < 0.5)
    assert found["base_flow_method"] == "Lyne-Hollick, 0.925, 3 passes"


def test_too_few_days_and_a_dry_bed_give_none_instead_of_a_number():
    short = stream_statistics(np.full(59, 0.01))
    assert (short["mean_l_s"], short["q95_l_s"], short["base_flow_index"]) == (10.0, None, None)
    steady = stream_statistics(np.full(60, 0.01))
    assert (steady["q95_l_s"], steady["base_flow_index"], steady["recession_k_per_day"]) == (10.0, 1.0, None)
    assert stream_statistics(np.zeros(60))["base_flow_index"] is None
