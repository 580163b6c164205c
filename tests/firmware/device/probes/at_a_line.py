"""A whole device in MicroPython, one of its lines being standard input and output.

    micropython at_a_line.py STORE console | pair

Its inputs and motors are made up: every valve is shut and says so, the inputs show what a sound plant shows.
Ends when the input does, or when the board restarts.
"""

import json
import select
import sys
import time

from becklight.device.device import Device
from becklight.readings import LEVEL_MM, UNKNOWN

COUNTS = (5_000, 14_000, 17_250, 10_500, 4_000)
SHUT_COUNTS = 1_000  # of every potentiometer
POTS_FROM = 7


class Board:
    """The methods of a board; `typed` and `said` by the line that is connected."""

    def __init__(self, line):
        self.line = line
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        self.ended = False
        self.seconds = 0

    def _read(self):
        data = b""
        while len(data) < 300 and not self.ended:
            events = self.poll.poll(0)
            if not events:
                break
            byte = sys.stdin.buffer.read(1) if events[0][1] & select.POLLIN else b""
            if byte:
                data += byte
            else:
                self.ended = True
        return data or None

    def ticks_ms(self):
        return time.ticks_ms() & 0x1FFFFFFF

    def counts(self, place):
        return SHUT_COUNTS if place >= POTS_FROM else COUNTS[place]

    def stop_open(self):
        return False

    def end_bits(self, valve):
        return 0

    def motor(self, valve, direction):
        pass

    def lamp(self, on):
        pass

    def feed(self):
        pass

    def clock_s(self):
        return self.seconds

    def set_clock(self, seconds):
        self.seconds = seconds

    def was_error(self):
        return False

    def console_read(self):
        return self._read() if self.line == "console" else None

    def console_write(self, text):
        sys.stdout.write(text)

    def rs485_read(self):
        return self._read() if self.line == "pair" else None

    def rs485_write(self, buffer, count):
        sys.stdout.buffer.write(bytes(buffer[:count]))

    def reset(self):
        self.ended = True

    def free_bytes(self):
        import gc

        return gc.mem_free()


board = Board(sys.argv[2])
device = Device(board, sys.argv[1])
asks = (
    device.rs485.client is not None
)  # then the line is the level transmitter's, and ends when it has answered
while not board.ended and not device.failing:
    wait_ms = device.run_due(board.ticks_ms())
    if asks and device.readings.values[LEVEL_MM] != UNKNOWN:
        break
    time.sleep_ms(min(wait_ms, 2))
told = {"level_mm": device.readings.values[LEVEL_MM], "why": device.why, "failing": device.failing}
sys.stderr.write(json.dumps(told))
