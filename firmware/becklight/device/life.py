"""Which duties have shown life; whether the watchdog may be fed.

    life.sign(STEP, now_ms)                 # at the end of each run of a duty
    if life.well(now_ms): board.feed()

Each duty has a time of its own within which it must have come round again. One that hangs, or is never
called, starves the watchdog, which restarts the board: nothing here can be talked into feeding for it.
"""

from ..compat import const
from ..ticks import ticks_diff

DUTIES = ("sample", "step", "move", "write", "talk", "bus")
SAMPLE = const(0)
STEP = const(1)
MOVE = const(2)
WRITE = const(3)
TALK = const(4)
BUS = const(5)

NOBODY = const(-1)
SLOWEST_MS = const(30_000)  # for what drives nothing; chosen by us
PROMPT_MS = const(4_000)  # for what moves valves, beside three of its own turns; chosen by us


class Life:
    """The instant of each duty's last sign."""

    def __init__(self, sample_ms: int, now_ms: int) -> None:
        prompt_ms = 3 * sample_ms + PROMPT_MS
        self.allowed_ms = [prompt_ms, prompt_ms, PROMPT_MS, SLOWEST_MS, SLOWEST_MS, SLOWEST_MS]
        self.seen_ms = [now_ms] * len(DUTIES)

    def sign(self, duty: int, now_ms: int) -> None:
        """This duty has come round."""
        self.seen_ms[duty] = now_ms

    def silent(self, now_ms: int) -> int:
        """A duty that has been silent for too long; NOBODY if all are well."""
        for duty in range(len(self.seen_ms)):
            if ticks_diff(now_ms, self.seen_ms[duty]) > self.allowed_ms[duty]:
                return duty
        return NOBODY

    def well(self, now_ms: int) -> bool:
        """Whether the watchdog may be fed."""
        return self.silent(now_ms) < 0
