"""The board as the device sees it: counts, motors, switches, lamp, clock, lines, watchdog.

board = Board(profile, None)            # every motor is off before anything else is set up
why = board.wire(wiring)                # a sentence, if the wiring cannot be this board's
board.counts(0)
board.motor(0, 1)                       # the first valve opens

Valves are counted as in the settings, the pond's last; the wiring says which motor moves each. Without a
wiring, or with one that is refused, no motor is ever switched, and there is no clock and no RS-485 line. What
goes wrong here is an answer, never an exception. The watchdog starts when it is first fed and cannot be
stopped: not before, because a start takes as long as it takes.
"""

import gc
import os

import machine
from machine import Pin

from ..compat import const
from .bus import Bus
from .clock import Clock
from .converter import Inputs
from .motors import Motors, outputs_off
from .profile import ENDS, Profile
from .rs485 import Rs485
from .terminal import Terminal
from .uptime import now_ms

WATCHDOG_MS = const(8_000)  # an RP2040's can count to 8.3 s (from memory)
MEANT = "restart_meant"  # a file: the restart was ordered; an RP2040 cannot tell that from its watchdog's
SHUT_BIT = const(1)
OPEN_BIT = const(2)


def _switch(pin: int) -> Pin:
    """A contact to ground."""
    return Pin(pin, Pin.IN, Pin.PULL_UP)


class Board:
    """Pins, converters, lines."""

    def __init__(self, profile: Profile, wiring) -> None:  # type: ignore[no-untyped-def]
        outputs_off(profile)
        self._lamp = Pin(profile.lamp, Pin.OUT, value=0)
        self._watchdog: machine.WDT | None = None
        self._profile = profile
        self._meant = _take_away(MEANT)
        self._stop = _switch(profile.stop)
        self._bus = Bus(profile.i2c)
        self._inputs = Inputs(profile, self._bus)
        self.terminal = Terminal(profile.console)
        self._motors = Motors(profile, [])
        self._ends: list[tuple[Pin, Pin] | None] = []
        self._clock = Clock(None)
        self._line: Rs485 | None = None
        if wiring is not None:
            self.wire(wiring)

    def wire(self, wiring) -> str:  # type: ignore[no-untyped-def]
        """Set up what the wiring names, once; "" or why it cannot be this board's: then nothing is set up."""
        profile = self._profile
        if not wiring.valves:
            return ""  # nothing is known of it
        from .profiles import unfit  # late: it does not stay

        why = unfit(profile, wiring)
        if why:
            return why
        self._motors = Motors(profile, [valve.motor for valve in wiring.valves])
        for valve in wiring.valves:
            row = profile.motors[valve.motor]
            self._ends.append((_switch(row[2]), _switch(row[3])) if valve.feedback == ENDS else None)
        self._clock = Clock(self._bus if wiring.clock else None)
        if wiring.rs485 is not None:
            self._line = Rs485(profile.rs485, wiring.rs485.baud)
        return ""

    # -- what the plant says ---------------------------------------------------------------------------

    def ticks_ms(self) -> int:
        """This instant."""
        return now_ms()

    def counts(self, place: int) -> int:
        """One conversion of an analog input; NO_COUNTS if the converter did not answer."""
        return self._inputs.counts(place)

    def stop_open(self) -> bool:
        """Whether the local stop is pressed, or its wire broken."""
        return self._stop.value() == 1

    def end_bits(self, valve: int) -> int:
        """SHUT_BIT, OPEN_BIT: which ends a valve has reached; 0 if it has no end switches."""
        ends = self._ends[valve] if valve < len(self._ends) else None
        if ends is None:
            return 0
        return (0 if ends[0].value() else SHUT_BIT) | (0 if ends[1].value() else OPEN_BIT)

    # -- what is done ------------------------------------------------------------------------------------

    def motor(self, valve: int, direction: int) -> None:
        """Open (1), shut (-1) or stop (0) a valve."""
        self._motors.run(valve, direction)

    def lamp(self, on: bool) -> None:
        """Light the lamp, or not."""
        self._lamp.value(1 if on else 0)

    # -- time and life -------------------------------------------------------------------------------------

    def feed(self) -> None:
        """Tell the watchdog that all is well."""
        if self._watchdog is None:
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._watchdog.feed()

    def clock_s(self) -> int:
        """Seconds since 2000-01-01 of a clock that has been set, or 0."""
        return self._clock.seconds()

    def set_clock(self, seconds: int) -> None:
        """Set it."""
        self._clock.set(seconds)

    def was_error(self) -> bool:
        """Whether the watchdog restarted the board, and nobody had ordered a restart."""
        return machine.reset_cause() == machine.WDT_RESET and not self._meant

    def reset(self) -> None:
        """Restart the board, now; every motor is off before."""
        self._motors.all_off()
        try:
            with open(MEANT, "w"):
                pass
        except OSError:
            pass  # a full flash: the restart counts as one by the watchdog
        machine.reset()

    def free_bytes(self) -> int:
        """Heap that is left."""
        return gc.mem_free()

    # -- lines -------------------------------------------------------------------------------------------

    def console_read(self) -> "bytes | None":
        """What has come on the console, or None."""
        return self.terminal.read()

    def console_write(self, text: str) -> None:
        """Answer there."""
        self.terminal.write(text)

    def rs485_read(self) -> "bytes | None":
        """What has come on the RS-485 line, or None."""
        return self._line.read() if self._line is not None else None

    def rs485_write(self, buffer: "bytes | bytearray", count: int) -> None:
        """Send the first `count` bytes on it."""
        if self._line is not None:
            self._line.write(buffer, count)


def _take_away(path: str) -> bool:
    """Whether a file was there; it is not any more."""
    try:
        os.remove(path)
        return True
    except OSError:
        return False
