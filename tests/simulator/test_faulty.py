"""Parts that fail, by themselves: each kind of fault does what it says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.readings import LEVEL_MM, STALE_MS, UNKNOWN
from becksim.faults import KINDS, Fault
from becksim.faulty import FaultyInstrument, ValveTrain
from becksim.instruments import Instrument

OF_INSTRUMENTS = [name for name, kind in KINDS.items() if kind.group == "instrument"]


def level(noise_mm=1.0, sample_ms=1_000):
    instrument = FaultyInstrument(Instrument(LEVEL_MM, noise_mm, 1.0, 2.0, 1), sample_ms)
    instrument.begin(300.0, 900.0)
    instrument.advance(1.0)
    instrument.begin(310.0, 900.0)
    return instrument


def befallen(kind, size=0.0, noise_mm=1.0):
    instrument = level(noise_mm)
    instrument.befall(Fault(kind, "level", 1_000, 600, size), 0.0, 1_000)
    return instrument


@pytest.mark.parametrize("kind", ["open", "short"])
def test_a_broken_wire_shows_nothing(kind):
    assert befallen(kind).show(0.5, 1_450) == UNKNOWN


def test_a_frozen_one_shows_what_it_last_showed():
    instrument = befallen("frozen", noise_mm=0.0)
    assert instrument.show(0.0, 1_000) == instrument.show(1.0, 1_900) == 300


def test_a_jump_adds_so_much_and_no_more():
    assert befallen("jump", -80.0).show(0.3, 1_270) == level().show(0.3, 1_270) - 80


def test_a_drift_grows_by_so_much_an_hour():
    instrument = befallen("drift", 60.0)
    assert instrument.show(0.0, 1_000) == level().show(0.0, 1_000)
    assert instrument.show(1.0, 1_000 + 1_800) == level().show(1.0, 1_000 + 1_800) + 30


def test_noise_wavers_so_much_more_about_the_same_mean():
    shares, seconds = np.zeros(900), np.arange(1_000, 1_900, dtype=np.uint64)
    shown = befallen("noise", 20.0).shows(shares, seconds)
    assert np.std(shown) == pytest.approx(20.0, rel=0.1)
    assert np.mean(shown) == pytest.approx(300.0, abs=2.0)


def test_a_stale_one_sends_nothing_new_and_its_last_sample_grows_too_old():
    instrument = befallen("stale", noise_mm=0.0)
    assert instrument.show(0.0, 1_000) == 300
    assert instrument.show(0.1, 1_001) is None
    seconds = np.array([1_001, 1_000 + STALE_MS // 1_000, 1_001 + STALE_MS // 1_000], dtype=np.uint64)
    assert list(instrument.shows(np.array([0.1, 0.2, 0.3]), seconds)) == [300, 300, UNKNOWN]


def test_what_is_over_leaves_no_trace():
    for kind in OF_INSTRUMENTS:
        instrument = level()
        fault = Fault(kind, "level", 1_000, 600, 50.0)
        instrument.befall(fault, 0.0, 1_000)
        assert instrument.may_leave(-(1 << 28), 1 << 28)
        instrument.recover(fault)
        assert instrument.show(0.5, 1_450) == level().show(0.5, 1_450)
        assert not instrument.may_leave(-(1 << 28), 1 << 28)


@given(
    st.lists(st.tuples(st.sampled_from(OF_INSTRUMENTS), st.floats(-200, 200), st.integers(0, 5)), max_size=3),
    st.sampled_from([1_000, 2_000, 500]),
    st.integers(6, 900),
)
def test_many_samples_at_once_are_the_same_as_one_by_one(faults, sample_ms, last):
    instrument = level(sample_ms=sample_ms)
    for kind, size, begin in sorted(faults, key=lambda row: row[2]):
        instrument.befall(Fault(kind, "level", 0, 10_000, size), begin / 900.0, 1_000 + begin)
    samples = range(1_006, 1_000 + last + 1)
    shares = [(sample - 1_000) / 900.0 for sample in samples]
    at_once = instrument.shows(np.array(shares), np.array(samples, dtype=np.uint64)) if last > 6 else []
    for share, sample, shown in zip(shares, samples, at_once, strict=False):
        one = instrument.show(share, sample)
        if one is not None:
            assert one == shown


# -- valves -----------------------------------------------------------------------------------------


def train(kind=None, size=0.0, at=0):
    """Two valves; the first opened so far while sound, and then befallen."""
    valves = ValveTrain(2)
    valves.order([at, 0])
    if kind is not None:
        valves.befall(0, Fault(kind, "left", 0, 600, size))
    return valves


def test_sound_valves_stand_as_ordered():
    valves = train()
    assert valves.order([40, 0])
    assert not valves.order([40, 0])
    assert valves.order([40, 1000])
    assert valves.openings == [40, 1000]
    assert valves.follows


@pytest.mark.parametrize(
    ("kind", "ordered", "stands"),
    [
        ("stuck", 600, 500),
        ("stuck", 0, 500),
        ("half", 600, 550),
        ("half", 0, 250),
        ("wrong way", 600, 400),
        ("wrong way", 0, 1000),
        ("end lies", 300, 300),
        ("end lies", 100, 200),
        ("end lies", 900, 900),
    ],
)
def test_a_faulty_valve_stands_elsewhere(kind, ordered, stands):
    valves = train(kind, 200.0 if kind == "end lies" else 0.0, at=500)
    valves.order([ordered, 0])
    assert valves.openings == [stands, 0]
    assert valves.follows == (ordered == stands)


def test_a_lying_end_switch_says_shut_and_nothing_else_does():
    valves = train("end lies", 200.0, at=500)
    assert valves.feedback_permille(0) == 500
    valves.order([0, 0])
    assert valves.feedback_permille(0) == 0
    assert valves.openings[0] == 200
    stuck = train("stuck", at=500)
    stuck.order([0, 0])
    assert stuck.feedback_permille(0) == 500


def test_a_valve_creeps_as_far_as_its_end():
    valves = train(at=30)
    assert valves.creep(0, -20)
    assert valves.creep(0, -20)
    assert not valves.creep(0, -20)
    assert valves.openings == [0, 0]


def test_what_was_not_followed_is_made_up_for_at_an_end():
    valves = ValveTrain(1)
    fault = Fault("half", "left", 0, 600)
    valves.befall(0, fault)
    valves.order([1000])
    valves.recover(0, fault)
    assert valves.openings == [500]
    valves.order([0])
    assert valves.openings == [0]


def test_after_a_restart_the_first_orders_move_nothing():
    valves = train(at=600)
    valves.restart()
    assert not valves.order([0, 0])
    assert valves.openings == [600, 0]
    valves.order([40, 0])
    assert valves.openings == [640, 0]


def test_one_that_believes_all_open_at_a_restart_and_closes_step_by_step_finds_every_end():
    valves = train(at=600)
    valves.restart()
    for opening in range(1000, -1, -40):
        valves.order([opening, opening])
    assert valves.openings == [0, 0]
    assert valves.follows
