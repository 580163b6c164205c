"""Commissioning over a serial line of the system's own, the firmware in a real MicroPython process."""

import os
import pty
import select
import threading
import tty
from contextlib import contextmanager

import pytest

from becksim.commission import commission
from becksim.commissioning.file import PASSED, Book
from becksim.console_link import open_link
from becksim.errors import UserError
from becksim.onboard import find_micropython

try:
    find_micropython()
    MISSING = ""
except UserError as error:
    MISSING = str(error)
pytestmark = pytest.mark.skipif(bool(MISSING), reason=MISSING or "there")

ANSWER_MS = 400  # of the plant's time in which the device answers a line


class Line:
    """A pair of terminals: what comes at ours goes to the rig, what it says goes back; one at a time."""

    def __init__(self, rig):
        self.rig = rig
        self.lock = threading.Lock()
        self.ours, self.theirs = pty.openpty()
        tty.setraw(self.theirs)
        self.port = os.ttyname(self.theirs)
        self.open = True
        self.thread = threading.Thread(target=self._pump)
        self.thread.start()

    def advance(self, seconds):
        with self.lock:
            self.rig.advance(seconds)

    def _pump(self):
        while self.open:
            if not select.select([self.ours], [], [], 0.05)[0]:
                continue
            data = os.read(self.ours, 1_000)
            with self.lock:
                rig = self.rig
                rig.lines += data.decode().split("\n")[:-1]
                if not rig.powered:
                    continue
                rig.typed.append(data)
                until_ms = rig.ran_ms + ANSWER_MS
                while not rig.said.endswith(b"\n") and rig.ran_ms < until_ms:
                    rig._tick(min(until_ms, rig.ran_ms + 20))
                said, rig.said = rig.said, b""
            while said:
                said = said[os.write(self.ours, said) :]

    def close(self):
        self.open = False
        self.thread.join(10.0)
        os.close(self.ours)
        os.close(self.theirs)


@contextmanager
def line_to(rig):
    line = Line(rig)
    try:
        yield line
    finally:
        line.close()


def test_stop_closure_and_power_cut_on_the_real_firmware(
    far_rig, site, compiled, tmp_path, monkeypatch, person, good_answers
):
    monkeypatch.setattr("becksim.commissioning.job.compile_site", lambda _: compiled)
    book = Book(tmp_path / "works.commission.json", site.site.name)
    far_rig.advance(540.0)  # the pipe is full and bled, the stream is known
    with line_to(far_rig) as line, open_link(line.port) as link:
        talk = person(far_rig, good_answers)
        locked = talk.answer

        def answer(key, question):
            with line.lock:  # what is answered may press, cut or pull
                return locked(key, question)

        talk.answer = answer
        for step in ("stop", "closure", "power"):
            found = commission(
                site, link, talk, only=step, book=book, clock=lambda: far_rig.now_s, sleep=line.advance
            )
            result = book.standing(step)
            assert result.verdict == PASSED, result.told
    assert found.ok
    assert result.figures["boot"] == [1, 2]
    tail = book.standing("closure").figures["tail"]
    assert tail["swing_s"] == pytest.approx(tail["computed_swing_s"], rel=0.05)
    assert max(far_rig.true) < 1.0
    assert far_rig.boots == 2
