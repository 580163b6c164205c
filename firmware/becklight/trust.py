"""Instruments that lie: from what they say to what is believed, one by one.

Each is judged by itself (witness.py, noise.py), the pressure also against the water above it (drift.py),
pressure and each wheel's bus voltage against each other (crosscheck.py), the level against where the water
could go (sinking.py). Whether one or two are lost is not told apart here.

    trust = Trust(settings)
    trust.judge(now_ms, readings.values, facts)     # fills facts.values; what is not believed is UNKNOWN
    trust.fault[LEVEL_MM], trust.lasted_ms(LEVEL_MM, now_ms)
    trust.told[LEVEL_MM]                            # the fault, or what is believed but should be looked at
    trust.watch(orders)                             # last of all
"""

from .compat import const
from .crosscheck import CrossCheck
from .drift import Drift
from .facts import Facts
from .noise import NoiseWatch
from .orders import HIGHEST, LOWEST, Orders
from .readings import (
    AIR_DECIC,
    BATTERY_MV,
    BUS_MV,
    COUNT,
    LEVEL_MM,
    OF_THE_WATER,
    POND_MM,
    PRESSURE_MBAR,
    SPARE_BUS_MV,
    TEMP_DECIC,
    UNKNOWN,
)
from .settings import Settings
from .sinking import Sinking
from .ticks import ticks_add, ticks_diff
from .witness import DRIFT, JUMP, NOISY, OK, Witness

PLACES = (LEVEL_MM, PRESSURE_MBAR, BATTERY_MV, BUS_MV, POND_MM, TEMP_DECIC, AIR_DECIC, SPARE_BUS_MV)

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
TEMP_JUMP_DECIC = const(100)
LOWEST_MM = const(-500)
LOWEST_MBAR = const(-1_100)  # gauge; a vacuum, with room
COLDEST_DECIC = const(-400)
WARMEST_DECIC = const(800)
AIR_NOISE_DECIC = const(20)  # within seconds


