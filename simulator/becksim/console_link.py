"""A serial line to the console of a device: one line out, one JSON object back.

with open_link("/dev/ttyACM0") as link:
    link.ask("state")["reason"]
    link.ask("jog 0 100", yes=True)       # yes: a person has said so; only then its code is sent back
"""

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Protocol

from becksim.errors import UserError

BAUD = 115_200  # of a USB line it does not matter, of an adapter's it is the usual one; chosen by us
ANSWER_S = 5.0  # within this an answer begins and ends: a step, a journal write and 20 records; chosen by us
PIECE_S = 0.2  # how long one read waits; chosen by us
MOST_BYTES = 20_000  # more than any answer: without an end of line it is garbage
RETURN_S = 120.0  # a board that restarts closes its valves first and then comes back; chosen by us


class LinkError(UserError):
    """The line does not answer as it should."""


class Refused(UserError):
    """The device has refused an order; the sentence is its own."""


class Stream(Protocol):
    """A byte stream whose reads end after a short while, as pyserial's ports are."""

    def read(self, size: int) -> bytes:
        """What has come, at most so much; empty if nothing has come for a short while."""

    def write(self, data: bytes) -> Any:
        """Send."""

    def close(self) -> None:
        """Close it."""


class ConsoleLink:
    """Questions to the device, one at a time.

    Parameters
    ----------
    connect : callable
        Opens the stream; called again after the line has been lost.
    answer_s : float
        How long to wait for an answer. [s]
    clock : callable
        Seconds that only rise. [s]
    sleep : callable
        Waits so many seconds.

    Raises
    ------
    LinkError
        If the stream cannot be opened.
    """

    def __init__(
        self,
        connect: Callable[[], Stream],
        answer_s: float = ANSWER_S,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._connect = connect
        self._answer_s = answer_s
        self._clock = clock
        self._sleep = sleep
        self._rest = b""
        self.garbage = 0  # lines that were no answer
        self._stream: Stream | None = connect()

    def ask(self, line: str, *, yes: bool = False) -> dict[str, Any]:
        """Send one line and wait for its answer.

        Parameters
        ----------
        line : str
            A command of the console, without its end of line.
        yes : bool
            A person has said yes to just this: a code that the device asks for is sent back. Without it the
            answer with the code is returned, and nothing has happened.

        Returns
        -------
        dict
            The answer; `ok` says whether the device has taken it, `error` why not.

        Raises
        ------
        LinkError
            If no whole answer comes in time.
        """
        answer = self._once(line)
        code = answer.get("confirm")
        if yes and answer["ok"] and code is not None:
            return self._once(f"yes {code}")
        return answer

    def order(self, line: str, *, yes: bool = False) -> dict[str, Any]:
        """The same for what must be taken.

        Raises
        ------
        Refused
            If the device refuses it, or wants a code that nobody has said yes to.
        """
        answer = self.ask(line, yes=yes)
        if not answer["ok"]:
            raise Refused(f'The device refuses "{line}": {answer.get("error", "it does not say why")}')
        if "confirm" in answer:
            raise Refused(f'The device wants "{line}" confirmed; nobody has said yes to it.')
        return answer

    def drop(self) -> None:
        """Close the line, as before the supply is cut."""
        if self._stream is not None:
            self._stream.close()
        self._stream = None
        self._rest = b""

    def wait_back(self, longest_s: float = RETURN_S) -> dict[str, Any]:
        """After a restart or a power cut: the first answer to `state`.

        Raises
        ------
        LinkError
            If there is none in time.
        """
        until_s = self._clock() + longest_s
        why = "nothing was heard"
        while self._clock() < until_s:
            try:
                return self.ask("state")
            except LinkError as error:
                why = str(error)
                self.drop()
                self._sleep(1.0)
        raise LinkError(f"The device has not come back within {longest_s:.0f} s ({why})")

    def _once(self, line: str) -> dict[str, Any]:
        if self._stream is None:  # it was lost, or dropped
            self._stream = self._connect()
        try:
            self._drain()
            self._stream.write(line.encode("ascii", "replace") + b"\n")
            return self._answer(line)
        except OSError as error:  # pyserial's own is one: the cable is out, or the board restarts
            self.drop()
            raise LinkError(f"The line to the device is lost ({error}); look at the cable.") from error

    def _drain(self) -> None:
        """Forget what came unasked: a banner, the late answer to an older question, half a line."""
        assert self._stream is not None
        self._rest = b""
        waiting = getattr(self._stream, "in_waiting", 0)
        while waiting:
            self._stream.read(waiting)
            waiting = getattr(self._stream, "in_waiting", 0)

    def _answer(self, line: str) -> dict[str, Any]:
        until_s = self._clock() + self._answer_s
        while (text := self._line(until_s)) is not None:
            found = _as_answer(text)
            if found is not None:
                return found
            self.garbage += 1
        raise LinkError(
            f'No answer to "{line}" within {self._answer_s:g} s. Is it the right port, is the board powered, '
            "and is no other program on the same line?"
        )

    def _line(self, until_s: float) -> bytes | None:
        assert self._stream is not None
        while b"\n" not in self._rest:
            if self._clock() >= until_s:
                return None
            self._rest += self._stream.read(max(1, getattr(self._stream, "in_waiting", 0)))
            if len(self._rest) > MOST_BYTES and b"\n" not in self._rest:
                self._rest = b""
                self.garbage += 1
        text, _, self._rest = self._rest.partition(b"\n")
        return text


def _as_answer(text: bytes) -> dict[str, Any] | None:
    """The JSON object in a line, or None: an echo of the question, a banner, noise."""
    try:
        found = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError):  # among them bytes that are no UTF-8
        return None
    return found if isinstance(found, dict) and isinstance(found.get("ok"), bool) else None


@contextmanager
def open_link(port: str, answer_s: float = ANSWER_S) -> Iterator[ConsoleLink]:
    """The console at a serial port.

    Parameters
    ----------
    port : str
        Such as /dev/ttyACM0 or COM5.
    answer_s : float
        How long to wait for an answer. [s]

    Raises
    ------
    UserError
        If pyserial is not installed, or the port cannot be opened.
    """
    try:
        import serial
    except ImportError as error:
        raise UserError(
            "--port needs pyserial, which is not installed; install it with: pip install 'becklight[device]'"
        ) from error

    def connect() -> Stream:
        try:
            stream: Stream = serial.Serial(port, BAUD, timeout=PIECE_S, write_timeout=ANSWER_S)
        except (OSError, ValueError) as error:
            raise LinkError(
                f"--port {port} cannot be opened ({error}); allowed: the serial port of the board, which no "
                "other program has open."
            ) from error
        return stream

    link = ConsoleLink(connect, answer_s)
    try:
        yield link
    finally:
        link.drop()
