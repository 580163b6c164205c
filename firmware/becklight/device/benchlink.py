"""The whole device at the end of a pipe, in lock step: its pins are what the frames say, time is what they
say too.

    micropython -m becklight.device.benchlink FOLDER [error]

Each request is an instant with what stands at the board's pins then; the device runs every duty that is
due; each reply is what it has set its pins to, when it wants to be asked again, and, for whoever watches,
what it has ordered and read. Both are 32- and 16-bit little-endian, followed by the console's bytes. Ends
when the pipe does, or after a reply that asks for a reset. "error": the start follows a reset by the
watchdog.
"""

import gc
import struct
import sys

from ..compat import const
from ..readings import COUNT
from .device import Device

QUIET_MS = const(1_000)
COLLECT_EVERY = const(600)  # steps: so often it is told how much memory is left when all garbage is gone
# As wiring.MOST_VALVES and MOST_INPUTS, told again: a constant is folded only in its own file.
VALVES = const(9)
INPUTS = const(16)
# Instant, seconds of the clock, whether the stop is open, bytes of the console that follow; end switches,
# counts.
REQUEST_HEAD = "<iIHH"
ENDS_AT = const(12)
COUNTS_AT = const(12 + VALVES)
REQUEST_BYTES = const(12 + VALVES + 2 * INPUTS)
# When to ask again, next_ms of the orders, steps so far, free heap, uptime; lamp, fed, reset, searching,
# anew, reason, pond's reason, valves out; bytes of text that follow; then motors, openings, readings.
REPLY_HEAD = "<iiiiiBBBBBBBBH"
MOTORS_AT = const(30)
OPENINGS_AT = const(30 + VALVES)
READINGS_AT = const(30 + 3 * VALVES)
REPLY_BYTES = const(30 + 3 * VALVES + 4 * 10)  # readings.COUNT


class BenchBoard:
    """The board's methods over the newest frame."""

    def __init__(self, error: bool) -> None:
        self.error = error
        self.now_ms = 0
        self.seconds = 0
        self.set_seconds = 0
        self.pressed = False
        self.request = bytearray(REQUEST_BYTES)
        self.turning = [0] * VALVES
        self.lit = False
        self.fed = False
        self.resetting = False
        self.heard = b""
        self.said: list[str] = []

    def ticks_ms(self) -> int:
        """The frame's instant."""
        return self.now_ms

    def counts(self, place: int) -> int:
        """As the frame says; -1: it does not answer."""
        at = COUNTS_AT + 2 * place
        low = self.request[at]
        high = self.request[at + 1]
        return -1 if high & 128 else low | high << 8

    def stop_open(self) -> bool:
        """As the frame says."""
        return self.pressed

    def end_bits(self, valve: int) -> int:
        """As the frame says."""
        return self.request[ENDS_AT + valve]

    def motor(self, valve: int, direction: int) -> None:
        """Told in the reply."""
        self.turning[valve] = direction

    def lamp(self, on: bool) -> None:
        """Told in the reply."""
        self.lit = on

    def feed(self) -> None:
        """Told in the reply."""
        self.fed = True

    def clock_s(self) -> int:
        """As the frame says, unless it has been set since."""
        return self.set_seconds or self.seconds

    def set_clock(self, seconds: int) -> None:
        """Stands still from then on: good enough for a bench."""
        self.set_seconds = seconds

    def was_error(self) -> bool:
        """As the command line says."""
        return self.error

    def console_read(self) -> "bytes | None":
        """What came with the frame."""
        heard = self.heard
        self.heard = b""
        return heard or None

    def console_write(self, text: str) -> None:
        """Goes with the reply."""
        self.said.append(text)

    def rs485_read(self) -> "bytes | None":
        """Nothing is on the pair."""
        return None

    def rs485_write(self, buffer: bytearray, count: int) -> None:
        """Nobody hears it."""

    def reset(self) -> None:
        """Told in the reply, after which there is nothing."""
        self.resetting = True

    def free_bytes(self) -> int:
        """Heap left, as far as the interpreter tells."""
        free: int = gc.mem_free() if hasattr(gc, "mem_free") else 0
        return free


class BenchLink:
    """One device, made at the first frame."""

    def __init__(self, folder: str, error: bool) -> None:
        self.folder = folder
        self.board = BenchBoard(error)
        self.device: Device | None = None
        self.steps = 0
        self.free_bytes = 0  # after the newest collection
        self.reply = bytearray(REPLY_BYTES)

    def answer(self, heard: bytes) -> bytes:
        """Run what is due at the instant in `board.request`; the text that follows the reply."""
        board = self.board
        now_ms, board.seconds, stop, _ = struct.unpack_from(REQUEST_HEAD, board.request, 0)
        board.now_ms = now_ms
        board.pressed = stop != 0
        board.heard = heard
        board.fed = False
        if self.device is None:
            self.device = Device(board, self.folder)
            self.device.idle_ms = QUIET_MS
        device = self.device
        if heard:
            device.due_ms[4] = now_ms
        stepped_ms = device.due_ms[1]
        wait_ms = device.run_due(now_ms)
        if device.due_ms[1] != stepped_ms:
            self.steps += 1
            if self.steps % COLLECT_EVERY == 1:
                gc.collect()
                self.free_bytes = board.free_bytes()
        said = "".join(board.said).encode()
        board.said = []
        self._fill(wait_ms, len(said))
        return said

    def _fill(self, wait_ms: int, length: int) -> None:
        board, device, reply = self.board, self.device, self.reply
        assert device is not None
        orders = device.orders
        struct.pack_into(
            REPLY_HEAD,
            reply,
            0,
            wait_ms,
            orders.next_ms,
            self.steps,
            self.free_bytes,
            device.uptime_s,
            1 if board.lit else 0,
            1 if board.fed else 0,
            1 if board.resetting else 0,
            1 if device.drive.searching() else 0,
            1 if device.assumed else 0,
            orders.reason,
            orders.pond_reason,
            orders.out_bits,
            length,
        )
        openings = orders.opening_permille
        for valve in range(VALVES):
            struct.pack_into("<b", reply, MOTORS_AT + valve, board.turning[valve])
            opening = openings[valve] if valve < len(openings) else orders.pond_permille
            struct.pack_into("<H", reply, OPENINGS_AT + 2 * valve, opening)
        for place in range(COUNT):
            struct.pack_into("<i", reply, READINGS_AT + 4 * place, device.readings.values[place])


def serve(folder: str, error: bool, requests, replies) -> None:  # type: ignore[no-untyped-def]
    """Answer requests until there are none; both streams carry bytes."""
    link = BenchLink(folder, error)
    request = link.board.request
    while requests.readinto(request) == len(request):
        length = struct.unpack_from(REQUEST_HEAD, request, 0)[3]
        said = link.answer(requests.read(length) if length else b"")
        replies.write(link.reply)
        if said:
            replies.write(said)
        if link.board.resetting:
            return


if __name__ == "__main__":
    serve(sys.argv[1], len(sys.argv) > 2, sys.stdin.buffer, sys.stdout.buffer)
