import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics import weir

heads_m = st.floats(1e-4, 2.0)
widths_m = st.floats(0.05, 5.0)


@settings(max_examples=50)
@given(heads_m, widths_m)
def test_head_is_the_inverse_of_flow(head_m, width_m):
    flow_m3_s = weir.rectangular_weir_flow_m3_s(head_m, width_m)
    assert weir.rectangular_weir_head_m(flow_m3_s, width_m) == pytest.approx(head_m, rel=1e-12)


@settings(max_examples=50)
@given(heads_m, widths_m)
def test_slope_is_the_derivative_of_flow(head_m, width_m):
    step_m = 1e-5 * head_m
    rise = weir.rectangular_weir_flow_m3_s(head_m + step_m, width_m)
    rise -= weir.rectangular_weir_flow_m3_s(head_m - step_m, width_m)
    flow_m3_s, slope = weir.rectangular_weir_law(head_m, width_m)
    assert flow_m3_s == weir.rectangular_weir_flow_m3_s(head_m, width_m)
    assert rise / (2.0 * step_m) == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize("head_m", [0.0, -0.1])
def test_nothing_flows_at_or_below_the_crest(head_m):
    assert weir.rectangular_weir_flow_m3_s(head_m, 1.0) == 0.0
    assert weir.rectangular_weir_law(head_m, 1.0) == (0.0, 0.0)
    assert weir.v_notch_flow_m3_s(head_m, 90.0) == 0.0
    assert weir.orifice_flow_m3_s(head_m, 0.01) == 0.0


def test_no_overflow_stands_at_the_crest():
    assert weir.rectangular_weir_head_m(0.0, 1.0) == 0.0


def test_four_times_the_head_gives_eight_times_over_a_weir_32_in_a_notch_twice_in_a_hole():
    assert weir.rectangular_weir_flow_m3_s(0.4, 1.0) == pytest.approx(
        8.0 * weir.rectangular_weir_flow_m3_s(0.1, 1.0)
    )
    assert weir.v_notch_flow_m3_s(0.4, 60.0, head_correction_m=0.0) == pytest.approx(
        32.0 * weir.v_notch_flow_m3_s(0.1, 60.0, head_correction_m=0.0)
    )
    assert weir.orifice_flow_m3_s(0.4, 0.01) == pytest.approx(2.0 * weir.orifice_flow_m3_s(0.1, 0.01))


@pytest.mark.parametrize("angle_deg", [0.0, 180.0, -5.0])
def test_a_notch_that_is_no_notch_is_refused(angle_deg):
    with pytest.raises(ValueError, match="notch angle"):
        weir.v_notch_flow_m3_s(0.1, angle_deg)


@pytest.mark.parametrize(
    ("flow_m3_s", "width_m", "coefficient"), [(-1.0, 1.0, 0.6), (1.0, 0.0, 0.6), (1.0, 1.0, 0.0)]
)
def test_a_head_that_cannot_be_is_refused(flow_m3_s, width_m, coefficient):
    with pytest.raises(ValueError, match="must"):
        weir.rectangular_weir_head_m(flow_m3_s, width_m, coefficient)
