"""The whole device on a board of plain attributes."""

import json

import pytest

from becklight import reasons
from becklight.alarms import NAMES, code_of
from becklight.device import life, records
from becklight.device.copies import Copies
from becklight.device.device import Device
from becklight.device.records_read import decode
from becklight.engine import RuleEngine
from becklight.readings import BATTERY_MV, LEVEL_MM, PRESSURE_MBAR, RUN_SWITCH
from becklight.refused import Refused
from becklight.ticks import PERIOD_MS

WRAP_MS = PERIOD_MS - 65_000


@pytest.fixture
def rig(plant, wiring_of, fake_board, kept, counts_of):
    """rig(...) -> (device, board): three valves that stand open, a level at which jets may open."""

    def make(feedback="none", table=None, **rules):
        table = table or {**plant(2, 1, **rules), "wiring": wiring_of(3, feedback)}
        folder = kept(table)
        board = fake_board(3, start_ms=WRAP_MS)
        board.has_ends = feedback == "ends"
        board.values[LEVEL_MM] = counts_of(LEVEL_MM, 150)
        board.values[PRESSURE_MBAR] = counts_of(PRESSURE_MBAR, 5_000)
        board.values[BATTERY_MV] = counts_of(BATTERY_MV, 26_000)
        board.seconds = 86_400 * 100
        return Device(board, folder), board

    return make


def _events(device):
    journal = device.journal
    data = journal.read(journal.first, journal.next - journal.first)
    return [decode(data[at : at + 64]) for at in range(0, len(data), 64)]


def _codes(device):
    return [records.EVENTS[event["code"]] for event in _events(device) if event["type"] == records.EVENT]


def _raised(device):
    alarms = device.alarms()
    return [NAMES[code_of(slot)] for slot in range(len(alarms.state)) if alarms.raised(slot)]


def test_at_power_up_every_valve_is_closed_before_one_is_opened(rig, play):
    device, board = rig()
    board.pace = 0.97  # a cold motor: only running on at the end makes up for it
    opened = []

    def each(elapsed_ms):
        if any(turn > 0 for turn in board.turning) and not opened:
            opened.append((elapsed_ms, list(board.true), device.drive.searching()))

    play(device, board, 900, each)
    assert opened
    assert opened[0][1:] == ([0.0, 0.0, 0.0], False)
    assert reasons.NAMES[device.orders.reason] == "stream"
    assert board.fed > 800
    assert board.resets == 0


@pytest.mark.parametrize("feedback", ["ends", "pot"])
def test_feedback_shortens_the_homing(rig, play, feedback):
    device, board = rig(feedback)
    board.true[:] = [0.0, 0.0, 0.0]
    play(device, board, 30)
    assert not device.drive.searching()
    assert not any(turn < 0 for _, _, turn in board.runs)


def test_each_step_of_a_valve_keeps_its_ramp(rig, play):
    """What the motors do, not what is ordered: 40 permille at a time, and the rest of each step."""
    device, board = rig()
    play(device, board, 1_500)
    runs = board.runs
    assert len(runs) > 100
    for begin, end in zip(runs[::2], runs[1::2], strict=False):
        assert begin[1] == end[1]
        assert end[2] == 0
        assert end[0] - begin[0] in range(0, 802) or end[0] < begin[0]


def test_the_stop_is_obeyed_though_the_site_tells_of_none(rig, play):
    device, board = rig()
    play(device, board, 900)
    assert any(board.true)
    board.pressed = True
    play(device, board, 600)
    assert board.true == [0.0, 0.0, 0.0]
    assert "stop_pressed" in _raised(device)
    assert device.readings.values[RUN_SWITCH] == 0


# -- settings that are refused -----------------------------------------------------------------------


def test_the_last_good_copy_is_used(rig, plant, wiring_of, fake_board):
    device, board = rig()
    folder = device.folder
    bad = {**plant(2, 1), "wiring": wiring_of(3), "format": 1}
    copies = Copies(folder, "settings")
    copies.load()
    assert copies.save(json.dumps(bad).encode()) == ""
    again = Device(board, folder)
    assert isinstance(again.engine, RuleEngine)
    assert "format is 1" in again.stored.copies.why


@pytest.mark.parametrize("blob", [b"", b"\xff\x00", b"[1, 2]", b'{"format": 3', b"{}"])
def test_without_any_that_can_be_used_it_says_so_and_still_runs(kept, fake_board, play, blob):
    board = fake_board(3)
    device = Device(board, kept(blob))
    assert isinstance(device.engine, Refused)
    assert device.settings is None
    assert device.why
    play(device, board, 100)
    assert board.resets == 0
    assert board.fed > 90
    assert "settings_refused" in _codes(device)
    assert _raised(device) == ["restarted", "settings_refused"]


