import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.penstock import Penstock, Section, best_power_flow_m3_s
from becksim.hydraulics.water import GRAVITY_M_S2

# The last three put the corners at Re 2000 and 4000 inside the tested range, the last one at its very start.
PIPES = {
    "long plastic": Penstock([Section(300.0, 0.0968, 1.5e-6, 0.8)], most_flow_m3_s=0.02),
    "two sizes": Penstock(
        [Section(200.0, 0.0968, 1.5e-6, 0.5), Section(60.0, 0.0792, 1.5e-6, 2.0)], most_flow_m3_s=0.02
    ),
    "old steel, cold": Penstock([Section(80.0, 0.1053, 4.5e-5)], temp_c=1.0, most_flow_m3_s=0.03),
    "thin hose": Penstock([Section(40.0, 0.02, 0.0)], most_flow_m3_s=0.0008),
    "thin rough hose": Penstock([Section(40.0, 0.02, 9e-4)], most_flow_m3_s=0.0008),
    "rough pipe": Penstock([Section(100.0, 0.05, 2.45e-3)], most_flow_m3_s=0.004),
}
each_pipe = pytest.mark.parametrize("pipe", PIPES.values(), ids=PIPES)


@each_pipe
def test_table_is_within_a_thousandth_of_the_friction_law(pipe):
    for flow_m3_s in np.geomspace(0.02, 1.0, 800) * pipe.most_flow_m3_s:
        assert pipe.loss_m(flow_m3_s) == pytest.approx(pipe.exact_loss_m(flow_m3_s), rel=1e-3)


@each_pipe
def test_loss_rises_with_flow_without_gaps(pipe):
    flows_m3_s = (np.geomspace(1e-6, 1.5, 20000) * pipe.most_flow_m3_s).tolist()
    losses_m = np.array([pipe.loss_m(flow_m3_s) for flow_m3_s in flows_m3_s])
    assert np.all(np.diff(losses_m) > 0.0)
    assert np.all(losses_m[1:] < 1.01 * losses_m[:-1])


def test_loss_is_odd_and_k_is_even_in_the_flow():
    pipe = PIPES["two sizes"]
    assert pipe.loss_m(-0.007) == -pipe.loss_m(0.007)
    assert pipe.exact_loss_m(-0.007) == -pipe.exact_loss_m(0.007)
    assert pipe.loss_coefficient(-0.007) == pipe.loss_coefficient(0.007)


def test_k_is_finite_at_rest_and_held_beyond_the_table():
    pipe = PIPES["two sizes"]
    assert pipe.loss_coefficient(0.0) == pipe.loss_coefficient(0.02 / 32768)
    assert math.isfinite(pipe.loss_coefficient(0.0))
    assert pipe.loss_coefficient(0.04) == pipe.loss_coefficient(0.02)


def test_sections_in_series_add_up_in_any_order():
    first, second = Section(200.0, 0.0968, 1.5e-6), Section(60.0, 0.0792, 1.5e-6)
    both = Penstock([second, first], most_flow_m3_s=0.02)
    single = [Penstock([section], most_flow_m3_s=0.02) for section in (first, second)]
    assert both.exact_loss_m(0.01) == pytest.approx(
        sum(pipe.exact_loss_m(0.01) for pipe in single), rel=1e-12
    )


def test_table_entries_carry_ten_digits_only():
    step_m3_s = 0.02 / 32768
    k = PIPES["two sizes"].loss_coefficient(12345 * step_m3_s)
    assert k == pytest.approx(float(f"{k:.10g}"), rel=1e-12)


@settings(max_examples=300)
@given(
    st.sampled_from(list(PIPES.values())),
    st.floats(-3.0, 2.5).map(lambda power: 10.0**power),
    st.floats(-10.0, -1.0).map(lambda power: 10.0**power),
)
def test_steady_flow_uses_up_the_head(pipe, gross_head_m, area_m2):
    flow_m3_s = pipe.steady_flow(gross_head_m, area_m2)
    jet_head_m = flow_m3_s**2 / (2.0 * GRAVITY_M_S2 * area_m2**2)
    assert flow_m3_s > 0.0
    assert pipe.loss_m(flow_m3_s) + jet_head_m == pytest.approx(gross_head_m, rel=1e-9, abs=0.0)


@settings(max_examples=60)
@given(st.sampled_from(list(PIPES.values())), st.floats(0.1, 200.0), st.floats(1e-7, 1e-2))
def test_steady_flow_rises_with_head_and_with_area(pipe, gross_head_m, area_m2):
    flow_m3_s = pipe.steady_flow(gross_head_m, area_m2)
    assert pipe.steady_flow(1.01 * gross_head_m, area_m2) > flow_m3_s
    assert pipe.steady_flow(gross_head_m, 1.01 * area_m2) > flow_m3_s


@pytest.mark.parametrize(("gross_head_m", "area_m2"), [(40.0, 0.0), (0.0, 1e-4), (-1.0, 1e-4)])
def test_nothing_flows_without_head_or_opening(gross_head_m, area_m2):
    assert PIPES["two sizes"].steady_flow(gross_head_m, area_m2) == 0.0


@each_pipe
@pytest.mark.parametrize("gross_head_m", [5.0, 40.0])
def test_neither_side_of_the_best_flow_gives_more_power(pipe, gross_head_m):
    flow_m3_s, net_head_m = pipe.best_power(gross_head_m)
    assert net_head_m == pytest.approx(gross_head_m - pipe.exact_loss_m(flow_m3_s), rel=1e-12)
    for share in (0.3, 0.8, 0.99, 1.01, 1.1):
        other_m3_s = share * flow_m3_s
        assert other_m3_s * (gross_head_m - pipe.exact_loss_m(other_m3_s)) < flow_m3_s * net_head_m


def test_a_smooth_pipe_is_best_a_little_past_a_third_of_the_head():
    _, net_head_m = PIPES["long plastic"].best_power(40.0)
    assert 1 / 3 < 1.0 - net_head_m / 40.0 < 0.37


def test_best_power_does_not_depend_on_the_guess():
    flows = [best_power_flow_m3_s(30.0, lambda q: 1e5 * q * q, guess) for guess in (1e-9, 0.01, 1e3)]
    assert flows == pytest.approx([0.01] * 3, rel=1e-7)


@pytest.mark.parametrize(
    ("sections", "most_flow_m3_s", "message"),
    [
        ([], 0.02, "at least one section"),
        ([Section(10.0, 0.1, 0.0)], 0.0, "most_flow_m3_s"),
        ([Section(10.0, 0.1, 0.0)], math.inf, "most_flow_m3_s"),
        ([Section(0.0, 0.1, 0.0)], 0.02, "lose some head"),
        ([Section(10.0, -0.1, 0.0)], 0.02, "diameter"),
    ],
)
def test_an_impossible_penstock_is_refused(sections, most_flow_m3_s, message):
    with pytest.raises(ValueError, match=message):
        Penstock(sections, most_flow_m3_s=most_flow_m3_s)


def test_best_power_needs_a_head():
    with pytest.raises(ValueError, match="above 0"):
        PIPES["two sizes"].best_power(0.0)
