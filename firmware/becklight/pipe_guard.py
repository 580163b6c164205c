"""Is the pressure at the manifold what is expected? Knows nothing of what the other rules wish.

    guard = PipeGuard(settings, ramps.position)
    guard.judge(facts)
    guard.fault, guard.suspect              # FAULTS[guard.fault]; the jet that is blocked, or NO_JET
    guard.clear()                           # the owner has looked (Owner.clear_pipe): forget all

What is expected comes from the desktop's menu while the jets stand, and is the static pressure while all are
closed. On the way between two standings only the lowest pressure of any set is known.

    LOW      much lower: a blocked screen, air in the pipe, a leak. A quarter less flow, again and again.
    BURST    less than half, or far below static with every jet closed: close all, until `clear`. A pipe
             frozen above the manifold, or one shut by hand there, looks the same.
    NO_FLOW  as if closed, though jets are open: the manifold or the transmitter's line is frozen, valves did
             not open, or the one open jet is blocked. No ceiling.
    HIGH     higher: a jet passes less than it should, so the jets take less than the menu says. No ceiling.

Allocates nothing after the start.
"""

from . import reasons
from .compat import const
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .readings import KNOWN, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings

NONE = const(0)
HIGH = const(1)
NO_FLOW = const(2)
LOW = const(3)
BURST = const(4)
FAULTS = ("none", "high", "no_flow", "low", "burst")

NO_JET = const(-1)
MOST_SCORE = const(4)  # more standings than this add nothing, so that a cleaned jet is soon cleared
SUSPECT_SCORE = const(2)  # one standing alone accuses nobody
OPEN_PERMILLE = const(500)  # a jet opened less than this says nothing about itself

# What has been found of the present standing.
_NOTHING = const(-1)
_FINE = const(0)
_TOO_HIGH = const(1)


