"""What the journal keeps of a minute: means, lowest, how the valves stood; ten quiet minutes are one record.

minute = Minute(valves, has_pond)
if minute.full(orders, alarms):        # once a second: before anything of what has changed is taken in
    journal.append(record.minute(boot, clock_s, minute))
    minute.clear()
minute.add(uptime_s, readings.values, orders, alarms)

Nothing here takes from the heap.
"""

from ..alarms import SLOTS, Alarms, code_of
from ..compat import const
from ..orders import Orders
from ..readings import COUNT, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from ..reasons import POND_RESTS, STARTING
from .records import ALARM_BYTES, NOT_FITTED, VALVES

SHORT_S = const(60)  # a record while something changes
QUIET_S = const(600)  # a record while nothing does; both chosen by us: see journal.py for what they cost
MEANS = const(5)  # of the first places in readings.py, to BUS_MV; the temperature's is not used


class Minute:
    """Gathers readings and orders until a record is full."""

    def __init__(self, valves: int, has_pond: bool) -> None:
        self.valves = valves
        self.has_pond = has_pond
        self.values = [UNKNOWN] * COUNT  # the newest
        self.opening_permille = [NOT_FITTED] * VALVES
        self.reason = STARTING
        self.pond_reason = POND_RESTS
        self.out_bits = 0
        self.alarm_bits = bytearray(ALARM_BYTES)
        self.since_s = 0
        self.until_s = 0
        self.count = 0  # samples taken in
        self.stirred = False  # something changed since the last record
        self.level_low_mm = UNKNOWN
        self.pressure_low_mbar = UNKNOWN
        self._bits = bytearray(ALARM_BYTES)
        self._base = [0] * MEANS  # sums are kept of differences from it, to stay small
        self._sum = [0] * MEANS
        self._known = [0] * MEANS

    def covers_s(self) -> int:
        """How long the record is of."""
        return self.until_s - self.since_s

    def full(self, orders: Orders, alarms: Alarms) -> bool:
        """Whether it must be written before these orders are taken in."""
        if self.count == 0 or self.covers_s() < SHORT_S:
            return False
        return self.stirred or self.covers_s() >= QUIET_S or self._differs(orders, alarms)

    def clear(self) -> None:
        """Begin the next record where this one ends."""
        self.since_s = self.until_s
        self.count = 0
        self.stirred = False
        self.level_low_mm = UNKNOWN
        self.pressure_low_mbar = UNKNOWN
        for place in range(MEANS):
            self._sum[place] = 0
            self._known[place] = 0

    def add(self, uptime_s: int, values: list[int], orders: Orders, alarms: Alarms) -> None:
        """Take in one sample."""
        if self._differs(orders, alarms):
            self.stirred = True  # the minute after a change, and after a start, has its own record
        self._take(orders, alarms)
        self.until_s = uptime_s
        self.count += 1
        for place in range(COUNT):
            value = values[place]
            self.values[place] = value
            if place < MEANS and value != UNKNOWN:
                if self._known[place] == 0:
                    self._base[place] = value
                self._known[place] += 1
                self._sum[place] += value - self._base[place]
        self.level_low_mm = _lower(self.level_low_mm, values[LEVEL_MM])
        self.pressure_low_mbar = _lower(self.pressure_low_mbar, values[PRESSURE_MBAR])

    def mean(self, place: int) -> int:
        """Of the samples in which it was known, rounded down; UNKNOWN if it was in none."""
        known = self._known[place]
        return self._base[place] + self._sum[place] // known if known > 0 else UNKNOWN

    def _read_alarms(self, alarms: Alarms) -> None:
        for place in range(ALARM_BYTES):
            self._bits[place] = 0
        if alarms.count > 0:
            for slot in range(SLOTS):
                if alarms.raised(slot):
                    code = code_of(slot)
                    self._bits[code >> 3] |= 1 << (code & 7)

    def _differs(self, orders: Orders, alarms: Alarms) -> bool:
        if orders.reason != self.reason or orders.out_bits != self.out_bits:
            return True
        if self.has_pond and orders.pond_permille != self.opening_permille[VALVES - 1]:
            return True
        for valve in range(self.valves):
            if orders.opening_permille[valve] != self.opening_permille[valve]:
                return True
        self._read_alarms(alarms)
        for place in range(ALARM_BYTES):
            if self._bits[place] != self.alarm_bits[place]:
                return True
        return False

    def _take(self, orders: Orders, alarms: Alarms) -> None:
        self.reason = orders.reason
        self.pond_reason = orders.pond_reason
        self.out_bits = orders.out_bits
        for valve in range(self.valves):
            self.opening_permille[valve] = orders.opening_permille[valve]
        if self.has_pond:
            self.opening_permille[VALVES - 1] = orders.pond_permille
        self._read_alarms(alarms)
        for place in range(ALARM_BYTES):
            self.alarm_bits[place] = self._bits[place]


def _lower(lowest: int, value: int) -> int:
    if value == UNKNOWN or lowest != UNKNOWN and lowest <= value:
        return lowest
    return value
