"""Instruments that waver more than they should: now and then a burst of samples in a row.

Within seconds a plant goes one way; only noise turns back and forth. A reading that turns back MOST_TURNS
times in a burst, by more than its limit each time, makes the burst a noisy one. Noisy bursts more than quiet
ones until NOISY_BURSTS are ahead: found; lost again once the quiet ones have caught up.

    noise = NoiseWatch(limits, sample_ms)       # one limit for each instrument; 0: never looked at
    noise.judge(now_ms, raw, places, steady)
    noise.found[one]
"""

from .compat import const
from .readings import OF_THE_WATER, UNKNOWN
from .rules import NO_LIMIT
from .ticks import ticks_add, ticks_diff

# All chosen by us.
BURST_SAMPLES = const(16)
BURST_MS = const(10_800_000)  # from one burst to the next while all is quiet
AGAIN_MS = const(600_000)  # and while one is in doubt
MOST_WAITS = const(3)  # for valves that move; then pressure and wheel are left out
MOST_TURNS = const(2)
NOISY_BURSTS = const(3)


class NoiseWatch:
    """Which instruments are noisy."""

    def __init__(self, limits: list[int], sample_ms: int) -> None:
        self.limits = limits
        self.sample_ms = sample_ms
        self.found = [False] * len(limits)
        self.score = [0] * len(limits)  # noisy bursts less quiet ones, 0 to NOISY_BURSTS
        self.last = [UNKNOWN] * len(limits)
        self.way = [0] * len(limits)  # of the last move: 1 up, -1 down, 0 a small one
        self.turns = [0] * len(limits)
        self.taken = 0  # samples of this burst
        self.waits = 0  # of this burst, for valves that move
        self.wanted = max(limits) > 0
        self.started = False
        self.due_ms = 0

    def judge(self, now_ms: int, raw: list[int], places: tuple[int, ...], steady: bool) -> None:
        """Take a sample if it is time. `steady`: no valve moves, so pressure and wheel stand still."""
        if not self.wanted:
            return
        if not self.started:
            self.started = True
            self.due_ms = ticks_add(now_ms, AGAIN_MS)
        if ticks_diff(now_ms, self.due_ms) < 0:
            return
        if self.taken == 0 and not steady and self.waits < MOST_WAITS:
            self.waits += 1
            self.due_ms = ticks_add(now_ms, AGAIN_MS)
            return
        self.waits = 0
        for one in range(len(places)):
            place = places[one]
            known = steady or place not in OF_THE_WATER
            self._take(one, raw[place] if known else UNKNOWN)
        self.taken += 1
        if self.taken < BURST_SAMPLES:
            self.due_ms = ticks_add(now_ms, self.sample_ms)
        else:
            self.taken = 0
            self.due_ms = ticks_add(now_ms, AGAIN_MS if self._conclude() else BURST_MS)

    def _take(self, one: int, raw: int) -> None:
        if self.taken == 0:
            self.turns[one] = 0
        last = self.last[one]
        way = 0
        if self.taken > 0 and raw != UNKNOWN and last != UNKNOWN:
            if raw - last > self.limits[one]:
                way = 1
            elif last - raw > self.limits[one]:
                way = -1
            if way != 0 and way == -self.way[one]:
                self.turns[one] += 1
        self.way[one] = way
        self.last[one] = raw

    def _conclude(self) -> bool:
        """Whether any instrument is in doubt after this burst."""
        doubt = False
        for one in range(len(self.limits)):
            if self.limits[one] > 0 and self.turns[one] >= MOST_TURNS:
                self.score[one] = min(NOISY_BURSTS, self.score[one] + 1)
            else:
                self.score[one] = max(0, self.score[one] - 1)
            if self.score[one] == NOISY_BURSTS:
                self.found[one] = True
            elif self.score[one] == 0:
                self.found[one] = False
            doubt = doubt or self.score[one] > 0
        return doubt

    def amid(self) -> bool:
        """Whether the next sample neither begins nor ends a burst."""
        return 0 < self.taken < BURST_SAMPLES - 1

    def left_ms(self, now_ms: int) -> int:
        """How long until the next sample is taken."""
        return ticks_diff(self.due_ms, now_ms) if self.wanted and self.started else NO_LIMIT
