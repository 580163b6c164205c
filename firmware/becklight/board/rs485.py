"""A half-duplex RS-485 line: one direction pin decides who may speak.

line = Rs485((1, 4, 5, 6), 9_600)       # UART, TX, RX, direction
line.write(frame, 8)
line.read()                             # bytes, or None

Eight bits, no parity, one stop bit. The transceiver's two enable inputs are joined on the direction pin, so
that it does not hear itself. A request is short and waited for, so that the answer finds the line free; a
long answer of ours goes out by itself, and the line is let go when somebody next reads.
"""

from machine import UART, Pin

from ..compat import const
from ..ticks import ticks_add, ticks_diff
from .uptime import now_ms, sleep_ms

_WAITED_FOR = const(8)  # bytes: a request of a register by RTU; 8 ms at 9600 baud, 67 ms at 1200
_BITS = const(10)  # a byte on the line
_BUFFER = const(300)  # the longest RTU frame has 256 bytes


class Rs485:
    """One line."""

    def __init__(self, pins: tuple[int, int, int, int], baud: int) -> None:
        number, tx, rx, direction = pins
        self._direction = Pin(direction, Pin.OUT, value=0)  # listening
        Pin(rx, Pin.IN, Pin.PULL_UP)  # a line without a transceiver is quiet
        self._uart = UART(
            number, baudrate=baud, tx=Pin(tx), rx=Pin(rx), txbuf=_BUFFER, rxbuf=_BUFFER, timeout=0
        )
        self._baud = baud
        self._speaking = False
        self._gone_ms = 0  # the last bit has left by then, whatever the UART says

    def write(self, buffer: "bytes | bytearray", count: int) -> None:
        """Send the first `count` bytes."""
        self._let_go()
        if self._speaking:
            return  # the last answer is still going out: the other side will ask again
        self._uart.read()  # what came before is no answer to this
        self._speaking = True
        self._direction.value(1)
        self._gone_ms = ticks_add(now_ms(), count * _BITS * 1_000 // self._baud + 2)
        self._uart.write(memoryview(buffer)[:count])
        while count <= _WAITED_FOR and self._speaking:
            sleep_ms(1)
            self._let_go()

    def read(self) -> "bytes | None":
        """What has come, or None."""
        self._let_go()
        return None if self._speaking else self._uart.read()

    def _let_go(self) -> None:
        """Listen again once everything has been said."""
        if self._speaking and (self._uart.txdone() or ticks_diff(now_ms(), self._gone_ms) >= 0):
            self._direction.value(0)
            self._speaking = False
