"""RuleEngine.step(now_ms, readings, orders): readings -> rules -> menu -> ramps -> orders.

The engine lives in four phases:

    STEADY      the level is in its band: nothing to do
    MEASURING   the level left its band too soon after the last move to infer the inflow: wait
    MOVING      valves are on their way, one small step at a time
    SETTLING    the move is done: let the intake answer before judging again

It is asked at `orders.next_ms` or when a reading leaves its band; asked earlier it changes nothing,
so a device that asks every second and a simulator that skips quiet hours see the same orders.
It reads no clock, raises nothing and allocates nothing.
"""

from . import reasons
from .compat import const
from .menu import ANY, Menu
from .orders import HIGHEST, LOWEST, Orders
from .pond import PondRule
from .ramps import Ramps
from .readings import (
    BATTERY_MV,
    BUS_MV,
    KNOWN,
    LEVEL_MM,
    POND_MM,
    PRESSURE_MBAR,
    TEMP_DECIC,
    UNKNOWN,
    YEAR_DAY,
    Readings,
)
from .residual import Residual
from .rules import NO_LIMIT, BatteryRule, PressureRule, available_ml_s, binding
from .settings import Settings
from .surplus import SurplusRule
from .ticks import ticks_add, ticks_diff

SOONEST_MS = const(60_000)  # a rise over less than this drowns in noise; chosen by us

STEADY = const(0)
MEASURING = const(1)
MOVING = const(2)
SETTLING = const(3)
PHASES = ("steady", "measuring", "moving", "settling")

# Places in RuleEngine.ceilings, and the reason given when that one binds.
_STREAM = const(0)
_PIPE = const(1)
_BATTERY = const(2)
_PRESSURE = const(3)
CEILING_REASONS = (
    reasons.STREAM,
    reasons.PIPE_CEILING,
    reasons.BATTERY_FULL,
    reasons.PRESSURE_LOW,
)

# While one of these binds, a higher level would change nothing.
LEVEL_DOES_NOT_MATTER_ABOVE = (
    reasons.PIPE_CEILING,
    reasons.BATTERY_FULL,
    reasons.PRESSURE_LOW,
    reasons.ALL_OPEN,
)


