"""Motors that run for as long as is owed, and where the valves then really stand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.drive import END_PERMILLE, IDLE_MS, LEAST_RUN_MS, REST_MS, Drive
from becklight.device.wiring import Wiring
from becklight.orders import Orders
from becklight.settings import Settings
from becklight.settings_reader import Section
from becklight.ticks import PERIOD_MS, ticks_diff

POND = {
    "valve": {
        "name": "pond",
        "step_permille": 100,
        "open_step_ms": 2_000,
        "close_step_ms": 3_000,
        "slow_zone_permille": 200,
        "slow_times": 2,
    },
    "opening_permille": 600,
    "lowest_mm": 400,
    "again_mm": 700,
    "still_ms": 3_600_000,
    "night_fall_mm": 300,
    "week_fall_mm": 600,
    "release_ml_s": 500,
}


class Rig:
    """A drive with its board; time passes in the waits that the drive asks for, perhaps later by a jitter."""

    def __init__(self, plant, wiring_table, fake_board, feedback="none", pond=None, jitter=None):
        settings = Settings(plant(2, 1, pond=pond))
        count = 4 if pond else 3
        self.wiring = Wiring(Section(wiring_table(count, feedback), "wiring"))
        self.board = fake_board(count, start_ms=PERIOD_MS - 65_000)
        self.board.has_ends = feedback == "ends"
        self.drive = Drive(self.wiring, settings)
        self.orders = Orders(3)
        self.jitter = jitter or (lambda: 0)

    def order(self, openings, anew=0, pond=0):
        self.orders.opening_permille[:] = openings
        self.orders.anew = anew
        self.orders.pond_permille = pond
        self.drive.order(self.orders, self.board.now_ms)

    def play(self, length_ms):
        start_ms = self.board.now_ms
        while (past_ms := ticks_diff(self.board.now_ms, start_ms)) < length_ms:
            wait_ms = self.drive.step(self.board.now_ms, self.board) + self.jitter()
            assert wait_ms > 0
            self.board.pass_ms(min(wait_ms, length_ms - past_ms))

    def home(self):
        self.board.true[:3] = [0.0] * 3
        self.order([0, 0, 0], anew=1)
        self.play(600_000)
        assert not self.drive.searching()
        self.board.runs.clear()


@pytest.fixture
def rig(plant, wiring_of, fake_board):
    return lambda **how: Rig(plant, wiring_of, fake_board, **how)


def test_an_order_is_motor_time(rig):
    rig = rig()
    rig.home()
    start_ms = rig.board.now_ms
    rig.order([0, 40, 0])
    rig.play(5_000)
    assert [(ticks_diff(at, start_ms), valve, way) for at, valve, way in rig.board.runs] == [
        (0, 1, 1),
        (800, 1, 0),
    ]
    assert rig.board.true == [0.0, 40.0, 0.0]
    assert rig.drive.position(1) == 40


def test_where_valves_are_taken_to_stand_moves_nothing(rig):
    rig = rig()
    rig.order([1_000, 300, 0], anew=1)
    rig.play(500)
    assert [rig.drive.position(valve) for valve in range(3)] == [1_000, 300, 0]
    assert [run[1] for run in rig.board.runs] == [2]  # only the one taken to be shut runs on at its end
    assert rig.drive.searching()


def test_it_runs_on_at_the_shut_end_in_steps_of_its_ramp_and_is_then_known(rig):
    rig = rig()
    rig.order([1_000, 0, 0], anew=1)
    rig.drive.homed[1] = rig.drive.homed[2] = 1
    rig.drive.over[1] = rig.drive.over[2] = 0
    for opening in range(960, -1, -40):
        rig.order([opening, 0, 0])
        rig.play(2_000)
    assert rig.drive.searching()
    before = len(rig.board.runs)
    rig.play(60_000)
    assert not rig.drive.searching()
    runs = rig.board.runs[before:]
    lengths = [ticks_diff(end[0], begin[0]) for begin, end in zip(runs[::2], runs[1::2], strict=True)]
    assert lengths == [800, 200]  # 50 permille of 20 s, 40 at a time
    assert ticks_diff(runs[2][0], runs[1][0]) == 6_000  # a step of the ramp near closed


def test_a_slow_motor_is_shut_all_the_same(rig):
    rig = rig()
    rig.board.pace = 0.96
    rig.order([1_000, 0, 0], anew=1)
    for opening in range(960, -1, -40):
        rig.order([opening, 0, 0])
        rig.play(2_000)
    assert rig.board.true[0] == pytest.approx(40.0)
    rig.play(120_000)
    assert rig.board.true[0] == 0.0


def test_an_end_switch_ends_the_run_and_what_is_owed(rig):
    rig = rig(feedback="ends")
    rig.board.true[:] = [30.0, 0.0, 0.0]  # it was taken to stand at 80
    rig.order([80, 0, 0], anew=1)
    rig.order([0, 0, 0])
    rig.play(10_000)
    assert rig.board.true[0] == 0.0
    first = [run for run in rig.board.runs if run[1] == 0]
    assert 600 <= ticks_diff(first[1][0], first[0][0]) <= 650  # the look after it came to the end
    assert len(first) == 2
    assert not rig.drive.searching()


def test_a_potentiometer_that_says_shut_needs_no_running_on(rig):
    rig = rig(feedback="pot")
    rig.board.true[:] = [0.0, 0.0, 0.0]
    rig.order([0, 0, 0], anew=1)
    rig.play(5_000)
    assert rig.board.runs == []
    assert not rig.drive.searching()


def test_turning_round_rests_the_motor(rig):
    rig = rig()
    rig.home()
    rig.order([40, 0, 0])
    rig.play(400)
    rig.order([0, 0, 0])
    rig.play(3_000)
    (on_ms, _, opening), (off_ms, _, _), (back_ms, _, closing) = rig.board.runs[:3]
    assert (opening, closing) == (1, -1)
    assert ticks_diff(off_ms, on_ms) == 400
    assert ticks_diff(back_ms, off_ms) == REST_MS
    assert rig.board.true[0] == 0.0


def test_two_valves_take_turns_with_a_rest_and_closing_goes_first(rig):
    rig = rig()
    rig.home()
    rig.board.true[2] = 40.0
    rig.drive.ordered[2] = 40
    rig.order([40, 0, 0])
    rig.order([40, 0, 0])
    rig.drive._turn(2, 0, rig.board.now_ms)
    rig.play(10_000)
    assert [(valve, way) for _, valve, way in rig.board.runs[:4]] == [(2, -1), (2, 0), (0, 1), (0, 0)]
    assert ticks_diff(rig.board.runs[2][0], rig.board.runs[1][0]) == REST_MS


def test_what_is_too_short_to_run_stays_owed(rig):
    rig = rig()
    rig.home()
    rig.order([1, 0, 0])
    assert rig.drive.step(rig.board.now_ms, rig.board) == IDLE_MS
    assert 20 < LEAST_RUN_MS <= 40
    rig.order([2, 0, 0])
    rig.play(1_000)
    assert rig.board.true[0] == 2.0


@given(st.lists(st.integers(-40, 40), min_size=1, max_size=60), st.integers(0, 300), st.integers(1, 9))
def test_late_looks_do_not_add_up(plant, wiring_of, fake_board, steps, most_late_ms, seed):
    """However late the motor is stopped each time, what it ran too far is made up for by the next steps."""
    late = iter(range(seed, 10**9, 7))
    rig = Rig(plant, wiring_of, fake_board, jitter=lambda: next(late) % (most_late_ms + 1))
    rig.order([500, 500, 500], anew=1)
    rig.board.true[:] = [500.0, 500.0, 500.0]
    opening = 500
    for step in steps:
        opening = max(100, min(900, opening + step))
        rig.order([opening, 500, 500])
        rig.play(2_000)
        rig.drive.step(rig.board.now_ms, rig.board)
        assert abs(rig.board.true[0] - rig.drive.position(0)) < 1.1
        assert abs(rig.board.true[0] - opening) <= 2 + (LEAST_RUN_MS + most_late_ms) / 20


def test_parts_of_a_millisecond_are_carried_along(rig):
    rig = rig()
    rig.drive.valves[0].stroke_ms = 20_333
    rig.board.stroke_ms = 20_333
    rig.home()
    for opening in (*range(0, 999, 3), 999):
        rig.order([opening, 0, 0])
        rig.play(1_000)
    assert rig.drive.owed_ms[0] == 0
    assert rig.board.true[0] == pytest.approx(999.0, abs=0.1)


# -- the storage pond's valve -------------------------------------------------------------------------


def test_the_ponds_valve_is_closed_from_fully_open_by_its_own_steps(rig):
    rig = rig(pond=POND)
    rig.board.true[:] = [0.0, 0.0, 0.0, 1_000.0]
    rig.order([0, 0, 0], anew=1)
    rig.order([0, 0, 0], pond=600)  # whoever orders it open now is not heard
    rig.play(600_000)
    assert rig.board.true == [0.0, 0.0, 0.0, 0.0]
    runs = [run for run in rig.board.runs if run[1] == 3]
    assert {way for _, _, way in runs} == {-1, 0}
    lengths = [ticks_diff(end[0], begin[0]) for begin, end in zip(runs[::2], runs[1::2], strict=True)]
    rests = [ticks_diff(begin[0], end[0]) for begin, end in zip(runs[2::2], runs[1::2], strict=False)]
    assert lengths == [2_000] * 10 + [1_000]
    assert min(rests) >= 6_000
    assert rig.drive.homed[3]
    rig.order([0, 0, 0], pond=600)
    rig.play(30_000)
    assert rig.board.true[3] == 600.0


def test_a_jet_goes_before_the_pond(rig):
    rig = rig(pond=POND)
    rig.board.true[:] = [0.0] * 4
    rig.home()
    start_ms = rig.board.now_ms
    rig.order([0, 0, 0], pond=100)
    rig.play(1_000)
    rig.order([40, 0, 0], pond=100)
    rig.play(9_000)
    runs = [(ticks_diff(at, start_ms), valve, way) for at, valve, way in rig.board.runs]
    assert [(valve, way) for _, valve, way in runs] == [(3, 1), (3, 0), (0, 1), (0, 0), (3, 1), (3, 0)]
    assert runs[1][0] <= 2_000
    assert rig.board.true[0] == 40.0
    assert rig.board.true[3] == 100.0


def test_stopped_all_motors_are_off(rig):
    rig = rig()
    rig.home()
    rig.order([40, 0, 0])
    rig.play(300)
    rig.drive.all_stop(rig.board)
    assert rig.board.turning == [0, 0, 0]
    assert rig.drive.running < 0
    assert END_PERMILLE < 100


def test_settled_it_runs_on_at_no_open_end(rig):
    rig = rig()
    rig.home()
    rig.drive.ordered[0] = 960
    rig.order([1_000, 0, 0])
    rig.play(900)
    assert rig.drive.settle(0) == 1_000
    rig.play(60_000)
    assert [way for _, _, way in rig.board.runs] == [1, 0]
    assert not rig.drive.busy()
