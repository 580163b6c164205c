"""What the water says of the valves' moves, and what their guard makes of it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import valve_guard
from becklight.effect import (
    ANSWERS,
    CAME,
    FIRST_CLOSED_MS,
    FIRST_MS,
    LOOK_MS,
    LOOKS,
    MISSING,
    NOTHING,
    PARTLY,
)
from becklight.facts import Facts
from becklight.menu import Menu
from becklight.readings import BUS_MV, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.valve_guard import FAULTS, ValveGuard

WRAP_MS = PERIOD_MS - 65_000
LONG_S = 200  # longer than all looks at a standing
# Fixed jets 1, 2, 3 and a trim; a static pressure of 5000 mbar, and in the menu 1 mbar less for 20 mL/s.
SET_MV = 60_000


class Plant:
    """A guard, and water that does what each test says."""

    def __init__(self, read):
        self.read = read
        self.position = [0] * len(read.valves)
        self.guard = ValveGuard(read, self.position)
        self.effect = self.guard.effect
        self.menu = Menu(read)
        self.actual = [UNKNOWN] * len(read.valves)
        self.facts = Facts()
        self.now_ms = 0
        self.second = 0

    def mbar(self, *openings):
        """What the menu has for these."""
        place = self.read.set_masks.index(
            sum((opening > 500) << jet for jet, opening in enumerate(openings[:3]))
        )
        return self.menu.pressure_at(place, openings[3])

    def stand(self, *position, water=None, mv=UNKNOWN, level_mm=100, seconds=LONG_S, off_mbar=0, still=False):
        """Stand there while the water stands as if the valves were at `water`; every fault's name."""
        self.position[:] = position
        values = self.facts.values
        for _ in range(seconds):
            self.now_ms += 1_000
            self.second += 1
            waver = 0 if still else self.second * 7 % 3 - 1
            values[PRESSURE_MBAR] = self.mbar(*(position if water is None else water)) + off_mbar + waver
            values[BUS_MV] = mv if mv == UNKNOWN else mv + 50 * waver
            values[LEVEL_MM] = level_mm
            self.facts.now_ms = ticks_add(WRAP_MS, self.now_ms)
            self.facts.closed = not any(position)
            self.guard.judge(self.facts, self.actual)
        return [FAULTS[fault] for fault in self.guard.fault]

    def answers(self):
        return [ANSWERS[answer] for answer in self.effect.answer]


@pytest.fixture
def plant(settings_of):
    return Plant(settings_of(3, 1))


@pytest.fixture
def by_bus(settings_of):
    """The pressure tells nothing here; the bus voltage does."""
    return Plant(settings_of(3, 1, pressure_doubt_mbar=5_000, bus_doubt_mv=900))


NONE = ["none"] * 4
SHUT = (0, 0, 0, 0)
FIRST_JET = (1_000, 0, 0, 0)


def test_every_answer_has_its_name():
    assert [ANSWERS[answer] for answer in (NOTHING, CAME, MISSING, PARTLY)] == list(ANSWERS)


def test_a_move_that_the_water_follows_is_told_so_and_blames_nobody(plant):
    plant.stand(*SHUT)
    assert plant.stand(*FIRST_JET) == NONE
    assert plant.answers() == ["came", "nothing", "nothing", "nothing"]
    assert plant.stand(*SHUT) == NONE
    assert plant.answers()[0] == "came"


@pytest.mark.parametrize("jet", range(3))
def test_a_jet_that_does_not_open_is_stuck_and_believed_where_it_was(plant, jet):
    opened = [1_000 if place == jet else 0 for place in range(4)]
    plant.stand(*SHUT)
    faults = plant.stand(*opened, water=SHUT)
    assert faults[jet] == "stuck"
    assert faults.count("none") == 3
    assert plant.guard.believed_permille == [0, 0, 0, 0]


def test_a_jet_that_does_not_close_is_stuck_and_believed_open(plant):
    plant.stand(*FIRST_JET)
    assert plant.stand(*SHUT, water=FIRST_JET) == ["stuck", "none", "none", "none"]
    assert plant.guard.believed_permille[0] == 1_000
    assert plant.stand(*SHUT, water=FIRST_JET, seconds=8_000) == ["stuck", "none", "none", "none"]


