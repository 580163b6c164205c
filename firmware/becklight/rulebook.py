"""All rules that can limit the flow, in one list, and what they say together.

The order in the list is that in which equals bind: the first of the lowest gives the reason.
"""

from .alarm_desk import AlarmDesk
from .battery import BatteryRule
from .facts import Facts, Rule
from .flush import FlushRule
from .frost import FrostRule
from .lost import LostLevel
from .menu import Menu
from .orders import Orders
from .overspeed import OverspeedRule, SpareOverspeed
from .owner import PIPE, SCREEN, VALVES, Owner
from .pipe_guard import LOW, PipeGuard
from .pond import PondRule
from .readings import Readings
from .settings import Settings
from .start import FILLING, StartRule
from .trust import Trust
from .valve_guard import DRIFTS, ValveGuard
from .valve_guard import NONE as VALVE_SOUND


class RuleBook:
    """The rules, the guards and the alarms."""

    def __init__(self, settings: Settings, position: list[int]) -> None:
        self.settings = settings
        self.trust = Trust(settings)
        self.owner = Owner(settings)
        self.pipe = PipeGuard(settings, position)
        self.overspeed = OverspeedRule(settings)
        self.lost = LostLevel(settings)
        self.start = StartRule(settings)
        self.flush = FlushRule(settings)
        self.battery = BatteryRule(settings)
        self.frost = FrostRule(settings)
        self.valves = ValveGuard(settings, position)
        self.desk = AlarmDesk(settings)
        self.alarms = self.desk.alarms
        self.rules: list[Rule] = [
            self.owner,
            self.start,
            self.pipe,
            self.overspeed,
            self.lost,
            self.flush,
            self.battery,
        ]
        self.spare_speed = SpareOverspeed(settings) if settings.has_spare else None
        if self.spare_speed is not None:
            self.rules.append(self.spare_speed)
        self.lost_track = False  # of where the valves stand: somebody has had them in hand
        # By the owner, because the valve does not obey, or because its wheel, the spare, runs too fast.
        self.out = [False] * len(position)
        self.spare_missed = False  # it would be used if it did not run too fast
        self.locked = [False] * len(position)  # out, or a spare wheel's while the main one serves

    def judge(self, facts: Facts, readings: Readings) -> None:
        """Let every rule look."""
        self.lost_track = False
        if self.owner.cleared:
            self._clear(self.owner.cleared)
            self.owner.cleared = 0
        self.frost.judge(facts)
        self.battery.keep_ml_s = self.frost.floor_ml_s
        for rule in self.rules:
            rule.judge(facts)
            if rule is self.start:
                self.pipe.filling = self.start.phase == FILLING
            elif rule is self.pipe:
                self.flush.suspected = self.pipe.fault == LOW
        if self.flush.lift:
            self.pipe.lift()
        self.valves.judge(facts, readings.position_permille)

    def _clear(self, bits: int) -> None:
        """Forget what the owner has looked at."""
        if bits & PIPE:
            if self.pipe.burst:
                self.start.refill()
            self.pipe.clear()
            self.valves.effect.forget()  # a nozzle may have been cleaned
        if bits & SCREEN:
            self.flush.helped(True)
            self.pipe.lift()
        if bits & VALVES:
            self.valves.clear()
            self.lost_track = True

    def spare_too_fast(self) -> bool:
        """Whether the spare wheel has to stand, because it has run too fast."""
        return self.spare_speed is not None and self.spare_speed.fault

    def astray(self) -> bool:
        """Whether a valve is known to stand elsewhere than ordered."""
        for fault in self.valves.fault:
            if fault != VALVE_SOUND:
                return True
        return False

    def locks_changed(self, menu: Menu) -> bool:
        """Tell the menu which jets are out; True if that has changed, or the owner wishes something else."""
        changed = self.owner.changed
        self.owner.changed = False
        main_serves = False
        too_fast = self.spare_too_fast()
        for valve in range(len(self.out)):
            fault = self.valves.fault[valve]
            self.out[valve] = self.owner.out(valve) or (fault != VALVE_SOUND and fault != DRIFTS)
            if self.settings.valves[valve].wheel > 0:
                self.out[valve] = self.out[valve] or too_fast
            elif not self.out[valve]:
                main_serves = True
        stands_by = main_serves and self.settings.rules.spare_beside == 0
        self.spare_missed = too_fast and not stands_by
        for valve in range(len(self.locked)):
            out = self.out[valve] or (stands_by and self.settings.valves[valve].wheel > 0)
            if out != self.locked[valve]:
                self.locked[valve] = out
                changed = True
        if changed:
            menu.lock(self.locked)
            # Without the first trim the air must go with the smallest jet that is left.
            trim_left = menu.most_trim_permille > 0 and not menu.second_alone
            self.start.least_ml_s = 0 if trim_left else menu.least_ml_s()
        return changed

    def note(self, facts: Facts, residual_mm: int, pond: "PondRule | None") -> None:
        """Raise and lower the alarms."""
        self.desk.look(facts, self, residual_mm, pond)

    def left_ms(self, now_ms: int) -> int:
        """How long all answers stand by themselves."""
        left_ms = min(self.trust.left_ms(now_ms), self.frost.left_ms(now_ms))
        left_ms = min(left_ms, min(self.valves.left_ms(now_ms), self.desk.left_ms(now_ms)))
        for rule in self.rules:
            left_ms = min(left_ms, rule.left_ms(now_ms))
        return left_ms

    def watch(self, orders: Orders) -> None:
        """Narrow the bands by every rule; trust last, for what it does not believe no rule sees."""
        for rule in self.rules:
            rule.watch(orders)
        self.frost.watch(orders)
        self.trust.watch(orders)
