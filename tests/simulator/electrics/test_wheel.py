import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.wheel import (
    Wheel,
    best_speed_m_s,
    euler_hydraulic_efficiency,
    euler_losses,
    free_run_speed_m_s,
    shaft_power_w,
)

# Example plant: about 37 m of net head, jets of 1 to 4 L/s; windage 2 % of the power of two such jets.
EXAMPLE = Wheel(
    pitch_diameter_m=0.20,
    best_speed_ratio=0.46,
    peak_efficiency=0.70,
    windage_w_s3_m3=0.02,
)

jets = st.lists(
    st.tuples(st.floats(1e-4, 0.02), st.floats(10.0, 60.0), st.floats(0.3, 1.0)), min_size=1, max_size=6
)
windages = st.floats(0.0, 0.2)


def summed(chosen_jets: list[tuple[float, float, float]]) -> tuple[float, float]:
    flows, velocities, qualities = zip(*chosen_jets, strict=True)
    return EXAMPLE.coefficients(flows, velocities, qualities)


def test_one_jet_gives_its_peak_efficiency_at_the_best_ratio() -> None:
    a, b = EXAMPLE.coefficients([0.004], [27.0], [0.9], 1000.0)
    assert shaft_power_w(a, b, 0.0, 0.46 * 27.0) == pytest.approx(0.70 * 0.9 * 1000.0 * 0.004 * 27.0**2 / 2)
    assert best_speed_m_s(a, b, 0.0) == pytest.approx(0.46 * 27.0)


@given(jets, st.floats(0.0, 40.0))
@settings(max_examples=60)
def test_jets_add(chosen: list[tuple[float, float, float]], speed_m_s: float) -> None:
    alone_w = sum(shaft_power_w(*summed([jet]), 0.0, speed_m_s) for jet in chosen)
    size_w = sum(1000.0 * q * v * (v + speed_m_s) * speed_m_s for q, v, _ in chosen) + 1.0
    assert shaft_power_w(*summed(chosen), 0.0, speed_m_s) == pytest.approx(alone_w, abs=1e-11 * size_w)


@given(jets, windages, st.floats(-0.2, 0.2))
@settings(max_examples=60)
def test_no_speed_beats_the_best_speed(
    chosen: list[tuple[float, float, float]], windage: float, shift: float
) -> None:
    a, b = summed(chosen)
    best = best_speed_m_s(a, b, windage)
    most_w = shaft_power_w(a, b, windage, best)
    assert shaft_power_w(a, b, windage, best * (1.0 + shift)) <= most_w * (1.0 + 1e-12)


@given(jets, windages)
@settings(max_examples=60)
def test_at_free_run_the_shaft_gives_nothing(
    chosen: list[tuple[float, float, float]], windage: float
) -> None:
    a, b = summed(chosen)
    free = free_run_speed_m_s(a, b, windage)
    assert free > best_speed_m_s(a, b, windage)
    assert shaft_power_w(a, b, windage, free) == pytest.approx(0.0, abs=1e-11 * a * free)


def test_a_jet_that_the_buckets_outrun_brakes() -> None:
    """A valve half shut makes a slow jet beside a fast one on the same wheel."""
    fast, slow = (0.004, 30.0, 1.0), (0.002, 10.0, 1.0)
    at_m_s = 0.46 * 30.0  # best of the fast jet alone; the slow one stops helping at 9.2 m/s
    alone_w = shaft_power_w(*summed([fast]), 0.0, at_m_s)
    assert shaft_power_w(*summed([slow]), 0.0, at_m_s) < 0.0
    assert shaft_power_w(*summed([fast, slow]), 0.0, at_m_s) < alone_w
    assert free_run_speed_m_s(*summed([fast, slow]), 0.0) < free_run_speed_m_s(*summed([fast]), 0.0)


@given(jets)
@settings(max_examples=60)
def test_jets_of_different_velocity_share_a_speed_between_their_own_best(
    chosen: list[tuple[float, float, float]],
) -> None:
    best = best_speed_m_s(*summed(chosen), 0.0)
    own = [0.46 * velocity for _, velocity, _ in chosen]
    assert min(own) * (1.0 - 1e-12) <= best <= max(own) * (1.0 + 1e-12)
    apart_w = sum(shaft_power_w(*summed([jet]), 0.0, 0.46 * jet[1]) for jet in chosen)
    assert shaft_power_w(*summed(chosen), 0.0, best) <= apart_w * (1.0 + 1e-12)


@pytest.mark.parametrize("flow_m3_s", [0.001, 0.004, 0.008])
def test_free_run_is_1_8_to_2_times_best_speed(flow_m3_s: float) -> None:
    # common practice, no source
    a, b = EXAMPLE.coefficients([flow_m3_s], [27.0], [1.0])
    ratio = free_run_speed_m_s(a, b, EXAMPLE.windage_w_s3_m3) / best_speed_m_s(a, b, EXAMPLE.windage_w_s3_m3)
    assert 1.8 <= ratio < 2.0


def test_a_wheel_without_jets_stands_still() -> None:
    a, b = EXAMPLE.coefficients([], [], [])
    assert (a, b) == (0.0, 0.0)
    assert best_speed_m_s(a, b, 0.02) == free_run_speed_m_s(a, b, 0.02) == 0


def test_revolutions_are_proportional_to_bucket_speed() -> None:
    assert EXAMPLE.rpm(math.pi * 0.20) == pytest.approx(60.0)
    assert EXAMPLE.rpm(20.0) == pytest.approx(2.0 * EXAMPLE.rpm(10.0))


@given(st.floats(0.1, 1.0), st.floats(90.0, 180.0), st.floats(0.5, 1.0), st.floats(0.8, 1.0))
@settings(max_examples=60)
def test_efficiency_and_losses_make_one(x: float, angle_deg: float, k: float, cv: float) -> None:
    losses = euler_losses(x, angle_deg, k, cv)
    assert min(losses) >= 0.0
    assert sum(losses) + euler_hydraulic_efficiency(x, angle_deg, k, cv) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [
        {"pitch_diameter_m": 0.0},
        {"peak_efficiency": 1.1},
        {"windage_w_s3_m3": -0.1},
        {"best_speed_ratio": math.nan},
    ],
)
def test_impossible_wheels_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Wheel(**({"pitch_diameter_m": 0.2} | wrong))
