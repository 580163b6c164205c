"""The pressure instrument against the water that stands above it, with every jet closed and all at rest.

Once it reads wrong, it must be right for as long, at rest or with jets running. Less than expected by more
than GROSS_PERMILLE is no drift but a leak or an empty pipe: not judged here.

    drift = Drift(settings)
    drift.judge(now_ms, pressure_mbar, level_mm, resting, running_mbar)
    drift.found
"""

from .compat import const
from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .rules import Hold
from .settings import Settings

# All chosen by us.
DRIFT_HOLD_MS = const(600_000)
DRIFT_PERMILLE = const(50)  # of the pressure expected
GROSS_PERMILLE = const(200)


class Drift:
    """Whether the pressure reads wrong."""

    def __init__(self, settings: Settings) -> None:
        # The menu's first point is the pressure with all closed and the intake at its target.
        self.static_mbar = settings.set_pressure_mbar[settings.set_masks.index(0)][0]
        self.target_mm = settings.rules.level_target_mm
        self.floor_mm = settings.rules.level_floor_mm
        self.found = False
        self.off = False
        self.leaving = Hold(DRIFT_HOLD_MS)
        self.returning = Hold(DRIFT_HOLD_MS)
        self.low = LOWEST
        self.high = HIGHEST

    def judge(self, now_ms: int, pressure_mbar: int, level_mm: int, resting: bool, running_mbar: int) -> None:
        """Look. `level_mm` must stand while the level stays in its band: its anchor, not its reading;
        `running_mbar` is what is expected while jets run and all is settled, else UNKNOWN."""
        self.low = LOWEST
        self.high = HIGHEST
        if not resting or pressure_mbar == UNKNOWN or level_mm < self.floor_mm:
            self.off = self.found
            self.leaving.lasted(False, now_ms)
            self._judge_running(now_ms, pressure_mbar, UNKNOWN if resting else running_mbar)
            return
        expected_mbar = self.static_mbar + (level_mm - self.target_mm) * 98 // 1000  # 0.098 mbar a mm
        gross_mbar = expected_mbar * GROSS_PERMILLE // 1000
        excess_mbar = pressure_mbar - expected_mbar
        slack_mbar = self._slack_mbar(expected_mbar)
        self.off = excess_mbar > slack_mbar or -gross_mbar <= excess_mbar < -slack_mbar
        if self.found:
            # Far below it is not right either, though no drift by itself.
            self.found = not self.returning.lasted(abs(excess_mbar) <= slack_mbar, now_ms)
        else:
            self.found = self.leaving.lasted(self.off, now_ms)
        slack_mbar = self._slack_mbar(expected_mbar)
        if excess_mbar > slack_mbar:
            self.low = expected_mbar + slack_mbar + 1
        elif excess_mbar >= -slack_mbar:
            self.low = expected_mbar - slack_mbar
            self.high = expected_mbar + slack_mbar
        elif excess_mbar >= -gross_mbar:
            self.low = expected_mbar - gross_mbar
            self.high = expected_mbar - slack_mbar - 1
        else:
            self.low = KNOWN
            self.high = expected_mbar - gross_mbar - 1

    def _judge_running(self, now_ms: int, pressure_mbar: int, expected_mbar: int) -> None:
        """Whether one that reads wrong is right again."""
        if not self.found or pressure_mbar == UNKNOWN or expected_mbar == UNKNOWN:
            self.returning.lasted(False, now_ms)
            return
        slack_mbar = self._slack_mbar(expected_mbar)
        right = abs(pressure_mbar - expected_mbar) <= slack_mbar
        if self.returning.lasted(right, now_ms):
            self.found = self.off = False
        elif right:
            self.low = expected_mbar - slack_mbar
            self.high = expected_mbar + slack_mbar
        elif pressure_mbar < expected_mbar:
            self.low = KNOWN
            self.high = expected_mbar - slack_mbar - 1
        else:
            self.low = expected_mbar + slack_mbar + 1

    def _slack_mbar(self, expected_mbar: int) -> int:
        """What it may be off by; less once it is, so that noise does not stop the time."""
        slack_mbar = expected_mbar * DRIFT_PERMILLE // 1000
        return slack_mbar * 3 // 4 if self.off else slack_mbar

    def left_ms(self, now_ms: int) -> int:
        """How long its answer stands by itself."""
        return min(self.leaving.left_ms(now_ms), self.returning.left_ms(now_ms))
