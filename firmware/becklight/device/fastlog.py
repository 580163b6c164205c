"""One input a hundred times a second, up to 20 s: the pressure of a closure, to lay beside the computed.

    log = FastLog()
    log.start(input, 500, now_ms, True, openings)       # 5 s, from a second before the next stroke on
    wait_ms = log.tend(now_ms, board, openings, anew)   # at every 10 ms slot
    log.state, log.count, log.at(0)                     # MISSED where nobody looked in time

A slot is 10 ms; a sample taken in it stands for it. A slot in which nobody looked is marked, never filled in.
While it waits for a stroke the ring goes round. Its memory is taken by start(), as much as it needs.
"""

import gc
from array import array

from ..compat import const
from ..ticks import ticks_add, ticks_diff
from .wiring import MOST_COUNTS

SLOT_MS = const(10)
MOST = const(2_000)  # samples: 20 s, 4 kB
BEFORE = const(100)  # samples kept from before a stroke: 1 s; chosen by us
MISSED = const(-1)  # nobody looked, or the converter did not answer; counts are 0 and more
LONGEST_WAIT = const(360_000)  # slots that it waits for a stroke: an hour; chosen by us

IDLE = const(0)
ARMED = const(1)  # waits for a stroke
RUNNING = const(2)
DONE = const(3)
STATES = ("idle", "armed", "running", "done")

NO_STROKE = const(-1)
_MOST_VALVES = const(16)


class FastLog:
    """One record at a time."""

    def __init__(self) -> None:
        self.ring = array("h")
        self.stood = array("h", [0] * _MOST_VALVES)  # openings while armed
        self.state = IDLE
        self.input = 0
        self.wanted = 0  # samples
        self.slot = 0  # the next one, counted from the start
        self.ends = 0  # the record ends before this slot, while running
        self.due_ms = 0  # when the next slot begins, while armed or running
        self.late_ms = 0  # how late within its slot the latest sample was
        self.missed = 0
        self.first = 0  # slot of the first sample of the record
        self.count = 0  # samples of the record
        self.stroke = NO_STROKE  # which sample of the record the stroke begins with

    def start(self, place: int, wanted: int, now_ms: int, at_stroke: bool, openings: "list[int]") -> bool:
        """Begin anew, forgetting what was recorded; False, and nothing is recorded, if that is too much."""
        if not 0 < wanted <= MOST or not self._take(wanted):
            return False
        self.input = place
        self.wanted = wanted
        self.slot = 0
        self.due_ms = now_ms
        self.late_ms = 0
        self.missed = 0
        self.first = 0
        self.count = 0
        self.stroke = NO_STROKE
        self.ends = wanted
        self.state = ARMED if at_stroke else RUNNING
        self._moved(openings)
        return True

    def _take(self, wanted: int) -> bool:
        """Room for so many samples, in the place of what there was; False if memory has none."""
        self.state = IDLE
        self.count = 0
        self.ring = array("h")
        gc.collect()
        try:
            self.ring = array("h", bytes(2 * wanted))  # not from a list, which would take four times as much
        except MemoryError:
            return False
        for slot in range(wanted):
            self.ring[slot] = MISSED
        return True

    def stop(self) -> None:
        """End it; what has been recorded stays."""
        if self.state == RUNNING:
            self._finish()
        elif self.state == ARMED:
            self.state = IDLE

    def tend(self, now_ms: int, board, openings: "list[int]", anew: int) -> int:  # type: ignore[no-untyped-def]
        """Take this slot's sample; in how many ms the next one begins, -1 while nothing is recorded."""
        if not self.recording():
            return -1
        if self.state == ARMED and self._moved(openings) and not anew:
            self.state = RUNNING
            kept = min(self.slot, min(BEFORE, self.wanted // 2))
            self.first = self.slot - kept
            self.ends = self.first + self.wanted
            self.stroke = kept
        late_ms = ticks_diff(now_ms, self.due_ms)
        if late_ms < 0:
            return -late_ms
        while late_ms >= SLOT_MS and self.recording():
            self._put(MISSED)
            late_ms -= SLOT_MS
        if self.recording():
            self.late_ms = max(self.late_ms, late_ms)
            self._put(board.counts(self.input))
        if not self.recording():
            return -1
        return max(0, ticks_diff(self.due_ms, now_ms))

    def recording(self) -> bool:
        """Whether slots are being filled."""
        return self.state == ARMED or self.state == RUNNING

    def at(self, place: int) -> int:
        """One sample of the record, from 0."""
        return self.ring[(self.first + place) % self.wanted]

    def _put(self, counts: int) -> None:
        """Fill the next slot."""
        self.ring[self.slot % self.wanted] = min(counts, MOST_COUNTS)
        self.slot += 1
        self.due_ms = ticks_add(self.due_ms, SLOT_MS)
        if self.state == RUNNING and self.slot >= self.ends:
            self._finish()
        elif self.state == ARMED and self.slot >= LONGEST_WAIT:
            self.state = IDLE

    def _finish(self) -> None:
        self.state = DONE
        self.count = self.slot - self.first
        for place in range(self.count):
            if self.at(place) < 0:
                self.missed += 1

    def _moved(self, openings: "list[int]") -> bool:
        """Whether an opening is another than when it was last asked."""
        moved = False
        for valve in range(min(len(openings), _MOST_VALVES)):
            if self.stood[valve] != openings[valve]:
                self.stood[valve] = openings[valve]
                moved = True
        return moved
