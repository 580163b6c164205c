"""The real device on the board's files: from its settings in flash to the pins, in the real MicroPython."""

import json
import pathlib

import pytest

from becklight.board.profiles import PICO

copies = pytest.importorskip("becklight.device.copies", reason="device/ is not there yet")
pytest.importorskip("becklight.device.device", reason="device/device.py is not there yet")

PROBE = pathlib.Path(__file__).parent / "probes" / "device_probe.py"
# The whole device with console and fast log, and the fake machine, do not fit 180wk: measured.
HEAP = "200wk"
# Steps so quick that the first is seen within seconds.
QUICK = {"step_permille": 20, "open_step_ms": 500, "close_step_ms": 500, "slow_times": 1}
MOTORS = (
    4,
    6,
    5,
)  # of the three valves: numbers that are no valve's, so that one taken for the other moves nothing


def _row(place, number, low, high):
    counts = {"counts_low": 4_000, "counts_high": 20_000, "broken_low": 3_600, "broken_high": 21_000}
    return {"place": place, "input": number, "value_low": low, "value_high": high, **counts}


def _wiring(profile="pico_w"):
    valves = [{"motor": motor, "stroke_ms": 20_000, "feedback": "none"} for motor in MOTORS]
    rs485 = {
        "baud": 9_600,
        "level_address": 0,
        "level_register": 0,
        "level_mm_per_count_x1000": 1_000,
        "level_offset_mm": 0,
        "server_address": 0,
    }
    inputs = [_row("level_mm", 3, 0, 1_600), _row("battery_mv", 2, 0, 32_000)]
    return {"profile": profile, "inputs": inputs, "valves": valves, "clock": 0, "rs485": rs485}


@pytest.fixture
def played(on_micropython, plant, tmp_path):
    """played(seconds, trouble, wiring): what a board with these settings in its flash did."""

    def run(seconds, trouble="", wiring=None):
        if wiring is None:
            wiring = _wiring()
        table = {**plant(2, 1, valve=QUICK), "wiring": wiring}
        kept = copies.Copies(str(tmp_path / "store"), "settings")
        assert kept.save(json.dumps(table).encode()) == ""
        done = on_micropython(PROBE, seconds, *([trouble] if trouble else []), folder=tmp_path, heap=HEAP)
        assert done.returncode == 0, (done.stdout + done.stderr).decode()
        return json.loads(done.stdout.splitlines()[-1])

    return run


def _drives(place):
    return {PICO.motors[motor][place] for motor in range(len(PICO.motors))}


def test_at_power_up_the_valves_are_closed_by_their_own_motors(played):
    told = played(3)
    assert (told["end"], told["why"], told["engine"]) == ("time is up", "", "RuleEngine")
    ever = set(told["ever"])
    assert ever & _drives(0) == set()  # nothing opens
    shuts = {PICO.motors[motor][1] for motor in MOTORS}
    assert ever & _drives(1) <= shuts
    assert ever & _drives(1), "no motor ran"
    assert told["feeds"] >= 1


def test_a_duty_that_raises_closes_the_plant_and_goes_on_feeding(played):
    told = played(3, "raises")
    assert (told["end"], told["failing"]) == ("time is up", True)
    assert "step" in told["why"]
    assert "out of step" in told["why"]
    assert told["late_feeds"] >= 1
    assert set(told["ever"]) & _drives(0) == set()


def test_a_duty_that_hangs_starves_the_watchdog(played):
    told = played(4, "hangs")
    assert (told["end"], told["late_feeds"]) == ("hung", 0)
    assert told["feeds"] >= 1


def test_settings_for_another_board_drive_nothing(played):
    told = played(1, wiring=_wiring("esp32"))
    assert told["engine"] == "Refused"
    assert told["why"].startswith('settings, wiring: profile is "esp32"; allowed on this board: "pico"')
    assert set(told["ever"]) <= {PICO.lamp}
    assert told["feeds"] >= 1


def test_without_settings_it_says_so_and_drives_nothing(on_micropython, tmp_path):
    done = on_micropython(PROBE, 1, folder=tmp_path, heap=HEAP)
    assert done.returncode == 0, (done.stdout + done.stderr).decode()
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["engine"] == "Refused"
    assert "none is stored" in told["why"]
    assert set(told["ever"]) <= {PICO.lamp}
