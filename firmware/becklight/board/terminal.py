"""Where the console's lines come from: USB, and a UART where the board has pins for one.

terminal = Terminal((0, 0, 1))
terminal.read()             # bytes, or None; not blocking
terminal.write("ok\\n")      # to whoever spoke last
terminal.interrupted        # Ctrl-C has come by USB since it was last set False

Both may be connected at once, but not in the middle of a line: when the other begins to speak, what was begun
is ended by a line feed, so that the two halves never make an order. Ctrl-C must not break off a duty in its
middle, so MicroPython is told to leave it to us; it is heard by USB alone, for noise on a long line says it
too.
"""

import select
import sys

import micropython
from machine import UART, Pin

from ..compat import const

_BAUD = const(115_200)
_MOST = const(256)  # bytes taken at once, so that a flood cannot keep the loop from its duties; chosen by us
_BUFFER = const(512)  # a line, and the next
_CTRL_C = const(3)


class Terminal:
    """The console's two ends."""

    def __init__(self, pins: "tuple[int, int, int] | None") -> None:
        self._usb = select.poll()
        self._usb.register(sys.stdin, select.POLLIN)
        self._uart = None
        if pins is not None:
            number, tx, rx = pins
            Pin(rx, Pin.IN, Pin.PULL_UP)  # an open plug says nothing
            self._uart = UART(
                number, baudrate=_BAUD, tx=Pin(tx), rx=Pin(rx), txbuf=_BUFFER, rxbuf=_BUFFER, timeout=0
            )
        self._to_uart = False
        self._unsent = b""  # of an answer longer than the UART's buffer
        self.interrupted = False

    def take_ctrl_c(self, ours: bool) -> None:
        """Whether Ctrl-C comes as a byte, or breaks off whatever runs, as at the REPL."""
        micropython.kbd_intr(-1 if ours else _CTRL_C)

    def read(self) -> "bytes | None":
        """What has come."""
        said = self._usb_read()
        if said:
            return self._from(False, said)
        self._send()
        if self._uart is not None and not self._unsent:  # one answer after the other
            told = self._uart.read(_MOST)
            if told:
                return self._from(True, told)
        return None

    def write(self, text: str) -> None:
        """Answer."""
        if self._to_uart and self._uart is not None:
            self._unsent += text.encode()
            self._send()
        else:
            sys.stdout.write(text)

    def _send(self) -> None:
        """As much of an answer by UART as it takes now; the rest when somebody next reads."""
        if self._unsent and self._uart is not None:
            self._unsent = self._unsent[self._uart.write(self._unsent) or 0 :]

    def _usb_read(self) -> bytes:
        said = bytearray()
        while len(said) < _MOST and self._usb.poll(0):
            byte = sys.stdin.buffer.read(1)
            if not byte:
                break  # the end of a pipe is always ready to be read
            if byte[0] == _CTRL_C:
                self.interrupted = True
            else:
                said.extend(byte)
        return bytes(said)

    def _from(self, uart: bool, said: bytes) -> bytes:
        if uart == self._to_uart:
            return said
        self._to_uart = uart
        return b"\n" + said
