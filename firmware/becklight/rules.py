"""The rules. Each watches one thing and answers with a ceiling on the flow [mL/s] and a reason.

The lowest ceiling binds (`binding`). A rule that has nothing to say answers NO_LIMIT. Rules keep
no sums over samples, only conditions and since when they hold; so it makes no difference how often
they are asked while nothing changes, and each can say until when, and within which band of its
reading, its answer stands (`due_ms` if `timing`, and `low` .. `high`).
"""

from .compat import const
from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .residual import Residual, release_ml_s
from .settings import Settings
from .ticks import ticks_add, ticks_diff

NO_LIMIT = const(1 << 29)
COLDEST_DECIC = const(-400)  # no battery works beyond these; chosen by us
WARMEST_DECIC = const(800)


def binding(ceilings: list[int]) -> int:
    """The place of the lowest ceiling; the first of equals."""
    lowest = 0
    for place in range(1, len(ceilings)):
        if ceilings[place] < ceilings[lowest]:
            lowest = place
    return lowest


class Hold:
    """A condition that counts only once it has lasted: "full for long enough"."""

    def __init__(self, hold_ms: int) -> None:
        self.hold_ms = hold_ms
        self.timing = False  # the condition holds, and due_ms says when it will have lasted
        self.due_ms = 0

    def lasted(self, condition: bool, now_ms: int) -> bool:
        """Whether the condition has held long enough by now; restarts when it does not hold."""
        if not condition:
            self.timing = False
            return False
        if not self.timing:
            self.timing = True
            self.due_ms = ticks_add(now_ms, self.hold_ms)
        if ticks_diff(now_ms, self.due_ms) < 0:
            return False
        self.timing = False  # forget the instant before it wraps
        return True

    def left_ms(self, now_ms: int) -> int:
        """How long until it will have lasted; NO_LIMIT if it is not running."""
        return ticks_diff(self.due_ms, now_ms) if self.timing else NO_LIMIT


def compensated_mv(settings: Settings, set_point_mv: int, temp_decic: int) -> int:
    """A battery set point at this temperature; without a temperature as at 25 degrees C."""
    if temp_decic == UNKNOWN:
        return set_point_mv
    believed_decic = max(COLDEST_DECIC, min(WARMEST_DECIC, temp_decic))
    return set_point_mv + settings.rules.battery_comp_mv_per_k * (believed_decic - 250) // 10


