"""The serial line to a console: answers, garbage, silence, codes, a line that goes away."""

import json
import os
import pty
import threading
import tty

import pytest

from becksim.console_link import ConsoleLink, LinkError, Refused, open_link
from becksim.errors import UserError


class Scripted:
    """A stream that answers each line by what `replies` makes of it; its clock runs while nothing comes."""

    def __init__(self, replies):
        self.replies = replies
        self.waiting = b""
        self.asked = []
        self.now_s = 0.0
        self.closed = 0

    @property
    def in_waiting(self):
        return len(self.waiting)

    def read(self, size):
        if not self.waiting:
            self.now_s += 0.2
            return b""
        data, self.waiting = self.waiting[:size], self.waiting[size:]
        return data

    def write(self, data):
        line = data.decode("ascii").strip()
        self.asked.append(line)
        reply = self.replies(line)
        if isinstance(reply, Exception):
            raise reply
        self.waiting += reply

    def close(self):
        self.closed += 1

    def sleep(self, seconds):
        self.now_s += seconds

    def link(self):
        return ConsoleLink(lambda: self, clock=lambda: self.now_s, sleep=self.sleep)


def line(**answer):
    return json.dumps(answer).encode() + b"\n"


def jog_console(asked):
    if asked.startswith("jog"):
        return line(ok=True, confirm="K7Q4", within_s=60)
    if asked == "yes K7Q4":
        return line(ok=True, to_permille=100)
    return line(ok=False, error="there is no command")


def test_a_line_is_answered_by_one_object():
    stream = Scripted(lambda asked: line(ok=True, reason="owner", asked=asked))
    assert stream.link().ask("state") == {"ok": True, "reason": "owner", "asked": "state"}
    assert stream.asked == ["state"]


def test_a_code_is_sent_back_only_if_a_person_has_said_yes():
    stream = Scripted(jog_console)
    link = stream.link()
    assert link.ask("jog 0 100")["confirm"] == "K7Q4"
    assert stream.asked == ["jog 0 100"]
    assert link.ask("jog 0 100", yes=True) == {"ok": True, "to_permille": 100}
    assert stream.asked[1:] == ["jog 0 100", "yes K7Q4"]


def test_an_order_that_nobody_has_said_yes_to_is_an_error_and_sends_no_code():
    stream = Scripted(jog_console)
    with pytest.raises(Refused, match="nobody has said yes"):
        stream.link().order("jog 0 100")
    assert stream.asked == ["jog 0 100"]


def test_the_reason_of_a_refusal_reaches_the_person():
    with pytest.raises(Refused, match='refuses "fly": there is no command'):
        Scripted(jog_console).link().order("fly")


@pytest.mark.parametrize(
    "noise",
    [
        b"MicroPython v1.28 on a board\r\n>>> \r\n",
        b"\xff\xfe\x00\n",
        b'{"reason": "half a',  # the rest was lost, the answer follows on the same line
        b"[1, 2]\n12\nnull\n" + b'{"no": "ok"}\n{"ok": "yes"}\n',
        b"[" * 5_000 + b"\n",
        b"x" * 50_000 + b"\n",
    ],
    ids=["banner", "bytes", "half", "other json", "deep", "long"],
)
def test_noise_before_the_answer_is_passed_over(noise):
    calls = []

    def replies(asked):
        calls.append(asked)
        cut = b"\n" if noise.endswith(b"a") else b""
        return noise + cut + line(ok=True, boot=3)

    link = Scripted(replies).link()
    assert link.ask("state") == {"ok": True, "boot": 3}
    assert link.garbage > 0
    assert len(calls) == 1


def test_what_came_unasked_is_not_taken_for_the_answer():
    stream = Scripted(lambda asked: line(ok=True, asked=asked))
    link = stream.link()
    stream.waiting = line(ok=True, asked="an older question") + b'{"ok": true, "ask'
    assert link.ask("state")["asked"] == "state"


def test_silence_ends_with_a_sentence_after_five_seconds():
    stream = Scripted(lambda asked: b"")
    with pytest.raises(LinkError, match='No answer to "state" within 5 s'):
        stream.link().ask("state")
    assert 5.0 <= stream.now_s < 5.5


def test_endless_noise_ends_too():
    class Noisy(Scripted):
        in_waiting = 0

        def read(self, size):
            self.now_s += 0.01
            return b"abc"

    with pytest.raises(LinkError, match="No answer"):
        Noisy(lambda asked: b"").link().ask("state")


def test_a_cable_that_is_pulled_out_is_told_and_the_next_question_connects_again():
    stream = Scripted(lambda asked: OSError("device reports readiness but returned no data"))
    link = stream.link()
    with pytest.raises(LinkError, match="look at the cable"):
        link.ask("state")
    assert stream.closed == 1
    stream.replies = lambda asked: line(ok=True)
    assert link.ask("state") == {"ok": True}


def test_after_a_restart_it_connects_again_until_the_device_answers():
    stream = Scripted(lambda asked: line(ok=True, boot=8) if stream.now_s > 20.0 else b"")
    link = stream.link()
    link.drop()
    assert link.wait_back(60.0)["boot"] == 8
    assert 20.0 < stream.now_s < 30.0
    link.drop()
    stream.now_s, stream.replies = 0.0, lambda asked: b""
    with pytest.raises(LinkError, match="not come back within 30 s"):
        link.wait_back(30.0)


def test_over_a_real_terminal_pair():
    ours, theirs = pty.openpty()
    tty.setraw(theirs)

    def serve():
        text = b""
        while not text.endswith(b"\n"):
            text += os.read(ours, 100)
        os.write(ours, b"hello\r\n" + line(ok=True, asked=text.decode().strip()))

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    with open_link(os.ttyname(theirs)) as link:
        assert link.ask("state") == {"ok": True, "asked": "state"}
    thread.join(5.0)
    os.close(ours)
    os.close(theirs)


def test_a_port_that_is_not_there_is_the_users_mistake(tmp_path):
    with pytest.raises(UserError, match="cannot be opened"), open_link(str(tmp_path / "none")):
        pass
