"""Rigid column: exact solutions."""

import math

import numpy as np
import pytest

from becksim.hydraulics.rigid_column import mass_oscillation, rigid_column_flow


def test_growth_of_flow_is_the_known_tanh():
    """dV/dt = g/L·(H - c·V²/2g) has V = V₀·tanh(g·H·t/(L·V₀)); calculus."""
    time_s = np.linspace(0.0, 10.0, 201)
    flow = rigid_column_flow(
        time_s,
        length_m=50.0,
        area_m2=0.01,
        accelerating_head_m=lambda t, q: 2.0 - 4.0 * (q / 0.01) ** 2 / (2.0 * 9.81),
        gravity_m_s2=9.81,
    )
    last_m_s = math.sqrt(2.0 * 9.81 * 2.0 / 4.0)
    assert flow / 0.01 == pytest.approx(last_m_s * np.tanh(9.81 * 2.0 * time_s / (50.0 * last_m_s)), abs=1e-7)


def test_swing_of_a_shaft_by_integration():
    """The level is the flow summed up; the same column, with the shaft's level as the head against it."""
    amplitude_m, period_s = mass_oscillation(2.0, 1.227, 12.57, 200.0)
    time_s = np.linspace(0.0, period_s, 4001)
    step_s = time_s[1]
    level_m, flow, levels_m = 0.0, 2.0, [0.0]
    for now_s in time_s[:-1].tolist():
        # Half a step of level on either side of the step of flow: second order.
        level_m += flow * step_s / 2.0 / 12.57
        held_m = level_m
        flow = float(
            rigid_column_flow(
                [now_s, now_s + step_s],
                length_m=200.0,
                area_m2=1.227,
                accelerating_head_m=lambda t, q, held_m=held_m: -held_m,
                initial_flow_m3_s=flow,
            )[-1]
        )
        level_m += flow * step_s / 2.0 / 12.57
        levels_m.append(level_m)
    assert max(levels_m) == pytest.approx(amplitude_m, rel=1e-5)
    assert time_s[int(np.argmax(levels_m))] == pytest.approx(period_s / 4.0, abs=2.0 * step_s)
    assert levels_m[-1] == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: rigid_column_flow([0.0], length_m=0.0, area_m2=1.0, accelerating_head_m=lambda t, q: 0.0),
            "above 0",
        ),
        (
            lambda: rigid_column_flow(
                [1.0, 0.0], length_m=1.0, area_m2=1.0, accelerating_head_m=lambda t, q: 0.0
            ),
            "rises",
        ),
        (lambda: mass_oscillation(1.0, 1.0, 0.0, 1.0), "above 0"),
    ],
)
def test_wrong_arguments_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