class BatteryRule:
    """Full for long enough: ease off to the smallest set. Recovered for long enough: resume.

    Full is a battery at its charging voltage, or one from which power is turned away (surplus.py) though it
    stands above its resting voltage for resuming.

    While a time runs, the voltage must fall back by battery_slack_mv to stop it, so that noise does not.
    An unknown voltage neither eases nor resumes.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.full = False
        self.filling = Hold(settings.rules.full_hold_ms)
        self.recovering = Hold(settings.rules.resume_hold_ms)
        self.low = LOWEST
        self.high = HIGHEST

    def ceiling_ml_s(self, now_ms: int, battery_mv: int, temp_decic: int, turned_away: bool) -> int:
        """Flow allowed by the battery."""
        rules = self.settings.rules
        full_mv = compensated_mv(self.settings, rules.battery_full_mv, temp_decic)
        resume_mv = rules.battery_resume_mv  # a resting voltage, which the cold does not raise
        slack_mv = rules.battery_slack_mv
        if turned_away:
            full_mv = min(full_mv, resume_mv + 2 * slack_mv)
        known = battery_mv != UNKNOWN
        if not self.full:
            threshold_mv = full_mv - (slack_mv if self.filling.timing else 0)
            self.full = self.filling.lasted(known and battery_mv >= threshold_mv, now_ms)
        else:
            threshold_mv = resume_mv + (slack_mv if self.recovering.timing else 0)
            self.full = not self.recovering.lasted(known and battery_mv <= threshold_mv, now_ms)
        if known:
            self._watch(full_mv, resume_mv, slack_mv)
        else:
            self.low = LOWEST
            self.high = UNKNOWN  # until it is known again
        return rules.ease_flow_ml_s if self.full else NO_LIMIT

    def _watch(self, full_mv: int, resume_mv: int, slack_mv: int) -> None:
        self.low = KNOWN
        self.high = HIGHEST
        if self.full:
            if self.recovering.timing:
                self.high = resume_mv + slack_mv
            else:
                self.low = resume_mv + 1
        elif self.filling.timing:
            self.low = full_mv - slack_mv
        else:
            self.high = full_mv - 1

    def running(self) -> Hold:
        """The hold that may be timing now."""
        return self.recovering if self.full else self.filling


class PressureRule:
    """Pressure lower than any open set explains: air in the pipe, a blocked screen, a leak.

    After pressure_hold_ms the flow comes down a quarter; again each time the hold passes with the
    pressure still low. Once the pressure has been right for ten holds the limit is lifted.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.limit_ml_s = NO_LIMIT
        self.falling = Hold(settings.rules.pressure_hold_ms)
        self.recovering = Hold(10 * settings.rules.pressure_hold_ms)
        self.low = LOWEST
        self.high = HIGHEST

    def ceiling_ml_s(self, now_ms: int, pressure_mbar: int, drawn_ml_s: int) -> int:
        """Flow allowed by the pressure, given what the jets draw now."""
        lowest_mbar = self.settings.rules.pressure_low_mbar
        known = pressure_mbar != UNKNOWN
        is_low = known and pressure_mbar < lowest_mbar
        if self.falling.lasted(is_low and drawn_ml_s > 0, now_ms):
            self.limit_ml_s = drawn_ml_s * 3 // 4
            self.falling.lasted(True, now_ms)  # and again, if that does not help
        if self.limit_ml_s != NO_LIMIT and self.recovering.lasted(known and not is_low, now_ms):
            self.limit_ml_s = NO_LIMIT
        watching_fall = not is_low and (drawn_ml_s > 0 or self.limit_ml_s != NO_LIMIT)
        self.low = lowest_mbar if watching_fall else KNOWN
        self.high = lowest_mbar - 1 if is_low else HIGHEST
        if not known:
            self.low = LOWEST
            self.high = UNKNOWN  # until it is known again
        return self.limit_ml_s

    def running(self) -> Hold:
        """The hold that may be timing now."""
        return self.falling if self.falling.timing else self.recovering


def available_ml_s(
    settings: Settings,
    residual: Residual,
    drawn_ml_s: int,
    level_then_mm: int,
    level_mm: int,
    elapsed_ms: int,
) -> int:
    """The flow that the jets may take so that the intake settles at its target level [mL/s].

    Inferred inflow = what the jets take + rise of the intake + what is let past meanwhile. The stream's
    residual flow has first claim: what the intake lets past at its target level (residual flow, by the choice
    of the target) is taken off before the jets get anything. What stands above the target (up to
    level_rise_mm), or lacks below it, is spread over level_recover_s.
    """
    rules = settings.rules
    rise_mm = max(-500, min(500, level_mm - level_then_mm))
    rise_ml_s = rise_mm * settings.ml_per_mm // max(1, elapsed_ms // 1000)
    # When in doubt, less: the lower of now and the mean, less what a reading may be wrong by. It matters over
    # the crest, where a millimetre is much water.
    lower_mm = min(level_mm, (level_then_mm + level_mm) // 2) - rules.level_doubt_mm
    inflow_ml_s = drawn_ml_s + rise_ml_s + release_ml_s(settings, lower_mm)
    above_mm = max(-500, min(rules.level_rise_mm, level_mm - residual.target_mm(drawn_ml_s)))
    recover_ml_s = above_mm * settings.ml_per_mm // rules.level_recover_s
    return residual.available_ml_s(inflow_ml_s + recover_ml_s, drawn_ml_s)
