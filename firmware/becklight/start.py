"""After standing dry: fill the pipe, let its air out gently, only then run. After a false start: wait longer.

    FILLING     every jet closed until the pipe is full: its pressure is that of standing water for
                fill_hold_ms, or, where no pressure is known, fill_ms have passed
    BLEEDING    a small flow carries the air out, for bleed_ms of flowing
    RUNNING     nothing to say

It begins with FILLING at power-up, and again once the level has been below its floor or unknown for
empty_hold_ms, or the closed pipe's pressure so low for as long that it is not full.

A stream that closes the jets within restart_good_ms of their opening was not worth it: the next opening waits
restart_wait_ms, then twice as long each time up to restart_most_ms. An opening that lasts is forgiven all.

    start = StartRule(settings)
    start.judge(facts)
    start.started(now_ms)                   # the first jet is ordered open
    start.stopped(now_ms, for_water)        # all are ordered closed; for_water: the stream's doing
"""

from . import reasons
from .compat import const
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .reach import least_ceiling_ml_s
from .readings import KNOWN, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings
from .ticks import ticks_add, ticks_diff

FILLING = const(0)
BLEEDING = const(1)
RUNNING = const(2)
PHASES = ("filling", "bleeding", "running")


class StartRule(Rule):
    """Whether the pipe is full and free of air, and whether it is too soon to try again."""

    def __init__(self, settings: Settings) -> None:
        rules = settings.rules
        self.settings = settings
        self.reason = reasons.FILLING
        self.ceiling_ml_s = 0
        self.phase = FILLING
        self.least_ml_s = 0  # a flow that must be allowed, or nothing could bleed; 0: none
        self.bleed_ml_s = max(rules.bleed_ml_s, least_ceiling_ml_s(settings))
        # A quarter less than a full pipe's pressure, lest noise about that one fills it again and again.
        self.empty_mbar = rules.fill_mbar - rules.fill_mbar // 4
        self.full = Hold(rules.fill_hold_ms)
        self.blind = Hold(rules.fill_ms)
        self.bled = Hold(rules.bleed_ms)
        self.lost = Hold(rules.empty_hold_ms)
        self.wait_ms = 0  # before the next opening, if this one does not last
        self.wait_due_ms = 0
        self.waiting = False  # wait_due_ms counts
        self.good_due_ms = 0  # the jets will have been open for long enough
        self.proving = False  # good_due_ms counts
        # Bands of level and pressure within which nothing changes.
        self.low_mm = LOWEST
        self.high_mm = HIGHEST
        self.low_mbar = LOWEST
        self.high_mbar = HIGHEST

    def judge(self, facts: Facts) -> None:
        """Look, and set the ceiling."""
        now_ms = facts.now_ms
        self._forget_past_instants(now_ms)
        level_mm = facts.values[LEVEL_MM]
        pressure_mbar = facts.values[PRESSURE_MBAR]
        known = pressure_mbar != UNKNOWN
        # An unknown level is as good as none, unless the pressure shows that the pipe has water.
        dry = level_mm < self.settings.rules.level_floor_mm and not (level_mm == UNKNOWN and known)
        standing = facts.closed and not facts.moving
        is_lost = dry or (standing and known and pressure_mbar < self.empty_mbar)
        if self.lost.lasted(is_lost and self.phase != FILLING, now_ms):
            self.phase = FILLING
        if self.phase == FILLING:
            is_full = known and pressure_mbar >= self.settings.rules.fill_mbar
            filled = self.full.lasted(is_full and not dry, now_ms)
            if self.blind.lasted(not known and not dry, now_ms) or filled:
                self.phase = BLEEDING if self.bled.hold_ms else RUNNING
        if self.bled.lasted(self.phase == BLEEDING and not facts.closed, now_ms):
            self.phase = RUNNING
        self._answer()
        self._set_bands(dry, standing, level_mm, pressure_mbar)

    def refill(self) -> None:
        """The pipe has been seen to: it may be empty, whatever was known of it."""
        self.phase = FILLING
        self.full.timing = False
        self.blind.timing = False
        self.bled.timing = False

    def started(self, now_ms: int) -> None:
        """The first jet has been ordered open."""
        self.proving = True
        self.good_due_ms = ticks_add(now_ms, self.settings.rules.restart_good_ms)

    def stopped(self, now_ms: int, for_water: bool) -> None:
        """All jets have been ordered closed; `for_water` if by the stream or the level."""
        self._forget_past_instants(now_ms)
        rules = self.settings.rules
        if self.proving and for_water:
            self.wait_ms = min(rules.restart_most_ms, max(rules.restart_wait_ms, 2 * self.wait_ms))
            self.wait_due_ms = ticks_add(now_ms, self.wait_ms)
            self.waiting = self.wait_ms > 0
            self._answer()
        self.proving = False

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        left_ms = min(self.full.left_ms(now_ms), self.blind.left_ms(now_ms))
        left_ms = min(left_ms, self.bled.left_ms(now_ms))
        left_ms = min(left_ms, self.lost.left_ms(now_ms))
        if self.waiting:
            left_ms = min(left_ms, ticks_diff(self.wait_due_ms, now_ms))
        return left_ms

    def watch(self, orders: Orders) -> None:
        """Narrow the bands of level and pressure."""
        orders.narrow(LEVEL_MM, self.low_mm, self.high_mm)
        orders.narrow(PRESSURE_MBAR, self.low_mbar, self.high_mbar)

    def _forget_past_instants(self, now_ms: int) -> None:
        if self.waiting and ticks_diff(now_ms, self.wait_due_ms) >= 0:
            self.waiting = False
        if self.proving and ticks_diff(now_ms, self.good_due_ms) >= 0:
            self.proving = False
            self.wait_ms = 0

    def _answer(self) -> None:
        self.ceiling_ml_s = 0
        if self.phase == FILLING:
            self.reason = reasons.FILLING
        elif self.waiting:
            self.reason = reasons.BACKING_OFF
        elif self.phase == BLEEDING:
            self.reason = reasons.BLEEDING
            self.ceiling_ml_s = max(self.bleed_ml_s, self.least_ml_s)
        else:
            self.ceiling_ml_s = NO_LIMIT

    def _set_bands(self, dry: bool, standing: bool, level_mm: int, pressure_mbar: int) -> None:
        floor_mm = self.settings.rules.level_floor_mm
        self.low_mm = KNOWN if dry else floor_mm
        self.high_mm = floor_mm - 1 if dry else HIGHEST
        self.low_mbar = LOWEST
        self.high_mbar = HIGHEST
        if level_mm == UNKNOWN:
            self.low_mm = LOWEST
            self.high_mm = UNKNOWN
            if pressure_mbar == UNKNOWN:
                self.high_mbar = UNKNOWN
            else:
                self.low_mbar = KNOWN
        if dry or not (standing or self.phase == FILLING):
            return  # the pressure does not matter
        threshold_mbar = self.settings.rules.fill_mbar if self.phase == FILLING else self.empty_mbar
        if pressure_mbar == UNKNOWN:
            self.high_mbar = UNKNOWN  # until it is known again
        elif pressure_mbar >= threshold_mbar:
            self.low_mbar = threshold_mbar
        else:
            self.low_mbar = KNOWN
            self.high_mbar = threshold_mbar - 1
