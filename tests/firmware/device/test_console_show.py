import base64
import json

import pytest

from becklight import reasons
from becklight.device import records, records_read
from becklight.device.console_show import MOST_RECORDS, MOST_SETS
from becklight.readings import NAMES


def test_state_tells_all_in_a_fixed_order(desk):
    state = desk().say("state")
    assert list(state) == [
        "ok",
        "reason",
        "openings",
        "positions",
        "pond",
        "pond_reason",
        "readings",
        "alarms",
        "out",
        "moving",
        "held",
        "held_set",
        "held_trim_permille",
        "held_left_s",
        "locked",
        "wheels_locked",
        "next_ms",
        "rules",
        "why",
        "restarting",
        "uptime_s",
        "boot",
        "clock_s",
        "version",
        "site",
        "settings",
        "free_bytes",
    ]


def test_state_tells_what_is(desk, play):
    here = desk()
    here.board.silent = {4}
    play(here.device, here.board, 15)
    state = here.say("state")
    assert state["reason"] in reasons.NAMES
    assert tuple(state["readings"]) == NAMES
    assert state["readings"]["level_mm"] == 100
    assert state["readings"]["bus_mv"] is None
    assert state["openings"] == [0, 0, 0, 0]
    assert state["site"] == "Testbeck"
    assert (state["boot"], state["settings"], state["version"]) == (1, 1, "0.1.0")
    assert state["uptime_s"] == pytest.approx(45, abs=2)
    assert {"alarm": "restarted", "valve": None, "rank": 3, "seen": False} in state["alarms"]


def test_the_pond_is_told_where_there_is_one(desk, pond_table):
    state = desk(pond=pond_table).say("state")
    assert (state["pond"], state["pond_reason"]) == (0, "pond_rests")


@pytest.fixture
def pond_table():
    valve = {"step_permille": 40, "open_step_ms": 2_000, "close_step_ms": 3_000, "slow_zone_permille": 0}
    return {
        "valve": {"name": "pond", "slow_times": 1, **valve},
        "opening_permille": 600,
        "lowest_mm": 400,
        "again_mm": 700,
        "still_ms": 3_600_000,
        "night_fall_mm": 300,
        "week_fall_mm": 600,
        "release_ml_s": 500,
    }


def test_sets_come_in_pieces(desk):
    told = desk().say("sets 6")
    assert (told["first"], told["next"], told["of"]) == (6, 8, 8)
    assert told["sets"][0]["open"] == [1, 2]
    assert told["sets"][1]["flow_ml_s"] > told["sets"][0]["flow_ml_s"] > 0
    assert MOST_SETS == 16


def test_counts_tell_every_input_raw_and_by_its_line(desk):
    here = desk()
    here.show(level_mm=200)
    here.board.silent = {2}
    told = here.say("counts")
    rows = {row["place"]: row for row in told["inputs"]}
    assert rows["level_mm"] == {
        "place": "level_mm",
        "input": 0,
        "counts": 6_000,
        "value": 200,
        "calibrated": False,
    }
    assert rows["battery_mv"]["counts"] is rows["battery_mv"]["value"] is None
    assert told["valves"][0] == {"shut_end": 0, "open_end": 0, "pot_counts": 1_000}
    assert told["stop_open"] is False
    here.board.values[0] = 3_000  # a broken wire
    assert here.say("counts")["inputs"][0]["value"] is None


def test_end_switches_are_told(desk):
    here = desk("none")
    here.board.has_ends = True
    here.board.true = [0.0, 1_000.0, 500.0, 0.0]
    rows = here.say("counts")["valves"]
    assert [(row["shut_end"], row["open_end"]) for row in rows] == [(1, 0), (0, 1), (0, 0), (1, 0)]
    assert rows[0]["pot_counts"] is None


def test_the_journal_is_read_whole_and_in_pieces(desk):
    here = desk()
    for _ in range(30):
        here.say("stop")
    told = here.say("journal 0 20")
    assert (told["first"], told["oldest"]) == (0, 0)
    assert len(told["records"]) == MOST_RECORDS
    assert told["next"] > 30
    found = [records_read.decode(base64.b64decode(text)) for text in told["records"]]
    assert found[0]["type"] == records.BOOT
    assert None not in found
    assert here.say(f"journal {told['next']} 5")["records"] == []
    assert here.say("journal 999999 5")["first"] == told["next"]
    assert "from 0 to 20" in here.refused("journal 0 21")


def test_no_answer_needs_much_memory_in_one_piece(desk):
    here = desk()
    for _ in range(30):
        here.say("stop")
    for line in ("state", "journal 0 20", "help", "counts", "sets"):
        pieces = here.device.console.answer(line, here.board.now_ms)
        assert max(map(len, pieces)) < 350, line
        assert json.loads("".join(pieces))["ok"]


def test_the_clock_is_read_and_set_and_the_journal_knows(desk):
    here = desk()
    assert here.say("clock") == {"ok": True, "clock_s": 0}
    assert here.say("clock 820000000") == {"ok": True, "clock_s": 820_000_000}
    journal = here.device.journal
    last = records_read.decode(journal.read(journal.next - 1, 1))
    assert (last["type"], last["old_s"], last["new_s"]) == (records.CLOCK, 0, 820_000_000)


def test_a_clock_that_is_set_gives_the_day_of_the_year(desk, play):
    here = desk()
    here.say("clock 820000000")
    play(here.device, here.board, 3)
    assert here.say("state")["readings"]["year_day"] == 359  # 2025-12-25 17:46:40, reckoned by hand


@pytest.mark.parametrize("seconds", ["0", "631151999", "2147483648", "now"])
def test_a_time_that_cannot_be_is_refused(desk, seconds):
    here = desk()
    assert "SECONDS" in here.refused(f"clock {seconds}")
    assert here.board.seconds == 0
