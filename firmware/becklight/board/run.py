"""The main loop of a board: one task for each duty of the device, and one that feeds the watchdog.

    device, board = run.start("")       # main.py does; what it raises is for main.py
    run.loop(device, board)             # returns only to the REPL

The device watches over its duties itself: one that raises is handed to device.fail(), which closes the plant
by its slow ramps and restarts the board. What even that cannot bear stops the motors here, and that duty
shows no more life, so that the watchdog restarts the board. A duty that hangs holds up all: the same.

Before anything is started Ctrl-C breaks off to the REPL, for WINDOW_MS, with every motor off: the way in if
what is installed does not run. Later Ctrl-C at the USB line asks for the REPL and gets it only when all is
shut: the owner's stop is ordered, the plant closes by its slow ramps, and once every valve is shut and at
rest the duties end and the motors are off. The REPL lasts LEFT_MS; a timer feeds the watchdog meanwhile. Then
the board restarts and carries on, for whoever asked may have gone home; the stop ends then too, if it never
came to that.
"""

import asyncio
import gc
import sys

from machine import Timer

from ..compat import const
from ..device.device import Device
from ..device.life import DUTIES
from ..passing import drop
from ..refused import Refused
from ..ticks import ticks_diff
from ..wishes import STOP
from .board import Board
from .uptime import sleep_ms

FOLDER = "store"
MOST_VALVES = const(9)
WINDOW_MS = const(2_000)  # chosen by us: long enough for a program that sends Ctrl-C again and again
FLASH_MS = const(100)  # meanwhile the lamp is lit; flashing, if the code chosen is not the one named
FEED_MS = const(500)  # how often it is asked whether all is well, and whether somebody may leave
LEFT_MS = const(1_800_000)  # half an hour at the REPL, and to get there; chosen by us
SAY_MS = const(10_000)  # how often somebody who waits is told what for


class Leaving:
    """Somebody at the USB line wants the REPL."""

    def __init__(self) -> None:
        self.wanted = False
        self.since_ms = 0
        self.said_ms = 0

    def ask(self, device, now_ms: int) -> None:  # type: ignore[no-untyped-def]
        """Order what closes the plant; it ends by itself."""
        if not self.wanted:
            self.wanted = True
            self.since_ms = now_ms
            device.engine.wish(now_ms, STOP, LEFT_MS, 0, 0)
        self._say(device, now_ms)

    def may(self, device, now_ms: int) -> bool:  # type: ignore[no-untyped-def]
        """Whether they want it, and all is shut now."""
        if not self.wanted:
            return False
        if not what_is_open(device):
            return True
        if ticks_diff(now_ms, self.since_ms) >= LEFT_MS:
            self.wanted = False
        elif ticks_diff(now_ms, self.said_ms) >= SAY_MS:
            self._say(device, now_ms)
        return False

    def _say(self, device, now_ms: int) -> None:  # type: ignore[no-untyped-def]
        self.said_ms = now_ms
        here = what_is_open(device)
        if here:
            print("the REPL comes when all is shut: {}; the plant closes by its slow ramps".format(here))


def what_is_open(device) -> str:  # type: ignore[no-untyped-def]
    """What keeps somebody from leaving, in words; "" if every valve is shut and at rest."""
    drive = device.drive
    for valve in range(len(drive.valves)):
        permille = drive.position(valve)
        if permille > 0:
            return "valve {} is open by {} permille".format(valve + 1, permille)
    return "a valve is still run on to its end" if drive.busy() else ""


def motors_off(board) -> None:  # type: ignore[no-untyped-def]
    """Every motor off, whoever thinks otherwise."""
    for valve in range(MOST_VALVES):
        board.motor(valve, 0)


async def _attend(device, board, duty: int) -> None:  # type: ignore[no-untyped-def]
    """One duty, for ever."""
    try:
        while True:
            now_ms = board.ticks_ms()
            wait_ms = device.run(duty, now_ms)
            wait_ms -= ticks_diff(board.ticks_ms(), now_ms)
            await asyncio.sleep_ms(max(0, wait_ms))
    except Exception as error:
        motors_off(board)
        print("{} has failed ({!r}); the watchdog will restart the board".format(DUTIES[duty], error))


async def _all(device, board) -> None:  # type: ignore[no-untyped-def]
    """Every duty; feeds the watchdog while all is well, and returns when somebody may leave."""
    for duty in range(len(DUTIES)):
        asyncio.create_task(_attend(device, board, duty))
    leaving = Leaving()
    while True:
        now_ms = board.ticks_ms()
        device.feed(now_ms)
        if board.terminal.interrupted:
            board.terminal.interrupted = False
            leaving.ask(device, now_ms)
        if leaving.may(device, now_ms):
            return
        await asyncio.sleep_ms(FEED_MS)


class Left:
    """Feeds the watchdog for somebody at the REPL, for so long and no longer."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._left = LEFT_MS // FEED_MS
        self._timer = Timer(-1 if sys.platform == "rp2" else 0)
        self._timer.init(period=FEED_MS, mode=Timer.PERIODIC, callback=self.tick)

    def tick(self, timer: Timer) -> None:
        """Once every FEED_MS."""
        self._left -= 1
        if self._left > 0:
            self._board.feed()
        else:
            self._board.reset()


def _refuse(device, why: str) -> None:  # type: ignore[no-untyped-def]
    """The settings are another board's: as if there were none."""
    device.settings = None
    device.engine = Refused(why)
    device.why = why


def start(trouble: str) -> "tuple[Device, Board]":
    """The device over its board, ready to run, every motor off. `trouble`: what main.py has to say, or ""."""
    from .profiles import of_platform  # late: all the other boards do not stay

    profile = of_platform(sys.platform)
    if profile is None:
        raise RuntimeError("no profile for a board of platform {}".format(sys.platform))
    board = Board(profile, None)
    for text in (trouble, "Ctrl-C within {} s for the REPL".format(WINDOW_MS // 1_000)):
        if text:
            print(text)
    for flash in range(WINDOW_MS // FLASH_MS):
        board.lamp(not trouble or flash % 2 == 0)
        sleep_ms(FLASH_MS)
    board.lamp(False)
    device = Device(board, FOLDER)
    why = board.wire(device.wiring)
    drop("becklight.board.profiles")
    if why:
        _refuse(device, why)
    if device.why:
        print(device.why)
    return device, board


def loop(device: Device, board: Board) -> None:
    """Run; returns only for the REPL, with every valve shut and every motor off."""
    gc.collect()
    board.terminal.take_ctrl_c(True)
    try:
        asyncio.run(_all(device, board))
    except Exception as error:
        print("the loop has failed: {!r}".format(error))
        board.reset()  # motors off
    motors_off(board)
    board.lamp(False)
    board.terminal.take_ctrl_c(False)
    Left(board)
    minutes = LEFT_MS // 60_000
    print("all is shut and the motors are off; in {} min the board restarts and carries on".format(minutes))
