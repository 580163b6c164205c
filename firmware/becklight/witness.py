"""One instrument: what it says, and whether it is believed. It is not while it is

    GONE        open, short or stale (Scale and Readings.expire tell)
    RANGE       beyond what can be
    JUMP        it moved further between two samples than the plant can; believed again once it has stayed
                near the new value for its hold, or as soon as it is back where it was
    FROZEN      the same to the last digit, look after look, though it always wavers
    NOISY       upset (gone, out of range, jumped) MOST_UPSETS times within an hour; for an hour

A jump that has stood for its hold is believed, for nobody knows which value was the wrong one; but `stepped`
says so for STEP_MS, for the owner should look.

A jump needs no clock: `judge` is asked at the first sample outside `anchor - near .. anchor + near`, so the
sample before was inside. What is found at once beyond `jump` cannot have come there by moving. Inside the
band nothing here changes, so it makes no difference how often it is asked there.
"""

from .compat import const
from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .rules import NO_LIMIT
from .ticks import ticks_add, ticks_diff

OK = const(0)
GONE = const(1)
RANGE = const(2)
JUMP = const(3)
FROZEN = const(4)
NOISY = const(5)
DRIFT = const(6)  # contradicted: drift.py, crosscheck.py, sinking.py
FAULTS = ("ok", "gone", "range", "jump", "frozen", "noisy", "drift")

# Chosen by us.
NEAR_SHARE = const(4)  # near is a quarter of jump
MOST_UPSETS = const(12)
NOISY_MS = const(3_600_000)
STEP_MS = const(3_600_000)  # so long is told of a jump that has become the new value


