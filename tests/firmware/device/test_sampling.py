"""From conversions to readings."""

import datetime
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.sampling import CONVERSIONS, LEAST, NO_COUNTS, Sampling, at_end, year_day
from becklight.device.wiring import MOST_COUNTS, MOST_VALUE, Wiring
from becklight.readings import LEVEL_MM, PRESSURE_MBAR, RUN_SWITCH, UNKNOWN, YEAR_DAY, Readings, Scale
from becklight.settings_reader import Section


@pytest.fixture
def make(wiring_of, fake_board):
    def build(valves=2, feedback="none"):
        wiring = Wiring(Section(wiring_of(valves, feedback), "wiring"))
        readings = Readings(valves)
        return Sampling(wiring, readings), readings, fake_board(valves)

    return build


class Counting:
    """An input whose conversions are given."""

    def __init__(self, conversions):
        self.left = list(conversions)

    def counts(self, place):
        return self.left.pop(0)


@given(st.lists(st.integers(NO_COUNTS, MOST_COUNTS), min_size=CONVERSIONS, max_size=CONVERSIONS))
def test_the_middle_one_of_what_came(conversions):
    sampling = Sampling(Wiring(None), Readings(0))
    came = [counts for counts in conversions if counts != NO_COUNTS]
    found = sampling.median(Counting(conversions), 0)
    if len(came) < LEAST:
        assert found == NO_COUNTS
    else:
        assert found == statistics.median_high(came)


def test_two_wild_conversions_do_not_show(make):
    sampling, readings, board = make()
    conversions = iter([12_000, 32_767, 12_000, 0, 12_000] * 5)
    board.counts = lambda place: next(conversions)
    sampling.take(0, board)
    assert readings.values[LEVEL_MM] == 800


@pytest.mark.parametrize("counts", [3_600, 0, 21_000, 32_767])
def test_what_no_sound_instrument_shows_is_not_put_and_only_age_makes_it_unknown(make, counts, counts_of):
    sampling, readings, board = make()
    board.values[0] = counts_of(LEVEL_MM, 400)
    sampling.take(0, board)
    board.values[0] = counts
    for second in range(1, 11):
        sampling.take(1_000 * second, board)
        readings.expire(1_000 * second)
        assert readings.values[LEVEL_MM] == 400
    sampling.take(11_000, board)
    readings.expire(11_000)
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert readings.values[PRESSURE_MBAR] == 0  # the others go on


def test_a_silent_converter_leaves_the_others_alone(make):
    sampling, readings, board = make()
    board.silent = {1}
    sampling.take(0, board)
    assert sampling.counts[:3] == [4_000, NO_COUNTS, 4_000]
    assert readings.values[PRESSURE_MBAR] == UNKNOWN
    assert readings.values[LEVEL_MM] == 0


@pytest.mark.parametrize(("looks", "run"), [([0, 0, 0], 1), ([1, 0, 0], 1), ([1, 0, 1], 0), ([1, 1, 1], 0)])
def test_the_stop_is_told_by_two_of_three_looks(make, looks, run):
    sampling, readings, board = make()
    board.stop_open = lambda: bool(looks.pop(0))
    sampling.take(0, board)
    assert readings.values[RUN_SWITCH] == run


# -- the calendar -----------------------------------------------------------------------------------


@given(st.datetimes(datetime.datetime(2000, 1, 1, 0, 0, 1), datetime.datetime(2099, 12, 31, 23, 59, 59)))
def test_the_day_of_the_year_is_that_of_the_calendar(instant):
    seconds = int((instant - datetime.datetime(2000, 1, 1)).total_seconds())
    assert year_day(max(1, seconds)) == instant.timetuple().tm_yday


def test_a_clock_that_is_not_set_gives_no_day(make):
    assert year_day(0) == UNKNOWN
    sampling, readings, board = make()
    sampling.take(0, board)
    assert readings.values[YEAR_DAY] == UNKNOWN
    board.seconds = 86_400 * 31
    sampling.look_at_clock()
    sampling.take(1_000, board)
    assert readings.values[YEAR_DAY] == 32


def test_the_clock_is_looked_at_once_a_minute(make):
    sampling, readings, board = make()
    looked = []
    board.clock_s = lambda: looked.append(1) or 86_400
    for second in range(121):
        sampling.take(1_000 * second, board)
    assert len(looked) == 3
    assert readings.values[YEAR_DAY] == 2


# -- valves -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("true", "said"), [(0.0, 0), (1.0, UNKNOWN), (500.0, UNKNOWN), (1_000.0, 1_000)])
def test_end_switches_know_only_the_ends(make, true, said):
    sampling, readings, board = make(2, "ends")
    board.has_ends = True
    board.true[1] = true
    sampling.take(0, board)
    assert readings.position_permille == [1_000, said]


def test_both_ends_at_once_are_no_place(make):
    sampling, readings, board = make(2, "ends")
    board.end_bits = lambda valve: 3
    sampling.take(0, board)
    assert readings.position_permille == [UNKNOWN, UNKNOWN]


@pytest.mark.parametrize(("true", "said"), [(0.0, 0), (123.0, 123), (1_000.0, 1_000)])
def test_a_potentiometer_knows_every_place(make, true, said):
    sampling, readings, board = make(2, "pot")
    board.true[0] = true
    sampling.take(0, board)
    assert readings.position_permille[0] == said


def test_a_broken_potentiometer_is_unknown_by_age(make):
    sampling, readings, board = make(1, "pot")
    board.true[0] = 300.0
    sampling.take(0, board)
    board.counts = lambda place: 30_000
    for second in range(1, 12):
        sampling.take(1_000 * second, board)
        readings.expire(1_000 * second)
    assert readings.position_permille == [UNKNOWN]


def test_an_end_is_reached_when_the_valve_says_so(wiring_of, fake_board):
    for feedback, has_ends in (("ends", True), ("pot", False), ("none", False)):
        wired = Wiring(Section(wiring_of(1, feedback), "wiring")).valves[0]
        board = fake_board(1)
        board.has_ends = has_ends
        knows = feedback != "none"
        assert at_end(wired, board, 0, True) == knows
        assert not at_end(wired, board, 0, False)
        board.true[0] = 0.0
        assert at_end(wired, board, 0, False) == knows
        board.true[0] = 500.0
        assert not at_end(wired, board, 0, True)


# -- the straight line in small integers --------------------------------------------------------------


@given(
    st.integers(0, MOST_COUNTS - 1),
    st.integers(1, MOST_COUNTS),
    st.integers(-MOST_VALUE, MOST_VALUE),
    st.integers(-MOST_VALUE, MOST_VALUE),
    st.integers(0, MOST_COUNTS),
)
def test_a_scale_rounds_to_the_nearest_and_stays_in_small_integers(low, span, value_low, value_high, counts):
    span = min(span, MOST_COUNTS - low)
    scale = Scale(low, low + span, value_low, value_high, -1, MOST_COUNTS + 1)
    exact = (counts - low) * (value_high - value_low)
    assert scale.value(counts) == value_low + (2 * exact + span) // (2 * span)
    part = (counts - low) * ((value_high - value_low) % span) + span // 2
    assert -(1 << 30) <= part < 1 << 30
