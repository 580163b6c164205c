"""Instruments that waver more than they should."""

import pytest

from becklight.noise import AGAIN_MS, BURST_MS, BURST_SAMPLES, MOST_WAITS, NOISY_BURSTS, NoiseWatch
from becklight.readings import BUS_MV, COUNT, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
PLACES = (LEVEL_MM, PRESSURE_MBAR, BUS_MV)
LIMIT = 10
QUIET = (0, 3, -2, 0, 4, 1, -3, 2, 0, 1)


class Bench:
    """Asked when it wants to be, and a second before and after."""

    def __init__(self, limits=(LIMIT, LIMIT, LIMIT)):
        self.watch = NoiseWatch(list(limits), 1_000)
        self.now_ms = 0
        self.steady = True

    def ask(self, values):
        raw = [UNKNOWN] * COUNT
        for place, value in zip(PLACES, values, strict=True):
            raw[place] = value
        self.watch.judge(ticks_add(WRAP_MS, self.now_ms), raw, PLACES, self.steady)

    def burst(self, level, others=QUIET):
        """One burst with these levels, the last of them standing; how long the next one is away."""
        if not self.watch.started:
            self.ask((level[0], others[0], others[0]))
        self.now_ms += self.watch.left_ms(ticks_add(WRAP_MS, self.now_ms))
        for _ in range(0 if self.steady else MOST_WAITS):
            self.ask((level[0], others[0], others[0]))
            assert self.watch.left_ms(ticks_add(WRAP_MS, self.now_ms)) == AGAIN_MS
            self.now_ms += AGAIN_MS
        for sample in range(BURST_SAMPLES):
            other = others[min(sample, len(others) - 1)]
            self.ask((level[min(sample, len(level) - 1)], other, other))
            self.now_ms += 1_000
        return self.watch.left_ms(ticks_add(WRAP_MS, self.now_ms)) + 1_000

    def found(self):
        return [PLACES[one] for one, found in enumerate(self.watch.found) if found]


TURNS_TWICE = (0, 11, 0, 11, 11)
ONE_WAY = tuple(20 * sample for sample in range(BURST_SAMPLES))
THERE_AND_BACK = (0, 50, 50, 50, 0, 0, 50, 50, 0, 0)  # a load that is switched: it rests between


def test_bursts_are_far_apart_while_all_is_quiet_and_near_while_one_is_in_doubt():
    bench = Bench()
    bench.ask((0, 0, 0))
    assert bench.watch.left_ms(WRAP_MS) == AGAIN_MS
    assert bench.burst(QUIET) == BURST_MS
    assert bench.burst(TURNS_TWICE) == AGAIN_MS
    assert bench.burst(QUIET) == BURST_MS


def test_three_noisy_bursts_find_it_and_three_quiet_ones_lose_it():
    bench = Bench()
    for _ in range(NOISY_BURSTS - 1):
        bench.burst(TURNS_TWICE)
        assert bench.found() == []
    bench.burst(TURNS_TWICE)
    assert bench.found() == [LEVEL_MM]
    for _ in range(3):
        bench.burst(TURNS_TWICE)  # more are not counted
    for _ in range(NOISY_BURSTS - 1):
        bench.burst(QUIET)
        assert bench.found() == [LEVEL_MM]
    assert bench.burst(QUIET) == BURST_MS
    assert bench.found() == []


def test_quiet_bursts_between_are_set_off_against_noisy_ones():
    bench = Bench()
    for level in (TURNS_TWICE, TURNS_TWICE, QUIET, TURNS_TWICE):
        bench.burst(level)
    assert bench.found() == []
    bench.burst(TURNS_TWICE)
    assert bench.found() == [LEVEL_MM]


@pytest.mark.parametrize(
    "level",
    [
        QUIET,
        ONE_WAY,
        ONE_WAY[::-1],
        THERE_AND_BACK,
        (0, 10) * 8,  # at its limit
        (0, 11, 1, 12, 2, 13, 3, 14, 4, 15, 5, 16, 6, 17, 7, 18),  # at its limit one way
        (0, -11, -1, -12, -2, -13, -3, -14, -4, -15, -5, -16, -6, -17, -7, -18),
        (0, 11, 0),  # turned once
        (0, UNKNOWN) * 8,
        (0, 50, UNKNOWN) * 6,
        (UNKNOWN,),
    ],
)
def test_what_a_plant_or_a_loose_wire_does_is_no_noise(level):
    bench = Bench()
    for _ in range(2 * NOISY_BURSTS):
        bench.burst(level)
    assert bench.found() == []


def test_the_end_of_one_burst_and_the_start_of_the_next_are_no_neighbours():
    bench = Bench()
    for _ in range(2 * NOISY_BURSTS):
        bench.burst((0, 11, *[0] * 13, 20))  # turned once; from its end to the next start would be a turn
    assert bench.found() == []


@pytest.mark.parametrize(("steady", "found"), [(True, [PRESSURE_MBAR, BUS_MV]), (False, [])])
def test_pressure_and_wheel_may_swing_while_a_valve_moves(steady, found):
    bench = Bench()
    bench.steady = steady
    for _ in range(NOISY_BURSTS):
        bench.burst(QUIET, TURNS_TWICE)
    assert bench.found() == found


def test_an_instrument_without_a_limit_is_not_looked_at_and_without_any_nobody_asks():
    bench = Bench((0, LIMIT, LIMIT))
    for _ in range(NOISY_BURSTS):
        bench.burst((0, 99) * 8, (0, 99) * 8)
    assert bench.found() == [PRESSURE_MBAR, BUS_MV]
    idle = Bench((0, 0, 0))
    idle.ask((0, 0, 0))
    assert idle.watch.left_ms(WRAP_MS) == NO_LIMIT


def test_asked_between_its_samples_it_comes_to_the_same():
    plain, nosy = Bench(), Bench()
    for _ in range(NOISY_BURSTS):
        plain.burst(TURNS_TWICE)
    for _ in range(NOISY_BURSTS):
        nosy.now_ms += 500
        nosy.ask((500, 0, 0))  # not its time: not looked at
        nosy.burst(TURNS_TWICE)
    assert nosy.found() == plain.found() == [LEVEL_MM]
