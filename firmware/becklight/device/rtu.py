"""Frames of the open serial standard: who, what, data, CRC-16; 3.5 characters' silence ends one.

    framer = Framer(baud)
    frame = framer.take(now_ms, data)       # data: what has come since the last time; a memoryview, or None
    reply = closed(b"\\x01\\x03\\x02\\x00\\x07")    # with its CRC

From memory of "MODBUS over Serial Line, Specification and Implementation Guide V1.02": 11 bits a character,
3.5 characters between frames, fixed at 1.75 ms above 19 200 baud, CRC low byte first. Silence is judged by
the caller's instants, whole milliseconds: one is added, so that a byte just on its way is never cut off.
"""

from ..compat import const
from ..ticks import ticks_diff

LONGEST = const(256)  # of a frame, by the standard
LEAST = const(4)  # address, function, CRC
_BITS = const(11)  # of a character: start, 8, parity or second stop, stop
_FAST_BAUD = const(19_200)
_POLYNOMIAL = const(0xA001)  # x16 + x15 + x2 + 1, bits turned round


def crc16(data, count: int) -> int:  # type: ignore[no-untyped-def]
    """CRC of the first `count` bytes."""
    crc = 0xFFFF
    for place in range(count):
        crc ^= data[place]
        for _ in range(8):
            crc = (crc >> 1) ^ _POLYNOMIAL if crc & 1 else crc >> 1
    return crc


def closed(data: bytes) -> bytes:
    """A frame with its CRC."""
    crc = crc16(data, len(data))
    return data + bytes((crc & 0xFF, crc >> 8))


def gap_ms(baud: int) -> int:
    """The silence that ends a frame, as told by whole milliseconds."""
    if baud > _FAST_BAUD:
        return 3  # 1.75 ms
    return (35 * _BITS * 100 + baud - 1) // baud + 1


def frame_ms(baud: int, count: int) -> int:
    """How long so many bytes take on the line, rounded up."""
    return (count * _BITS * 1000 + baud - 1) // baud


class Framer:
    """Bytes gathered into one frame at a time, in a buffer made once."""

    def __init__(self, baud: int) -> None:
        self.gap_ms = gap_ms(baud)
        self.buffer = bytearray(LONGEST)
        self.count = 0
        self.overlong = False
        self.last_ms = 0  # when a byte was last seen, while some are there

    def take(self, now_ms: int, data: "bytes | None") -> "memoryview | None":
        """Take in what has come; the frame without its CRC, once silence has ended a sound one."""
        if data:
            for byte in data:
                if self.count < LONGEST:
                    self.buffer[self.count] = byte
                    self.count += 1
                else:
                    self.overlong = True
            self.last_ms = now_ms
            return None
        if self.count == 0 or ticks_diff(now_ms, self.last_ms) < self.gap_ms:
            return None
        count = self.count
        sound = not self.overlong and count >= LEAST
        self.drop()
        if not sound or crc16(self.buffer, count - 2) != self.buffer[count - 2] | self.buffer[count - 1] << 8:
            return None
        return memoryview(self.buffer)[: count - 2]

    def drop(self) -> None:
        """Forget what has come so far."""
        self.count = 0
        self.overlong = False
