"""From conversions to Readings: the middle one of several, the instrument's straight line, or nothing.

What lies outside the band of a sound instrument (NAMUR NE 43 for 4-20 mA: broken wire, failed transmitter),
or did not come, is not put into the readings: one glitch makes nothing unknown, `Readings.expire` does
after 10 s.

    sampling = Sampling(wiring, readings)
    sampling.take(now_ms, board)

Allocates nothing after the start.
"""

from ..compat import const
from ..readings import RUN_SWITCH, UNKNOWN, YEAR_DAY, Readings, Scale
from .wiring import ENDS, NO_FEEDBACK, POT, InputWiring, ValveWiring, Wiring

CONVERSIONS = const(5)  # of an input at each sample; two wild ones do not show. Chosen by us
LEAST = const(3)  # so many must have come
NO_COUNTS = const(-1)  # the converter did not answer
SHUT_BIT = const(1)
OPEN_BIT = const(2)
POT_BEYOND_PERMILLE = const(100)  # a potentiometer further past its ends has a broken wire; chosen by us
POT_END_PERMILLE = const(5)  # so near its end it is there: a converter's noise; chosen by us
CLOCK_EVERY = const(60)  # samples from one look at the clock to the next

_DAY_S = const(86_400)
_FOUR_YEARS = const(1_461)  # days; 2000 is a leap year, and 2100 is far


def year_day(clock_s: int) -> int:
    """Day of the year, 1 on 1 January, from seconds since 2000; UNKNOWN if the clock is not set (0)."""
    if clock_s <= 0:
        return UNKNOWN
    day = clock_s // _DAY_S % _FOUR_YEARS
    return day + 1 if day < 366 else (day - 366) % 365 + 1


class Sampling:
    """All inputs of a board, and what they say."""

    def __init__(self, wiring: Wiring, readings: Readings) -> None:
        self.readings = readings
        self.inputs = wiring.inputs
        self.valves = wiring.valves
        self.scales = [scale_of(one) for one in wiring.inputs]  # replaced by calibrated ones
        self.counts = [NO_COUNTS] * len(wiring.inputs)  # the newest of each input, for the console
        self.year_day = UNKNOWN
        self._clock_left = 0
        self._several = [0] * CONVERSIONS

    def take(self, now_ms: int, board) -> None:  # type: ignore[no-untyped-def]
        """Sample everything once."""
        readings = self.readings
        for row in range(len(self.inputs)):
            counts = self.median(board, self.inputs[row].input)
            self.counts[row] = counts
            if counts != NO_COUNTS:
                value = self.scales[row].value(counts)
                if value != UNKNOWN:
                    readings.put(self.inputs[row].place, value, now_ms)
        for valve in range(len(self.valves)):
            if self.valves[valve].feedback != NO_FEEDBACK and valve < len(readings.position_permille):
                self._take_position(now_ms, board, valve)
        readings.put(RUN_SWITCH, 0 if _pressed(board) else 1, now_ms)
        if self._clock_left == 0:
            self._clock_left = CLOCK_EVERY
            self.year_day = year_day(board.clock_s())
        self._clock_left -= 1
        if self.year_day != UNKNOWN:
            readings.put(YEAR_DAY, self.year_day, now_ms)

    def look_at_clock(self) -> None:
        """It has been set: read it at the next sample."""
        self._clock_left = 0

    def median(self, board, place: int) -> int:  # type: ignore[no-untyped-def]
        """The middle one of several conversions; NO_COUNTS if too few came."""
        several = self._several
        found = 0
        for _ in range(CONVERSIONS):
            counts = board.counts(place)
            if counts == NO_COUNTS:
                continue
            slot = found
            while slot > 0 and several[slot - 1] > counts:
                several[slot] = several[slot - 1]
                slot -= 1
            several[slot] = counts
            found += 1
        return several[found // 2] if found >= LEAST else NO_COUNTS

    def _take_position(self, now_ms: int, board, valve: int) -> None:  # type: ignore[no-untyped-def]
        wired = self.valves[valve]
        if wired.feedback == ENDS:
            self.readings.put_position(valve, ends_permille(board.end_bits(valve)), now_ms)
            return
        counts = self.median(board, wired.pot_input)
        if counts != NO_COUNTS:
            permille = pot_permille(wired, counts)
            if permille != UNKNOWN:
                self.readings.put_position(valve, permille, now_ms)


def scale_of(one: InputWiring) -> Scale:
    """The straight line that the wiring's table gives an input."""
    return Scale(
        one.counts_low, one.counts_high, one.value_low, one.value_high, one.broken_low, one.broken_high
    )


def ends_permille(bits: int) -> int:
    """Where a valve is by its end switches: 0, 1000, or UNKNOWN on the way, or if both are reached."""
    if bits == SHUT_BIT:
        return 0
    return 1000 if bits == OPEN_BIT else UNKNOWN


def pot_permille(wired: ValveWiring, counts: int) -> int:
    """Where a valve is by its potentiometer, 0 .. 1000; UNKNOWN far beyond its ends."""
    permille = (counts - wired.pot_shut) * 1000 // (wired.pot_open - wired.pot_shut)
    if not -POT_BEYOND_PERMILLE <= permille <= 1000 + POT_BEYOND_PERMILLE:
        return UNKNOWN
    return max(0, min(1000, permille))


def at_end(wired: ValveWiring, board, valve: int, opening: bool) -> bool:  # type: ignore[no-untyped-def]
    """Whether a valve says that it has come to this end."""
    if wired.feedback == ENDS:
        bits: int = board.end_bits(valve)
        return bits == (OPEN_BIT if opening else SHUT_BIT)
    if wired.feedback == POT:
        counts = board.counts(wired.pot_input)
        permille = UNKNOWN if counts == NO_COUNTS else pot_permille(wired, counts)
        if permille == UNKNOWN:
            return False
        return permille >= 1000 - POT_END_PERMILLE if opening else permille <= POT_END_PERMILLE
    return False


def _pressed(board) -> bool:  # type: ignore[no-untyped-def]
    """The local stop, by two of three looks."""
    pressed = 0
    for _ in range(3):
        if board.stop_open():
            pressed += 1
    return pressed >= 2
