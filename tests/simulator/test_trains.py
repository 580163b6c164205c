"""Orders by the device's own ramps, and where the motors then are."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.ramps import travel_time_ms
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.replay import replay
from becksim.site import load_site
from becksim.surge import _trains_of
from becksim.trains import Train, engine_train, length_s, shortened, travel

MILLBROOK = load_site("millbrook-smallholding")
DEVICE = Settings(compile_site(MILLBROOK))


def test_a_train_is_what_a_replay_orders():
    trace = io.StringIO()
    result = replay(MILLBROOK, days=4, trace=trace)
    trace.seek(0)
    rows = list(csv.reader(trace))[1:]
    changes = [(int(row[0]) / 1000.0, [int(opening) for opening in row[1:4]]) for row in rows]
    device = Settings(result.settings)
    ordered = [train for _, train in _trains_of(changes, 60.0)]
    same = [train == engine_train(device, train.start_permille, train.end_permille) for train in ordered]
    assert len(ordered) >= 5
    assert sum(len(set(train.valve)) > 1 for train in ordered) >= 1
    assert sum(same) >= 0.8 * len(same)  # the others were given another goal midway


@pytest.mark.parametrize("sample_ms", [1_000, 700])
def test_steps_wait_for_the_next_sample(sample_ms):
    device = Settings(compile_site(MILLBROOK))
    device.rules.sample_ms = sample_ms
    train = engine_train(device, [1000, 0, 0], [0, 0, 0])
    in_samples = np.array(train.step_s) * 1000.0 / sample_ms
    assert in_samples == pytest.approx(in_samples.round())
    slowest_s = travel_time_ms(device.valves[0], False) / 1000.0
    assert train.step_s[-1] < slowest_s + len(train.step_s) * sample_ms / 1000.0
    assert train.end_permille == (0, 0, 0)


def test_a_turned_train_goes_on_from_where_it_stood():
    turned = engine_train(DEVICE, [1000, 0, 0], [0, 0, 0], [(3, [1000, 0, 0]), (5, [0, 0, 0])])
    assert turned.to_permille[:7] == (960, 920, 880, 920, 960, 920, 880)
    assert turned.end_permille == (0, 0, 0)


@settings(max_examples=40, deadline=None)
@given(
    start=st.tuples(*[st.integers(0, 1000)] * 3),
    goal=st.tuples(*[st.integers(0, 1000)] * 3),
    stroke_s=st.floats(1.0, 200.0),
)
def test_motors_follow_no_faster_than_they_run_and_arrive(start, goal, stroke_s):
    train = engine_train(DEVICE, start, goal)
    assert train.end_permille == goal
    for valve in set(train.valve):
        time_s, here = map(np.array, travel(train, valve, stroke_s))
        assert here[0] == start[valve]
        assert here[-1] == goal[valve]
        assert np.all(np.diff(time_s) >= 0.0)
        assert np.all(np.abs(np.diff(here)) <= np.diff(time_s) * 1000.0 / stroke_s + 1e-6)
        assert time_s[-1] <= length_s(train, [stroke_s] * 3) + 1e-9


@pytest.mark.parametrize("swing_s", [0.05, 0.7])
def test_long_rests_are_cut_by_whole_swings(swing_s):
    train = Train((1000, 1000, 0), (0.0, 20.0, 33.0, 40.0), (0, 1, 0, 0), (960, 960, 920, 880))
    short, sooner_s = shortened(train, [30.0] * 3, swing_s)
    assert np.array(train.step_s) == pytest.approx(np.array(short.step_s) + sooner_s)
    assert np.array(sooner_s) / swing_s == pytest.approx((np.array(sooner_s) / swing_s).round())
    rests_s = np.diff(short.step_s) - 1.2
    assert np.all(rests_s >= 4.0 * swing_s - 1e-9)
    assert np.all(rests_s <= 5.0 * swing_s + 1e-9)
    assert short.to_permille == train.to_permille
