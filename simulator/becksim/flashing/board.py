"""The files on a board at a serial port, through mpremote: read, compared, written.

with open_board("/dev/ttyACM0") as board:
    board.hashes(["main.py"])
    board.write("b/becklight/engine.mpy", data)

Nothing here interrupts a program: the board must already be at MicroPython's prompt (ready.py).
"""

import ast
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from becksim.errors import UserError
from becksim.flashing.tree import sha256

SILENCE_S = 20.0  # a flash that erases blocks the board for a while; chosen by us
CHUNK_BYTES = 512  # of a file, in one order to the board; chosen by us
HASHED_AT_ONCE = 8  # files; chosen by us
MISSING = "-"

# Runs on the board. Plain names, for they stay there until it restarts.
HELPERS = """
import os, hashlib, binascii
def _h(p):
 try:
  f = open(p, 'rb')
 except OSError:
  return '-'
 h = hashlib.sha256()
 b = bytearray(512)
 m = memoryview(b)
 while True:
  n = f.readinto(b)
  if not n:
   break
  h.update(m[:n])
 f.close()
 return binascii.hexlify(h.digest()).decode()
def _l(p, found):
 try:
  rows = os.listdir(p)
 except OSError:
  return found
 for n in rows:
  q = p + '/' + n
  if os.stat(q)[0] & 0x4000:
   _l(q, found)
  else:
   found.append(q)
 return found
def _d(p):
 part = ''
 for n in p.split('/')[:-1]:
  part += n
  try:
   os.mkdir(part)
  except OSError:
   pass
  part += '/'
def _m(new, p):
 try:
  os.rename(new, p)
 except OSError:
  os.remove(p)
  os.rename(new, p)
"""
# A restart that was meant, as the device's own board.reset() tells of it (becklight/board/board.py). It waits
# until the order has been acknowledged.
RESTART = "open('restart_meant', 'w').close()\nimport machine, time\ntime.sleep_ms(200)\nmachine.reset()"


class LostLine(UserError):
    """The line to the board was lost, or the board does not answer in MicroPython's way."""


class BoardFiles:
    """A board at its prompt; every path is relative to its root."""

    def __init__(self, transport: Any) -> None:
        self._transport = transport
        self._run(HELPERS)

    def hashes(self, paths: Sequence[str]) -> dict[str, str]:
        """SHA-256 of each file as the board reads it; MISSING if there is none."""
        found: dict[str, str] = {}
        for first in range(0, len(paths), HASHED_AT_ONCE):
            part = list(paths[first : first + HASHED_AT_ONCE])
            answers = self._ask(f"[_h(p) for p in {part!r}]")
            found.update(zip(part, answers, strict=True))
        return found

    def listing(self, folder: str) -> list[str]:
        """Every file in a folder and below it; empty if it is not there."""
        rows: list[str] = self._ask(f"_l({folder!r}, [])")
        return rows

    def free_bytes(self) -> int:
        """Room that is left for files."""
        block, free = self._ask("(lambda s: (s[0], s[3]))(os.statvfs(os.getcwd()))")
        return int(block) * int(free)

    def heap_bytes(self) -> tuple[int, int]:
        """Memory for programs and what they keep, and the bytes of a word."""
        self._run("import gc, sys\ngc.collect()")
        heap, most = self._ask("(gc.mem_alloc() + gc.mem_free(), sys.maxsize)")
        return int(heap), 4 if int(most) < 1 << 32 else 8

    def read(self, path: str) -> bytes | None:
        """A file's content; None if there is none."""
        if self.hashes([path])[path] == MISSING:
            return None
        with _telling():
            return bytes(self._transport.fs_readfile(path, CHUNK_BYTES))

    def write(self, path: str, data: bytes) -> None:
        """Write a file, and its folders where they are missing."""
        self._run(f"_d({path!r})")
        with _telling():
            self._transport.fs_writefile(path, data, CHUNK_BYTES)

    def replace(self, path: str, data: bytes) -> None:
        """Put a file in another's place so that at no time it is half there.

        Raises
        ------
        LostLine
            If what the board reads of it is not what was sent; the old one is then still there.
        """
        new = f"{path}.new"
        self.write(new, data)
        if self.hashes([new])[new] != sha256(data):
            raise LostLine(f"{path} does not reach the board whole")
        self._run(f"_m({new!r}, {path!r})")

    def remove(self, path: str) -> None:
        """Remove a file."""
        self._run(f"os.remove({path!r})")

    def restart(self) -> None:
        """Restart the board. It answers no more."""
        with _telling():
            self._transport.exec_raw_no_follow(RESTART)

    def _run(self, code: str) -> None:
        with _telling():
            self._transport.exec(code)

    def _ask(self, expression: str) -> Any:
        with _telling():
            return ast.literal_eval(self._transport.exec(f"print(repr({expression}))").decode())


@contextmanager
def _telling() -> Iterator[None]:
    """What goes wrong on the line or on the board, as a LostLine."""
    import struct

    from mpremote.transport import TransportError, TransportExecError

    try:
        yield
    except TransportExecError as error:
        last = str(error.error_output).strip().splitlines()
        raise LostLine(f"the board answers {last[-1] if last else 'nothing'}") from error
    except (OSError, TransportError, struct.error, SyntaxError, ValueError) as error:
        raise LostLine(f"the line is lost ({error})") from error


@contextmanager
def open_board(port: str) -> Iterator[BoardFiles]:
    """A board that is at MicroPython's prompt.

    Parameters
    ----------
    port : str
        Such as /dev/ttyACM0 or COM5.

    Raises
    ------
    UserError
        If mpremote is not installed, or the board does not answer.
    """
    need_mpremote()
    from mpremote.transport_serial import SerialTransport

    with _telling():
        transport = SerialTransport(port, timeout=SILENCE_S)
    try:
        with _telling():
            transport.enter_raw_repl(soft_reset=False)
        yield BoardFiles(transport)
    finally:
        with suppress(OSError):  # it is gone already
            transport.close()


def need_mpremote() -> None:
    """See that mpremote is installed.

    Raises
    ------
    UserError
        If it is not.
    """
    try:
        import mpremote.transport_serial  # noqa: F401
    except ImportError as error:
        raise UserError(
            "--port needs mpremote, which is not installed; install it from the project's folder with: "
            "pip install -e '.[device]'"
        ) from error
