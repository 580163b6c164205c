"""Lines in, answers out; codes. What each command does is in test_console_*.py."""

import json
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from becklight.device import console as consoles
from becklight.device.console import CONFIRM_MS, LETTERS, SHORT, Console
from becklight.device.console_commands import (
    ALWAYS,
    COMMANDS,
    NEVER,
    PLACE_CONFIRM,
    PLACE_FILE,
    PLACE_LEAST,
    PLACE_MOST,
    PLACE_NAME,
    PLACE_WRITTEN,
)
from becklight.device.console_help import DOES
from becklight.passing import drop
from becklight.ticks import PERIOD_MS, ticks_add


def _heard(desk, data):
    """What the device answers to bytes that come."""
    desk.board.typed.append(data)
    desk.board.said.clear()
    desk.device.console.talk(desk.board.now_ms)
    return [json.loads(line) for line in "".join(desk.board.said).splitlines()]


# -- lines -----------------------------------------------------------------------------------------------


def test_each_line_is_answered_by_one_line(desk):
    here = desk()
    answers = _heard(here, b"clock\r\nnonsense\n\nhel")
    assert [answer["ok"] for answer in answers] == [True, False]
    assert _heard(here, b"p\n")[0]["commands"]


def test_the_first_field_says_whether_it_was_done(desk):
    for line in ("state", "nonsense", "stop", "jog 9 9"):
        assert next(iter(desk().say(line))) == "ok"


def test_nothing_is_read_or_said_while_nothing_comes(desk):
    here = desk()
    assert here.device.console.talk(here.board.now_ms) == consoles.IDLE_MS
    assert here.board.said == []


def test_overlong_and_garbled_lines_are_refused_whole(desk):
    here = desk()
    answers = _heard(here, b"stop" + b" " * 500 + b"\nst\x80p\nclock\n")
    assert "longer than 400" in answers[0]["error"]
    assert "byte 128" in answers[1]["error"]
    assert answers[2]["ok"]
    assert here.device.engine.owner.mode == 0


def test_only_put_may_be_long(desk):
    assert f"at most {SHORT}" in desk().refused("stop " + " " * SHORT)
    assert "BASE64" in desk().refused("put settings 0 " + "!" * 300)


@pytest.mark.parametrize("line", [" ", "STOP", "stop now", 'st"op', "help me", "\\", "jog 1", "yes"])
def test_what_is_no_command_does_nothing_and_says_so(desk, line):
    here = desk()
    assert len(here.refused(line)) > 15
    assert here.device.engine.owner.mode == 0


def test_what_goes_wrong_inside_is_told_and_not_raised(desk, monkeypatch):
    here = desk()
    monkeypatch.setattr(here.board, "free_bytes", lambda: 1 // 0)
    assert "ZeroDivisionError" in here.refused("state")
    assert here.say("clock")["ok"]


def test_a_line_that_is_cut_off_does_not_stop_the_plant(desk, play):
    here = desk()

    def cut(*_):
        raise OSError(5, "the cable is out")

    here.board.typed.append(b"state\n")
    here.board.console_write = cut
    play(here.device, here.board, 3)
    here.board.console_read = cut
    play(here.device, here.board, 3)
    assert not here.device.failing


WORDS = st.one_of(
    st.sampled_from([str(row[PLACE_NAME]) for row in COMMANDS]),
    st.sampled_from(
        ["level_mm", "pipe", "forget", "stroke", "settings", "level_gone", "YWJj", "-1", "0", "1", "999"]
    ),
    st.integers(-(10**12), 10**12).map(str),
    st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=12),
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(WORDS, max_size=5), st.integers(0, 100_000))
def test_whatever_is_said_the_answer_is_json_and_nothing_is_raised(shared_desk, words, later_ms):
    shared_desk.board.now_ms = ticks_add(shared_desk.board.now_ms, later_ms)
    answer = shared_desk.say(" ".join(words))
    assert answer["ok"] or answer["error"]
    assert "went wrong inside" not in answer.get("error", "")


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.binary(max_size=600))
def test_whatever_bytes_come_nothing_is_raised(shared_desk, data):
    for answer in _heard(shared_desk, data + b"\n"):
        assert answer["ok"] in (True, False)


@pytest.fixture
def shared_desk(desk):
    """One device for all the lines that are made up."""
    return desk()


# -- codes -----------------------------------------------------------------------------------------------


def test_what_moves_water_waits_for_its_code(desk):
    here = desk()
    here.say("stop")
    asked = here.say("resume")
    assert asked["within_s"] == 60
    assert here.device.engine.owner.mode == 2
    assert here.say("yes " + asked["confirm"])["ok"]
    assert here.device.engine.owner.mode == 0


def test_a_code_is_good_for_exactly_one_command(desk):
    here = desk()
    code = here.say("resume")["confirm"]
    assert here.say("yes " + code)["ok"]
    assert "nothing waits" in here.refused("yes " + code)