class RuleEngine:
    """The controller. One instance a plant; all state is here and in the rules."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.menu = Menu(settings)
        self.ramps = Ramps(settings)
        self.battery = BatteryRule(settings)
        self.pressure = PressureRule(settings)
        self.surplus = SurplusRule(settings)
        self.residual = Residual(settings)
        self.pond = None if settings.pond is None else PondRule(settings, settings.pond)
        self.started = False
        self.phase = STEADY
        self.phase_due_ms = 0  # when MEASURING or SETTLING ends
        self.reason = reasons.STARTING
        self.set = self.menu.closed  # the set and trim opening that stand, or are being moved to
        self.trim_permille = 0
        self.ceilings = [0, settings.rules.ceiling_ml_s, NO_LIMIT, NO_LIMIT]
        # Two levels to measure a rise from, with the jets as they are: one old enough, one to follow it.
        self.base_ms = 0
        self.base_mm = 0
        self.next_base_ms = 0
        self.next_base_mm = 0
        self.centre_mm = settings.rules.level_target_mm  # the level band lies around this
        self.dwell_due_ms = 0  # no other set before this instant, if dwelling
        self.dwelling = False
        self.floor_due_ms = 0  # no further closing for the floor before this instant, if guarding
        self.guarding = False
        self.reconsider = True  # something other than the level asks for a decision

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Bring the orders up to date."""
        values = readings.values
        if self.started and ticks_diff(now_ms, orders.next_ms) < 0 and orders.within(values):
            return
        level_mm = values[LEVEL_MM]
        if not self.started:
            self.started = True
            self._start_measuring(now_ms, level_mm)
        self._forget_past_instants(now_ms)
        if self.phase == SETTLING and ticks_diff(now_ms, self.phase_due_ms) >= 0:
            self.phase = STEADY
            self._start_measuring(now_ms, level_mm)
        pressed = self._ask_rules(now_ms, values)
        if level_mm == UNKNOWN:
            self._close(now_ms)
        elif level_mm < self.settings.rules.level_guard_mm:
            self._guard_floor(now_ms, level_mm)
        elif pressed:
            self._decide(now_ms, True)
        elif self.phase != MOVING:
            self._follow_stream(now_ms, level_mm)
        self._move(now_ms, level_mm)
        if self.pond is not None:
            if self.pond.tend(now_ms, values[BATTERY_MV], values[POND_MM], level_mm != UNKNOWN):
                # More or less water comes from here on.
                self._start_measuring(now_ms, level_mm)
                self.reconsider = True
                if self.phase == MEASURING:
                    self.phase = STEADY
        self._fill(now_ms, orders)

    def _ask_rules(self, now_ms: int, values: list[int]) -> bool:
        """Let the battery and pressure rules set their ceilings; True if the flow must come down now."""
        was_full = self.battery.full
        was_limit_ml_s = self.pressure.limit_ml_s
        turned_away = self.surplus.turned_away(values[BUS_MV], self._expected_bus_mv())
        self.ceilings[_BATTERY] = self.battery.ceiling_ml_s(
            now_ms, values[BATTERY_MV], values[TEMP_DECIC], turned_away
        )
        self.ceilings[_PRESSURE] = self.pressure.ceiling_ml_s(
            now_ms, values[PRESSURE_MBAR], self.drawn_ml_s()
        )
        if was_full != self.battery.full or was_limit_ml_s != self.pressure.limit_ml_s:
            self.reconsider = True
        if self.residual.see(values[YEAR_DAY]):
            self.reconsider = True
        return self.pressure.limit_ml_s < was_limit_ml_s

    def drawn_ml_s(self) -> int:
        """What the jets take now, by the menu; on the way between two standings an estimate [mL/s]."""
        if self.phase == MOVING:
            return self.ramps.flow_ml_s(self.ramps.position)
        return self.menu.flow_at(self.set, self.trim_permille)

    def _expected_bus_mv(self) -> int:
        """Bus voltage if all power is taken; 0 while that cannot be told, or does not matter."""
        if self.battery.full or self.phase == MOVING or self.closed():
            return 0
        return self.menu.bus_at(self.set, self.trim_permille)

    def target_mm(self) -> int:
        """The level to hold with the jets as they are."""
        return self.residual.target_mm(self.drawn_ml_s())

    def closed(self) -> bool:
        """Whether every valve is closed, or being closed."""
        return self.set == self.menu.closed and self.trim_permille == 0

    def _forget_past_instants(self, now_ms: int) -> None:
        # An instant must not be kept for half a tick period, so drop it once it has passed.
        self.ramps.rest(now_ms)
        if self.dwelling and ticks_diff(now_ms, self.dwell_due_ms) >= 0:
            self.dwelling = False
            if self.reason == reasons.DWELL:
                self.reconsider = True
        if self.guarding and ticks_diff(now_ms, self.floor_due_ms) >= 0:
            self.guarding = False

    # -- the level rule ------------------------------------------------------------------------

    def _follow_stream(self, now_ms: int, level_mm: int) -> None:
        """Find out when the inflow must be inferred anew."""
        if self.reason == reasons.LEVEL_UNKNOWN:
            self.reason = reasons.NO_WATER  # closed, and looking again
            self.reconsider = True
            self._start_measuring(now_ms, level_mm)
        if self.reconsider and self.battery.full and self.phase != SETTLING:
            self.phase = STEADY
            self._decide(now_ms, True)  # easing off needs no measurement
        elif self.phase == MEASURING:
            if ticks_diff(now_ms, self.phase_due_ms) >= 0:
                self.phase = STEADY
                self._measured(now_ms, level_mm)
        elif self.phase == SETTLING:
            if level_mm < self._low_mm():
                # Too much is drawn: do not wait for the intake to come to rest.
                self._measure(now_ms, level_mm)
        elif self.reconsider or not self._low_mm() <= level_mm <= self._high_mm():
            self._measure(now_ms, level_mm)
        else:
            self._renew_base(now_ms, level_mm)

    def _measure(self, now_ms: int, level_mm: int) -> None:
        """Infer the inflow when the base is old enough; if water is lacking, sooner and less exactly."""
        needed_ms = self.settings.rules.measure_ms
        if level_mm < self._low_mm():
            needed_ms = min(needed_ms, max(SOONEST_MS, needed_ms // 4))
        left_ms = needed_ms - ticks_diff(now_ms, self.base_ms)
        if left_ms > 0:
            self.phase = MEASURING
            self.phase_due_ms = ticks_add(now_ms, left_ms)
        else:
            self._measured(now_ms, level_mm)

    def _start_measuring(self, now_ms: int, level_mm: int) -> None:
        """The jets stand as they will: from here on the level tells the inflow."""
        self.base_ms = now_ms
        self.base_mm = level_mm
        self.next_base_ms = now_ms
        self.next_base_mm = level_mm

    def _renew_base(self, now_ms: int, level_mm: int) -> None:
        """Let go of an old base as soon as the next one is old enough to measure from."""
        if ticks_diff(now_ms, self.next_base_ms) >= self.settings.rules.measure_ms:
            self.base_ms = self.next_base_ms
            self.base_mm = self.next_base_mm
            self.next_base_ms = now_ms
            self.next_base_mm = level_mm

    def _measured(self, now_ms: int, level_mm: int) -> None:
        """Set the stream's ceiling from what the level did since the base."""
        rules = self.settings.rules
        elapsed_ms = ticks_diff(now_ms, self.base_ms)
        drawn_ml_s = self.drawn_ml_s()
        base_mm = level_mm if self.base_mm == UNKNOWN else self.base_mm
        flow_ml_s = available_ml_s(self.settings, self.residual, drawn_ml_s, base_mm, level_mm, elapsed_ms)
        lacking = level_mm < self.target_mm()
        # A falling stream goes on falling while the valves move, and no measurement is exact: stay below it.
        caution_ml_s = rules.flow_deadband_ml_s if lacking else rules.flow_deadband_ml_s // 2
        self.ceilings[_STREAM] = max(0, flow_ml_s - caution_ml_s)
        self.centre_mm = self.target_mm()
        self._decide(now_ms, lacking)
        if self.phase != MOVING and not lacking:
            self.centre_mm = level_mm  # nothing better to do here: look again when the level has moved on

    def _low_mm(self) -> int:
        """The level below which the jets take too much."""
        if self.closed():
            return LOWEST
        return self.target_mm() - self.settings.rules.level_band_mm

    def _high_mm(self) -> int:
        """The level above which the jets could take more."""
        rules = self.settings.rules
        if self.reason in LEVEL_DOES_NOT_MATTER_ABOVE:
            return HIGHEST
        if self.closed():
            return max(rules.level_start_mm, self.centre_mm + rules.level_band_mm)
        return self.centre_mm + rules.level_rise_mm

    def _guard_floor(self, now_ms: int, level_mm: int) -> None:
        """Near the floor: close a quarter of the flow, wait, and again while the level is still low."""
        if self.phase != MOVING:
            self.phase = STEADY
            self._start_measuring(now_ms, level_mm)
        drawn_ml_s = self.drawn_ml_s()
        if self.guarding or drawn_ml_s == 0:
            return
        rules = self.settings.rules
        self.guarding = True
        self.floor_due_ms = ticks_add(now_ms, rules.floor_wait_ms)
        less_ml_s = max(0, drawn_ml_s * 3 // 4 - rules.flow_deadband_ml_s)
        self.ceilings[_STREAM] = min(less_ml_s, self.ceilings[_STREAM])
        self.menu.choose(self.ceilings[binding(self.ceilings)], self.set, self.trim_permille, ANY)
        self.reason = reasons.FLOOR
        self._set_off(now_ms)

    def _close(self, now_ms: int) -> None:
        """No level to go by: close everything by the slow ramps."""
        if self.phase != MOVING:
            self.phase = STEADY
        self.ceilings[_STREAM] = 0
        self.reason = reasons.LEVEL_UNKNOWN
        if not self.closed():
            self.menu.choose(0, self.set, self.trim_permille, ANY)
            self._set_off(now_ms)

    # -- from a flow to valves -----------------------------------------------------------------

    def _decide(self, now_ms: int, lacking: bool) -> None:
        """Choose a set and trim opening for the lowest ceiling, and set off towards them.

        A change of flow smaller than the deadband is not worth a move, unless water is lacking.
        """
        self.reconsider = False
        menu = self.menu
        place = binding(self.ceilings)
        wanted_ml_s = self.ceilings[place]
        menu.choose(wanted_ml_s, self.set, self.trim_permille, ANY)
        self.reason = CEILING_REASONS[place]
        fits = self.settings.set_flow_ml_s[self.set][0] <= wanted_ml_s
        if menu.set != self.set and self.dwelling and fits:
            menu.choose(wanted_ml_s, self.set, self.trim_permille, self.set)
            self.reason = reasons.DWELL
        elif place <= _PIPE and menu.flow_ml_s >= menu.most_flow_ml_s:
            self.reason = reasons.ALL_OPEN
        elif place == _STREAM and menu.flow_ml_s == 0:
            self.reason = reasons.NO_WATER
        gain_ml_s = menu.flow_ml_s - self.drawn_ml_s()
        deadband_ml_s = self.settings.rules.flow_deadband_ml_s
        least_ml_s = 0 if lacking else 1 - deadband_ml_s
        if self.phase != MOVING and menu.set == self.set and least_ml_s <= gain_ml_s < deadband_ml_s:
            self._settle(now_ms)
        else:
            self._set_off(now_ms)

    def _set_off(self, now_ms: int) -> None:
        """Make the menu's choice the goal of the ramps."""
        if self.menu.set != self.set:
            self.dwelling = True
            self.dwell_due_ms = ticks_add(now_ms, self.settings.rules.dwell_ms)
        self.set = self.menu.set
        self.trim_permille = self.menu.trim_permille
        goal = self.ramps.goal
        mask = self.menu.masks[self.set]
        for valve in self.settings.fixed:
            goal[valve] = 1000 if mask & 1 else 0
            mask >>= 1
        left_permille = self.trim_permille
        for valve in self.settings.trims:
            goal[valve] = min(1000, left_permille)
            left_permille -= goal[valve]
        self.ramps.begin()
        self.phase = MOVING

    def _move(self, now_ms: int, level_mm: int) -> None:
        """Let the ramps take a step; when the last one has been taken, settle."""
        if self.phase == MOVING:
            self.ramps.step(now_ms)
            if not self.ramps.moving:
                self._settle(now_ms)
                self._start_measuring(now_ms, level_mm)

    def _settle(self, now_ms: int) -> None:
        self.phase = SETTLING
        self.phase_due_ms = ticks_add(now_ms, self.settings.rules.settle_ms)

    # -- orders --------------------------------------------------------------------------------

    def _fill(self, now_ms: int, orders: Orders) -> None:
        """Write openings, reason, next instant and bands."""
        for valve in range(len(self.ramps.position)):
            orders.opening_permille[valve] = self.ramps.position[valve]
        orders.reason = self.reason
        wait_ms = self.settings.rules.quiet_ms
        if self.phase == MOVING:
            wait_ms = min(wait_ms, ticks_diff(self.ramps.due_ms, now_ms))
        elif self.phase != STEADY:
            wait_ms = min(wait_ms, ticks_diff(self.phase_due_ms, now_ms))
        if self.guarding:
            wait_ms = min(wait_ms, ticks_diff(self.floor_due_ms, now_ms))
        if self.dwelling and self.reason == reasons.DWELL:
            wait_ms = min(wait_ms, ticks_diff(self.dwell_due_ms, now_ms))
        wait_ms = min(wait_ms, self.battery.running().left_ms(now_ms))
        wait_ms = min(wait_ms, self.pressure.running().left_ms(now_ms))
        pond = self.pond
        if pond is not None:
            orders.pond_permille = pond.stroke.position
            orders.pond_reason = pond.reason
            wait_ms = min(wait_ms, pond.stroke.left_ms(now_ms))
            wait_ms = min(wait_ms, pond.running().left_ms(now_ms))
        orders.next_ms = ticks_add(now_ms, max(1, wait_ms))
        self._watch(orders)

    def _watch(self, orders: Orders) -> None:
        """Say within which band of each reading nothing changes."""
        low = LOWEST if self.guarding or self.drawn_ml_s() == 0 else self.settings.rules.level_guard_mm
        high = HIGHEST
        if self.phase == STEADY or self.phase == SETTLING:
            low = max(low, self._low_mm())
        if self.phase == STEADY:
            high = self._high_mm()
        orders.low[LEVEL_MM] = max(low, KNOWN)  # an unknown level is always outside
        orders.high[LEVEL_MM] = high
        orders.low[BATTERY_MV] = self.battery.low
        orders.high[BATTERY_MV] = self.battery.high
        orders.low[BUS_MV] = self.surplus.low
        orders.high[BUS_MV] = self.surplus.high
        orders.low[PRESSURE_MBAR] = self.pressure.low
        orders.high[PRESSURE_MBAR] = self.pressure.high
        if self.settings.residual_varies:
            orders.low[YEAR_DAY] = orders.high[YEAR_DAY] = self.residual.year_day
        pond = self.pond
        if pond is not None:
            orders.low[BATTERY_MV] = max(orders.low[BATTERY_MV], pond.low_mv)
            orders.high[BATTERY_MV] = min(orders.high[BATTERY_MV], pond.high_mv)
            orders.low[POND_MM] = pond.low_mm
            orders.high[POND_MM] = pond.high_mm
