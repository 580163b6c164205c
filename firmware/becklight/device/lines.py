"""Bytes gathered into lines: \\r, \\n or both end one. What is no line of plain ASCII is dropped whole.

    lines = Lines()
    if lines.add(byte) == LINE: lines.text()

An overlong line is dropped up to its end, never taken for two.
"""

from ..compat import const

LONGEST = const(400)  # of any line; chosen by us
MORE = const(0)  # what came is not yet a line
LINE = const(1)
OVERLONG = const(2)
GARBLED = const(3)

_BACKSPACE = const(8)
_TAB = const(9)
_DELETE = const(127)


class Lines:
    """One line at a time, in a buffer made once."""

    def __init__(self) -> None:
        self.buffer = bytearray(LONGEST)
        self.count = 0
        self.overlong = False
        self.garbled = False
        self.odd_byte = 0  # the first one that is not plain ASCII

    def add(self, byte: int) -> int:
        """Take in a byte; says whether a line has ended with it, and which kind."""
        if byte == 10 or byte == 13:
            return self._end()
        if byte in (_BACKSPACE, _DELETE):  # somebody types by hand
            self.count = max(0, self.count - 1)
        elif byte != _TAB and not 32 <= byte < 127:
            if not self.garbled:
                self.odd_byte = byte
            self.garbled = True
        elif self.count == LONGEST:
            self.overlong = True
        else:
            self.buffer[self.count] = 32 if byte == _TAB else byte
            self.count += 1
        return MORE

    def text(self) -> str:
        """The line that has just ended; empty from the next byte on."""
        text = str(memoryview(self.buffer)[: self.count], "ascii")
        self.count = 0
        return text

    def _end(self) -> int:
        state = LINE if self.count else MORE  # an empty line is no line: \r\n ends one, not two
        if self.overlong:
            state = OVERLONG
        elif self.garbled:
            state = GARBLED
        if state != LINE:
            self.count = 0
        self.overlong = False
        self.garbled = False
        return state
