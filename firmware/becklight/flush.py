"""A pause that shakes leaves off the screen: close, let the intake spill over it, open again.

Tried while the pipe's guard suspects blocking and the jets are open: everything closes, stays closed for
flush_ms, and is free again. Then the guard's own limit must be lifted, or a clear screen would never show.
Not more often than every flush_wait_ms, and after flush_most pauses without cure no more: somebody must go.

A cure is an hour without suspicion of nearly as much flow as when it arose; or one is told by `helped`.

    flush = FlushRule(settings)
    flush.suspected = guard.fault == LOW
    flush.judge(facts)
    if flush.lift: guard.lift()
    flush.given_up                          # the alarm: clean the screen
    flush.helped(True)                      # it has been cleaned
"""

from . import reasons
from .compat import const
from .facts import Facts, Rule
from .orders import Orders
from .rules import NO_LIMIT, Hold
from .settings import Settings
from .ticks import ticks_add, ticks_diff

CURED_MS = const(3_600_000)  # longer than a guard takes to lift a limit and see the fault again; chosen by us

READY = const(0)
FLUSHING = const(1)
TRYING = const(2)
PHASES = ("ready", "flushing", "trying")


class FlushRule(Rule):
    """Whether to pause now, and how often that has been in vain."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.reason = reasons.FLUSHING
        self.ceiling_ml_s = NO_LIMIT
        self.phase = READY
        self.count = 0  # pauses since the last cure
        self.given_up = False
        self.suspected = False  # said by the guard before each look
        self.lift = False  # a pause has just ended: lift the guard's limit
        self.suspected_ml_s = 0  # what the jets took before the first of these pauses
        self.pause = Hold(settings.rules.flush_ms)
        self.curing = Hold(CURED_MS)
        self.wait_due_ms = 0
        self.waiting = False  # wait_due_ms counts

    def judge(self, facts: Facts) -> None:
        """Look, and set the ceiling and `lift`."""
        self.lift = self.look(facts, self.suspected)

    def look(self, facts: Facts, suspected: bool) -> bool:
        """Look, and set the ceiling; True at the step at which a pause ends: lift the guard's limit.

        `suspected` is True while the guard sees the pressure too low, or still limits the flow for it.
        """
        now_ms = facts.now_ms
        if self.waiting and ticks_diff(now_ms, self.wait_due_ms) >= 0:
            self.waiting = False
        if self.phase == FLUSHING:
            if not self.pause.lasted(facts.closed and not facts.moving, now_ms):
                return False
            self.phase = TRYING
            self.ceiling_ml_s = NO_LIMIT
            self.waiting = True
            self.wait_due_ms = ticks_add(now_ms, self.settings.rules.flush_wait_ms)
            return True
        is_free = not suspected and facts.drawn_ml_s >= self.suspected_ml_s // 4 * 3
        if self.curing.lasted(self.count > 0 and is_free and not facts.closed, now_ms):
            self.helped(True)
        if not suspected or facts.closed or facts.drawn_ml_s == 0:
            return False
        if self.phase == TRYING:
            self.helped(False)
        if not self.waiting and self.count < self.settings.rules.flush_most:
            self._begin(facts.drawn_ml_s)
        return False

    def _begin(self, drawn_ml_s: int) -> None:
        if self.count == 0:
            self.suspected_ml_s = drawn_ml_s
        self.count += 1
        self.phase = FLUSHING
        self.ceiling_ml_s = 0

    def helped(self, cured: bool) -> None:
        """What has come of it; a pause that lasts is not cut short."""
        if cured:
            self.count = 0
        self.given_up = self.count >= self.settings.rules.flush_most > 0
        if self.phase == TRYING:
            self.phase = READY

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        left_ms = min(self.pause.left_ms(now_ms), self.curing.left_ms(now_ms))
        if self.waiting:
            left_ms = min(left_ms, ticks_diff(self.wait_due_ms, now_ms))
        return left_ms

    def watch(self, orders: Orders) -> None:
        """It looks at no reading of its own."""