def test_a_later_command_takes_the_place_of_an_earlier_one(desk):
    here = desk()
    here.say("lock 0")
    first = here.say("unlock 0")["confirm"]
    second = here.say("resume")["confirm"]
    assert first != second
    assert "not the code" in here.refused("yes " + first)
    assert here.device.engine.owner.locked[0]
    assert here.say("yes " + second)["ok"]


def test_a_wrong_code_does_nothing_and_costs_nothing(desk):
    here = desk()
    code = here.say("resume")["confirm"]
    for wrong in ("", "A", "AAAAA", code + " " + code):
        here.refused("yes " + wrong)
    assert here.say("yes " + code.lower())["ok"]


def test_a_code_expires_also_across_the_wrap(desk):
    here = desk()
    here.board.now_ms = PERIOD_MS - 1_000
    code = here.say("resume")["confirm"]
    here.board.now_ms = ticks_add(here.board.now_ms, CONFIRM_MS - 1)
    assert here.say("yes " + code)["ok"]
    code = here.say("resume")["confirm"]
    here.board.now_ms = ticks_add(here.board.now_ms, CONFIRM_MS)
    assert "nothing waits" in here.refused("yes " + code)


def test_a_code_that_nobody_gives_is_dropped_before_its_instant_wraps(desk):
    here = desk()
    code = here.say("resume")["confirm"]
    for _ in range(4):  # six days, talked at now and then; in the end the instant lies ahead again
        here.board.now_ms = ticks_add(here.board.now_ms, PERIOD_MS // 4 - 10)
        here.device.console.talk(here.board.now_ms)
    assert "nothing waits" in here.refused("yes " + code)


def test_other_lines_may_come_in_between(desk):
    here = desk()
    code = here.say("resume")["confirm"]
    here.say("state")
    assert here.say("yes " + code)["ok"]


def test_what_cannot_be_done_gets_no_code(desk):
    here = desk()
    assert "confirm" not in here.say("jog 0 100")  # nobody holds it
    assert here.device.console.waiting == []


def test_it_is_looked_at_again_when_the_code_comes(desk):
    here = desk()
    here.say("stop")
    code = here.say("jog 0 100")["confirm"]
    here.device.engine.owner.resume()  # as when its time has run out
    assert "the rules are in charge" in here.refused("yes " + code)


def test_codes_are_four_letters_that_nobody_takes_for_others(desk):
    console = desk().device.console
    codes = [console._new_code(["resume"], 17 * place) for place in range(400)]
    assert {len(code) for code in codes} == {4}
    assert set("".join(codes)) <= set(LETTERS)
    assert not set(LETTERS) & set("O0QDB8I1LS5Z2UV")
    assert all(first != second for first, second in zip(codes, codes[1:], strict=False))
    assert len(set(codes)) > 300


# -- the table -------------------------------------------------------------------------------------------


def test_help_tells_every_command(desk):
    told = desk().say("help")["commands"]
    assert [row["write"] for row in told] == [row[PLACE_WRITTEN] for row in COMMANDS]
    assert [row["does"] for row in told] == list(DOES)


def test_the_table_is_in_order():
    names = [row[PLACE_NAME] for row in COMMANDS]
    assert len(set(names)) == len(names)
    for row in COMMANDS:
        assert row[PLACE_WRITTEN].split()[0] == row[PLACE_NAME]
        assert 1 <= row[PLACE_LEAST] <= row[PLACE_MOST]
    assert len(DOES) == len(COMMANDS)
    assert all(len(does) < 110 for does in DOES)


def test_one_file_of_commands_is_in_memory_at_a_time(desk):
    talk = desk()
    files = {f"becklight.device.{row[PLACE_FILE]}" for row in COMMANDS if row[PLACE_FILE]}
    assert len(files) > 3
    for name in files:
        drop(name)  # that other tests have imported
    for line in ("state", "stop", "settings", "fastlog", "help", "state", "resume"):
        talk.say(line)
        row = next(row for row in COMMANDS if row[PLACE_NAME] == line)
        there = files & set(sys.modules)
        assert there == {f"becklight.device.{row[PLACE_FILE]}"}


def test_what_moves_water_is_confirmed_and_what_stops_it_is_not():
    confirm = {row[PLACE_NAME]: row[PLACE_CONFIRM] for row in COMMANDS}
    for name in ("resume", "unlock", "unlock-wheel", "clear", "jog", "restart"):
        assert confirm[name] == ALWAYS
    assert confirm["hold"] == 4
    for name in ("stop", "lock", "lock-wheel", "seen", "state"):
        assert confirm[name] == NEVER


@pytest.mark.parametrize("row", COMMANDS, ids=lambda row: row[PLACE_NAME])
def test_too_many_words_are_refused_with_how_it_is_written(desk, row):
    line = " ".join([row[PLACE_NAME], *["1"] * row[PLACE_MOST]])
    if row[PLACE_NAME] == "yes":
        desk().refused(line)
    else:
        assert row[PLACE_WRITTEN] in desk().refused(line)


def test_a_console_needs_nothing_but_a_device(desk):
    assert Console(desk().device).answer("clock", 0)
