"""Instruments that lie: from what they say to what is believed, one by one.

Each is judged by itself (witness.py), the pressure also against the water above it (drift.py). Whether one
or two are lost is not told apart here.

    trust = Trust(settings)
    trust.judge(now_ms, readings.values, facts)     # fills facts.values; what is not believed is UNKNOWN
    trust.fault[LEVEL_MM], trust.lasted_ms(LEVEL_MM, now_ms)
    trust.watch(orders)                             # last of all
"""

from .compat import const
from .drift import Drift
from .facts import Facts
from .orders import HIGHEST, LOWEST, Orders
from .readings import (
    AIR_DECIC,
    BATTERY_MV,
    BUS_MV,
    COUNT,
    LEVEL_MM,
    POND_MM,
    PRESSURE_MBAR,
    TEMP_DECIC,
    UNKNOWN,
)
from .settings import Settings
from .ticks import ticks_add, ticks_diff
from .witness import DRIFT, OK, Witness

PLACES = (LEVEL_MM, PRESSURE_MBAR, BATTERY_MV, BUS_MV, POND_MM, TEMP_DECIC, AIR_DECIC)

# All chosen by us.
LOOK_MS = const(600_000)  # how often a frozen instrument is looked for
LONGEST_MS = const(86_400_000)  # since when is told up to a day, so that no instant wraps
# How long a new value must stand before it is believed [ms]: the instrument's own lag, with room.
LEVEL_HOLD_MS = const(20_000)
PRESSURE_HOLD_MS = const(5_000)  # short: a burst is a jump too
BATTERY_HOLD_MS = const(10_000)
BUS_HOLD_MS = const(3_000)  # short: so is the wheel running away
POND_HOLD_MS = const(60_000)
TEMP_HOLD_MS = const(60_000)
# Jumps and ranges that are the instrument's and not the plant's.
POND_JUMP_MM = const(400)
TEMP_JUMP_DECIC = const(100)
LOWEST_MM = const(-500)
HIGHEST_POND_MM = const(32_000)
LOWEST_MBAR = const(-1_100)  # gauge; a vacuum, with room
COLDEST_DECIC = const(-400)
WARMEST_DECIC = const(800)


class Trust:
    """All instruments, and which of them are believed."""

    def __init__(self, settings: Settings) -> None:
        rules = settings.rules
        self.fitted_bits = rules.fitted_bits  # bit i: place i has an instrument
        self.drift = Drift(settings)
        self.fault = [OK] * COUNT
        self.since_ms = [0] * COUNT  # the fault, or its absence; at most LONGEST_MS ago
        self.started = False
        self.looking = rules.level_looks + rules.pressure_looks + rules.battery_looks > 0
        self.look_ms = 0
        highest_mbar = 2 * self.drift.static_mbar + 1_000  # chosen by us: no pipe is built for more
        full_mv = rules.battery_full_mv  # 1.2 of nominal: 0.4 to 1.25 of it are 0.5 to 1.5 of nominal
        lowest_bus_mv = -rules.bus_jump_mv // 4  # the jump is 1.5 times the best voltage, free run twice it
        self.level = Witness(
            LOWEST_MM, rules.level_highest_mm, rules.level_jump_mm, LEVEL_HOLD_MS, rules.level_looks
        )
        # One for each of PLACES.
        self.witnesses = [
            self.level,
            Witness(
                LOWEST_MBAR, highest_mbar, rules.pressure_jump_mbar, PRESSURE_HOLD_MS, rules.pressure_looks
            ),
            Witness(
                full_mv * 2 // 5,
                full_mv * 5 // 4,
                rules.battery_jump_mv,
                BATTERY_HOLD_MS,
                rules.battery_looks,
            ),
            Witness(lowest_bus_mv, 2 * rules.bus_jump_mv, rules.bus_jump_mv, BUS_HOLD_MS, 0),
            Witness(LOWEST_MM, HIGHEST_POND_MM, POND_JUMP_MM, POND_HOLD_MS, 0),
            Witness(COLDEST_DECIC, WARMEST_DECIC, TEMP_JUMP_DECIC, TEMP_HOLD_MS, 0),
            Witness(COLDEST_DECIC, WARMEST_DECIC, TEMP_JUMP_DECIC, TEMP_HOLD_MS, 0),
        ]

    def judge(self, now_ms: int, raw: list[int], facts: Facts) -> None:
        """Fill facts.values; uses what else the facts say about the valves."""
        look = self._take_time(now_ms)
        for place in range(COUNT):
            facts.values[place] = raw[place]
        for one in range(len(PLACES)):
            place = PLACES[one]
            if self.fitted_bits >> place & 1 == 0:
                facts.values[place] = UNKNOWN
                continue
            witness = self.witnesses[one]
            witness.judge(now_ms, raw[place], look, place != PRESSURE_MBAR or not facts.closed)
            fault = witness.fault
            if place == PRESSURE_MBAR:
                fault = self._drift(now_ms, fault, raw[place], facts)
            if fault != OK:
                facts.values[place] = UNKNOWN
            if fault != self.fault[place]:
                self.fault[place] = fault
                self.since_ms[place] = now_ms

    def _take_time(self, now_ms: int) -> bool:
        """Keep instants from wrapping; True if it is time to look for frozen instruments."""
        if not self.started:
            self.started = True
            self.look_ms = now_ms
            for place in range(COUNT):
                self.since_ms[place] = now_ms
        for place in range(COUNT):
            if ticks_diff(now_ms, self.since_ms[place]) > LONGEST_MS:
                self.since_ms[place] = ticks_add(now_ms, -LONGEST_MS)
        if ticks_diff(now_ms, self.look_ms) < 0:
            return False
        self.look_ms = ticks_add(now_ms, LOOK_MS)
        return True

    def _drift(self, now_ms: int, fault: int, pressure_mbar: int, facts: Facts) -> int:
        level_mm = self.level.anchor if self.level.fault == OK else UNKNOWN
        resting = facts.closed and facts.settled and not facts.moving
        self.drift.judge(now_ms, pressure_mbar if fault == OK else UNKNOWN, level_mm, resting)
        return DRIFT if fault == OK and self.drift.found else fault

    def lasted_ms(self, place: int, now_ms: int) -> int:
        """For how long the instrument has been as it is, up to a day."""
        return min(LONGEST_MS, ticks_diff(now_ms, self.since_ms[place]))

    def watch(self, orders: Orders) -> None:
        """Set the bands. To be called after every rule has: for an instrument that is not believed the rules
        see UNKNOWN until this here changes its mind, whatever it says, so their own bands do not count."""
        for one in range(len(PLACES)):
            place = PLACES[one]
            if self.fault[place] != OK or self.fitted_bits >> place & 1 == 0:
                orders.low[place] = LOWEST
                orders.high[place] = HIGHEST
            if self.fitted_bits >> place & 1:
                witness = self.witnesses[one]
                orders.narrow(place, witness.low, witness.high)
        if self.fitted_bits >> PRESSURE_MBAR & 1:
            orders.narrow(PRESSURE_MBAR, self.drift.low, self.drift.high)

    def left_ms(self, now_ms: int) -> int:
        """How long all of it stands by itself; NO_LIMIT if for good."""
        left_ms = self.drift.left_ms(now_ms)
        for witness in self.witnesses:
            left_ms = min(left_ms, witness.left_ms(now_ms))
        if self.looking:
            left_ms = min(left_ms, ticks_diff(self.look_ms, now_ms))
        return left_ms
