"""RuleEngine.step(now_ms, readings, orders): readings -> trust -> rules -> menu -> ramps -> orders.

It is asked at `orders.next_ms` or when a reading leaves its band; asked earlier it changes nothing, so a
device that asks every second sees the same orders. It reads no clock, raises and allocates nothing.
"""

from . import reasons
from .compat import const
from .duties import Duties
from .facts import Facts
from .inflow import InflowMeter
from .level_rule import STREAM, expect_other_inflow, follow_stream, look_anew
from .look import Look
from .menu import ANY, Menu
from .orders import Orders
from .outlook import fill_orders
from .owner import HOLD
from .phases import MEASURING, MOVING, SETTLING, STEADY
from .ramps import Ramps
from .readings import LEVEL_MM, UNKNOWN, YEAR_DAY, Readings
from .residual import Residual
from .rulebook import RuleBook
from .rules import NO_LIMIT, binding
from .samples import only_samples
from .settings import Settings
from .ticks import ticks_add, ticks_diff
from .turns import Turns
from .wishes import grant

HOME_WAIT_MS = const(21_600_000)  # from one search for the valves' ends to the next; chosen by us

# Places in RuleEngine.ceilings, after STREAM; the rule book's follow.
_PIPE = const(1)
_FIRST_RULE = const(2)


