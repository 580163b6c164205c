"""What spares the valves and the wheel: fewer moves, even hours, a little exercise, rest while all is full.

moves = MovesRule(settings)             # at most moves_per_hour changes of set in any hour
if moves.may_move(now_ms): ...; moves.moved(now_ms)

even = Evenness(settings)               # hours open of each fixed jet
even.see(now_ms, mask)                  # at every step: these stand open from now on
even.prefers(mask_a, mask_b)            # a rather than b, where both give the same

exercise = ExerciseRule(settings)       # a valve long unmoved gets stuck
exercise.see(now_ms, ramps.position)    # at every step
exercise.due_valve()                    # asked in a quiet hour; then exercised(valve)

full_ml_s(settings, frost.floor_ml_s)   # the battery's ceiling while it is full
"""

from . import reasons
from .compat import const
from .rules import NO_LIMIT
from .settings import Settings
from .ticks import ticks_add, ticks_diff

HOUR_MS = const(3_600_000)
MINUTE_MS = const(60_000)
MOST_MIN = const(1 << 26)  # 127 years: six of them added stay below 2**29
MOST_H = const(1 << 26)
SLACK_MIN = const(60)  # jets this near in hours are equal, lest they take turns by the minute; chosen by us


class MovesRule:
    """Few changes of set: some in a burst, as a flood needs, then spread out; never more in any hour.

    Half of an hour's moves (and one) may come at once. Each costs a time that must pass before another may
    take its place; the cost is such that burst and refill together make moves_per_hour.
    """

    def __init__(self, settings: Settings) -> None:
        most = settings.rules.moves_per_hour
        burst = (most + 2) // 2
        self.reason = reasons.MOVES_SPARED
        self.cost_ms = -(-HOUR_MS // (most + 1 - burst))  # rounded up
        self.room_ms = burst * self.cost_ms
        self.owing = False  # clear_ms counts
        self.clear_ms = 0  # when all moves so far are worked off

    def may_move(self, now_ms: int) -> bool:
        """Whether a change of set may be made now."""
        return self._owed_ms(now_ms) <= self.room_ms - self.cost_ms

    def moved(self, now_ms: int) -> None:
        """A change of set is made; also one that could not wait."""
        owed_ms = min(self.room_ms, self._owed_ms(now_ms) + self.cost_ms)
        self.owing = True
        self.clear_ms = ticks_add(now_ms, owed_ms)

    def left_ms(self, now_ms: int) -> int:
        """How long until a move may be made again; NO_LIMIT if it may now."""
        wait_ms = self._owed_ms(now_ms) - self.room_ms + self.cost_ms
        return wait_ms if wait_ms > 0 else NO_LIMIT

    def _owed_ms(self, now_ms: int) -> int:
        if self.owing and ticks_diff(self.clear_ms, now_ms) <= 0:
            self.owing = False  # forget the instant before it wraps
        return ticks_diff(self.clear_ms, now_ms) if self.owing else 0


class Evenness:
    """Minutes that each fixed jet has stood open; to be kept over power cuts by whoever keeps things."""

    def __init__(self, settings: Settings) -> None:
        self.open_min = [0] * len(settings.fixed)
        self.part_ms = [0] * len(settings.fixed)  # of a minute begun
        self.mask = 0  # open since seen_ms
        self.seen_ms = 0

    def see(self, now_ms: int, mask: int) -> None:
        """Count what stood open until now; from now on these fixed jets stand open."""
        elapsed_ms = ticks_diff(now_ms, self.seen_ms) if self.mask else 0
        for jet in range(len(self.open_min)):
            if self.mask >> jet & 1:
                part_ms = self.part_ms[jet] + elapsed_ms
                self.open_min[jet] = min(MOST_MIN, self.open_min[jet] + part_ms // MINUTE_MS)
                self.part_ms[jet] = part_ms % MINUTE_MS
        self.seen_ms = now_ms
        self.mask = mask

    def prefers(self, mask_a: int, mask_b: int) -> bool:
        """Whether the jets that only the first set has open have run clearly less than the second's."""
        return self._mean_min(mask_a & ~mask_b) + SLACK_MIN <= self._mean_min(mask_b & ~mask_a)

    def _mean_min(self, mask: int) -> int:
        total_min = 0
        jets = 0
        for jet in range(len(self.open_min)):
            if mask >> jet & 1:
                total_min += self.open_min[jet]
                jets += 1
        return total_min // jets if jets else 0


class ExerciseRule:
    """Which valve has not moved for exercise_days: more than instants can hold, so hours are counted."""

    def __init__(self, settings: Settings) -> None:
        self.reason = reasons.EXERCISE
        self.limit_h = 24 * settings.rules.exercise_days  # 0: never
        self.idle_h = [0] * len(settings.valves)
        self.position = [0] * len(settings.valves)
        self.started = False
        self.hour_ms = 0  # when the running hour began

    def see(self, now_ms: int, position: list[int]) -> None:
        """Count the hours, and begin anew for what has moved."""
        if not self.started:
            self.started = True
            self.hour_ms = now_ms
        while ticks_diff(now_ms, self.hour_ms) >= HOUR_MS:
            self.hour_ms = ticks_add(self.hour_ms, HOUR_MS)
            for valve in range(len(self.idle_h)):
                self.idle_h[valve] = min(MOST_H, self.idle_h[valve] + 1)
        for valve in range(len(self.idle_h)):
            if position[valve] != self.position[valve]:
                self.position[valve] = position[valve]
                self.idle_h[valve] = 0

    def due_valve(self) -> int:
        """The valve that has stood longest, if too long; of equals the first; -1 if none has."""
        longest = 0
        for valve in range(len(self.idle_h)):
            if self.idle_h[valve] > self.idle_h[longest]:
                longest = valve
        return longest if 0 < self.limit_h <= self.idle_h[longest] else -1

    def exercised(self, valve: int) -> None:
        """It has been tried, whether it moved or not: that is for the valve's guard to say."""
        self.idle_h[valve] = 0

    def left_ms(self, now_ms: int) -> int:
        """How long until a valve falls due in this hour; NO_LIMIT if none does."""
        for idle_h in self.idle_h:
            if idle_h + 1 == self.limit_h:
                return ticks_diff(self.hour_ms, now_ms) + HOUR_MS
        return NO_LIMIT


def full_ml_s(settings: Settings, keep_ml_s: int) -> int:
    """The flow allowed while the battery is full: the smallest set or, by rest_when_full, nothing.

    `keep_ml_s` is what must flow all the same, for frost.
    """
    rules = settings.rules
    return max(keep_ml_s, 0 if rules.rest_when_full else rules.ease_flow_ml_s)
