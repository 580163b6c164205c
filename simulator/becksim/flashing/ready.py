"""A board made ready to be written: every jet shut, nothing moving, MicroPython at its prompt.

A running device is asked at its console first, and never interrupted while a jet is open or a valve moves.
What is ordered here is `stop`, which only closes; it ends by itself, or with the restart.
"""

import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from becksim.console_link import BAUD, ConsoleLink, LinkError, open_link
from becksim.errors import UserError

DEVICE, PROMPT, SILENT = "device", "prompt", "silent"  # what answers at a port
PROMPT_END = b">>> "
LISTEN_S = 3.0  # a console that is busy with a duty answers within; chosen by us
PROMPT_S = 20.0  # the device leaves for the prompt within, if all is shut; chosen by us
STOP_MINUTES = 60  # so long nothing opens, should the flash not come to its end; chosen by us
ASK_S = 2.0  # between two questions while valves close; chosen by us
SHUT_PERMILLE = 100  # a position further off is not shut, whatever a potentiometer's end is; chosen by us
MOST_CLOSING_S = 7_200.0  # eight strokes of 15 minutes; chosen by us

Tell = Callable[[int, int], None]


@dataclass(frozen=True)
class Found:
    """What answers at a port, and what a device says of itself (empty if it is none)."""

    kind: str
    state: dict[str, Any]


def listen(port: str) -> str:
    """What answers at a port: a device, MicroPython's prompt, or nothing.

    Parameters
    ----------
    port : str
        Such as /dev/ttyACM0 or COM5.

    Raises
    ------
    UserError
        If it cannot be opened.
    """
    with open_link(port):  # tells in its own words if that cannot be done
        pass
    import serial

    with closing(serial.Serial(port, BAUD, timeout=0.1, write_timeout=LISTEN_S)) as line:
        # A prompt answers with a banner and itself; a console with a line of JSON that refuses the byte.
        line.write(b"\x02\r\n")
        heard = _read_until(line, lambda heard: _is_prompt(heard) or b'"ok"' in heard, LISTEN_S)
    if b'"ok"' in heard:
        return DEVICE
    return PROMPT if _is_prompt(heard) else SILENT


def make_ready(port: str, close_first: bool, tell: Tell) -> Found:
    """Bring a board to its prompt, with every jet shut.

    Parameters
    ----------
    port : str
        Such as /dev/ttyACM0 or COM5.
    close_first : bool
        Whether open jets are to be closed, slowly, rather than refused.
    tell : callable
        Told how much of the openings is closed.

    Returns
    -------
    Found
        What was there, the state as before.

    Raises
    ------
    UserError
        If nothing answers, a jet is open, or does not close.
    """
    kind = listen(port)
    if kind == SILENT:
        raise UserError(
            f"--port {port}: neither becklight nor MicroPython's prompt answers there. Is it the right port, "
            "and is MicroPython on the board? If the board hangs: shut every jet by its hand valve, then cut "
            "its supply for a moment and try again."
        )
    if kind == PROMPT:
        return Found(PROMPT, {})
    with open_link(port) as link:
        state = shut(link, close_first, tell)
    _leave_for_prompt(port)
    return Found(DEVICE, state)


def shut(
    link: ConsoleLink,
    close_first: bool,
    tell: Tell,
    sleep: Callable[[float], None] = time.sleep,
) -> dict[str, Any]:
    """See that every jet is shut and stays so; the state as it was found.

    Raises
    ------
    UserError
        If a jet is open and may not be closed, or does not close.
    """
    before = state = link.order("state")
    opened = _ordered_open(before)
    if opened and not close_first:
        raise UserError(
            f"Not while water runs: {_named(opened)}. Stop the plant first, or have it closed by its own "
            "slow ramps with --close-first. Nothing has been changed."
        )
    if state.get("rules", True):  # without rules it closes by itself, opens nothing, and takes no orders
        link.order(f"stop {STOP_MINUTES}", yes=True)
    whole = sum(opened.values())
    waited_s = 0.0
    while _ordered_open(state) or state.get("moving"):
        left = sum(_ordered_open(state).values())
        tell(max(0, whole - left), max(1, whole))
        if waited_s >= MOST_CLOSING_S:
            raise UserError(
                f"Not shut after {waited_s / 60.0:.0f} minutes: {_named(_ordered_open(state))}; go and look. "
                "The firmware has not been changed; the device stays stopped."
            )
        sleep(ASK_S)
        waited_s += ASK_S
        state = link.order("state")
    tell(1, 1)
    if strays := {
        f"valve {place + 1}": permille
        for place, permille in enumerate(state.get("positions", ()))
        if permille is not None and permille > SHUT_PERMILLE
    }:
        raise UserError(
            f"Ordered shut, but by its feedback not so: {_named(strays)}. Go and look, and shut its hand "
            "valve. The firmware has not been changed; the device stays stopped."
        )
    return before


def _ordered_open(state: dict[str, Any]) -> dict[str, int]:
    """What is ordered of each valve that is not ordered shut."""
    rows = {f"valve {place + 1}": permille for place, permille in enumerate(state["openings"])}
    rows["the pond's valve"] = state.get("pond") or 0
    return {name: permille for name, permille in rows.items() if permille}


def _named(rows: dict[str, int]) -> str:
    return ", ".join(f"{name} at {permille} permille" for name, permille in rows.items())


def _leave_for_prompt(port: str) -> None:
    """Ask the device for MicroPython's prompt; it goes there only with everything shut."""
    import serial

    with closing(serial.Serial(port, BAUD, timeout=0.1, write_timeout=LISTEN_S)) as line:
        line.write(b"\x03")
        heard = _read_until(line, _is_prompt, PROMPT_S)
    if not _is_prompt(heard):
        raise LinkError(
            f"--port {port}: the device has not left for MicroPython's prompt within {PROMPT_S:.0f} s. The "
            f"firmware has not been changed; it stays stopped for {STOP_MINUTES} minutes, or until `resume`."
        )


def _is_prompt(heard: bytes) -> bool:
    return heard.endswith(PROMPT_END)


def _read_until(line: Any, done: Callable[[bytes], bool], longest_s: float) -> bytes:
    heard = b""
    until_s = time.monotonic() + longest_s
    while not done(heard) and time.monotonic() < until_s:
        heard += line.read(max(1, line.in_waiting))
    return heard
