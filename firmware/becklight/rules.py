"""What several rules share: which ceiling binds, conditions that must last, what the stream leaves the jets.

Rules keep no sums over samples, only conditions and since when they hold; so it makes no difference how often
they are asked while nothing changes (facts.py tells how a rule is made).
"""

from .compat import const
from .readings import UNKNOWN
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


def available_ml_s(
    settings: Settings,
    residual: Residual,
    drawn_ml_s: int,
    then_dmm: int,
    level_dmm: int,
    elapsed_ms: int,
    doubt_dmm: int,
) -> int:
    """The flow that the jets may take so that the intake settles at its target level [mL/s].

    Inferred inflow = what the jets take + rise of the intake + what is let past meanwhile. The stream's
    residual flow has first claim: what the intake lets past at its target level (residual flow, by the choice
    of the target) is taken off before the jets get anything. What stands above the target (up to
    level_rise_mm), or lacks below it, is spread over level_recover_s. Levels are in tenths of a millimetre;
    `doubt_dmm` is what they may be wrong by.
    """
    rules = settings.rules
    rise_dmm = max(-5_000, min(5_000, level_dmm - then_dmm))
    rise_ml = rise_dmm // 10 * settings.ml_per_mm + rise_dmm % 10 * settings.ml_per_mm // 10
    rise_ml_s = rise_ml // max(1, elapsed_ms // 1000)
    # When in doubt, less: the lower of now and the mean, less the doubt. It matters over the crest, where a
    # millimetre is much water.
    lower_mm = (min(level_dmm, (then_dmm + level_dmm) // 2) - doubt_dmm) // 10
    inflow_ml_s = drawn_ml_s + rise_ml_s + release_ml_s(settings, lower_mm)
    above_mm = max(-500, min(rules.level_rise_mm, level_dmm // 10 - residual.target_mm(drawn_ml_s)))
    recover_ml_s = above_mm * settings.ml_per_mm // rules.level_recover_s
    return residual.available_ml_s(inflow_ml_s + recover_ml_s, drawn_ml_s)
