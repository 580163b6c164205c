from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.fastlog import (
    ARMED,
    BEFORE,
    DONE,
    IDLE,
    LONGEST_WAIT,
    MISSED,
    MOST,
    NO_STROKE,
    RUNNING,
    SLOT_MS,
    FastLog,
)
from becklight.ticks import PERIOD_MS, ticks_add

START_MS = PERIOD_MS - 500  # so that every record crosses the wrap


class Clockwork:
    """A converter that gives the milliseconds since the start, if it answers."""

    def __init__(self):
        self.elapsed_ms = 0
        self.silent = False

    def counts(self, place):
        assert place == 3
        return -1 if self.silent else self.elapsed_ms


def _begin(wanted, at_stroke=False, openings=(0, 0)):
    log, board = FastLog(), Clockwork()
    assert log.start(3, wanted, START_MS, at_stroke, list(openings))
    return log, board


def _tend(log, board, elapsed_ms, openings=(0, 0), anew=0):
    board.elapsed_ms = elapsed_ms
    return log.tend(ticks_add(START_MS, elapsed_ms), board, list(openings), anew)


def _samples(log):
    return [log.at(place) for place in range(log.count)]


def test_each_slot_of_ten_ms_gets_one_sample():
    log, board = _begin(5)
    waits = [_tend(log, board, elapsed_ms) for elapsed_ms in (0, 3, 10, 20, 30)]
    assert waits == [10, 7, 10, 10, 10]
    assert log.state == RUNNING
    assert _tend(log, board, 40) == -1
    assert log.state == DONE
    assert _samples(log) == [0, 10, 20, 30, 40]
    assert (log.missed, log.late_ms, log.stroke) == (0, 0, NO_STROKE)


def test_slots_in_which_nobody_looked_are_marked():
    log, board = _begin(6)
    for elapsed_ms in (0, 10, 45, 59):
        _tend(log, board, elapsed_ms)
    assert _samples(log) == [0, 10, MISSED, MISSED, 45, 59]
    assert (log.missed, log.late_ms) == (2, 9)


def test_a_sample_late_in_its_slot_does_not_shift_the_next():
    log, board = _begin(3)
    assert _tend(log, board, 7) == 3
    assert _tend(log, board, 10) == 10
    assert _tend(log, board, 29) == -1
    assert _samples(log) == [7, 10, 29]


def test_a_converter_that_does_not_answer_is_marked():
    log, board = _begin(2)
    _tend(log, board, 0)
    board.silent = True
    _tend(log, board, 10)
    assert _samples(log) == [0, MISSED]
    assert log.missed == 1


def test_it_begins_with_the_next_stroke_and_keeps_the_second_before():
    log, board = _begin(300, at_stroke=True)
    for slot in range(1_000):
        _tend(log, board, 10 * slot)
    assert log.state == ARMED
    for slot in range(1_000, 1_300):
        _tend(log, board, 10 * slot, openings=(40, 0))
    assert log.state == DONE
    assert log.count == 300
    assert log.stroke == BEFORE
    assert log.at(log.stroke) == 10_000
    assert _samples(log) == list(range(9_000, 12_000, 10))


def test_a_stroke_that_comes_at_once_has_no_second_before():
    log, board = _begin(100, at_stroke=True)
    for slot in range(7):
        _tend(log, board, 10 * slot)
    for slot in range(7, 150):
        _tend(log, board, 10 * slot, openings=(0, 40))
    assert (log.count, log.stroke, log.at(0), log.at(7)) == (100, 7, 0, 70)


def test_a_short_record_keeps_half_of_itself_from_before():
    log, board = _begin(100, at_stroke=True)
    for slot in range(200):
        _tend(log, board, 10 * slot)
    for slot in range(200, 260):
        _tend(log, board, 10 * slot, openings=(0, 40))
    assert (log.count, log.stroke, log.at(50)) == (100, 50, 2_000)


def test_valves_taken_to_stand_elsewhere_are_no_stroke():
    log, board = _begin(50, at_stroke=True)
    _tend(log, board, 0, openings=(1_000, 0), anew=1)
    assert log.state == ARMED
    _tend(log, board, 10, openings=(960, 0))
    assert log.state == RUNNING


def test_it_waits_an_hour_for_a_stroke_and_no_longer():
    log, board = _begin(50, at_stroke=True)
    for minute in range(60):
        _tend(log, board, 60_000 * minute)
        assert log.state == ARMED
    assert _tend(log, board, SLOT_MS * LONGEST_WAIT) == -1
    assert log.state == IDLE
    assert _tend(log, board, SLOT_MS * LONGEST_WAIT + 10, openings=(40, 0)) == -1


def test_it_can_be_stopped():
    log, board = _begin(50)
    for slot in range(10):
        _tend(log, board, 10 * slot)
    log.stop()
    assert (log.state, log.count, log.at(9)) == (DONE, 10, 90)
    log, board = _begin(50, at_stroke=True)
    log.stop()
    assert log.state == IDLE


def test_a_new_record_forgets_the_old():
    log, board = _begin(5)
    for slot in range(5):
        _tend(log, board, 10 * slot)
    assert log.start(3, 4, START_MS, False, [0, 0])
    assert (log.count, log.missed, log.state) == (0, 0, RUNNING)


@pytest.mark.parametrize("wanted", [0, -1, MOST + 1])
def test_more_than_there_is_room_for_is_refused(wanted):
    log = FastLog()
    assert not log.start(3, wanted, START_MS, False, [0])
    assert log.state == IDLE
    assert log.start(3, MOST, START_MS, False, [0])


def test_a_record_that_memory_has_no_room_for_is_refused_and_a_shorter_one_made(monkeypatch):
    def small(kind, first=b""):
        if len(first) > 200:
            raise MemoryError
        return array(kind, first)

    log = FastLog()
    monkeypatch.setattr("becklight.device.fastlog.array", small)
    assert not log.start(3, 101, START_MS, False, [0])
    assert (log.state, log.count) == (IDLE, 0)
    assert log.start(3, 100, START_MS, False, [0])
    assert len(log.ring) == 100


def test_idle_it_asks_for_nothing():
    assert FastLog().tend(0, None, [0], 0) == -1


@given(st.integers(1, 60), st.booleans(), st.lists(st.integers(0, 90), min_size=1, max_size=200))
def test_every_sample_lies_in_its_own_slot(wanted, at_stroke, steps_ms):
    log, board = _begin(wanted, at_stroke)
    elapsed_ms = 0
    for place, step_ms in enumerate(steps_ms):
        elapsed_ms += step_ms
        wait_ms = _tend(log, board, elapsed_ms, openings=(place // 40, 0))
        assert -1 <= wait_ms <= SLOT_MS
    if log.state == DONE:
        assert log.count == wanted
        for place, sample in enumerate(_samples(log)):
            assert sample == MISSED or sample // SLOT_MS == log.first + place
