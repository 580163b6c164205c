"""Flow area against travel, travel against time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics.opening_law import FLOW_CURVES, flow_coefficient, pulsed_steps, pulsed_travel, train


@pytest.mark.parametrize("kind", FLOW_CURVES)
def test_curves_rise_from_shut_to_open(kind):
    shares = flow_coefficient(kind, np.arange(1001))
    assert len(FLOW_CURVES[kind]) >= 11
    assert shares[0] == 0.0
    assert shares[-1] == 1.0
    assert np.all(np.diff(shares) > 0.0)


def test_curves_hold_the_weisbach_points():
    """√(K_open/K): gate half shut K 2.06 over 0.05, butterfly at 45° K 18.7 over 0.15; from memory."""
    assert flow_coefficient("gate", 500.0) == pytest.approx((0.05 / 2.06) ** 0.5, rel=0.01)
    assert flow_coefficient("butterfly", 500.0) == pytest.approx((0.15 / 18.7) ** 0.5, rel=0.01)


def test_a_full_run_is_a_straight_line():
    time_s = np.linspace(0.0, 30.0, 61)
    travel = train([5.0], [1000.0, 0.0], 20.0, time_s)
    assert travel == pytest.approx(np.clip(1000.0 - 50.0 * (time_s - 5.0), 0.0, 1000.0))


def test_back_to_back_steps_join():
    time_s = np.linspace(0.0, 30.0, 301)
    joined = pulsed_travel(1000.0, 0.0, time_s, step_permille=50.0, step_period_s=1.0, stroke_s=20.0)
    assert joined == pytest.approx(train([0.0], [1000.0, 0.0], 20.0, time_s), abs=1e-6)


@settings(max_examples=50)
@given(
    start=st.floats(0.0, 1000.0),
    goal=st.floats(0.0, 1000.0),
    step=st.floats(5.0, 300.0),
    rest_s=st.floats(0.0, 20.0),
    slow_below=st.floats(0.0, 1000.0),
    slow_times=st.floats(1.0, 5.0),
)
def test_a_pulsed_ramp_runs_or_rests_and_arrives(start, goal, step, rest_s, slow_below, slow_times):
    stroke_s = 20.0
    ramp = {
        "step_permille": step,
        "step_period_s": step * stroke_s / 1000.0 + rest_s,
        "slow_below_permille": slow_below,
        "slow_times": slow_times,
    }
    starts_s, positions = pulsed_steps(start, goal, **ramp)
    end_s = (starts_s[-1] if starts_s.size else 0.0) + stroke_s
    time_s = np.linspace(0.0, end_s, 2001)
    travel = pulsed_travel(start, goal, time_s, stroke_s=stroke_s, **ramp)
    moves = np.diff(travel) * np.sign(goal - start)
    assert travel[0] == start
    assert travel[-1] == pytest.approx(goal, abs=1e-9)
    assert np.all(moves >= -1e-9)
    assert np.all(moves <= 1000.0 / stroke_s * np.diff(time_s) * (1.0 + 1e-9) + 1e-9)
    assert np.all(np.abs(np.diff(positions)) <= step * (1.0 + 1e-8))


def test_slow_zone_stretches_the_last_steps_of_a_closing_and_the_first_of_an_opening():
    ramp = {"step_permille": 100.0, "step_period_s": 10.0, "slow_below_permille": 200.0, "slow_times": 3.0}
    closing_s, _ = pulsed_steps(500.0, 0.0, **ramp)
    opening_s, _ = pulsed_steps(0.0, 500.0, **ramp)
    assert np.diff(closing_s).tolist() == [10.0, 10.0, 10.0, 30.0]
    assert np.diff(opening_s).tolist() == [30.0, 30.0, 10.0, 10.0]


def test_no_way_to_go_means_no_step():
    starts_s, positions = pulsed_steps(300.0, 300.0, step_permille=10.0, step_period_s=1.0)
    assert starts_s.size == 0
    assert positions.tolist() == [300.0]
    assert train(starts_s, positions, 20.0, [0.0, 5.0]).tolist() == [300.0, 300.0]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: flow_coefficient("plug", 0.0), "valve kind must be one of"),
        (lambda: flow_coefficient("ball", 1001.0), "travel must be"),
        (lambda: train([0.0], [1000.0], 20.0, [0.0]), "one position before"),
        (lambda: train([0.0], [1000.0, -1.0], 20.0, [0.0]), "positions must be"),
        (lambda: train([0.0], [1000.0, 0.0], 0.0, [0.0]), "stroke_s"),
        (lambda: train([0.0, 1.0], [1000.0, 900.0, 800.0], 20.0, [0.0]), "before the last one has ended"),
        (lambda: pulsed_steps(1000.0, 0.0, step_permille=0.0, step_period_s=1.0), "above 0"),
        (lambda: pulsed_steps(1001.0, 0.0, step_permille=10.0, step_period_s=1.0), "start and goal"),
        (
            lambda: pulsed_travel(1000.0, 0.0, [0.0], step_permille=100.0, step_period_s=1.0, stroke_s=20.0),
            "before the last one has ended",
        ),
    ],
)
def test_wrong_arguments_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
