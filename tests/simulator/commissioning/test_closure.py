"""A record against the computed stroke: what passes, and each thing that must not."""

from dataclasses import replace

import numpy as np
import pytest

from becklight.settings import Settings
from becksim.commissioning.closure import compare, compute_stroke, swing_period_s
from becksim.commissioning.steps_pipe import windows

LARGE = 2


@pytest.fixture(scope="module")
def stroke(site, compiled):
    return compute_stroke(site, Settings(compiled), LARGE, [0, 0, 1000, 0])


def record(stroke, *, from_s=-1.0, length_s=None, times=1.0, add=0.0, later_s=0.0, noise=0.0, wave=1.0):
    """The computed pressure as a record of 100 Hz, changed: rises times so much, waves so much quicker."""
    length_s = stroke.record_s if length_s is None else length_s
    seconds = np.arange(0.0, length_s, 0.01)
    at = seconds + from_s - later_s
    after = at > stroke.length_s
    at = np.where(after, stroke.length_s + (at - stroke.length_s) * wave, at)
    rise = np.interp(at, stroke.time_s, stroke.mbar) - stroke.after_mbar
    mbar = stroke.after_mbar + add + times * rise
    return seconds, mbar + noise * np.random.default_rng(1).standard_normal(seconds.size)


def judged(stroke, seconds, mbar, from_s=-1.0, **more):
    return compare(stroke, seconds, mbar, began_s=-from_s, unsure_s=0.5, **more)


def test_the_same_pressure_passes_and_its_figures_are_those_computed(stroke):
    found = judged(stroke, *record(stroke))
    assert found.ok, found.problems
    assert found.peak_mbar == pytest.approx(found.computed_mbar, abs=3.0)
    assert found.peak_s == pytest.approx(found.computed_peak_s, abs=0.15)
    assert found.period_s == pytest.approx(found.computed_period_s, rel=0.03)
    assert found.computed_period_s == pytest.approx(stroke.period_s, rel=0.05)


def test_noise_and_a_late_start_change_nothing(stroke):
    found = judged(stroke, *record(stroke, noise=10.0, later_s=0.35), noise_mbar=10.0)
    assert found.ok, found.problems
    assert found.laid_s == pytest.approx(1.35, abs=0.06)


def test_a_harder_blow_than_computed_does_not_pass(stroke):
    found = judged(stroke, *record(stroke, times=1.6))
    assert not found.ok
    assert "harder hit" in " ".join(found.problems)


def test_a_much_softer_one_is_not_the_computed_pipe(stroke):
    found = judged(stroke, *record(stroke, times=0.3))
    assert "not the computed pipe" in " ".join(found.problems)


@pytest.mark.parametrize(("wave", "word"), [(1.4, "stiffer"), (0.7, "softer")])
def test_another_swing_is_another_pipe(stroke, wave, word):
    found = judged(stroke, *record(stroke, wave=wave))
    assert word in " ".join(found.problems)
    assert found.period_s / found.computed_period_s == pytest.approx(1.0 / wave, rel=0.05)


def test_a_peak_above_what_the_pipe_bears_never_passes(stroke):
    weak = replace(stroke, limit_mbar=stroke.after_mbar + 50.0)
    assert "above what the pipe may bear" in " ".join(judged(weak, *record(stroke)).problems)


def test_what_a_slow_transmitter_hides_counts_against_the_limit(stroke):
    rise = float(np.max(stroke.mbar)) - stroke.after_mbar
    seconds, mbar = record(stroke, times=0.7)
    just = replace(stroke, limit_mbar=stroke.after_mbar + 0.9 * rise)
    assert judged(just, seconds, mbar).ok
    found = judged(just, seconds, mbar, lag_s=1.0)
    assert "that the transmitter hides" in " ".join(found.problems)


def test_a_transmitter_that_is_off_is_told(stroke):
    assert "calibrate it first" in " ".join(judged(stroke, *record(stroke, add=400.0)).problems)


def test_the_intakes_level_is_reckoned_with(stroke):
    # Two metres of water more, 196 mbar.
    seconds, mbar = record(stroke, add=196.0)
    assert judged(stroke, seconds, mbar, level_mm=2_000.0).ok
    assert not judged(stroke, seconds, mbar).ok


def test_a_part_of_the_stroke_is_compared_with_that_part(stroke):
    for part, from_s, length_s in windows(stroke, 20.0):
        seconds, mbar = record(stroke, from_s=from_s, length_s=length_s)
        found = judged(stroke, seconds, mbar, from_s=from_s)
        assert found.ok, (part, found.problems)
        assert found.peak_mbar == pytest.approx(found.computed_mbar, abs=3.0)


def test_one_record_is_enough_if_the_device_can_hold_it(stroke):
    assert [part for part, _, _ in windows(stroke, 200.0)] == ["stroke"]
    (_, from_s, length_s) = windows(stroke, 200.0)[0]
    assert from_s < 0.0
    assert length_s >= stroke.record_s


def test_short_records_take_in_the_peak_and_the_end(stroke):
    peak_s = float(stroke.time_s[np.argmax(stroke.mbar)])
    parts = windows(stroke, 20.0)
    assert [part for part, _, _ in parts] == ["peak", "tail"]
    assert parts[0][1] < peak_s < parts[0][1] + parts[0][2]
    assert parts[1][1] < stroke.length_s < parts[1][1] + parts[1][2] - 1.5 * stroke.period_s
    assert all(length_s <= 20.0 for _, _, length_s in parts)


def test_noise_alone_has_no_swing():
    seconds = np.arange(0.0, 30.0, 0.01)
    noise = 10.0 * np.random.default_rng(2).standard_normal(seconds.size)
    assert swing_period_s(seconds, noise, 7.0, 10.0) is None
    assert swing_period_s(seconds[:500], noise[:500], 7.0, 0.0) is None  # too short to tell


@pytest.mark.parametrize("period_s", [2.0, 3.3, 6.5])
def test_a_swing_in_noise_is_timed(period_s):
    seconds = np.arange(0.0, 20.0, 0.01)
    swing = 60.0 * np.exp(-seconds / 8.0) * np.sin(2.0 * np.pi * seconds / period_s + 1.0) + 0.3 * seconds
    swing += 10.0 * np.random.default_rng(3).standard_normal(seconds.size)
    assert swing_period_s(seconds, swing, 3.5, 10.0) == pytest.approx(period_s, rel=0.02)