class Witness:
    """One instrument: what it said, and whether it is believed."""

    def __init__(self, lowest: int, highest: int, jump: int, hold_ms: int, looks: int) -> None:
        self.lowest = lowest
        self.highest = highest
        self.jump = jump
        self.near = jump // NEAR_SHARE
        self.hold_ms = hold_ms
        self.looks = looks  # so many alike in a row are frozen; 0: it may stand still
        self.fault = OK
        self.anchor = UNKNOWN  # what was last believed, to within `near`
        self.trying = False  # on trial at `candidate` until due_ms
        self.candidate = 0
        self.banned = False  # noisy until due_ms
        self.due_ms = 0
        self.stepped = False  # a jump has become the new value, told until step_ms
        self.step_ms = 0
        self.upsets = 0
        self.counting = False  # the hour in which upsets are counted ends at hour_ms
        self.hour_ms = 0
        self.looked = UNKNOWN  # at the last look
        self.alike = 0  # looks in a row that showed the same
        self.low = LOWEST  # nothing changes inside
        self.high = HIGHEST

    def judge(self, now_ms: int, raw: int, look: bool, wavers: bool) -> None:
        """Take in a reading. `look`: it is time to look for frozen ones; `wavers`: it cannot stand still."""
        if self.counting and ticks_diff(now_ms, self.hour_ms) >= 0:
            self.counting = False
            self.upsets = 0
        if self.banned and ticks_diff(now_ms, self.due_ms) >= 0:
            self.banned = False
        if self.stepped and ticks_diff(now_ms, self.step_ms) >= 0:
            self.stepped = False
        if not self.banned:
            self._count_alike(raw, look, wavers)
            if self.looks > 0 and self.alike >= self.looks:
                self.fault = FROZEN
                self.trying = False
                self.anchor = UNKNOWN
            elif raw == UNKNOWN:
                self._lose(now_ms, GONE)
            elif not self.lowest <= raw <= self.highest:
                self._lose(now_ms, RANGE)
            elif self.fault == OK:
                self._follow(now_ms, raw)
            else:
                self._try(now_ms, raw)
            if self.fault != OK and self.fault != FROZEN:
                self._forget_looks()
        self._watch(raw)

    def _count_alike(self, raw: int, look: bool, wavers: bool) -> None:
        if self.fault == FROZEN:
            if raw != self.looked:
                self.alike = 0
            return
        if self.fault != OK:
            return
        if raw == UNKNOWN or not wavers:
            self._forget_looks()
            return
        if self.alike >= self.looks - 1 and raw != self.looked:
            self.alike = 0  # before the last look every sample is watched: one that differs clears it
        if look:
            self.alike = self.alike + 1 if raw == self.looked else 0
            self.looked = raw

    def _forget_looks(self) -> None:
        self.alike = 0
        self.looked = UNKNOWN

    def _lose(self, now_ms: int, fault: int) -> None:
        upset = self.fault == OK or self.trying
        self.fault = fault
        self.trying = False
        if upset:
            self._upset(now_ms)

    def _follow(self, now_ms: int, raw: int) -> None:
        """The reading of an instrument that is believed."""
        away = abs(raw - self.anchor)
        if self.anchor == UNKNOWN or self.near < away <= self.jump:
            self.anchor = raw
        elif away > self.jump:
            self.fault = JUMP
            self._begin_trial(now_ms, raw)
            self._upset(now_ms)

    def _try(self, now_ms: int, raw: int) -> None:
        """The reading of one that is not: believed where it was, or once it has stood for its hold."""
        if self.anchor != UNKNOWN and abs(raw - self.anchor) <= self.near:
            self._believe(raw)  # back where it was
            return
        if not self.trying:
            self._begin_trial(now_ms, raw)
            return
        away = abs(raw - self.candidate)
        if away > self.jump:
            self.fault = JUMP
            self._begin_trial(now_ms, raw)
            self._upset(now_ms)
        elif ticks_diff(now_ms, self.due_ms) >= 0:
            if self.fault == JUMP:
                self.stepped = True
                self.step_ms = ticks_add(now_ms, STEP_MS)
            self._believe(raw)
        elif away > self.near:
            self.candidate = raw  # it moves as the plant does: its time runs on

    def _begin_trial(self, now_ms: int, raw: int) -> None:
        self.trying = True
        self.candidate = raw
        self.due_ms = ticks_add(now_ms, self.hold_ms)

    def _believe(self, raw: int) -> None:
        self.fault = OK
        self.trying = False
        self.anchor = raw

    def _upset(self, now_ms: int) -> None:
        if not self.counting:
            self.counting = True
            self.hour_ms = ticks_add(now_ms, NOISY_MS)
        self.upsets += 1
        if self.upsets >= MOST_UPSETS:
            self.fault = NOISY
            self.banned = True
            self.due_ms = ticks_add(now_ms, NOISY_MS)
            self.counting = False
            self.upsets = 0
            self.trying = False
            self.anchor = UNKNOWN

    def _watch(self, raw: int) -> None:
        """The band of the reading inside which, before its time, nothing changes."""
        self.low = LOWEST
        self.high = HIGHEST
        if self.banned:
            return
        if raw == UNKNOWN:
            self.high = UNKNOWN
        elif raw > self.highest:
            self.low = self.highest + 1
        elif raw < self.lowest:
            self.low = KNOWN
            self.high = self.lowest - 1
        else:
            centre = self.candidate if self.trying else self.anchor
            self.low = max(self.lowest, centre - self.near)
            self.high = min(self.highest, centre + self.near)
            if self.trying and self.anchor != UNKNOWN:  # back where it was, it is believed at once
                if centre > self.anchor:
                    self.low = max(self.low, self.anchor + self.near + 1)
                else:
                    self.high = min(self.high, self.anchor - self.near - 1)
        if self.looks > 0 and raw == self.looked and self.alike >= self.looks - 1:
            self.low = self.high = raw

    def left_ms(self, now_ms: int) -> int:
        """How long its answer stands by itself."""
        left_ms = ticks_diff(self.due_ms, now_ms) if self.trying or self.banned else NO_LIMIT
        return min(left_ms, ticks_diff(self.step_ms, now_ms)) if self.stepped else left_ms
