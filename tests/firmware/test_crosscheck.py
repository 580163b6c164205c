"""Pressure and wheel against each other."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.crosscheck import BUS_LIES_MS, PRESSURE_LIES_MS, RIGHT_MS, CrossCheck
from becklight.facts import Facts
from becklight.readings import UNKNOWN
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
STATIC_MBAR = 5_000  # of the plant in conftest.py; 20 mbar of doubt
MOST_MBAR = 5_250  # a twentieth above it
EXPECTED_MBAR, EXPECTED_MV = 4_600, 60_000
DRY_MBAR = STATIC_MBAR - 100  # a quarter of the fall
LOW_MBAR = 3_910  # 850 permille of what is expected
STILL_MV = 18_000  # a fifth of the jump


class Bench:
    """A cross-check asked every second."""

    def __init__(self, read):
        self.check = CrossCheck(read, STATIC_MBAR, read.rules.bus_jump_mv)
        self.facts = Facts()
        self.now_ms = 0
        self.runs()

    def runs(self, expected_mbar=EXPECTED_MBAR, expected_mv=EXPECTED_MV):
        self.facts.closed, self.facts.settled, self.facts.moving = False, True, False
        self.facts.expected_mbar, self.facts.expected_bus_mv = expected_mbar, expected_mv

    def rests(self):
        self.facts.closed, self.facts.settled, self.facts.moving = True, True, False
        self.facts.expected_mbar, self.facts.expected_bus_mv = STATIC_MBAR, 0

    def show(self, lasts_ms, pressure_mbar, bus_mv):
        """(pressure lies, bus lies) at the last of the samples of so long a time."""
        for _ in range(lasts_ms // 1_000):
            now_ms = ticks_add(WRAP_MS, self.now_ms)
            self.check.judge(now_ms, pressure_mbar, bus_mv, self.facts, self.facts.expected_bus_mv)
            self.now_ms += 1_000
        return self.check.pressure_lies, self.check.bus_lies


@pytest.fixture
def bench(settings_of):
    return Bench(settings_of())


def lies_after(bench, hold_ms, *values):
    """What is found at the end of the hold, and that it was not before."""
    before = bench.show(hold_ms, *values)
    after = bench.show(1_000, *values)
    assert before == (False, False)
    return after


@pytest.mark.parametrize(
    ("pressure_mbar", "bus_mv", "lies"),
    [
        (MOST_MBAR + 1, UNKNOWN, True),  # no wheel is needed to see that
        (MOST_MBAR, UNKNOWN, False),
        (DRY_MBAR + 1, EXPECTED_MV // 2 + 1, True),
        (DRY_MBAR + 1, EXPECTED_MV // 2, False),  # the wheel stands as well: a frozen pipe
        (DRY_MBAR + 1, UNKNOWN, False),
        (DRY_MBAR, EXPECTED_MV, False),
        (UNKNOWN, EXPECTED_MV, False),
    ],
)
def test_a_pressure_without_flow_while_the_wheel_turns_lies(bench, pressure_mbar, bus_mv, lies):
    assert lies_after(bench, PRESSURE_LIES_MS, pressure_mbar, bus_mv) == (lies, False)


@pytest.mark.parametrize(
    ("pressure_mbar", "bus_mv", "lies"),
    [
        (EXPECTED_MBAR, EXPECTED_MV // 2, True),
        (EXPECTED_MBAR, EXPECTED_MV // 2 + 1, False),
        (LOW_MBAR + 1, 0, True),
        (LOW_MBAR, 0, False),  # a leak or an empty pipe: the wheel may well stand
        (DRY_MBAR, 0, True),
        (DRY_MBAR + 1, 0, False),
        (UNKNOWN, 0, False),
    ],
)
def test_a_bus_that_stands_while_the_jets_run_lies(bench, pressure_mbar, bus_mv, lies):
    assert lies_after(bench, BUS_LIES_MS, pressure_mbar, bus_mv) == (False, lies)


@pytest.mark.parametrize(
    ("pressure_mbar", "bus_mv", "lies"),
    [
        (STATIC_MBAR, STILL_MV + 1, True),
        (STATIC_MBAR, STILL_MV, False),
        (4_751, STILL_MV + 1, True),
        (4_750, STILL_MV + 1, False),  # it may be that water flows
        (UNKNOWN, STILL_MV + 1, False),
    ],
)
def test_a_bus_that_turns_with_every_jet_closed_lies(bench, pressure_mbar, bus_mv, lies):
    bench.rests()
    assert lies_after(bench, BUS_LIES_MS, pressure_mbar, bus_mv) == (False, lies)


def test_closed_and_settling_the_wheel_may_still_run_out(bench):
    bench.rests()
    bench.facts.settled = False
    assert bench.show(2 * BUS_LIES_MS, STATIC_MBAR, EXPECTED_MV) == (False, False)


def test_closed_jets_say_nothing_of_a_pressure_that_is_too_high(bench):
    bench.rests()
    assert bench.show(2 * BUS_LIES_MS, MOST_MBAR + 1, 0) == (False, False)


@pytest.mark.parametrize("values", [(DRY_MBAR + 1, EXPECTED_MV), (EXPECTED_MBAR, 0), (MOST_MBAR + 1, 0)])
def test_on_the_way_nothing_is_known(bench, values):
    bench.facts.moving = True
    assert bench.show(2 * BUS_LIES_MS, *values) == (False, False)


@pytest.mark.parametrize(("expected_mbar", "sees"), [(STATIC_MBAR - 80, True), (STATIC_MBAR - 79, False)])
def test_a_fall_that_a_reading_does_not_show_proves_nothing(bench, expected_mbar, sees):
    bench.runs(expected_mbar)
    assert bench.show(BUS_LIES_MS + 1_000, expected_mbar, 0) == (False, sees)
    bench.runs(expected_mbar)
    assert bench.show(BUS_LIES_MS + 1_000, STATIC_MBAR, EXPECTED_MV) == (sees, False)


def test_too_little_flow_for_any_power_turns_no_wheel(bench):
    bench.runs(expected_mv=0)
    assert bench.show(2 * BUS_LIES_MS, EXPECTED_MBAR, 0) == (False, False)


@pytest.mark.parametrize("between", [(EXPECTED_MBAR, EXPECTED_MV), (UNKNOWN, UNKNOWN), "a move"])
@pytest.mark.parametrize("off", [(DRY_MBAR + 1, EXPECTED_MV), (EXPECTED_MBAR, 0)])
def test_a_contradiction_must_last_without_a_break(bench, between, off):
    hold_ms = BUS_LIES_MS if off[1] == 0 else PRESSURE_LIES_MS
    bench.show(hold_ms, *off)
    bench.facts.moving = between == "a move"
    bench.show(1_000, *(off if between == "a move" else between))
    bench.facts.moving = False
    assert bench.show(hold_ms, *off) == (False, False)


def test_a_pressure_is_believed_again_once_it_has_been_right_for_long_enough(bench):
    assert bench.show(PRESSURE_LIES_MS + 1_000, MOST_MBAR + 1, EXPECTED_MV) == (True, False)
    assert bench.show(2 * RIGHT_MS, DRY_MBAR + 1, EXPECTED_MV) == (True, False)
    bench.facts.moving = True
    assert bench.show(2 * RIGHT_MS, EXPECTED_MBAR, EXPECTED_MV) == (True, False)
    bench.runs()
    assert bench.show(RIGHT_MS, EXPECTED_MBAR, EXPECTED_MV) == (True, False)
    assert bench.show(1_000, EXPECTED_MBAR, EXPECTED_MV) == (False, False)


def test_a_bus_is_believed_again_once_it_turns_and_stands_as_the_water_does(bench):
    bench.rests()
    assert bench.show(BUS_LIES_MS + 1_000, STATIC_MBAR, EXPECTED_MV) == (False, True)
    bench.runs()
    # faster than a wheel at work: not seen to be right
    assert bench.show(2 * RIGHT_MS, EXPECTED_MBAR, EXPECTED_MV * 3 // 2 + 1) == (False, True)
    assert bench.show(RIGHT_MS, EXPECTED_MBAR, EXPECTED_MV * 3 // 2) == (False, True)
    assert bench.show(1_000, EXPECTED_MBAR, EXPECTED_MV * 3 // 2) == (False, False)
    assert bench.show(BUS_LIES_MS + 1_000, EXPECTED_MBAR, 0) == (False, True)
    bench.rests()
    assert bench.show(RIGHT_MS, STATIC_MBAR, STILL_MV) == (False, True)
    assert bench.show(1_000, STATIC_MBAR, STILL_MV) == (False, False)


@pytest.mark.parametrize(
    ("values", "lies"),
    [
        ((EXPECTED_MBAR, UNKNOWN), False),  # the pressure shows it by itself
        ((DRY_MBAR, UNKNOWN), False),
        ((DRY_MBAR + 1, UNKNOWN), True),
        ((DRY_MBAR + 1, 0), False),  # a frozen pipe: both say so
        ((UNKNOWN, EXPECTED_MV), True),
    ],
)
def test_a_pressure_is_right_again_if_it_shows_the_flow_or_the_wheel_stands_too(bench, values, lies):
    assert bench.show(PRESSURE_LIES_MS + 1_000, MOST_MBAR + 1, EXPECTED_MV) == (True, False)
    assert bench.show(RIGHT_MS + 1_000, *values)[0] == lies


def test_a_pressure_is_right_again_with_every_jet_closed(bench):
    assert bench.show(PRESSURE_LIES_MS + 1_000, MOST_MBAR + 1, EXPECTED_MV) == (True, False)
    bench.rests()
    assert bench.show(RIGHT_MS, STATIC_MBAR, 0) == (True, False)
    assert bench.show(1_000, STATIC_MBAR, 0) == (False, False)


@pytest.mark.parametrize("state", ["runs", "rests"])
@pytest.mark.parametrize("values", [(UNKNOWN, 0), (UNKNOWN, EXPECTED_MV), (EXPECTED_MBAR, UNKNOWN)])
def test_a_bus_is_not_right_again_while_nothing_shows_it(bench, values, state):
    assert bench.show(BUS_LIES_MS + 1_000, EXPECTED_MBAR, 0) == (False, True)
    bench.rests() if state == "rests" else bench.runs()
    assert bench.show(2 * RIGHT_MS, *values) == (False, True)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 1_500),
            st.sampled_from([UNKNOWN, 3_910, 3_911, 4_600, 4_750, 4_900, 4_901, 5_000, 5_250, 5_251]),
            st.sampled_from([UNKNOWN, 0, 18_000, 18_001, 30_000, 30_001, 60_000, 90_000, 90_001]),
            st.sampled_from([0, 0, 1, 40]),
            st.sampled_from(["runs", "rests", "moves", "settles"]),
        ),
        max_size=12,
    )
)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows):
    often, seldom = Bench(settings_of()), Bench(settings_of())
    check = seldom.check
    sample, due, before = 0, 0, None
    for seconds, pressure_mbar, bus_mv, wobble, state in rows:
        for bench in (often, seldom):
            if state in ("runs", "moves"):
                bench.runs()
            else:
                bench.rests()
            bench.facts.moving = state == "moves"
            bench.facts.settled = state in ("runs", "rests")
        for _ in range(seconds):
            off = (sample * 7 % 3 - 1) * wobble
            pressure = pressure_mbar if pressure_mbar == UNKNOWN else pressure_mbar + off
            bus = bus_mv if bus_mv == UNKNOWN else bus_mv + off
            now_ms = ticks_add(WRAP_MS, 1_000 * sample)
            often.check.judge(now_ms, pressure, bus, often.facts, often.facts.expected_bus_mv)
            # that one is lost or found again, or a valve moves, is the witness's and the engine's to see
            around = (state, pressure == UNKNOWN, bus == UNKNOWN)
            inside = check.low_mbar <= pressure <= check.high_mbar and check.low_mv <= bus <= check.high_mv
            if around != before or sample >= due or not inside:
                before = around
                check.judge(now_ms, pressure, bus, seldom.facts, seldom.facts.expected_bus_mv)
                due = sample + max(1, min(900, -(-check.left_ms(now_ms) // 1_000)))
            assert (check.pressure_lies, check.bus_lies) == (
                often.check.pressure_lies,
                often.check.bus_lies,
            )
            sample += 1


def test_while_a_valve_stands_elsewhere_the_bus_is_not_held_against_the_flow(settings_of):
    for astray in (False, True):
        check = CrossCheck(settings_of(), STATIC_MBAR, 90_000)
        facts = Facts()
        facts.closed, facts.settled, facts.astray = True, True, astray
        for now_ms in range(0, 3_600_000, 60_000):  # all ordered shut, full pressure, a turning wheel
            check.judge(ticks_add(WRAP_MS, now_ms), STATIC_MBAR, 60_000, facts, 0)
        assert check.bus_lies != astray