def test_nothing_is_told_before_it_has_been_looked_at_often_enough(plant):
    plant.stand(*SHUT)
    needed_s = (FIRST_MS + (LOOKS - 1) * LOOK_MS) // 1_000
    assert plant.stand(*FIRST_JET, water=SHUT, seconds=needed_s) == NONE
    assert plant.stand(*FIRST_JET, water=SHUT, seconds=1)[0] == "stuck"


def test_the_wheel_is_given_time_to_come_to_rest(plant):
    plant.stand(*FIRST_JET)
    needed_s = (FIRST_CLOSED_MS + (LOOKS - 1) * LOOK_MS) // 1_000
    assert plant.stand(*SHUT, water=FIRST_JET, seconds=needed_s) == NONE
    assert plant.stand(*SHUT, water=FIRST_JET, seconds=1)[0] == "stuck"


def _share(plant, jet, share):
    """Pressure off by so much of what the jet changes."""
    opened = [1_000 if place == jet else 0 for place in range(4)]
    due_mbar = plant.mbar(*opened) - plant.mbar(*SHUT)
    return -due_mbar * share // 100


@pytest.mark.parametrize(
    ("lacking", "fault"),
    [(0, "none"), (20, "none"), (50, "none"), (70, "none"), (80, "stuck"), (120, "stuck"), (140, "none")],
)
def test_half_of_the_change_blames_nobody_and_neither_does_more_than_it_gives(plant, lacking, fault):
    plant.stand(*SHUT)
    assert plant.stand(*FIRST_JET, off_mbar=_share(plant, 0, lacking))[0] == fault


@pytest.mark.parametrize(("left", "fault"), [(10, "none"), (50, "half"), (100, "stuck")])
def test_water_that_goes_on_flowing_with_every_valve_shut_is_a_valve_not_quite_shut(plant, left, fault):
    plant.stand(*FIRST_JET)
    assert plant.stand(*SHUT, off_mbar=-_share(plant, 0, left))[0] == fault


