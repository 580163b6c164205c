"""A device made ready: nothing is interrupted while water runs. The real device, in made-up time."""

import importlib.util
import json
import pathlib

import pytest

from becklight.device.copies import Copies
from becklight.device.device import Device
from becklight.owner import FREE, STOP
from becksim.compile_wiring import device_settings
from becksim.console_link import ConsoleLink
from becksim.errors import UserError
from becksim.flashing.ready import shut
from becksim.site import load_site

TESTS = pathlib.Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def fake_board():
    """The board that the device's own tests use: its motors move valves as time passes."""
    spec = importlib.util.spec_from_file_location(
        "device_tests", TESTS / "firmware" / "device" / "conftest.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.FakeBoard


class Line:
    """A serial line to a device in this process; time passes while somebody listens or sleeps."""

    def __init__(self, board, folder):
        self.board, self.device = board, Device(board, folder)
        self.heard = b""
        self.passed_ms = 0

    @property
    def in_waiting(self):
        return len(self.heard)

    def write(self, data):
        self.board.typed.append(data)

    def read(self, size):
        self.pass_s(0.1)
        data, self.heard = self.heard[:size], self.heard[size:]
        return data

    def close(self):
        pass

    def pass_s(self, length_s):
        until_ms = self.passed_ms + round(1_000 * length_s)
        while self.passed_ms < until_ms:
            wait_ms = min(self.device.run_due(self.board.now_ms), 50, until_ms - self.passed_ms)
            self.board.pass_ms(wait_ms)
            self.passed_ms += wait_ms
        self.heard += "".join(self.board.said).encode()
        self.board.said.clear()

    def link(self):
        return ConsoleLink(lambda: self, clock=lambda: self.passed_ms / 1_000.0, sleep=self.pass_s)


@pytest.fixture(scope="module")
def settings():
    changes = [f'board.valves.{place}.feedback="ends"' for place in (1, 2, 3)]
    return device_settings(load_site("millbrook-smallholding", changes))


@pytest.fixture
def line(tmp_path, fake_board, settings):
    """line(true, blob=None) -> a device whose valves stand there, one second after power-up."""

    def start(true, table=settings):
        copies = Copies(str(tmp_path / "store"), "settings")
        (tmp_path / "store").mkdir()
        assert copies.save(json.dumps(table).encode()) == ""
        board = fake_board(3, stroke_ms=30_000)
        board.has_ends = True
        board.true = list(true)
        found = Line(board, str(tmp_path / "store"))
        found.pass_s(1.5)
        return found

    return start


def mode(line):
    return line.device.engine.owner.mode


def make_shut(line, close_first):
    told = []
    state = shut(line.link(), close_first, lambda done, total: told.append((done, total)), line.pass_s)
    return state, told


def test_a_plant_at_rest_is_stopped_so_that_nothing_opens(line):
    found = line([0.0, 0.0, 0.0])
    found.pass_s(30)
    state, _ = make_shut(found, close_first=False)
    assert state["openings"] == [0, 0, 0]
    assert mode(found) == STOP


def test_an_open_jet_is_refused_by_name_and_nothing_is_ordered(line):
    found = line([0.0, 1_000.0, 0.0])
    with pytest.raises(UserError, match=r"^Not while water runs: .*valve 2 at \d+ permille") as caught:
        make_shut(found, close_first=False)
    assert "--close-first" in str(caught.value)
    assert str(caught.value).endswith("Nothing has been changed.")
    assert mode(found) == FREE


def test_with_close_first_every_valve_closes_by_its_slow_ramp_and_stands_still(line):
    found = line([1_000.0, 1_000.0, 1_000.0])
    state, told = make_shut(found, close_first=True)
    assert max(state["openings"]) > 900
    assert found.board.true == [0.0, 0.0, 0.0]
    assert found.board.turning == [0, 0, 0]
    assert found.passed_ms > 3 * 85_000  # three strokes of 90 s, not of 30: by steps with rests
    assert mode(found) == STOP
    done = [100 * done // total for done, total in told]
    assert done == sorted(done)
    assert (min(done), max(done)) == (0, 100)


def test_a_motor_that_still_runs_is_waited_for(line):
    found = line([0.0, 0.0, 1_000.0])
    while max(found.device.orders.opening_permille) > 0:
        found.pass_s(0.1)
    assert found.device.drive.busy()  # the last step, and on against its end
    make_shut(found, close_first=False)
    assert not found.device.drive.busy()
    assert found.board.true == [0.0, 0.0, 0.0]


def test_a_valve_that_does_not_follow_is_told_and_the_plant_stays_stopped(line):
    found = line([0.0, 0.0, 0.0])
    found.pass_s(60)
    found.board.true[2] = 1_000.0  # somebody's hand
    found.board.pace = 0.0
    found.pass_s(2)
    with pytest.raises(UserError, match=r"by its feedback not so: valve 3 at 1000 permille") as caught:
        make_shut(found, close_first=True)
    assert "hand valve" in str(caught.value)
    assert mode(found) == STOP


def test_without_usable_settings_it_closes_by_itself_and_is_waited_for(line, settings):
    found = line([0.0, 500.0, 0.0], {**settings, "format": 1})
    with pytest.raises(UserError, match="^Not while water runs"):
        make_shut(found, close_first=False)
    state, _ = make_shut(found, close_first=True)
    assert state["rules"] is False
    assert found.board.true == [0.0, 0.0, 0.0]


def test_what_never_closes_is_given_up_in_the_end(line, monkeypatch):
    monkeypatch.setattr("becksim.flashing.ready.MOST_CLOSING_S", 20.0)
    found = line([1_000.0, 1_000.0, 1_000.0])
    with pytest.raises(UserError, match=r"^Not shut after 0 minutes: .*go and look.*stays stopped\.$"):
        make_shut(found, close_first=True)
    assert mode(found) == STOP
