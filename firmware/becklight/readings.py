"""What the instruments say: counts made into mm, mbar and mV; implausible or old becomes UNKNOWN.

readings = Readings()
readings.put(LEVEL_MM, level_scale.value(counts), now_ms)
readings.expire(now_ms)            # before each step: an old reading is unknown, never "last value"
readings.values[LEVEL_MM]
"""

from .compat import const
from .ticks import ticks_diff

# Places in Readings.values, in Orders.low and in Orders.high.
LEVEL_MM = const(0)  # water above the crown of the intake's pipe
PRESSURE_MBAR = const(1)  # gauge, at the manifold
BATTERY_MV = const(2)
TEMP_DECIC = const(3)  # battery temperature, tenths of a degree Celsius
BUS_MV = const(4)  # rectified voltage of the main wheel
POND_MM = const(5)  # storage pond, above its outlet
YEAR_DAY = const(6)  # 1 on 1 January, to 366, of a clock that has been set
AIR_DECIC = const(7)  # outdoors, at the coldest part of the pipe
RUN_SWITCH = const(8)  # 1: run; 0: the local stop is pressed, or its wire is broken
SPARE_BUS_MV = const(9)  # rectified voltage of a spare wheel
COUNT = const(10)

NAMES = (
    "level_mm",
    "pressure_mbar",
    "battery_mv",
    "temp_decic",
    "bus_mv",
    "pond_mm",
    "year_day",
    "air_decic",
    "run_switch",
    "spare_bus_mv",
)

# What answers to the valves within seconds, and may stand still without water.
OF_THE_WATER = (PRESSURE_MBAR, BUS_MV, SPARE_BUS_MV)

UNKNOWN = const(-(1 << 29))  # below every real value, so it also falls out of every watched band
KNOWN = const(-(1 << 29) + 1)  # the lower end of a band that only an unknown value leaves downwards

STALE_MS = const(10_000)  # older than this is unknown; chosen by us: ten samples missed in a row


class Readings:
    """The newest value of each instrument, with the instant it was taken."""

    def __init__(self, valves: int = 0) -> None:
        self.values = [UNKNOWN] * COUNT
        self.taken_ms = [0] * COUNT
        # Where each jet's valve says it is; no band watches it.
        self.position_permille = [UNKNOWN] * valves
        self.position_taken_ms = [0] * valves

    def put(self, place: int, value: int, now_ms: int) -> None:
        """Take in one value."""
        self.values[place] = value
        self.taken_ms[place] = now_ms

    def put_position(self, valve: int, permille: int, now_ms: int) -> None:
        """Take in one valve's feedback."""
        self.position_permille[valve] = permille
        self.position_taken_ms[valve] = now_ms

    def expire(self, now_ms: int) -> None:
        """Make what is too old unknown."""
        for place in range(COUNT):
            if self.values[place] != UNKNOWN and ticks_diff(now_ms, self.taken_ms[place]) > STALE_MS:
                self.values[place] = UNKNOWN
        positions = self.position_permille
        for valve in range(len(positions)):
            if positions[valve] != UNKNOWN and ticks_diff(now_ms, self.position_taken_ms[valve]) > STALE_MS:
                positions[valve] = UNKNOWN


class Scale:
    """A straight line from converter counts to a value, with the band in which it is believed.

    For a 4-20 mA instrument give the counts at 4 and 20 mA as `counts_low` and `counts_high`, and
    the counts at 3.6 and 21 mA (NAMUR NE 43: broken wire, failed instrument) as `broken_low` and
    `broken_high`.
    """

    def __init__(
        self,
        counts_low: int,
        counts_high: int,
        value_low: int,
        value_high: int,
        broken_low: int,
        broken_high: int,
    ) -> None:
        self.counts_low = counts_low
        self.counts_span = counts_high - counts_low
        self.value_low = value_low
        self.value_span = value_high - value_low
        self.broken_low = broken_low
        self.broken_high = broken_high

    def value(self, counts: int) -> int:
        """The value, rounded to the nearest whole unit, or UNKNOWN outside the believed band."""
        if counts <= self.broken_low or counts >= self.broken_high:
            return UNKNOWN
        # The span split by the counts', so that no product leaves a board's small integers: 15 bits by 15.
        steps = counts - self.counts_low
        span = self.counts_span
        part = (steps * (self.value_span % span) + span // 2) // span
        return self.value_low + steps * (self.value_span // span) + part
