"""Answers others on the RS-485 pair: the whole state to read (registers.py), an alarm seen to write.

    server = Server(wiring.rs485)
    wait_ms = server.talk(now_ms, board, device)
    server.answer(frame, device)            # the reply without its CRC; b"" if there is none

Functions 3 and 4 read the same table; 6 and 16 write where a register may be written, and no register moves
water. What cannot be done is answered with the standard's exceptions.
"""

from ..compat import const
from .registers import COUNT, fill, write
from .rtu import Framer, closed

READ_HOLDING = const(3)
READ_INPUT = const(4)
WRITE_ONE = const(6)
WRITE_SEVERAL = const(16)
ILLEGAL_FUNCTION = const(1)
ILLEGAL_ADDRESS = const(2)
ILLEGAL_VALUE = const(3)
FAILURE = const(4)  # of this device: the engine does not take it now
EXCEPTION_BIT = const(0x80)

MOST_READ = const(125)  # registers in one answer, by the standard
MOST_WRITTEN = const(123)
EVERYBODY = const(0)  # an address that all obey and none answers
LOOK_MS = const(10)  # so that an answer comes in time
_MIDST_MS = const(2)  # while a frame is on its way
_MOST = const(1_000_000)


class Server:
    """One question at a time, answered at once."""

    def __init__(self, rs485) -> None:  # type: ignore[no-untyped-def]
        self.address = rs485.server_address
        self.framer = Framer(rs485.baud)
        self.answered = 0

    def talk(self, now_ms: int, board, device) -> int:  # type: ignore[no-untyped-def]
        """Listen, and answer; says in how many ms to come back."""
        frame = self.framer.take(now_ms, board.rs485_read())
        if frame is not None:
            reply = self.answer(frame, device)
            if reply:
                framed = closed(reply)
                board.rs485_write(framed, len(framed))
                self.answered = min(_MOST, self.answered + 1)
        return _MIDST_MS if self.framer.count else LOOK_MS

    def answer(self, frame, device) -> bytes:  # type: ignore[no-untyped-def]
        """What to answer to a frame whose CRC was right; empty if it is for somebody else, or for all."""
        if len(frame) < 2 or frame[0] not in (self.address, EVERYBODY):
            return b""
        function = frame[1]
        if frame[0] == EVERYBODY and function not in (WRITE_ONE, WRITE_SEVERAL):
            return b""
        if function & EXCEPTION_BIT:
            return b""  # no question: somebody else's answer
        if function in (READ_HOLDING, READ_INPUT):
            found = _reading(frame, device)
        elif function == WRITE_ONE:
            found = _writing_one(frame, device)
        elif function == WRITE_SEVERAL:
            found = _writing_several(frame, device)
        else:
            found = ILLEGAL_FUNCTION
        if frame[0] == EVERYBODY:
            return b""
        if isinstance(found, int):
            return bytes((self.address, function | EXCEPTION_BIT, found))
        return bytes((self.address, function)) + found


def _word(frame, place: int) -> int:  # type: ignore[no-untyped-def]
    value: int = frame[place] << 8 | frame[place + 1]
    return value


def _reading(frame, device) -> "bytes | int":  # type: ignore[no-untyped-def]
    if len(frame) != 6:
        return ILLEGAL_VALUE
    first = _word(frame, 2)
    count = _word(frame, 4)
    if not 1 <= count <= MOST_READ:
        return ILLEGAL_VALUE
    if first + count > COUNT:
        return ILLEGAL_ADDRESS
    data = bytearray(2 * count)
    fill(data, first, device)
    return bytes((2 * count,)) + bytes(data)


def _writing_one(frame, device) -> "bytes | int":  # type: ignore[no-untyped-def]
    if len(frame) != 6:
        return ILLEGAL_VALUE
    fault = write(_word(frame, 2), _word(frame, 4), device)
    return fault if fault else bytes(frame[2:6])


def _writing_several(frame, device) -> "bytes | int":  # type: ignore[no-untyped-def]
    if len(frame) < 7:
        return ILLEGAL_VALUE
    first = _word(frame, 2)
    count = _word(frame, 4)
    if not 1 <= count <= MOST_WRITTEN or frame[6] != 2 * count or len(frame) != 7 + 2 * count:
        return ILLEGAL_VALUE
    if count > 1:
        return ILLEGAL_ADDRESS  # no two registers beside each other may be written
    fault = write(first, _word(frame, 7), device)
    return fault if fault else bytes(frame[2:6])