class RuleEngine:
    """The controller. One instance a plant; all state is here and in the rules."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.menu = Menu(settings)
        self.ramps = Ramps(settings)
        self.facts = Facts()
        self.book = RuleBook(settings, self.ramps.position)
        self.duties = Duties(settings)
        self.book.locks_changed(self.menu)  # a spare wheel stands by from the start
        self.owner = self.book.owner
        self.menu.even = self.duties.even
        self.residual = Residual(settings)
        self.turns = Turns(settings)
        self.look = Look(settings)
        self.meter = InflowMeter(settings, self.look.doubt_dmm)
        self.started = False
        self.phase = STEADY
        self.phase_due_ms = 0  # when MEASURING or SETTLING ends
        self.reason = reasons.STARTING
        self.set = self.menu.closed  # the set and trim opening that stand, or are being moved to
        self.trim_permille = 0
        self.ceilings = [0, settings.rules.ceiling_ml_s] + [NO_LIMIT] * len(self.book.rules)
        self.centre_mm = settings.rules.level_target_mm  # the level band lies around this
        self.dwell_due_ms = 0  # no other set before this instant, if dwelling
        self.dwelling = False
        self.floor_due_ms = 0  # no further closing for the floor before this instant, if guarding
        self.guarding = False
        self.rules_due_ms = 0  # when more than a sample is due
        self.reconsider = True  # something other than the level asks for a decision
        self.homing = False  # closing every valve from wherever it may stand
        self.anew = False  # where the valves stand is assumed afresh at this step
        self.home_due_ms = 0  # not again before this instant, if homed
        self.homed = False

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Bring the orders up to date."""
        if self.started and not self.owner.changed and orders.within(readings.values):
            if ticks_diff(now_ms, orders.next_ms) < 0 or only_samples(self, now_ms, readings, orders):
                return
        facts = self.facts
        self._forget_past_instants(now_ms)
        self._fill_facts(now_ms)
        self.book.trust.judge(now_ms, readings.values, facts)
        level_mm = facts.values[LEVEL_MM]
        if not self.started:
            self.started = True
            self.ramps.hold_off(now_ms)
            self._go_home(now_ms, readings)
            self.homed = self.homing
        if self.phase == SETTLING and ticks_diff(now_ms, self.phase_due_ms) >= 0:
            self.phase = STEADY
            look_anew(self, now_ms, level_mm)
        pressed = self._ask_rules(readings)
        if self.book.lost_track and not self.homing:
            self._go_home(now_ms, readings)
        if self.homing:
            self.reason = reasons.HOMING
        elif level_mm != UNKNOWN and level_mm < self.settings.rules.level_guard_mm:
            self._guard_floor(now_ms, level_mm, readings, pressed)
        elif pressed:
            self.decide(now_ms, True)
        elif level_mm == UNKNOWN:
            self._wait_for_level(now_ms)
        elif self.phase != MOVING:
            follow_stream(self, now_ms, level_mm)
        self._move(now_ms, level_mm)
        if self._tend_pond(level_mm):
            expect_other_inflow(self, now_ms, level_mm)
            if self.phase == STEADY and level_mm >= self.settings.rules.level_guard_mm:
                follow_stream(self, now_ms, level_mm)  # at this step, or it would wait to be asked again
        less_ml_s = self.duties.water_less_ml_s()
        if less_ml_s:
            less_ml_s -= self.residual.spared_ml_s(level_mm, facts.drawn_ml_s)
        if less_ml_s > 0 and not self.homing:
            self.ceilings[STREAM] = max(0, min(self.ceilings[STREAM], facts.drawn_ml_s) - less_ml_s)
            if level_mm == UNKNOWN or level_mm >= self.settings.rules.level_guard_mm:
                self.decide(now_ms, True)
        self.duties.see(now_ms, self.ramps.position, self.menu.masks[self.set])
        self.book.note(facts, self.residual.level_mm, self.duties.pond)
        fill_orders(self, now_ms, orders)

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """What somebody orders, as wishes.py tells; False, and nothing changes, if that cannot be."""
        return grant(self, now_ms, code, first, second, third)

    def _tend_pond(self, level_mm: int) -> bool:
        """Let the pond's valve move; True when a stroke has ended, and other water comes from here on."""
        if self.duties.pond is None:
            return False
        drawn_ml_s = self.drawn_ml_s()
        most_ml_s = min(self.menu.most_flow_ml_s, self.settings.rules.ceiling_ml_s)
        spare_ml_s = drawn_ml_s + self.residual.spared_ml_s(level_mm, drawn_ml_s) - most_ml_s
        excess_ml_s = 0
        if self.phase == MOVING:
            excess_ml_s = drawn_ml_s - self.menu.flow_at(self.set, self.trim_permille)
        return self.duties.tend_pond(self.facts, self.reason, spare_ml_s, excess_ml_s)

    def _fill_facts(self, now_ms: int) -> None:
        facts = self.facts
        facts.now_ms = now_ms
        facts.moving = self.phase == MOVING
        facts.settled = self.phase == STEADY or self.phase == MEASURING
        facts.astray = self.book.astray()
        facts.closed = self.closed()
        facts.drawn_ml_s = self.drawn_ml_s()
        facts.expected_mbar = UNKNOWN
        facts.expected_bus_mv = facts.expected_spare_bus_mv = 0
        facts.spare_runs = self.settings.has_spare and self.menu.spare_runs(self.set, self.trim_permille)
        if not facts.moving:
            if facts.spare_runs:
                facts.expected_spare_bus_mv = self.menu.spare_bus_at(self.set, self.trim_permille)
            facts.expected_mbar = self.menu.pressure_at(self.set, self.trim_permille)
            if not facts.closed:
                facts.expected_bus_mv = self.menu.bus_at(self.set, self.trim_permille)

    def _ask_rules(self, readings: Readings) -> bool:
        """Let the rules set their ceilings; True if the flow must come down now."""
        book = self.book
        book.judge(self.facts, readings)
        pressed = False
        aimed_ml_s = max(self.facts.drawn_ml_s, self.menu.flow_at(self.set, self.trim_permille))
        for place in range(len(book.rules)):
            rule = book.rules[place]
            before_ml_s = self.ceilings[_FIRST_RULE + place]
            if rule.ceiling_ml_s != before_ml_s:
                self.ceilings[_FIRST_RULE + place] = rule.ceiling_ml_s
                self.reconsider = True
                if rule.ceiling_ml_s < aimed_ml_s and rule is not book.battery:
                    pressed = True
        if book.locks_changed(self.menu):
            self.reconsider = True
            pressed = True
        if self.residual.see(self.facts.values[YEAR_DAY]):
            self.reconsider = True
        return pressed

    def drawn_ml_s(self) -> int:
        """What the jets take now, by the menu; on the way between two standings an estimate [mL/s]."""
        if self.phase == MOVING:
            return self.ramps.flow_ml_s(self.ramps.position)
        return self.menu.flow_at(self.set, self.trim_permille)

    def target_mm(self) -> int:
        """The level to hold with the jets as they are."""
        return self.residual.target_mm(self.drawn_ml_s())

    def closed(self) -> bool:
        """Whether every valve is closed, or being closed."""
        return self.set == self.menu.closed and self.trim_permille == 0

    def _forget_past_instants(self, now_ms: int) -> None:
        # An instant must not be kept for half a tick period, so drop it once it has passed.
        self.ramps.rest(now_ms)
        self.look.rest(now_ms)
        if self.dwelling and ticks_diff(now_ms, self.dwell_due_ms) >= 0:
            self.dwelling = False
            if self.reason == reasons.DWELL:
                self.reconsider = True
        if self.guarding and ticks_diff(now_ms, self.floor_due_ms) >= 0:
            self.guarding = False
        if self.homed and ticks_diff(now_ms, self.home_due_ms) >= 0:
            self.homed = False
        if self.reason == reasons.MOVES_SPARED and self.duties.moves.may_move(now_ms):
            self.reconsider = True

    # -- the level ---------------------------------------------------------------------------------

    def _guard_floor(self, now_ms: int, level_mm: int, readings: Readings, pressed: bool) -> None:
        """Near the floor: close a quarter of the flow, wait, and again while it is low; below it: close all.

        Where all is closed as far as is known and the level is still low, a valve may stand elsewhere.
        """
        if self.phase != MOVING:
            self.phase = STEADY
            look_anew(self, now_ms, level_mm)
            self.look.drop()
        rules = self.settings.rules
        drawn_ml_s = self.drawn_ml_s()
        below = level_mm < rules.level_floor_mm
        if self.owner.stopped:
            self.reason = reasons.STOP_SWITCH
        elif self.reason == reasons.STOP_SWITCH:
            self.reason = reasons.FLOOR
        if drawn_ml_s == 0 and (self.phase != MOVING or self.closed()):
            if below and not self.homed and self.phase != MOVING:
                self._go_home(now_ms, readings)
            return
        if self.guarding and not pressed and not (below and not self.closed()):
            return
        self.guarding = True
        self.turns.stop()
        self.floor_due_ms = ticks_add(now_ms, rules.floor_wait_ms)
        less_ml_s = 0 if below else max(0, drawn_ml_s * 3 // 4 - rules.flow_deadband_ml_s)
        self.ceilings[STREAM] = min(less_ml_s, self.ceilings[STREAM])
        self.menu.choose_less(self.ceilings[binding(self.ceilings)], self.set, self.trim_permille)
        if not self.owner.stopped:
            self.reason = reasons.FLOOR
        self._set_off(now_ms)

    def _go_home(self, now_ms: int, readings: Readings) -> None:
        """Close every valve from where it says it is; one that does not say, as if it stood open."""
        self.homed = True
        self.turns.stop()
        self.home_due_ms = ticks_add(now_ms, HOME_WAIT_MS)
        self.anew = True
        position = self.ramps.position
        for valve in range(len(position)):
            said = readings.position_permille[valve]
            position[valve] = said if 0 <= said <= 1000 else 1000
        self.menu.take(self.menu.closed, 0)
        self._set_off(now_ms)
        self.homing = self.ramps.moving
        if self.homing:
            self.reason = reasons.HOMING
        else:
            self.phase = STEADY

    def _wait_for_level(self, now_ms: int) -> None:
        """No level to go by: nothing more is taken until there is one; book.lost says when less must be."""
        self.look.drop()
        if self.phase != MOVING:
            self.phase = STEADY
        self.ceilings[STREAM] = min(self.ceilings[STREAM], self.drawn_ml_s())
        if self.book.lost.lost:
            self.reason = reasons.LEVEL_UNKNOWN
        if self.reconsider and self.phase != MOVING:
            self.decide(now_ms, True)

    # -- from a flow to valves -----------------------------------------------------------------

    def decide(self, now_ms: int, lacking: bool) -> None:
        """Choose a set and trim opening for the lowest ceiling, and set off towards them.

        A change of flow smaller than the deadband is not worth a move, unless water is lacking.
        """
        self.reconsider = False
        menu = self.menu
        place = binding(self.ceilings)
        wanted_ml_s = self.ceilings[place]
        menu.choose(wanted_ml_s, self.set, self.trim_permille, ANY)
        self.reason = self._reason_of(place)
        if self._held(wanted_ml_s):
            self.reason = reasons.OWNER
        elif place == STREAM and self._take_turns(now_ms, wanted_ml_s):
            pass
        elif menu.set != self.set and self._kept(wanted_ml_s) and self._waits(now_ms):
            menu.choose(wanted_ml_s, self.set, self.trim_permille, self.set)
        elif place <= _PIPE and menu.flow_ml_s >= menu.most_flow_ml_s:
            self.reason = reasons.OVERSPEED if self.book.spare_missed else reasons.ALL_OPEN
        elif place == STREAM and menu.flow_ml_s == 0:
            self.reason = reasons.NO_WATER
        if self.book.lost.lost:
            self.reason = reasons.LEVEL_UNKNOWN  # whatever binds
        gain_ml_s = menu.flow_ml_s - self.drawn_ml_s()
        deadband_ml_s = self.settings.rules.flow_deadband_ml_s
        least_ml_s = 0 if lacking else 1 - deadband_ml_s
        same = menu.set == self.set
        if self.reason == reasons.STREAM and gain_ml_s < 0 and not menu.locked(self.set):
            same = True  # a little less is not worth another set either
        if self.phase != MOVING and same and least_ml_s <= gain_ml_s < deadband_ml_s:
            self._settle(now_ms)
        else:
            self._set_off(now_ms)

    def _reason_of(self, place: int) -> int:
        if place == STREAM:
            return reasons.LEVEL_UNKNOWN if self.book.lost.lost else reasons.STREAM
        return reasons.PIPE_CEILING if place == _PIPE else self.book.rules[place - _FIRST_RULE].reason

    def _kept(self, wanted_ml_s: int) -> bool:
        """Whether the present set may stand at this flow."""
        return not self.menu.locked(self.set) and self.menu.least_of(self.set) <= wanted_ml_s

    def _waits(self, now_ms: int) -> bool:
        """Whether another set must wait, and the reason says for what."""
        if self.dwelling:
            self.reason = reasons.DWELL
        elif not self.duties.moves.may_move(now_ms):
            self.reason = reasons.MOVES_SPARED
        else:
            return False
        return True

    def _take_turns(self, now_ms: int, wanted_ml_s: int) -> bool:
        """Whether two sets take turns at this flow; the menu's choice is then the one whose turn it is."""
        turns = self.turns
        if self.facts.values[LEVEL_MM] == UNKNOWN or turns.rise_mm == 0:
            return False
        most_ml_s = self.ceilings[_PIPE]
        for place in range(_FIRST_RULE, len(self.ceilings)):
            most_ml_s = min(most_ml_s, self.ceilings[place])
        running = self.book.frost.floor_ml_s > 0  # water that stands freezes
        if not turns.find(self.menu, wanted_ml_s, most_ml_s, running):
            return False
        self.reason = reasons.TURNS
        if turns.set == turns.upper != self.set and self._waits(now_ms):
            if self.set != turns.lower and self._kept(wanted_ml_s):
                self.menu.choose(wanted_ml_s, self.set, self.trim_permille, self.set)
                return True
            turns.set = turns.lower
        self.menu.take(turns.set, 0)
        return True

    def _held(self, wanted_ml_s: int) -> bool:
        """Whether the owner holds a set that may stand; it is then the menu's choice."""
        owner = self.owner
        if owner.mode != HOLD or self.menu.locked(owner.set):
            return False
        if self.menu.flow_at(owner.set, owner.trim_permille) > wanted_ml_s:
            return False
        self.menu.take(owner.set, owner.trim_permille)
        return True

    def _set_off(self, now_ms: int) -> None:
        """Make the menu's choice the goal of the ramps."""
        menu = self.menu
        was_closed = self.closed()
        if menu.set != self.set:
            self.dwelling = True
            self.dwell_due_ms = ticks_add(now_ms, self.settings.rules.dwell_ms)
            self.duties.moves.moved(now_ms)
        self.set = menu.set
        self.trim_permille = menu.trim_permille
        menu.aim(self.ramps.goal)
        self.duties.exercising = False
        self.ramps.spare_first = self.book.spare_too_fast()
        self.ramps.begin()
        self.look.drop()
        self.phase = MOVING
        if self.closed() and not was_closed:
            self.book.start.stopped(now_ms, self.reason in reasons.FOR_WATER)
        elif was_closed and not self.closed():
            self.book.start.started(now_ms)

    def _move(self, now_ms: int, level_mm: int) -> None:
        """Let the ramps take a step; when the last one has been taken, settle."""
        if self.phase == MOVING and not self.anew:
            self.ramps.step(now_ms)
            if not self.ramps.moving and not self.duties.turn_back(self.ramps):
                self.reconsider = self.reconsider or self.homing
                self.homing = False
                if self.reason == reasons.EXERCISE:
                    self.reason = self.duties.reason
                self._settle(now_ms)
                look_anew(self, now_ms, level_mm)

    def _settle(self, now_ms: int) -> None:
        self.phase = SETTLING
        self.phase_due_ms = ticks_add(now_ms, self.settings.rules.settle_ms)
