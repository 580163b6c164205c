"""Surge against published and independent values; each test gives the ID, the source and its own g."""

import math

import numpy as np
import pytest

from becksim.hydraulics.rigid_column import mass_oscillation, rigid_column_flow
from becksim.hydraulics.surge_rules import korteweg_wave_speed_m_s
from becksim.hydraulics.transient import simulate
from becksim.hydraulics.transient_pipe import TransientSection, grid


def test_surge_08_flow_grows_after_a_sudden_opening():
    """SURGE-08: Daugherty & Franzini, Fluid Mechanics with Eng. Applications, Ex 13.3 p.455; g 9.81."""
    area_m2, gravity = math.pi / 4.0 * 0.10**2, 9.81
    resistance = 1.0 + 0.5 + 0.02 * 15.0 / 0.10
    time_s = np.linspace(0.0, 4.0, 4001)
    flow = rigid_column_flow(
        time_s,
        length_m=15.0,
        area_m2=area_m2,
        accelerating_head_m=lambda t, q: 2.0 - resistance * (q / area_m2) ** 2 / (2.0 * gravity),
        gravity_m_s2=gravity,
    )
    last_m_s = math.sqrt(2.0 * gravity * 2.0 / resistance)
    assert last_m_s == pytest.approx(2.95, rel=0.005)
    reached_s = np.interp([0.25, 0.50, 0.75], flow / (area_m2 * last_m_s), time_s)
    assert reached_s == pytest.approx([0.577, 1.242, 2.201], rel=0.005)


def test_surge_08_by_the_elastic_solver_on_a_very_stiff_pipe():
    """SURGE-08 again: with a wave speed of 20 km/s the elastic column is nearly rigid."""
    pipe = grid([TransientSection(15.0, 0.10, 20_000.0, friction_factor=0.02)], 4)
    area_m2 = math.pi / 4.0 * 0.10**2
    run = simulate(
        pipe,
        reservoir_head_m=2.0,
        opening_areas_m2=lambda t: np.where(t > 0.0, area_m2, 0.0)[:, None],
        duration_s=3.0,
        entrance_loss_coefficient=0.5,
        gravity_m_s2=9.81,
    )
    last_m3_s = area_m2 * math.sqrt(2.0 * 9.81 * 2.0 / 4.5)
    reached_s = np.interp([0.25, 0.50, 0.75], run.valve_flow_m3_s[0] / last_m3_s, run.time_s)
    assert reached_s == pytest.approx([0.577, 1.242, 2.201], rel=0.005)


def test_surge_10_shaft_swings():
    """SURGE-10: Douglas et al., Fluid Mechanics, Ex 20.5 p.705; g 9.81."""
    amplitude_m, period_s = mass_oscillation(2.0, 1.227, 12.57, 200.0, 9.81)
    assert amplitude_m == pytest.approx(2.299, rel=0.002)
    assert period_s == pytest.approx(90.8, rel=0.002)


def test_surge_11_fast_closure_without_friction():
    """SURGE-11: T. Cleveland, CE 3372 notes, lesson 12; K inferred from the printed speed; g 9.81."""
    speed_m_s = korteweg_wave_speed_m_s(2.0e9, 1000.0, 0.5, 0.004, 160e9)
    assert speed_m_s == pytest.approx(883.452, rel=1e-5)
    pipe = grid([TransientSection(6000.0, 0.5, speed_m_s, friction_factor=0.0)], 20)
    flow_m3_s = 9.9 * math.pi / 4.0 * 0.5**2
    full_m2 = flow_m3_s / math.sqrt(2.0 * 9.81 * 5.0)
    run = simulate(
        pipe,
        reservoir_head_m=5.0,
        opening_areas_m2=lambda t: full_m2 * np.maximum(1.0 - t / 2.0, 0.0)[:, None],
        duration_s=30.0,
        initial_flow_m3_s=flow_m3_s,
        parting_gauge_pa=None,
        gravity_m_s2=9.81,
    )
    assert run.valve_head_m.max() == pytest.approx(896.557, rel=0.001)
    assert run.valve_head_m.min() == pytest.approx(-886.557, rel=0.001)


