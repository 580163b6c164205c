"""Asks a level transmitter on the RS-485 pair, once a second.

What does not answer soundly is not put: the level then becomes unknown by its age (Readings.expire), as one
whose wire is broken.

    client = LevelClient(wiring.rs485)
    wait_ms = client.talk(now_ms, board, readings)
    client.good, client.silent, client.exceptions, client.last_exception

One register, taken as signed 16 bits: level_mm = counts * level_mm_per_count_x1000 / 1000 + level_offset_mm.
An answer from another address, of another function or length, or with a wrong CRC is as if it had not come.
"""

from ..compat import const
from ..readings import LEVEL_MM
from ..ticks import ticks_add, ticks_diff
from .rtu import Framer, closed, frame_ms

READ_HOLDING = const(3)
READ_INPUT = const(4)
EXCEPTION_BIT = const(0x80)
# Chosen by us.
EVERY_MS = const(1_000)  # as often as the other inputs are sampled
WITHIN_MS = const(200)  # for an answer to begin and end, beside its own time on the line
TRIES = const(3)  # in each second at most so many
LOOK_MS = const(5)  # while an answer is due
_MOST = const(1_000_000)  # counters end here
_REQUEST_BYTES = const(8)
_ANSWER_BYTES = const(7)

_RESTS = const(0)
_WAITS = const(1)


class LevelClient:
    """One question at a time, asked again if nothing sound comes."""

    def __init__(self, rs485) -> None:  # type: ignore[no-untyped-def]
        self.address = rs485.level_address
        self.function = rs485.level_function  # READ_HOLDING or READ_INPUT
        self.mm_x1000 = rs485.level_mm_per_count_x1000
        self.offset_mm = rs485.level_offset_mm
        register = rs485.level_register
        head = bytes((self.address, self.function, register >> 8, register & 0xFF, 0, 1))
        self.request = closed(head)
        self.framer = Framer(rs485.baud)
        self.within_ms = WITHIN_MS + frame_ms(rs485.baud, _REQUEST_BYTES + _ANSWER_BYTES) + self.framer.gap_ms
        self.state = _RESTS
        self.started = False
        self.tries = 0
        self.next_ms = 0  # the next question, once started
        self.due_ms = 0  # the answer, while waiting
        self.good = 0
        self.silent = 0  # seconds without a sound answer
        self.exceptions = 0
        self.last_exception = 0

    def talk(self, now_ms: int, board, readings) -> int:  # type: ignore[no-untyped-def]
        """Ask, listen or rest; says in how many ms to come back."""
        if not self.started:
            self.started = True
            self.next_ms = now_ms
        frame = self.framer.take(now_ms, board.rs485_read())
        if self.state == _WAITS:
            if frame is not None and self._take(frame, now_ms, readings):
                self.state = _RESTS
            elif ticks_diff(now_ms, self.due_ms) >= 0:
                self.state = _RESTS
                if self.tries < TRIES:
                    self._ask(now_ms, board)
                else:
                    self.silent = min(_MOST, self.silent + 1)
            if self.state == _WAITS:
                return LOOK_MS
        wait_ms = ticks_diff(self.next_ms, now_ms)
        if wait_ms > 0:
            return min(wait_ms, EVERY_MS)
        self.tries = 0
        self.next_ms = ticks_add(now_ms, EVERY_MS)
        self._ask(now_ms, board)
        return LOOK_MS

    def _ask(self, now_ms: int, board) -> None:  # type: ignore[no-untyped-def]
        self.framer.drop()  # what came before the question is no answer to it
        board.rs485_write(self.request, len(self.request))
        self.tries += 1
        self.state = _WAITS
        self.due_ms = ticks_add(now_ms, self.within_ms)

    def _take(self, frame, now_ms: int, readings) -> bool:  # type: ignore[no-untyped-def]
        """Whether a frame is the answer: a value is put, an exception noted."""
        if len(frame) < 3 or frame[0] != self.address:
            return False
        if frame[1] == self.function | EXCEPTION_BIT and len(frame) == 3:
            self.exceptions = min(_MOST, self.exceptions + 1)
            self.last_exception = frame[2]
            return True  # it has answered: asking again at once would not change its mind
        if frame[1] != self.function or len(frame) != _ANSWER_BYTES - 2 or frame[2] != 2:
            return False
        counts = frame[3] << 8 | frame[4]
        if counts >= 0x8000:
            counts -= 0x10000
        level_mm = (counts * self.mm_x1000 + 500) // 1000 + self.offset_mm
        self.good = min(_MOST, self.good + 1)
        readings.put(LEVEL_MM, level_mm, now_ms)
        return True
