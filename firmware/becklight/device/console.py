"""The console: one line of words in, one line of JSON out, to a person or a program at the serial line.

    console = Console(device)
    wait_ms = console.talk(now_ms)          # reads what has come, answers each line
    console.answer("state", now_ms)         # the answer to one line, in pieces

The first field of an answer is "ok". A line that is refused changes nothing and says why in "error". What
moves water is answered with a code first and done when `yes CODE` comes within CONFIRM_MS, so that no line
sent twice or to the wrong plant opens a jet. Whatever comes, nothing is raised.
"""

import gc

from ..compat import const
from ..passing import bring, drop
from ..ticks import ticks_add, ticks_diff
from .console_commands import (
    COMMANDS,
    PLACE_CONFIRM,
    PLACE_FILE,
    PLACE_LEAST,
    PLACE_MOST,
    PLACE_NAME,
    PLACE_RUN,
    PLACE_WRITTEN,
)
from .console_words import Refusal
from .doings import restart_if_shut
from .jsontext import Answer, refused
from .lines import GARBLED, LINE, LONGEST, OVERLONG, Lines

CONFIRM_MS = const(60_000)  # chosen by us
SHORT = const(200)  # the longest line of any command but `put`; chosen by us
BUSY_MS = const(20)  # after something has come
IDLE_MS = const(50)

_FOLDER = "becklight.device"
# No two of them look or sound alike on a bad line: no B D 8, I L 1, O Q 0, S 5, Z 2, U V.
LETTERS = "ACEFHJKMNPRTWXY3479"


class Console:
    """Gathers lines, finds the command, keeps the one that waits for its `yes`."""

    def __init__(self, device) -> None:  # type: ignore[no-untyped-def]
        self.device = device
        self.lines = Lines()
        self.code = ""  # what `yes` must say, while waiting
        self.waiting: list[str] = []  # the words of the command that waits
        self.due_ms = 0  # until when, while waiting
        self.given = 0  # so many codes so far
        self.received = 0  # bytes of new settings, so far
        self.restarting = False  # once everything is shut
        self.logged = -1  # the wiring's row that the fast log was started with
        self._brought = ""  # the one file of commands that is in memory

    def talk(self, now_ms: int) -> int:
        """Answer what has come; says in how many ms to look again."""
        self._forget(now_ms)
        if self.restarting:
            restart_if_shut(self)
        board = self.device.board
        try:
            data = board.console_read()
            if not data:
                return IDLE_MS
            for byte in data:
                for piece in self.take(byte, now_ms):
                    board.console_write(piece)
        except OSError:  # the cable is out: nobody is there to be told, and the plant goes on
            return IDLE_MS
        return BUSY_MS

    def take(self, byte: int, now_ms: int) -> list[str]:
        """Take in one byte; the answer in pieces, if it ends a line."""
        state = self.lines.add(byte)
        if state == LINE:
            return self.answer(self.lines.text(), now_ms)
        if state == OVERLONG:
            return refused("the line is longer than {} characters and was dropped whole".format(LONGEST))
        if state == GARBLED:
            why = "the line holds the byte {}, which is not plain ASCII, and was dropped whole"
            return refused(why.format(self.lines.odd_byte))
        return []

    def answer(self, line: str, now_ms: int) -> list[str]:
        """The answer to one line, in pieces that together are one line of JSON."""
        self._forget(now_ms)
        try:
            return self._answer(line.split(), len(line), now_ms)
        except Refusal as refusal:
            return refused(refusal.why)
        except Exception as error:  # the plant must go on whatever a line brings about here
            return refused("this went wrong inside: {!r}; tell who looks after the program".format(error))

    def _answer(self, words: list[str], length: int, now_ms: int) -> list[str]:
        if not words:
            raise Refusal("the line holds no command; `help` lists them")
        if length > SHORT and words[0] != "put":
            raise Refusal("the line has {} characters; allowed: at most {}".format(length, SHORT))
        if words[0] == "yes":
            return self._confirmed(words, now_ms)
        row = command(words[0])
        if not row[PLACE_LEAST] <= len(words) <= row[PLACE_MOST]:
            raise Refusal("{} words make no {}; allowed: {}".format(len(words), words[0], row[PLACE_WRITTEN]))
        if len(words) < row[PLACE_CONFIRM]:
            return self._do(row, words, now_ms, True).pieces()
        self._do(row, words, now_ms, False)  # refused now rather than after the code
        answer = Answer()
        answer.text("confirm", self._new_code(words, now_ms))
        answer.number("within_s", CONFIRM_MS // 1000)
        return answer.pieces()

    def _new_code(self, words: list[str], now_ms: int) -> str:
        """Keep a command until its code comes; an older one that waits is dropped."""
        # Not a secret: it only has to differ from what was given before.
        self.given += 1
        mixed = (now_ms ^ self.given * 7_919) & 0xFFFFFF
        code = ""
        for _ in range(3):
            mixed = (mixed * 1_103 + 12_345) & 0xFFFFFF
            code += LETTERS[(mixed >> 8) % len(LETTERS)]
        code += LETTERS[self.given % len(LETTERS)]  # so that no two in a row are the same
        self.code = code
        self.waiting = words
        self.due_ms = ticks_add(now_ms, CONFIRM_MS)
        return code

    def _confirmed(self, words: list[str], now_ms: int) -> list[str]:
        if not self.waiting:
            raise Refusal(
                "nothing waits for a yes: a code is good for one command, for {} s".format(CONFIRM_MS // 1000)
            )
        if len(words) != 2 or words[1].upper() != self.code:
            raise Refusal("that is not the code that was given; what waits still waits")
        waiting = self.waiting
        self.waiting = []
        return self._do(command(waiting[0]), waiting, now_ms, True).pieces()

    def _do(self, row, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
        """Bring the file that does it, in place of the one before: memory has room for one."""
        name = "{}.{}".format(_FOLDER, row[PLACE_FILE])
        if self._brought != name:
            drop(self._brought)
            gc.collect()  # what was taken is needed
            self._brought = name
        answer: Answer = getattr(bring(name), row[PLACE_RUN])(self, words, now_ms, act)
        return answer

    def _forget(self, now_ms: int) -> None:
        """Drop a command that has waited for too long, before its instant wraps."""
        if self.waiting and ticks_diff(now_ms, self.due_ms) >= 0:
            self.waiting = []


def command(name: str):  # type: ignore[no-untyped-def]
    """The row of a command."""
    for row in COMMANDS:
        if row[PLACE_NAME] == name:
            return row
    raise Refusal("there is no command {!r}; `help` lists them".format(name))