@pytest.mark.parametrize("reaches", [4, 40])
def test_surge_12_linear_area_closure(reaches):
    """SURGE-12: case of JSCE, Collection of Examples for the Hydraulic Formulae (2023) Ex 3.5(3); g 9.8.

    Inputs and scheme published; answers by an independent method of characteristics.
    """
    pipe = grid([TransientSection(400.0, 2.0, 1000.0, friction_factor=0.01)], reaches)
    flow_m3_s = 3.14 * math.pi / 4.0 * 2.0**2
    full_m2 = flow_m3_s / math.sqrt(2.0 * 9.8 * (160.0 - 0.01 * 400.0 / 2.0 * 3.14**2 / (2.0 * 9.8)))
    run = simulate(
        pipe,
        reservoir_head_m=160.0,
        opening_areas_m2=lambda t: full_m2 * np.maximum(1.0 - t / 1.8, 0.0)[:, None],
        duration_s=4.0,
        initial_flow_m3_s=flow_m3_s,
        gravity_m_s2=9.8,
        record="all",
    )
    at_s = [0.0, 0.2, 0.4, 0.8, 1.0, 1.2, 1.6, 1.8, 2.2, 2.6, 3.0, 3.4]
    at_valve_m = [
        *(158.99, 178.04, 199.98, 254.46, 259.87, 261.48),
        *(246.04, 241.99, 152.99, 78.06, 167.01, 241.90),
    ]
    assert np.interp(at_s, run.time_s, run.valve_head_m[0]) == pytest.approx(at_valve_m, abs=0.5)
    assert run.valve_head_m.max() == pytest.approx(261.54, abs=0.5)
    assert run.valve_head_m.min() == pytest.approx(78.06, abs=0.5)
    assert run.time_s[run.valve_head_m[0].argmax()] == pytest.approx(1.17, abs=pipe.time_step_s)
    middle_m = run.head_m[0, :, reaches // 2]
    assert np.interp([0.8, 1.2, 2.0], run.time_s, middle_m) == pytest.approx(
        [206.73, 213.13, 197.48], abs=0.5
    )


@pytest.mark.parametrize("reaches", [5, 50])
def test_surge_14_curved_area_closure(reaches):
    """SURGE-14: inputs of Wylie & Streeter, Fluid Transients in Systems (1993) ch. 3, from memory; g 9.806.

    Answers by an independent method of characteristics.
    """
    pipe = grid([TransientSection(600.0, 0.5, 1200.0, friction_factor=0.018)], reaches)
    run = simulate(
        pipe,
        reservoir_head_m=150.0,
        opening_areas_m2=lambda t: 0.009 * np.maximum(1.0 - t / 2.1, 0.0)[:, None] ** 1.5,
        duration_s=4.0,
        gravity_m_s2=9.806,
    )
    assert run.valve_flow_m3_s[0, 0] == pytest.approx(0.4774, rel=0.001)
    assert run.valve_head_m[0, 0] == pytest.approx(143.49, rel=0.001)
    at_s = [0.5, 1.0, 1.1, 1.5, 2.0, 2.1, 2.5, 3.0, 3.5, 4.0]
    at_valve_m = [205.1, 284.6, 285.25, 265.1, 170.1, 152.1, 96.8, 133.3, 203.0, 166.7]
    assert np.interp(at_s, run.time_s, run.valve_head_m[0]) == pytest.approx(at_valve_m, abs=0.3)
    flows_m3_s = np.interp([0.5, 1.0, 1.5], run.time_s, run.valve_flow_m3_s[0])
    assert flows_m3_s == pytest.approx([0.3796, 0.2549, 0.0991], rel=0.001)


# Allievi chain, frictionless linear area closure: head over static at the ends of each 2L/a; g 9.81.
ALLIEVI = [
    # SURGE-15: Allievi; Jaeger and Parmakian, from memory; recomputed two ways
    pytest.param(
        (50.0, 350.0, 350.0, 1.2, 10.0),
        [1, 1.12855, 1.06818, 1.10308, 1.07877, 1.09910, 0.90090],
        id="SURGE-15",
    ),
    # SURGE-17: Parmakian, Waterhammer Analysis; Allievi, from memory; recomputed two ways
    pytest.param((60.0, 1200.0, 300.0, 1.5, 5.0), [1, 1.13104, 1.16051, 1.16474, 1.16504], id="SURGE-17"),
]


@pytest.mark.parametrize(("case", "shares"), ALLIEVI)
def test_uniform_closure_follows_the_allievi_chain(case, shares):
    """SURGE-15, SURGE-17: heads at t = k·2L/a."""
    static_m, speed_m_s, length_m, velocity_m_s, closing_s = case
    pipe = grid([TransientSection(length_m, 0.1, speed_m_s, friction_factor=0.0)], 10)
    full_m2 = velocity_m_s * math.pi / 4.0 * 0.1**2 / math.sqrt(2.0 * 9.81 * static_m)
    run = simulate(
        pipe,
        reservoir_head_m=static_m,
        opening_areas_m2=lambda t: full_m2 * np.maximum(1.0 - t / closing_s, 0.0)[:, None],
        duration_s=2.0 * length_m / speed_m_s * len(shares),
        gravity_m_s2=9.81,
    )
    assert run.valve_head_m[0, ::20][: len(shares)] / static_m == pytest.approx(shares, abs=1e-4)


def test_surge_17_peak_is_that_of_a_rigid_column():
    """SURGE-17: H_max/H₀ = 1 + (n/2)(n + √(n² + 4)), n = L·V₀/(g·H₀·t_c), Parmakian, from memory; g 9.81."""
    pipe = grid([TransientSection(300.0, 0.1, 1200.0, friction_factor=0.0)], 10)
    full_m2 = 1.5 * math.pi / 4.0 * 0.1**2 / math.sqrt(2.0 * 9.81 * 60.0)
    run = simulate(
        pipe,
        reservoir_head_m=60.0,
        opening_areas_m2=lambda t: full_m2 * np.maximum(1.0 - t / 5.0, 0.0)[:, None],
        duration_s=5.0,
        gravity_m_s2=9.81,
    )
    n = 300.0 * 1.5 / (9.81 * 60.0 * 5.0)
    limit = 1.0 + n / 2.0 * (n + math.sqrt(n * n + 4.0))
    assert limit == pytest.approx(1.16504, abs=1e-4)
    assert run.valve_head_m.max() / 60.0 == pytest.approx(limit, abs=1e-4)


def test_surge_19_sudden_stop_is_a_square_wave():
    """SURGE-19: any transients text, from memory; L 300 m, a 300 m/s, V 1.0 m/s, H₀ 50 m, g 9.81."""
    pipe = grid([TransientSection(300.0, 0.1, 300.0, friction_factor=0.0)], 20)
    full_m2 = math.pi / 4.0 * 0.1**2 / math.sqrt(2.0 * 9.81 * 50.0)
    run = simulate(
        pipe,
        reservoir_head_m=50.0,
        opening_areas_m2=lambda t: np.where(t > 0.0, 0.0, full_m2)[:, None],
        duration_s=12.0,
        gravity_m_s2=9.81,
        record="all",
    )
    step_s = pipe.time_step_s
    for period in range(3):
        since_s = run.time_s - 4.0 * period
        high = (since_s > 1.01 * step_s) & (since_s < 2.0 - 0.01 * step_s)
        low = (since_s > 2.0 + 1.01 * step_s) & (since_s < 4.0 - 0.01 * step_s)
        assert high.sum() >= 37
        assert low.sum() >= 37
        assert run.valve_head_m[0, high] == pytest.approx(80.58, rel=0.001)
        assert run.valve_head_m[0, low] == pytest.approx(19.42, rel=0.001)
    assert run.head_m[0, :, 0] == pytest.approx(50.0, abs=1e-9)
