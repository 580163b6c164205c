"""The level below every outlet, with every jet closed: it can only rise, but for seepage and evaporation.

One that goes on falling there reads wrong, or there is a leak that nobody knows of. Which, only a look at the
intake can tell; so it is told, and believed all the same: the jets stay closed.

    sinking = Sinking(settings)
    sinking.judge(now_ms, level_mm, resting)
    sinking.found
"""

from .compat import const
from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .rules import NO_LIMIT
from .settings import Settings
from .ticks import ticks_add, ticks_diff

WINDOW_MS = const(21_600_000)  # chosen by us: waves and the sun's warmth are not seen over hours


class Sinking:
    """Whether the level falls where it cannot."""

    def __init__(self, settings: Settings) -> None:
        self.sink_mm = settings.rules.level_sink_mm  # in one window; 0: never found
        self.outlet_mm = LOWEST  # the lowest level from which anything is let past
        for place in range(len(settings.release_ml_s)):
            if settings.release_ml_s[place] == 0:
                self.outlet_mm = settings.release_level_mm[place]
        self.found = False
        self.timing = False
        self.top_mm = 0  # as the window began
        self.due_ms = 0
        self.low = LOWEST
        self.high = HIGHEST

    def judge(self, now_ms: int, level_mm: int, resting: bool) -> None:
        """Look. `resting`: every jet is closed and the wheel is seen to stand."""
        self.low = LOWEST
        self.high = HIGHEST
        if self.sink_mm == 0 or level_mm == UNKNOWN:
            self.timing = False
            return
        if level_mm > self.outlet_mm:
            self.found = False
            self.timing = False
            self.low = self.outlet_mm + 1
            return
        self.low = KNOWN
        self.high = self.outlet_mm
        if not resting:
            self.timing = False
            return
        if not self.timing or ticks_diff(now_ms, self.due_ms) >= 0:
            self.timing = True
            self.top_mm = level_mm
            self.due_ms = ticks_add(now_ms, WINDOW_MS)
        if level_mm < self.top_mm - self.sink_mm:
            self.found = True
        elif not self.found:
            self.low = self.top_mm - self.sink_mm

    def left_ms(self, now_ms: int) -> int:
        """How long its answer stands by itself."""
        return ticks_diff(self.due_ms, now_ms) if self.timing else NO_LIMIT