def test_a_change_smaller_than_the_doubt_says_nothing(settings_of):
    quiet = Plant(settings_of(3, 1, pressure_doubt_mbar=40))
    due_mbar = quiet.mbar(*SHUT) - quiet.mbar(0, 0, 0, 500)
    coarse = Plant(settings_of(3, 1, pressure_doubt_mbar=due_mbar * 4 // 3 + 1))
    for made, fault in ((quiet, "stuck"), (coarse, "none")):
        made.stand(*SHUT)
        assert made.stand(0, 0, 0, 500, water=SHUT)[3] == fault


def test_where_no_move_could_tell_nobody_looks(settings_of):
    deaf = Plant(settings_of(3, 1, pressure_doubt_mbar=5_000))
    assert deaf.effect.is_useless
    assert deaf.stand(*FIRST_JET, water=SHUT, seconds=2) == NONE
    assert not deaf.effect.timing


def test_the_level_explains_its_own_pressure(settings_of):
    made = Plant(settings_of(3, 1, pressure_doubt_mbar=1))
    small = (0, 0, 0, 200)
    due_mbar = made.mbar(*SHUT) - made.mbar(*small)
    risen_mm = due_mbar * 1_000 // 98
    made.stand(*SHUT)
    assert made.stand(*small, level_mm=100 + risen_mm, off_mbar=due_mbar) == NONE
    made.stand(*SHUT)
    assert made.stand(*small, level_mm=100 + risen_mm, water=SHUT, off_mbar=due_mbar)[3] == "stuck"


@pytest.mark.parametrize("spoil", ["unknown", "frozen", "moving", "half open"])
def test_a_standing_that_tells_nothing_is_not_judged(settings_of, spoil):
    made = Plant(settings_of(3, 1, pressure_looks=18))
    made.stand(*SHUT)
    made.facts.moving = spoil == "moving"
    goal = (600, 0, 0, 0) if spoil == "half open" else FIRST_JET
    if spoil == "unknown":
        made.mbar = lambda *_: UNKNOWN // 2
        made.facts.values[PRESSURE_MBAR] = UNKNOWN
        made.position[:] = goal
        for _ in range(LONG_S):
            made.now_ms += 1_000
            made.facts.now_ms = ticks_add(WRAP_MS, made.now_ms)
            made.guard.judge(made.facts, made.actual)
        assert made.guard.fault == [valve_guard.NONE] * 4
    else:
        assert made.stand(*goal, water=SHUT, still=spoil == "frozen") == NONE


# -- several at once ----------------------------------------------------------------------------------


def test_of_several_that_moved_at_once_one_is_blamed_only_when_it_alone_explains_two_moves(plant):
    plant.stand(*SHUT)
    assert plant.stand(1_000, 1_000, 1_000, 0, water=(1_000, 1_000, 0, 0)) == NONE  # the third, but once
    assert plant.stand(0, 0, 0, 0) == NONE or plant.guard.fault[2]
    assert plant.stand(1_000, 0, 1_000, 0, water=FIRST_JET)[2] == "stuck"


def test_a_suspect_that_the_water_follows_is_none(plant):
    plant.stand(*SHUT)
    plant.stand(1_000, 1_000, 1_000, 0, water=(1_000, 1_000, 0, 0))
    assert plant.effect.suspect[2]
    plant.stand(1_000, 1_000, 0, 0)
    plant.stand(1_000, 1_000, 1_000, 0)
    assert not any(plant.effect.suspect)


def test_a_pressure_that_answers_to_no_valve_blames_none_until_it_answers(plant):
    plant.stand(*SHUT)
    assert plant.stand(*FIRST_JET, water=SHUT) == ["stuck", "none", "none", "none"]
    assert plant.stand(1_000, 1_000, 0, 0, water=SHUT) == NONE
    assert plant.stand(1_000, 1_000, 1_000, 0, water=SHUT) == NONE
    assert plant.guard.deaf


def test_the_owner_who_has_looked_begins_afresh(plant):
    plant.stand(*SHUT)
    plant.stand(*FIRST_JET, water=SHUT)
    plant.guard.clear()
    assert plant.guard.fault == [valve_guard.NONE] * 4
    assert plant.stand(*SHUT, water=FIRST_JET) == NONE  # nothing to compare with


# -- with feedback ------------------------------------------------------------------------------------


def test_feedback_that_says_shut_over_flowing_water_is_an_end_that_lies(plant):
    plant.actual[0] = 1_000
    plant.stand(*FIRST_JET)
    plant.actual[0] = 0
    assert plant.stand(*SHUT, off_mbar=-_share(plant, 0, 60)) == ["end_lies", "none", "none", "none"]
    assert plant.guard.blocked == valve_guard.NO_VALVE
    plant.actual[0] = 1_000
    plant.stand(*FIRST_JET)
    plant.actual[0] = 0
    assert plant.stand(*SHUT) == NONE  # it shuts again


def test_feedback_that_says_open_and_no_water_is_a_blocked_jet_and_no_valve(plant):
    plant.actual[0] = 0
    plant.stand(*SHUT)
    plant.actual[0] = 1_000
    assert plant.stand(*FIRST_JET, water=SHUT) == NONE
    assert plant.guard.blocked == 0
    plant.actual[0] = 0
    plant.stand(*SHUT, seconds=8_000)
    plant.actual[0] = 1_000
    plant.stand(*FIRST_JET)
    assert plant.guard.blocked == valve_guard.NO_VALVE


# -- by the bus voltage -------------------------------------------------------------------------------


def test_a_wheel_that_stands_still_shows_a_jet_that_did_not_open(by_bus):
    by_bus.stand(*SHUT, mv=0)
    assert by_bus.stand(*FIRST_JET, mv=0)[0] == "stuck"


def test_a_wheel_that_turns_shows_a_jet_that_did_not_close(by_bus):
    by_bus.stand(*FIRST_JET, mv=SET_MV)
    assert by_bus.stand(*SHUT, mv=SET_MV)[0] == "stuck"


def test_a_wheel_that_starts_or_stops_as_ordered_is_seen_to(by_bus):
    by_bus.stand(*SHUT, mv=0)
    assert by_bus.stand(*FIRST_JET, mv=SET_MV) == NONE
    assert by_bus.answers()[0] == "came"
    assert by_bus.stand(*SHUT, mv=0) == NONE
    assert by_bus.answers()[0] == "came"


def test_an_unloaded_wheel_says_nothing(by_bus):
    by_bus.stand(*FIRST_JET, mv=2 * SET_MV)  # the battery is full
    assert by_bus.stand(*SHUT, mv=2 * SET_MV) == NONE


def test_a_trim_barely_open_turns_the_wheel_as_nobody_knows(by_bus):
    by_bus.stand(*SHUT, mv=0)
    assert by_bus.stand(0, 0, 0, 400, mv=0) == NONE
    by_bus.stand(*SHUT, mv=0)
    assert by_bus.stand(0, 0, 0, 600, mv=0)[3] == "stuck"


def test_a_wheel_too_fast_after_a_jet_has_closed_may_be_a_battery_just_full(by_bus):
    mv_of = {0: 0, 1: 60_000, 3: 75_000}  # by set
    for place, mask in enumerate(by_bus.read.set_masks):
        by_bus.read.set_bus_mv[place] = [mv_of.get(mask, 80_000)] * len(by_bus.read.trim_permille)
    by_bus.stand(1_000, 1_000, 0, 0, mv=75_000)
    assert by_bus.stand(*FIRST_JET, mv=75_000) == NONE
    assert by_bus.stand(*SHUT, mv=0) == NONE
    by_bus.stand(*FIRST_JET, mv=60_000)
    assert by_bus.stand(1_000, 1_000, 0, 0, mv=60_000)[1] == "stuck"  # too slow says more


@pytest.mark.parametrize(("more_mv", "fault"), [(1_800, "none"), (2_000, "stuck")])
def test_a_change_as_small_as_a_tracker_wanders_says_nothing(by_bus, more_mv, fault):
    for place, mask in enumerate(by_bus.read.set_masks):
        by_bus.read.set_bus_mv[place] = [60_000 + (more_mv if mask == 3 else 0)] * len(
            by_bus.read.trim_permille
        )
    by_bus.stand(*FIRST_JET, mv=60_000)
    assert by_bus.stand(1_000, 1_000, 0, 0, mv=60_000)[1] == fault


def test_a_frozen_bus_voltage_says_nothing(by_bus):
    by_bus.stand(*FIRST_JET, mv=SET_MV, still=True)
    assert by_bus.stand(*SHUT, mv=SET_MV, still=True) == NONE


def test_pressure_and_wheel_together_must_not_contradict(settings_of):
    both = Plant(settings_of(3, 1, bus_doubt_mv=900))
    both.stand(*SHUT, mv=0)
    assert both.stand(*FIRST_JET, water=SHUT, mv=SET_MV) == NONE  # the wheel turns: the pressure lies


# -- whatever comes -----------------------------------------------------------------------------------

ROWS = st.lists(
    st.tuples(
        st.integers(1, 90_000),
        st.lists(st.sampled_from([0, 0, 1_000, 1_000, 300]), min_size=4, max_size=4),
        st.one_of(st.just(UNKNOWN), st.integers(3_000, 5_200)),
        st.one_of(st.just(UNKNOWN), st.integers(0, 120_000)),
        st.booleans(),
    ),
    max_size=60,
)


@settings(max_examples=60, deadline=None)
@given(rows=ROWS, again=st.lists(st.integers(0, 9_000), min_size=2, max_size=2))
def test_before_its_time_looking_again_changes_nothing(settings_of, rows, again):
    made = Plant(settings_of(3, 1, bus_doubt_mv=900))
    effect = made.effect

    def state():
        standing = [
            (list(one.sum), list(one.count), one.looks, list(one.taken))
            for one in (effect.now, effect.before)
        ]
        return (
            standing,
            list(effect.suspect),
            list(made.guard.fault),
            list(made.guard.inferred),
            made.guard.blocked,
        )

    def left_ms():
        now_ms = made.facts.now_ms
        return min(made.guard.left_ms(now_ms), made.guard.effect.left_ms(now_ms))

    def look(wait_ms):
        made.now_ms += wait_ms
        made.facts.now_ms = ticks_add(WRAP_MS, made.now_ms)
        made.guard.judge(made.facts, made.actual)

    for wait_ms, position, mbar, mv, moving in rows:
        made.position[:] = position
        made.facts.closed = not any(position)
        made.facts.moving = moving
        made.facts.values[PRESSURE_MBAR] = mbar
        made.facts.values[BUS_MV] = mv
        look(min(wait_ms, max(1, left_ms())))
        before = state()
        for wait_again_ms in again:
            look(min(wait_again_ms, left_ms() - 1))
            assert state() == before
        assert all(abs(number) < 1 << 29 for row in before[0] for number in (*row[0], row[2]))
