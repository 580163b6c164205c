"""How far the storage pond may fall within a night and within a dry week.

It is the fall from the highest level of the last 24 hours, and of the last 7 days, to the level of now: what
has run in again is given back, what seeps away counts. Instants cannot be kept for so long; so hours are
counted, and each slot of a ring keeps the highest level of its hours. A window may be longer by one slot.
What was before the first reading is not known: after a power cut it counts from the level found.

    allowance = Allowance(pond)
    allowance.see(now_ms, pond_mm)      # at every step
    allowance.drawn                     # the valve must be shut
"""

from .compat import const
from .orders import HIGHEST, LOWEST
from .readings import UNKNOWN
from .rules import NO_LIMIT
from .settings import NO_FALL_LIMIT_MM, PondSettings
from .ticks import ticks_add, ticks_diff

HOUR_MS = const(3_600_000)
NIGHT_SLOTS = const(24)
NIGHT_SLOT_H = const(1)
WEEK_SLOTS = const(28)
WEEK_SLOT_H = const(6)
# Half of an allowance must be there again before any of it is: a quarter let the valve open more often and
# spilled more water for no more energy, in the twin. Chosen by us.
AGAIN_PART = const(2)


class Window:
    """The highest level within some hours, and whether the level has since fallen as far as it may."""

    def __init__(self, fall_mm: int, slots: int, slot_h: int) -> None:
        self.fall_mm = fall_mm
        self.again_mm = max(1, fall_mm // AGAIN_PART)
        self.slot_h = slot_h
        self.highest_mm = [UNKNOWN] * (slots + 1)  # of each slot; the running one is besides
        self.slot = 0
        self.hours = 0  # of the running slot, that are over
        self.top_mm = UNKNOWN  # the highest of all
        self.drawn = False
        self.moved = False  # on by an hour, since a level was last seen

    def hour_over(self) -> None:
        """Move on; forget what was before the window."""
        self.moved = True
        self.hours += 1
        if self.hours < self.slot_h:
            return
        self.hours = 0
        self.slot = (self.slot + 1) % len(self.highest_mm)
        self.highest_mm[self.slot] = UNKNOWN
        self.top_mm = UNKNOWN
        for slot_mm in self.highest_mm:
            self.top_mm = max(self.top_mm, slot_mm)

    def see(self, level_mm: int) -> None:
        """Take in a level. Only once in an hour can an allowance that is drawn be there again."""
        if level_mm > self.highest_mm[self.slot]:
            self.highest_mm[self.slot] = level_mm
            self.top_mm = max(self.top_mm, level_mm)
        if not self.drawn:
            self.drawn = level_mm <= self.least_mm()
        elif self.moved:
            self.drawn = level_mm < self.least_mm() + self.again_mm
        self.moved = False

    def least_mm(self) -> int:
        """The level at which the allowance is drawn."""
        return self.top_mm - self.fall_mm


class Allowance:
    """A night's and a week's."""

    def __init__(self, pond: PondSettings) -> None:
        self.limited = min(pond.night_fall_mm, pond.week_fall_mm) < NO_FALL_LIMIT_MM
        self.night = Window(pond.night_fall_mm, NIGHT_SLOTS, NIGHT_SLOT_H)
        self.week = Window(pond.week_fall_mm, WEEK_SLOTS, WEEK_SLOT_H)
        self.drawn = False
        self.started = False
        self.hour_ms = 0  # when the running hour began
        # Within these nothing changes before the hour is over.
        self.low_mm = LOWEST
        self.high_mm = HIGHEST

    def see(self, now_ms: int, level_mm: int) -> None:
        """Count the hours, and take in a level, known or not."""
        if not self.limited:
            return
        if not self.started:
            self.started = True
            self.hour_ms = now_ms
        while ticks_diff(now_ms, self.hour_ms) >= HOUR_MS:
            self.hour_ms = ticks_add(self.hour_ms, HOUR_MS)
            self.night.hour_over()
            self.week.hour_over()
        if level_mm == UNKNOWN:
            return
        self.night.see(level_mm)
        self.week.see(level_mm)
        self.drawn = self.night.drawn or self.week.drawn
        self.low_mm = LOWEST
        if not self.night.drawn:
            self.low_mm = self.night.least_mm() + 1
        if not self.week.drawn:
            self.low_mm = max(self.low_mm, self.week.least_mm() + 1)
        # A level above this is also the week's highest, or makes no difference to it.
        self.high_mm = self.night.highest_mm[self.night.slot]

    def left_ms(self, now_ms: int) -> int:
        """How long the running hour still lasts; NO_LIMIT if nothing is counted."""
        return ticks_diff(self.hour_ms, now_ms) + HOUR_MS if self.started else NO_LIMIT