class PipeGuard(Rule):
    """What is wrong with the pipe, and the flow that this still allows."""

    def __init__(self, settings: Settings, position: list[int]) -> None:
        rules = settings.rules
        self.rules = rules
        self.position = position  # of every valve as ordered [permille]; the engine's own list, read only
        self.reason = reasons.PRESSURE_LOW
        self.ceiling_ml_s = NO_LIMIT
        self.fault = NONE
        self.limit_ml_s = NO_LIMIT  # by LOW
        self.burst = False
        self.frozen = False
        self.is_low = False  # as last seen
        self.too_high = False
        self.filling = False  # said by the start rule: a closed pipe is not yet expected to be full
        self.suspect = NO_JET
        self.score = [0] * len(position)  # standings in which this jet may have been the blocked one
        self.stood = [0] * len(position)  # positions of the present standing
        self.found = _NOTHING
        self.seems = _FINE
        self.filled_mbar = UNKNOWN  # how far a pipe that fills had come
        self.falling = Hold(rules.pressure_hold_ms)
        self.recovering = Hold(10 * rules.pressure_hold_ms)
        self.bursting = Hold(rules.burst_hold_ms)
        self.leaking = Hold(rules.static_hold_ms)
        self.freezing = Hold(rules.static_hold_ms)
        self.standing = Hold(rules.blocked_hold_ms)
        self.holds: tuple[Hold, ...] = (
            self.falling,
            self.recovering,
            self.bursting,
            self.leaking,
            self.freezing,
            self.standing,
        )
        # Bands within which nothing changes.
        self.low_mbar = LOWEST
        self.high_mbar = HIGHEST
        self.low_mm = LOWEST
        self.high_mm = HIGHEST

    def clear(self) -> None:
        """The owner has looked at the pipe: forget a burst, all other faults and all suspicion."""
        self.burst = False
        self.frozen = False
        self.too_high = False
        self.limit_ml_s = NO_LIMIT
        self.suspect = NO_JET
        self.found = _NOTHING
        self.filled_mbar = UNKNOWN
        for place in range(len(self.score)):
            self.score[place] = 0
        self._stop_all()
        self._tell()

    def lift(self) -> None:
        """Forget that the pressure was low, to see whether it still is."""
        self.limit_ml_s = NO_LIMIT
        self.falling.timing = False
        self.recovering.timing = False
        self._tell()

    def judge(self, facts: Facts) -> None:
        """Compare the pressure with what is expected."""
        now_ms = facts.now_ms
        mbar = facts.values[PRESSURE_MBAR]
        self._see_standing()
        wet = self._see_level(facts.values[LEVEL_MM])
        self.low_mbar = KNOWN
        self.high_mbar = HIGHEST
        if mbar == UNKNOWN:
            self.low_mbar = LOWEST
            self.high_mbar = UNKNOWN  # until it is known again
            self._stop_all()
        elif self.burst:
            pass  # until the owner has looked
        elif facts.closed and not facts.moving:
            self._stop_open()
            self._judge_low(now_ms, mbar, self.rules.static_mbar, 0)
            self._judge_closed(now_ms, mbar, wet and not self.filling)
        else:
            expected_mbar = UNKNOWN if facts.moving else facts.expected_mbar
            self.leaking.lasted(False, now_ms)
            self.filled_mbar = UNKNOWN
            self._judge_low(now_ms, mbar, expected_mbar, facts.drawn_ml_s)
            self._judge_burst(now_ms, mbar, expected_mbar, wet and facts.drawn_ml_s > 0)
            self._judge_frozen(now_ms, mbar, expected_mbar, wet)
            self._judge_jets(now_ms, mbar, expected_mbar, wet)
        if self.burst:
            self._rest()
        self._tell()

    def watch(self, orders: Orders) -> None:
        """Narrow the bands of pressure and level."""
        orders.narrow(PRESSURE_MBAR, self.low_mbar, self.high_mbar)
        orders.narrow(LEVEL_MM, self.low_mm, self.high_mm)

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        left_ms = NO_LIMIT
        for hold in self.holds:
            left_ms = min(left_ms, hold.left_ms(now_ms))
        return left_ms

    # -- what is looked at -----------------------------------------------------------------------

    def _see_standing(self) -> None:
        """Begin anew as soon as a valve has been ordered elsewhere."""
        for place in range(len(self.position)):
            if self.stood[place] != self.position[place]:
                self.stood[place] = self.position[place]
                self.found = _NOTHING
                self.standing.timing = False

    def _see_level(self, level_mm: int) -> bool:
        """Whether the intake has water, as far as is known: one that draws air has not burst."""
        floor_mm = self.rules.level_floor_mm
        self.low_mm = LOWEST
        self.high_mm = HIGHEST
        if level_mm == UNKNOWN:
            self.high_mm = UNKNOWN
        elif level_mm < floor_mm:
            self.low_mm = KNOWN
            self.high_mm = floor_mm - 1
            return False
        else:
            self.low_mm = floor_mm
        return True

    def _below(self, mbar: int, threshold_mbar: int) -> bool:
        """Whether the pressure is below a threshold, which then also ends its band."""
        if mbar < threshold_mbar:
            self.high_mbar = min(self.high_mbar, threshold_mbar - 1)
            return True
        self.low_mbar = max(self.low_mbar, threshold_mbar)
        return False

    # -- one by one ------------------------------------------------------------------------------

    def _judge_low(self, now_ms: int, mbar: int, expected_mbar: int, drawn_ml_s: int) -> None:
        """Low for the hold: a quarter less, and again. As expected for ten holds: the limit is lifted."""
        if drawn_ml_s == 0 and self.limit_ml_s == NO_LIMIT:
            self.falling.timing = False
            self.recovering.timing = False
            return
        threshold_mbar = self.rules.pressure_low_mbar
        if expected_mbar != UNKNOWN:
            threshold_mbar = expected_mbar * self.rules.pressure_low_permille // 1000
            if self.is_low:
                threshold_mbar += min(self.rules.pressure_doubt_mbar, (expected_mbar - threshold_mbar) // 2)
        is_low = self.is_low = self._below(mbar, threshold_mbar)
        if self.falling.lasted(is_low and drawn_ml_s > 0, now_ms):
            self.limit_ml_s = drawn_ml_s * 3 // 4
            self.falling.lasted(True, now_ms)  # and again, if that does not help
        # On the way a pressure that is not low proves nothing.
        sound = expected_mbar != UNKNOWN and not is_low
        if self.recovering.lasted(self.limit_ml_s != NO_LIMIT and sound, now_ms):
            self.limit_ml_s = NO_LIMIT

    def _judge_burst(self, now_ms: int, mbar: int, expected_mbar: int, may_burst: bool) -> None:
        least_mbar = self.rules.pressure_low_mbar if expected_mbar == UNKNOWN else expected_mbar
        below = self._below(mbar, least_mbar * self.rules.burst_permille // 1000)
        if self.bursting.lasted(below and may_burst, now_ms):
            self.burst = True

    def _judge_closed(self, now_ms: int, mbar: int, wet: bool) -> None:
        """Every jet closed: the pressure must be static, or still rise to it in a pipe that fills."""
        static_mbar = self.rules.static_mbar
        below = self._below(mbar, static_mbar * self.rules.leak_permille // 1000)
        if not (below and wet):
            self.leaking.timing = False
            self.filled_mbar = UNKNOWN
            return
        rise_mbar = max(1, static_mbar // 100)
        if mbar >= self.filled_mbar + rise_mbar:
            self.filled_mbar = mbar
            self.leaking.timing = False
        self.high_mbar = min(self.high_mbar, self.filled_mbar + rise_mbar - 1)
        if self.leaking.lasted(True, now_ms):
            self.burst = True

    def _judge_frozen(self, now_ms: int, mbar: int, expected_mbar: int, wet: bool) -> None:
        """A fall of less than a quarter of what is expected, where that is more than a reading's doubt."""
        static_mbar = self.rules.static_mbar
        fall_mbar = static_mbar - expected_mbar
        if expected_mbar == UNKNOWN or not wet or fall_mbar < max(1, 4 * self.rules.pressure_doubt_mbar):
            self.freezing.timing = False
            return
        frozen = not self._below(mbar, static_mbar - fall_mbar // 4)
        if self.freezing.lasted(frozen != self.frozen, now_ms):
            self.frozen = frozen

    def _judge_jets(self, now_ms: int, mbar: int, expected_mbar: int, wet: bool) -> None:
        """Higher than expected: find out which jet all such standings have in common.

        Too high is a given share above what is expected or, in a wide pipe, halfway from there to static: a
        flow lower by three tenths. A standing where static itself is not higher than that proves nothing.
        """
        rules = self.rules
        if expected_mbar == UNKNOWN or not wet:
            self.standing.timing = False
            return
        above_mbar = expected_mbar * (rules.pressure_high_permille - 1000) // 1000
        above_mbar = min(above_mbar, (rules.static_mbar - expected_mbar) // 2)
        threshold_mbar = expected_mbar + max(above_mbar, 2 * rules.pressure_doubt_mbar) + 1
        if threshold_mbar > rules.static_mbar - rules.pressure_doubt_mbar:
            self.standing.timing = False
            return
        if self.seems == _TOO_HIGH:  # noise about the threshold must not turn it back and forth
            threshold_mbar -= min(rules.pressure_doubt_mbar, (threshold_mbar - expected_mbar) // 2)
        seems = _FINE if self._below(mbar, threshold_mbar) else _TOO_HIGH
        if seems != self.seems:
            self.seems = seems
            self.standing.timing = False
        if self.standing.lasted(seems != self.found, now_ms):
            self.found = seems
            self.too_high = seems == _TOO_HIGH
            self._score(self.too_high)

    def _score(self, too_high: bool) -> None:
        """Count one standing: a high one accuses what is open and clears what is shut, a fine one clears."""
        for place in range(len(self.score)):
            score = self.score[place]
            if self.stood[place] >= OPEN_PERMILLE:
                score += 1 if too_high else -1
            elif too_high and self.stood[place] == 0:
                score -= 1
            self.score[place] = max(0, min(MOST_SCORE, score))
        self.suspect = NO_JET
        most = SUSPECT_SCORE - 1
        for place in range(len(self.score)):
            if self.score[place] > most:
                most = self.score[place]
                self.suspect = place
            elif self.score[place] == most:
                self.suspect = NO_JET  # they have always been open together

    # -- what is told ----------------------------------------------------------------------------

    def _tell(self) -> None:
        self.ceiling_ml_s = 0 if self.burst else self.limit_ml_s
        self.reason = reasons.BURST if self.burst else reasons.PRESSURE_LOW
        if self.burst:
            self.fault = BURST
        elif self.limit_ml_s != NO_LIMIT:
            self.fault = LOW
        elif self.frozen:
            self.fault = NO_FLOW
        elif self.too_high:
            self.fault = HIGH
        else:
            self.fault = NONE

    def _rest(self) -> None:
        """A burst has been found: nothing more is looked at."""
        self._stop_all()
        self.low_mbar = LOWEST
        self.high_mbar = HIGHEST
        self.low_mm = LOWEST
        self.high_mm = HIGHEST

    def _stop_open(self) -> None:
        """Closed: what is judged with jets open is not judged now."""
        self.bursting.timing = False
        self.freezing.timing = False
        self.standing.timing = False

    def _stop_all(self) -> None:
        for hold in self.holds:
            hold.timing = False