def test_refused_settings_whose_wiring_is_known_close_the_plant(plant, wiring_of, fake_board, kept, play):
    board = fake_board(3)
    device = Device(board, kept({**plant(2, 1), "wiring": wiring_of(3), "format": 1}))
    assert isinstance(device.engine, Refused)
    play(device, board, 3 * 1_500 + 300)
    assert board.true == [0.0, 0.0, 0.0]


def test_nothing_stored_at_all(tmp_path, fake_board, play):
    board = fake_board(1)
    device = Device(board, str(tmp_path))
    play(device, board, 20)
    assert device.why.startswith("settings: none is stored")
    assert device.wiring.valves == []


def test_wiring_that_does_not_fit_the_plant_is_refused(plant, wiring_of, fake_board, kept):
    device = Device(fake_board(2), kept({**plant(2, 1), "wiring": wiring_of(2)}))
    assert "number of valves is 2; allowed: 3" in device.why


# -- errors ----------------------------------------------------------------------------------------------


class Trouble(Exception):
    """Whatever nobody has foreseen."""


def _break(device, duty):
    def broken(now_ms):
        raise Trouble("the text of it")

    device.duties = tuple(broken if place == duty else one for place, one in enumerate(device.duties))


@pytest.mark.parametrize("duty", [life.SAMPLE, life.WRITE, life.TALK, life.BUS])
def test_an_error_closes_the_plant_by_the_slow_ramp_and_starts_anew(rig, play, duty):
    device, board = rig()
    play(device, board, 900)
    assert any(board.true)
    board.runs.clear()
    if duty == life.SAMPLE:
        device.sampling.take = None  # an error at one call, and at every one after it
    else:
        _break(device, duty)
    play(device, board, 1_200)
    assert board.resets == 1
    assert board.true == [0.0, 0.0, 0.0]
    assert board.turning == [0, 0, 0]
    assert not any(turn > 0 for _, _, turn in board.runs[2:])  # one step may have been under way
    assert (
        max(
            (end[0] - begin[0]) % PERIOD_MS
            for begin, end in zip(board.runs[::2], board.runs[1::2], strict=True)
        )
        <= 801
    )
    text = b"".join(event["text"] for event in _events(device) if event.get("code") == records.ERROR)
    assert text.startswith(life.DUTIES[duty].encode())
    assert device.restarts.failed


def test_an_error_of_the_engine_is_met_by_what_stands_in_its_place(rig, play):
    device, board = rig()
    play(device, board, 900)

    def broken(*_):
        raise Trouble("in a rule")

    device.engine.step = broken
    play(device, board, 1_200)
    assert board.resets == 1
    assert board.true == [0.0, 0.0, 0.0]


@pytest.mark.parametrize("duty", [life.STEP, life.MOVE])
def test_an_error_while_closing_stops_the_motors_and_starts_anew_at_once(rig, play, duty):
    device, board = rig()
    play(device, board, 900)
    _break(device, duty)
    play(device, board, 10)
    assert board.resets == 1
    assert board.turning == [0, 0, 0]


def test_a_duty_that_hangs_starves_the_watchdog(rig, play):
    device, board = rig()
    play(device, board, 60)
    device.due_ms[life.TALK] = (board.now_ms + 100_000_000) % PERIOD_MS  # never called again
    play(device, board, 30)
    fed = board.fed
    play(device, board, 60)
    assert board.fed <= fed + 2


def test_after_three_failures_it_stays_shut_and_says_so_until_it_is_forgiven(rig, play):
    device, board = rig()
    for _ in range(3):
        play(device, board, 5)
        _break(device, life.TALK)
        play(device, board, 1_200)
        assert board.resets == 1
        board.resets = 0
        device = Device(board, device.folder)
    board.true[:] = [0.0, 300.0, 0.0]
    board.runs.clear()
    play(device, board, 1_200)
    assert board.true == [0.0, 0.0, 0.0]
    assert not any(turn > 0 for _, _, turn in board.runs)
    assert reasons.NAMES[device.orders.reason] == "kept_shut"
    assert "program_failed" in _raised(device)
    assert "3 starts in a row" in device.why
    device.forgive()
    assert board.resets == 1
    board.resets = 0
    device = Device(board, device.folder)
    play(device, board, 900)
    assert any(board.true)


# -- small things ------------------------------------------------------------------------------------------


def test_its_uptime_is_counted_across_the_wrap(rig, play):
    device, board = rig()
    play(device, board, 200)
    assert device.uptime_s in (198, 199, 200)


def test_it_tells_its_start_and_why(rig):
    device, board = rig()
    board.error = True
    again = Device(board, device.folder)
    boots = [event for event in _events(again) if event["type"] == records.BOOT]
    assert [(event["boot"], records.STARTS[event["why"]]) for event in boots] == [
        (1, "power"),
        (2, "watchdog"),
    ]
    assert again.boot == 2


def test_a_flash_that_refuses_stops_nothing(rig, play):
    device, board = rig()
    device.journal.append = lambda record: False
    play(device, board, 900)
    assert any(board.true)
    assert board.resets == 0
