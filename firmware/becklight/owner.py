"""What the owner has ordered: hold the jets or a set, stop, lock out a jet or a wheel; and the stop switch.

What has latched because somebody must look (a burst, a blocked screen, a valve that did not obey) is not
ended by seeing its alarm but by saying that it has been looked at: the clear_ methods.

Every hold expires by itself and says when. The rules that protect pipe, intake, stream and wheel stay on
under a hold: it may be undercut, never exceeded. The local stop switch wins over everything, and nothing but
the switch itself ends it.

    owner = Owner(settings)
    owner.hold(now_ms, set, trim_permille, 3_600_000)
    owner.stop(now_ms, 0)                   # until resume()
    owner.lock(valve, True)                 # a jet taken out for maintenance
    owner.lock_wheel(0, True)               # a wheel with all its jets
    owner.clear_pipe()                      # the pipe has been walked, and is whole
"""

from . import reasons
from .compat import const
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .readings import RUN_SWITCH
from .rules import NO_LIMIT
from .settings import WHEELS, Settings
from .ticks import ticks_add, ticks_diff

FREE = const(0)
HOLD = const(1)  # a set and a trim opening
STOP = const(2)
MODES = ("free", "hold", "stop")
# What has been looked at, as bits of `cleared`.
PIPE = const(1)
SCREEN = const(2)
VALVES = const(4)
LONGEST_HOLD_MS = const(86_400_000)  # a day: an owner who is still there says so again; chosen by us


class Owner(Rule):
    """The owner's wish of now; a rule as facts.py tells."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.mode = FREE
        self.set = 0  # held, as places in the menu
        self.trim_permille = 0
        self.expires = False
        self.due_ms = 0  # when it ends, if it expires
        self.fitted = settings.rules.fitted_bits >> RUN_SWITCH & 1 == 1
        self.stopped = False  # by the local switch
        self.garbled = False  # it says what no switch says
        self.locked = [False] * len(settings.valves)
        self.wheel_locked = [False] * WHEELS
        self.cleared = 0  # what has been looked at since the engine last did
        self.changed = False  # since the engine last looked
        self.reason = reasons.OWNER
        self.ceiling_ml_s = NO_LIMIT

    def hold(self, now_ms: int, menu_set: int, trim_permille: int, hold_ms: int) -> bool:
        """Hold a set and a trim opening for so long; False, and nothing changes, if that cannot be."""
        if not 0 <= menu_set < len(self.settings.set_masks):
            return False
        if not 0 <= trim_permille <= self.settings.trim_permille[-1]:
            return False
        if not 0 < hold_ms <= LONGEST_HOLD_MS:
            return False
        self.mode = HOLD
        self.set = menu_set
        self.trim_permille = trim_permille
        self._until(now_ms, hold_ms)
        return True

    def stop(self, now_ms: int, hold_ms: int) -> bool:
        """Close everything by the slow ramps, for so long; 0: until resumed."""
        if not 0 <= hold_ms <= LONGEST_HOLD_MS:
            return False
        self.mode = STOP
        self._until(now_ms, hold_ms)
        return True

    def resume(self) -> None:
        """Leave it to the rules again."""
        self.changed = self.changed or self.mode != FREE
        self.mode = FREE
        self.expires = False

    def lock(self, valve: int, locked: bool) -> bool:
        """Take a jet out, or give it back; False if there is no such valve."""
        if not 0 <= valve < len(self.locked):
            return False
        self.changed = self.changed or self.locked[valve] != locked
        self.locked[valve] = locked
        return True

    def lock_wheel(self, wheel: int, locked: bool) -> bool:
        """Take a wheel out, or give it back, but for jets locked by themselves; False if there is none."""
        known = False
        for valve in self.settings.valves:
            known = known or valve.wheel == wheel
        if not known:
            return False
        self.changed = self.changed or self.wheel_locked[wheel] != locked
        self.wheel_locked[wheel] = locked
        return True

    def out(self, valve: int) -> bool:
        """Whether a valve's jet is locked out, by itself or with its wheel."""
        return self.locked[valve] or self.wheel_locked[self.settings.valves[valve].wheel]

    def any_out(self) -> bool:
        """Whether some jet is locked out."""
        for valve in range(len(self.locked)):
            if self.out(valve):
                return True
        return False

    def clear_pipe(self) -> None:
        """The pipe has been walked from above and is whole: fill it and start again."""
        self._clear(PIPE)

    def clear_screen(self) -> None:
        """The screen has been raked: flush again when it blocks again."""
        self._clear(SCREEN)

    def clear_valves(self) -> None:
        """The valves have been looked at: close them all, to know where they are, and judge them afresh."""
        self._clear(VALVES)

    def _clear(self, bit: int) -> None:
        self.cleared |= bit
        self.changed = True

    def _until(self, now_ms: int, hold_ms: int) -> None:
        self.expires = hold_ms > 0
        self.due_ms = ticks_add(now_ms, hold_ms)
        self.changed = True

    def judge(self, facts: Facts) -> None:
        """Let a hold expire; look at the switch."""
        if self.expires and ticks_diff(facts.now_ms, self.due_ms) >= 0:
            self.resume()
        stopped = self.fitted and facts.values[RUN_SWITCH] != 1
        self.garbled = facts.values[RUN_SWITCH] > 1
        self.changed = self.changed or stopped != self.stopped
        self.stopped = stopped
        self.ceiling_ml_s = NO_LIMIT
        self.reason = reasons.OWNER
        if stopped:
            self.reason = reasons.STOP_SWITCH
            self.ceiling_ml_s = 0
        elif self.mode == STOP:
            self.ceiling_ml_s = 0

    def watch(self, orders: Orders) -> None:
        """The switch is seen at once."""
        if self.fitted:
            if self.garbled:
                orders.narrow(RUN_SWITCH, 2, HIGHEST)
            elif self.stopped:
                orders.narrow(RUN_SWITCH, LOWEST, 0)
            else:
                orders.narrow(RUN_SWITCH, 1, 1)

    def left_ms(self, now_ms: int) -> int:
        """How long the hold still lasts; NO_LIMIT if for good."""
        return ticks_diff(self.due_ms, now_ms) if self.expires else NO_LIMIT
