"""Two sets that take turns: the table, whose turn it is, and the whole on a made-up intake."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight import reasons
from becklight.engine import RuleEngine
from becklight.menu import Menu
from becklight.orders import Orders
from becklight.readings import UNKNOWN
from becklight.turns import Turns

# Of the invented plant: none open, and its second jet, 1442 mL/s; the needle takes up to 1897 mL/s.
PAIR = {"lower": [0], "upper": [2], "from_ml_s": [200], "to_ml_s": [1_200]}
RISE_MM = 10
ML_PER_MM = 100_000
POND = {
    "turns": PAIR,
    "turns_rise_mm": RISE_MM,
    "intake": {"ml_per_mm": ML_PER_MM},
    "measure_ms": 1_200_000,
    "level_doubt_mm": 1,
    "level_recover_s": 100_000,
}
NONE, SECOND, THIRD = 0, 2, 4
FAR_ML_S = 50_000
LOW_MM = 96  # target less band


@pytest.fixture
def read(settings_of):
    return settings_of(**POND)


@pytest.fixture
def turns(read):
    return Turns(read)


@pytest.fixture
def menu(read):
    return Menu(read)


@pytest.mark.parametrize(("wanted_ml_s", "found"), [(199, False), (200, True), (1_200, True), (1_201, False)])
def test_a_pair_takes_turns_between_its_flows(turns, menu, wanted_ml_s, found):
    assert turns.find(menu, wanted_ml_s, FAR_ML_S, False) is found


@pytest.mark.parametrize(("wanted_ml_s", "found"), [(200, True), (199, False), (1_290, True), (1_291, False)])
def test_one_that_takes_turns_goes_on_a_little_beyond_but_not_without_water(turns, menu, wanted_ml_s, found):
    assert turns.find(menu, 800, FAR_ML_S, False)
    assert turns.find(menu, wanted_ml_s, FAR_ML_S, False) is found
    assert turns.find(menu, min(wanted_ml_s, 1_250), FAR_ML_S, False) is found  # and ended it stays


def test_no_pair_runs_more_than_everything_but_the_stream_allows(turns, menu):
    assert turns.find(menu, 800, 1_442, False)
    assert not turns.find(menu, 800, 1_441, False)


def test_none_takes_turns_with_every_jet_shut_where_water_must_run(turns, menu):
    assert not turns.find(menu, 800, FAR_ML_S, True)


def test_a_set_that_is_out_takes_no_turns(turns, menu):
    menu.lock([False, True, False, False])
    assert not turns.find(menu, 800, FAR_ML_S, False)


@given(levels_mm=st.lists(st.integers(80, 130), min_size=1))
def test_the_larger_runs_from_the_high_level_down_to_the_low_one(settings_of, levels_mm):
    read = settings_of(**POND)
    turns, menu = Turns(read), Menu(read)
    runs = False
    for level_mm in levels_mm:
        turns.see(level_mm, LOW_MM)
        assert turns.find(menu, 700, FAR_ML_S, False)
        if level_mm < LOW_MM:
            runs = False
        elif level_mm >= LOW_MM + RISE_MM:
            runs = True
        assert turns.set == (SECOND if runs else NONE)


def test_when_water_is_lacking_it_is_the_smaller_ones_turn(turns, menu):
    turns.see(130, LOW_MM)
    assert turns.find(menu, 700, FAR_ML_S, False)
    assert turns.set == SECOND
    turns.stop()
    assert turns.find(menu, 700, FAR_ML_S, False)
    assert turns.set == NONE


class Intake:
    """The engine on an intake that fills with a stream and is drawn by the jets, asked every second."""

    def __init__(self, read, ask, level_mm=100.0):
        self.engine = RuleEngine(read)
        self.orders = Orders(len(read.valves))
        self.read = read
        self.ask = ask
        self.now_s = 0
        self.level_mm = level_mm
        self.history = []  # of each change of set: (second, set, level)
        self.exercised = []  # (set, valve)

    def run(self, hours, stream_ml_s, level_known=True, battery_mv=26_500):
        for _ in range(hours * 3_600):
            shown_mm = round(self.level_mm) if level_known else UNKNOWN
            values = [shown_mm, 4_900, battery_mv, 250, *[UNKNOWN] * 4, 1]
            reason = self.orders.reason
            self.ask(self.engine, self.orders, 1_000 * self.now_s, values)
            if self.orders.reason == reasons.EXERCISE and reason != reasons.EXERCISE:
                self.exercised.append((self.engine.set, self.engine.duties.valve))
            drawn_ml_s = self.engine.ramps.flow_ml_s(self.orders.opening_permille)
            past_ml_s = 300.0 + 15.0 * (self.level_mm - 100.0)  # the invented intake's own, up to 120 mm
            self.level_mm += (stream_ml_s - drawn_ml_s - past_ml_s) / ML_PER_MM
            self.now_s += 1
            if not self.history or self.history[-1][1] != self.engine.set:
                self.history.append((self.now_s, self.engine.set, self.level_mm))


@pytest.fixture
def intake(read, ask):
    return Intake(read, ask)


def test_they_take_turns_between_the_low_and_the_high_level(intake):
    intake.run(12, 300 + 700)
    assert intake.engine.reason == reasons.TURNS
    late = [change for change in intake.history if change[0] > 4 * 3_600]
    assert len(late) >= 4
    assert {place for _, place, _ in late} == {NONE, SECOND}
    for _, place, level_mm in late:  # the level as it stands when they set off
        if place == NONE:
            assert LOW_MM - 1.5 <= level_mm < LOW_MM
        else:
            assert LOW_MM + RISE_MM - 1.0 <= level_mm <= LOW_MM + RISE_MM + 1.5


def test_more_of_the_stream_than_they_take_ends_it(intake):
    intake.run(8, 300 + 700)
    assert intake.engine.reason == reasons.TURNS
    intake.run(8, 300 + 2_500)
    assert intake.engine.reason == reasons.STREAM
    assert intake.engine.drawn_ml_s() > 2_000


def test_they_begin_from_rest_when_the_level_has_risen_a_little(read, ask):
    intake = Intake(read, ask, level_mm=90.0)
    intake.run(2, 300)
    assert intake.engine.reason == reasons.NO_WATER
    intake.run(6, 300 + 450)
    assert intake.engine.reason == reasons.TURNS


def test_a_stream_that_gives_less_than_they_need_leaves_the_jets_shut(intake):
    intake.run(8, 300 + 700)
    intake.run(12, 300)
    assert intake.engine.closed()
    assert intake.level_mm > LOW_MM - 1.5


@pytest.mark.parametrize(("place", "stands"), [(1, 1), (NONE, NONE), (THIRD, NONE)])
def test_while_a_set_dwells_the_larger_one_waits_for_its_turn(intake, place, stands):
    intake.run(8, 300 + 700)
    engine, now_ms = intake.engine, 1_000 * intake.now_s
    engine.set, engine.trim_permille = place, 0
    engine.dwelling, engine.dwell_due_ms = True, now_ms + 60_000
    engine.ceilings[0] = 1_100
    engine.turns.see(130, LOW_MM)
    engine.decide(now_ms, False)
    assert engine.reason == reasons.DWELL
    assert engine.set == stands


def test_idle_valves_are_exercised_while_the_larger_one_runs(settings_of, ask):
    intake = Intake(settings_of(**POND, exercise_days=1), ask)
    intake.run(30, 300 + 700)
    assert intake.engine.reason == reasons.TURNS
    late = intake.exercised[-3:]
    assert {place for place, _ in late} == {SECOND}
    assert {valve for _, valve in late} == {0, 2, 3}  # all but the one that takes turns


def test_a_full_battery_ends_it(intake):
    intake.run(8, 300 + 700)
    intake.run(2, 300 + 700, battery_mv=28_900)
    assert intake.engine.reason != reasons.TURNS
    assert intake.engine.drawn_ml_s() <= intake.read.rules.ease_flow_ml_s


def test_without_a_level_nobody_takes_a_turn(intake):
    intake.run(8, 300 + 700)
    changes = len(intake.history)
    was = intake.engine.set
    intake.run(3, 300 + 700, level_known=False)
    if was == NONE:
        assert len(intake.history) == changes
    assert intake.engine.drawn_ml_s() <= max(700, intake.read.rules.blind_flow_ml_s)
    assert intake.engine.reason == reasons.LEVEL_UNKNOWN
