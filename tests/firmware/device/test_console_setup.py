import pytest

from becklight.device import records, records_read
from becklight.device.device import Device


def _last(here):
    journal = here.device.journal
    return records_read.decode(journal.read(journal.next - 1, 1))


# -- calibrate ------------------------------------------------------------------------------------------


def test_two_points_give_a_line_that_counts_at_once_and_is_kept(desk, play):
    here = desk()
    here.show(level_mm=100)
    first = here.say("calibrate level_mm 120")
    assert (first["points"], first["counts"]) == (1, 5_000)
    assert first["scale"] == first["wired"] == [[4_000, 0], [20_000, 1_600]]
    here.show(level_mm=900)
    second = here.say("calibrate level_mm 960")
    assert second["points"] == 2
    assert second["scale"] == [[4_000, 15], [20_000, 1_695]]
    assert second["believed"] == [-27, 1_800]  # 3.6 and 21 mA as before
    play(here.device, here.board, 3)
    assert here.say("state")["readings"]["level_mm"] == 960
    assert here.say("counts")["inputs"][0]["calibrated"]
    again = Device(here.board, here.device.folder)
    assert again.sampling.scales[0].value(5_000) == 120


def test_points_that_are_too_close_are_refused(desk):
    here = desk()
    here.show(level_mm=100)
    here.say("calibrate level_mm 120")
    here.show(level_mm=200)
    assert "needed: 1601" in here.refused("calibrate level_mm 220")


def test_forget_goes_back_to_the_wiring_for_good(desk):
    here = desk()
    for shown, true in ((100, 120), (900, 960)):
        here.show(level_mm=shown)
        here.say(f"calibrate level_mm {true}")
    told = here.say("calibrate level_mm forget")
    assert told["points"] == 0
    assert told["scale"] == told["wired"]
    assert Device(here.board, here.device.folder).sampling.scales[0].value(5_000) == 100


def test_each_point_is_in_the_journal(desk):
    here = desk()
    here.show(level_mm=100)
    here.say("calibrate level_mm 120")
    assert _last(here)["numbers"] == (0, 1, 5_000, 120)
    here.say("calibrate level_mm forget")
    assert _last(here)["numbers"] == (0, 0, 0, 0)
    assert _last(here)["code"] == records.CALIBRATED


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("calibrate pond_mm 1", "level_mm, pressure_mbar"),  # not wired
        ("calibrate run_switch 1", "level_mm, pressure_mbar"),
        ("calibrate level_mm deep", "VALUE"),
        ("calibrate level_mm 3000001", "3000000"),
    ],
)
def test_a_wrong_word_is_told(desk, line, allowed):
    assert allowed in desk().refused(line)


def test_a_converter_that_does_not_answer_gives_no_point(desk):
    here = desk()
    here.board.silent = {0}
    assert "does not answer" in here.refused("calibrate level_mm 100")
    here.board.silent = set()
    here.board.values[0] = 3_000
    assert "3601 to 20999" in here.refused("calibrate level_mm 100")


def test_a_level_that_comes_over_the_bus_is_not_calibrated_here(desk, wiring_of):
    table = wiring_of(4)
    rows = [row for row in table["inputs"] if row["place"] != "level_mm"]
    here = desk(wiring={"inputs": rows, "rs485": {**table["rs485"], "level_address": 9}})
    assert "level_offset_mm" in here.refused("calibrate level_mm 100")


def test_a_calibration_that_flash_does_not_take_is_told(desk, monkeypatch):
    here = desk()
    monkeypatch.setattr(
        here.device.calibration_copies, "save", lambda blob: "calibration: the flash refuses it"
    )
    assert "the flash refuses it" in here.refused("calibrate level_mm forget")


# -- fastlog --------------------------------------------------------------------------------------------


def test_a_record_begins_at_once_and_is_read_in_pieces(desk, play):
    here = desk()
    begun = here.say("fastlog pressure_mbar 3")
    assert (begun["state"], begun["wanted"], begun["input"]) == ("running", 300, "pressure_mbar")
    assert "still running" in here.refused("fastlog 0")
    play(here.device, here.board, 4)
    told = here.say("fastlog")
    assert (told["state"], told["count"], told["missed"]) == ("done", 300, 0)
    assert told["scale"] == [[4_000, 0], [20_000, 8_000]]
    pieces = [here.say(f"fastlog {first}") for first in (0, 100, 200, 300)]
    assert [len(piece["counts"]) for piece in pieces] == [100, 100, 100, 0]
    assert {count for piece in pieces for count in piece["counts"]} == {14_000}


def test_a_record_begins_with_the_next_stroke(desk, play):
    here = desk(pressure_doubt_mbar=2_000, leak_permille=0, burst_permille=0)
    here.say("stop")
    assert here.say("fastlog pressure_mbar 4 stroke")["state"] == "armed"
    play(here.device, here.board, 8)
    assert here.say("fastlog")["state"] == "armed"
    here.confirmed("jog 0 80")
    play(here.device, here.board, 8)
    told = here.say("fastlog")
    assert (told["state"], told["count"], told["stroke"]) == ("done", 400, 100)


def test_what_was_missed_is_null(desk):
    here = desk()
    here.say("fastlog level_mm 1")
    log, board = here.device.fastlog, here.board
    for step_ms in [0, 35, *[10] * 96]:
        board.pass_ms(step_ms)
        log.tend(board.now_ms, board, here.device.orders.opening_permille, 0)
    assert here.say("fastlog")["missed"] == 2
    assert here.say("fastlog 0")["counts"][:5] == [5_000, None, None, 5_000, 5_000]


def test_a_record_can_be_stopped(desk, play):
    here = desk()
    here.say("fastlog pressure_mbar 10")
    play(here.device, here.board, 2)
    told = here.say("fastlog stop")
    assert told["state"] == "done"
    assert 190 < told["count"] < 210


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("fastlog pond_mm 3", "INPUT"),
        ("fastlog level_mm 0", "from 1 to 20"),
        ("fastlog level_mm 21", "from 1 to 20"),
        ("fastlog level_mm 3 soon", "stroke"),
        ("fastlog 2001", "FROM"),
        ("fastlog level_mm", "FROM"),
    ],
)
def test_a_wrong_word_of_fastlog_is_told(desk, line, allowed):
    assert allowed in desk().refused(line)


# -- restart --------------------------------------------------------------------------------------------


def test_restart_closes_first_and_then_starts_anew(desk, play):
    here = desk(pressure_doubt_mbar=2_000, leak_permille=0, burst_permille=0)
    here.say("stop")
    here.confirmed("jog 0 120")
    play(here.device, here.board, 60)
    assert here.board.true[0] > 100
    here.confirmed("resume")
    assert here.confirmed("restart")["restarting"]
    assert here.say("state")["restarting"]
    play(here.device, here.board, 200)
    assert here.board.resets == 1
    assert here.board.true[0] < 20
    assert _last(here)["code"] == records.RESTARTING


def test_restart_is_at_once_where_everything_is_shut(desk, play):
    here = desk()
    here.confirmed("restart")
    play(here.device, here.board, 30)
    assert here.board.resets == 1


def test_whoever_resumes_does_not_want_the_restart_any_more(desk, play):
    here = desk(pressure_doubt_mbar=2_000, leak_permille=0, burst_permille=0)
    here.say("stop")
    here.confirmed("jog 0 400")
    play(here.device, here.board, 60)
    here.confirmed("restart")
    play(here.device, here.board, 5)
    here.confirmed("resume")
    play(here.device, here.board, 120)
    assert here.board.resets == 0
    assert not here.say("state")["restarting"]