class Trust:
    """All instruments, and which of them are believed."""

    def __init__(self, settings: Settings) -> None:
        rules = settings.rules
        self.has_spare = settings.has_spare
        # Bit i: place i has an instrument.
        self.fitted_bits = rules.fitted_bits if self.has_spare else rules.fitted_bits & ~(1 << SPARE_BUS_MV)
        self.drift = Drift(settings)
        self.check = CrossCheck(settings, self.drift.static_mbar, rules.bus_jump_mv)
        self.spare_check = CrossCheck(settings, self.drift.static_mbar, rules.spare_bus_jump_mv)
        self.sinking = Sinking(settings)
        self.found = [OK] * COUNT  # of this step, before all is put together
        self.fault = [OK] * COUNT
        self.told = [OK] * COUNT  # the fault, or JUMP or DRIFT of one that is believed all the same
        self.since_ms = [0] * COUNT  # the fault, or its absence; at most LONGEST_MS ago
        self.started = False
        self.look_ms = 0
        highest_mbar = 2 * self.drift.static_mbar + 1_000  # chosen by us: no pipe is built for more
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
                rules.battery_least_mv,
                rules.battery_most_mv,
                rules.battery_jump_mv,
                BATTERY_HOLD_MS,
                rules.battery_looks,
            ),
            _of_bus(rules.bus_jump_mv, rules.bus_looks),
            Witness(LOWEST_MM, rules.pond_highest_mm, rules.pond_jump_mm, POND_HOLD_MS, rules.pond_looks),
            Witness(COLDEST_DECIC, WARMEST_DECIC, TEMP_JUMP_DECIC, TEMP_HOLD_MS, rules.temp_looks),
            Witness(COLDEST_DECIC, WARMEST_DECIC, TEMP_JUMP_DECIC, TEMP_HOLD_MS, 0),
            _of_bus(rules.spare_bus_jump_mv, rules.spare_bus_looks),
        ]
        self.looking = False  # whether any of them is looked at for frozen ones
        for witness in self.witnesses:
            self.looking = self.looking or witness.looks > 0
        limits = [
            rules.level_noise_mm,
            rules.pressure_noise_mbar,
            rules.battery_noise_mv,
            rules.bus_noise_mv,
            rules.pond_noise_mm,
            rules.temp_noise_decic,
            AIR_NOISE_DECIC if rules.temp_noise_decic > 0 else 0,
            rules.spare_bus_noise_mv,
        ]
        self.noise = NoiseWatch(limits, rules.sample_ms)

    def judge(self, now_ms: int, raw: list[int], facts: Facts) -> None:
        """Fill facts.values; uses what else the facts say about the valves."""
        look = self._take_time(now_ms)
        self.noise.judge(now_ms, raw, PLACES, facts.settled and not facts.moving)
        for one in range(len(PLACES)):
            place = PLACES[one]
            if self.fitted_bits >> place & 1 == 0:
                continue
            witness = self.witnesses[one]
            # Without water the pipe and the wheels may stand still.
            runs = facts.spare_runs if place == SPARE_BUS_MV else not facts.closed
            witness.judge(now_ms, raw[place], look, runs or place not in OF_THE_WATER)
            fault = witness.fault
            if fault == OK and self.noise.found[one]:
                fault = NOISY
            self.found[place] = fault
        self._hold_against(now_ms, raw, facts)
        for one in range(len(PLACES)):
            place = PLACES[one]
            fault = self.found[place]
            if fault != self.fault[place]:
                self.fault[place] = fault
                self.since_ms[place] = now_ms
            # A pressure or a bus voltage that jumps is a burst, or a wheel set free: others tell of that.
            if fault == OK and self.witnesses[one].stepped and place not in OF_THE_WATER:
                fault = JUMP
            self.told[place] = fault
        if self.fault[LEVEL_MM] == OK and self.sinking.found:
            self.told[LEVEL_MM] = DRIFT
        self.believe(raw, facts)

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

    def _hold_against(self, now_ms: int, raw: list[int], facts: Facts) -> None:
        """What each believed one says, against the others; adds DRIFT to what has been found."""
        found = self.found
        level_mm = self.level.anchor if found[LEVEL_MM] == OK else UNKNOWN
        pressure_mbar = self._sound(PRESSURE_MBAR, raw)
        bus_mv = self._sound(BUS_MV, raw)
        spare_mv = self._sound(SPARE_BUS_MV, raw)
        resting = facts.closed and facts.settled and not facts.moving
        running_mbar = UNKNOWN
        if not facts.closed and facts.settled and not facts.moving:
            running_mbar = facts.expected_mbar
        self.drift.judge(now_ms, pressure_mbar, level_mm, resting, running_mbar)
        self.check.judge(now_ms, pressure_mbar, bus_mv, facts, facts.expected_bus_mv)
        lies = self.check.pressure_lies
        if self.has_spare:
            self.spare_check.judge(now_ms, pressure_mbar, spare_mv, facts, facts.expected_spare_bus_mv)
            lies = lies or self.spare_check.pressure_lies
        if pressure_mbar != UNKNOWN and (self.drift.found or lies):
            found[PRESSURE_MBAR] = DRIFT
        if spare_mv != UNKNOWN and self.spare_check.bus_lies:
            found[SPARE_BUS_MV] = DRIFT
        if bus_mv != UNKNOWN and self.check.bus_lies:
            found[BUS_MV] = DRIFT
        stands = resting and UNKNOWN < bus_mv <= self.check.still_mv
        self.sinking.judge(now_ms, self._sound(LEVEL_MM, raw), stands)

    def _sound(self, place: int, raw: list[int]) -> int:
        """The reading, if by itself the instrument is believed."""
        return raw[place] if self.found[place] == OK and self.fitted_bits >> place & 1 else UNKNOWN

    def believe(self, raw: list[int], facts: Facts) -> None:
        """Fill facts.values; by itself while every reading lies in its band, when no fault comes or goes."""
        for place in range(COUNT):
            facts.values[place] = raw[place]
        for place in PLACES:
            if self.fault[place] != OK or self.fitted_bits >> place & 1 == 0:
                facts.values[place] = UNKNOWN

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
            orders.narrow(PRESSURE_MBAR, self.check.low_mbar, self.check.high_mbar)
            orders.narrow(PRESSURE_MBAR, self.spare_check.low_mbar, self.spare_check.high_mbar)
        if self.fitted_bits >> BUS_MV & 1:
            orders.narrow(BUS_MV, self.check.low_mv, self.check.high_mv)
        if self.fitted_bits >> SPARE_BUS_MV & 1:
            orders.narrow(SPARE_BUS_MV, self.spare_check.low_mv, self.spare_check.high_mv)
        if self.fitted_bits >> LEVEL_MM & 1:
            orders.narrow(LEVEL_MM, self.sinking.low, self.sinking.high)

    def left_ms(self, now_ms: int) -> int:
        """How long all of it stands by itself, but for noise (samples.py); NO_LIMIT if for good."""
        left_ms = min(self.drift.left_ms(now_ms), self.check.left_ms(now_ms))
        left_ms = min(left_ms, self.spare_check.left_ms(now_ms))
        left_ms = min(left_ms, self.sinking.left_ms(now_ms))
        for witness in self.witnesses:
            left_ms = min(left_ms, witness.left_ms(now_ms))
        if self.looking:
            left_ms = min(left_ms, ticks_diff(self.look_ms, now_ms))
        return left_ms


def _of_bus(jump_mv: int, looks: int) -> Witness:
    """Of a wheel's bus voltage; the jump is 1.5 times the best voltage, free run twice it."""
    return Witness(-jump_mv // 4, 2 * jump_mv, jump_mv, BUS_HOLD_MS, looks)
