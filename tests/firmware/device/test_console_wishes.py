"""What the owner orders at the console reaches the real rules, and the journal."""

import pytest

from becklight import wishes
from becklight.device import records, records_read
from becklight.owner import FREE, HOLD, STOP
from becklight.settings import FORMAT


def _events(here, code):
    """The whole numbers of all events of a kind in the journal."""
    journal = here.device.journal
    found = []
    for number in range(journal.first, journal.next):
        record = records_read.decode(journal.read(number, 1))
        if record is not None and record["type"] == records.EVENT and record["code"] == code:
            found.append(record["numbers"])
    return found


def test_hold_as_they_are_acts_at_once(desk):
    here = desk()
    assert here.say("hold 5") == {"ok": True, "held_s": 300, "set": 0, "trim_permille": 0}
    assert here.device.engine.owner.mode == HOLD


def test_hold_a_set_waits_for_its_code(desk):
    here = desk()
    asked = here.say("hold 3 250 60")
    assert here.device.engine.owner.mode == FREE
    assert here.say("yes " + asked["confirm"]) == {
        "ok": True,
        "held_s": 3_600,
        "set": 3,
        "trim_permille": 250,
    }


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("hold 0", "MINUTES"),
        ("hold 1441", "from 1 to 1440"),
        ("hold x", "whole number"),
        ("hold 1 2", "hold SET TRIM MINUTES"),
        ("hold 8 0 5", "from 0 to 7"),
        ("hold 0 1001 5", "from 0 to 1000"),
        ("hold 0 -1 5", "TRIM"),
        ("hold 99999999999999999999", "MINUTES"),
        ("stop 1441", "from 0 to 1440"),
        ("lock 4", "from 0 to 3"),
        ("lock -1", "from 0 to 3"),
        ("lock-wheel 1", "from 0 to 0"),
        ("clear all", "pipe, screen, valves"),
        ("seen nothing", "ALARM"),
        ("seen 99", "ALARM"),
        ("seen level_gone 2", "leave VALVE out"),
        ("seen program_failed 2", "leave VALVE out"),
        ("seen spare_overspeed 2", "leave VALVE out"),
        ("seen valve_stuck", "say which"),
        ("seen valve_stuck 9", "from 0 to 8"),
        ("jog 4 0", "from 0 to 3"),
        ("jog 0 1001", "from 0 to 1000"),
    ],
)
def test_a_wrong_word_changes_nothing_and_says_what_is_allowed(desk, line, allowed):
    here = desk()
    before = here.say("state")
    assert allowed in here.refused(line)
    assert here.say("state") == before


def test_stop_acts_at_once_for_a_while_or_for_good(desk):
    here = desk()
    assert here.say("stop 10")["stopped_s"] == 600
    assert here.say("state")["held_left_s"] == 600
    assert here.say("stop")["stopped_s"] is None
    state = here.say("state")
    assert (state["held"], state["held_left_s"]) == ("stop", None)
    assert here.device.engine.owner.mode == STOP


def test_jets_and_wheels_are_locked_at_once_and_given_back_by_code(desk):
    here = desk()
    assert here.say("lock 1") == {"ok": True, "valve": "jet 2"}
    assert here.say("lock-wheel 0")["ok"]
    state = here.say("state")
    assert (state["locked"], state["wheels_locked"]) == ([1], [0])
    here.confirmed("unlock 1")
    here.confirmed("unlock-wheel 0")
    state = here.say("state")
    assert (state["locked"], state["wheels_locked"]) == ([], [])


@pytest.mark.parametrize(("word", "bit"), [("pipe", 1), ("screen", 2), ("valves", 4)])
def test_clear_says_what_has_been_looked_at(desk, word, bit):
    here = desk()
    here.confirmed(f"clear {word}")
    assert here.device.engine.owner.cleared == bit


def test_an_alarm_is_seen_by_name_or_number(desk):
    here = desk()
    alarms = here.device.engine.book.alarms
    assert alarms.raised(26)  # restarted
    here.say("seen restarted")
    assert alarms.seen[26] or not alarms.raised(26)
    here = desk()
    here.say("seen 26")
    assert here.device.engine.book.alarms.seen[26] or not here.device.engine.book.alarms.raised(26)


def test_what_is_granted_is_in_the_journal_as_a_replay_needs_it(desk):
    here = desk()
    here.say("hold 5")
    here.confirmed("hold 1 0 30")
    here.say("stop")
    here.confirmed("resume")
    assert _events(here, records.WISH) == [
        (wishes.HOLD, wishes.HERE, 0, 300_000),
        (wishes.HOLD, 1, 0, 1_800_000),
        (wishes.STOP, 0, 0, 0),
        (wishes.RESUME, 0, 0, 0),
    ]


def test_a_jog_is_in_the_journal(desk):
    here = desk(pressure_doubt_mbar=2_000, leak_permille=0, burst_permille=0)
    here.say("stop")
    here.confirmed("jog 1 80")
    assert _events(here, records.JOG) == [(1, 0, 80, 0)]


def test_while_the_settings_are_refused_nothing_is_ordered_and_the_sentence_says_why(desk, fake_board, kept):
    from becklight.device.device import Device  # the same as the fixture's

    here = desk()
    board = fake_board(4)
    here.device = Device(board, kept_empty(kept))
    here.board = board
    for line in ("stop", "hold 5", "resume", "jog 0 0", "lock 0", "sets", "clear pipe", "seen restarted"):
        assert "settings are refused" in here.refused(line)
    assert here.say("state")["rules"] is False


def kept_empty(kept):
    """A store in which nothing can be used."""
    import pathlib

    folder = pathlib.Path(kept({"format": FORMAT}))
    for path in folder.iterdir():
        path.unlink() if path.is_file() else None
    return str(folder)


def test_after_too_many_failures_resume_lets_the_rules_start_again(desk):
    here = desk()
    here.device.kept_shut = True
    calls = []
    here.device.forgive = lambda: calls.append(True)
    assert here.confirmed("resume")["ok"]
    assert calls == [True]
