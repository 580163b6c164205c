"""Each valve's order against its feedback, and what the water says of both."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import valve_guard
from becklight.facts import Facts
from becklight.readings import PRESSURE_MBAR, UNKNOWN
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.valve_guard import FAULTS, ValveGuard, plausible

# Of the plant built in conftest.py: within 50 permille after 10 s; static 5000 mbar.
FOLLOW_MS = 10_000
STATIC_MBAR = 5_000
WRAP_MS = PERIOD_MS - 65_000
STEP = 40


class Plant:
    """Two fixed jets and a trim, shown to the guard once a second; feedback as each test has it."""

    def __init__(self, read):
        self.position = [0] * len(read.valves)
        self.guard = ValveGuard(read, self.position)
        self.actual = [UNKNOWN] * len(read.valves)
        self.facts = Facts()
        self.facts.settled = True
        self.facts.values[PRESSURE_MBAR] = STATIC_MBAR
        self.facts.expected_mbar = STATIC_MBAR
        self.now_ms = 0

    def look(self, wait_ms=1_000):
        self.now_ms += wait_ms
        self.facts.now_ms = ticks_add(WRAP_MS, self.now_ms)
        self.facts.closed = not any(self.position)
        self.guard.judge(self.facts, self.actual)

    def rest(self, seconds):
        for _ in range(seconds):
            self.look()
        return FAULTS[self.guard.fault[0]]

    def move(self, goal, follow=None):
        """Order the first valve there by steps; `follow` gives its place for each order."""
        self.facts.moving = True
        while self.position[0] != goal:
            travel = max(-STEP, min(STEP, goal - self.position[0]))
            self.position[0] += travel
            if follow is not None:
                self.actual[0] = follow(self.position[0])
            self.look()
        self.facts.moving = False
        return self.rest(FOLLOW_MS // 1_000 + 1)


@pytest.fixture
def plant(settings_of):
    return Plant(settings_of(2, 1))


def _at(plant, permille):
    """The valve stands there, ordered so and found so."""
    plant.actual[0] = 0
    assert plant.move(permille, follow=lambda ordered: ordered) == "none"
    return plant


def test_every_fault_has_its_name():
    names = ("none", "stuck", "half", "wrong_way", "drifts", "end_lies")
    places = (
        valve_guard.NONE,
        valve_guard.STUCK,
        valve_guard.HALF,
        valve_guard.WRONG_WAY,
        valve_guard.DRIFTS,
        valve_guard.END_LIES,
    )
    assert [FAULTS[place] for place in places] == list(names)
    assert len(FAULTS) == len(names)


@pytest.mark.parametrize(
    ("goal", "follow", "fault"),
    [
        (1_000, lambda ordered: ordered, "none"),
        (1_000, lambda ordered: ordered - 50, "none"),
        (1_000, lambda ordered: ordered - 51, "half"),
        (1_000, lambda ordered: min(ordered, 700), "half"),
        (1_000, lambda ordered: 400, "stuck"),
        (1_000, lambda ordered: 459, "stuck"),
        (1_000, lambda ordered: 460, "half"),  # a tenth of the way
        (1_000, lambda ordered: 600 - ordered // 2, "wrong_way"),
        (0, lambda ordered: ordered, "none"),
        (0, lambda ordered: -20, "none"),  # the switch a little past the end
        (0, lambda ordered: max(ordered, 200), "half"),
        (0, lambda ordered: 400, "stuck"),
        (0, lambda ordered: 800 - ordered, "wrong_way"),
        (480, lambda ordered: 400, "stuck"),
        (480, lambda ordered: 800 - ordered, "wrong_way"),
    ],
)
def test_a_move_from_400_permille(plant, goal, follow, fault):
    assert _at(plant, 400).move(goal, follow) == fault
    assert FAULTS[plant.guard.fault[1]] == "none"
    assert plant.guard.believed_permille[0] == max(0, min(1_000, plant.actual[0]))


def test_nothing_is_said_before_the_valve_has_had_time_to_follow(plant):
    _at(plant, 400)
    plant.position[0] = 440
    plant.look()
    plant.actual[0] = 300  # wherever
    assert plant.guard.left_ms(plant.facts.now_ms) == FOLLOW_MS
    assert plant.rest(9) == "none"
    assert plant.rest(1) != "none"


def test_a_valve_that_catches_up_late_is_cleared(plant):
    assert _at(plant, 400).move(1_000, lambda ordered: 400) == "stuck"
    plant.actual[0] = 1_000
    assert plant.rest(12) == "none"


def test_a_turn_midway_is_a_new_move(plant):
    _at(plant, 200)
    plant.facts.moving = True
    for ordered in (*range(240, 640, STEP), *range(600, 160, -STEP)):  # to 600 and back
        plant.position[0] = ordered
        plant.actual[0] = max(plant.actual[0], min(ordered, 600))
        plant.look()
    assert plant.rest(11) == "stuck"  # at the turning point, and never back


@pytest.mark.parametrize(("actual", "fault"), [(450, "none"), (451, "drifts"), (340, "drifts")])
def test_a_valve_that_leaves_its_place_unordered_drifts(plant, actual, fault):
    _at(plant, 400)
    plant.actual[0] = actual
    assert plant.rest(12) == fault


def test_a_glimpse_elsewhere_is_no_drift(plant):
    _at(plant, 400)
    for second in range(60):
        plant.actual[0] = 900 if second % 5 == 0 else 400
        assert plant.rest(1) == "none"


def test_a_valve_found_open_at_power_up_is_not_believed_shut(plant):
    plant.actual[0] = 1_000
    assert plant.rest(12) == "drifts"
    assert plant.guard.believed_permille[0] == 1_000


def test_without_feedback_the_order_is_believed_and_nothing_is_waited_for(plant):
    plant.move(600)
    assert plant.guard.believed_permille == [600, 0, 0]
    assert plant.guard.followers[0].following.left_ms(plant.facts.now_ms) > 10**8


def test_what_feedback_has_shown_stands_while_it_is_away(plant):
    _at(plant, 400).move(1_000, lambda ordered: 400)
    plant.actual[0] = UNKNOWN
    assert plant.rest(60) == "stuck"
    plant.guard.clear()
    assert plant.rest(60) == "none"


@pytest.mark.parametrize(("permille", "known"), [(-101, 0), (-100, 1), (1_100, 1), (1_101, 0), (UNKNOWN, 0)])
def test_feedback_far_past_an_end_is_no_feedback(permille, known):
    assert plausible(permille) == (permille if known else UNKNOWN)


# -- whatever comes ---------------------------------------------------------------------------------

GARBAGE = st.one_of(st.just(UNKNOWN), st.integers(-(1 << 29), 1 << 29), st.integers(-150, 1_150))
ORDERS = st.lists(
    st.tuples(
        st.integers(1, 30_000),  # wait
        st.lists(st.integers(0, 1_000), min_size=3, max_size=3),
        GARBAGE,
        GARBAGE,
        st.one_of(st.just(UNKNOWN), st.integers(0, 6_000)),
        st.booleans(),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(rows=ORDERS)
def test_garbage_never_raises_nor_blames_a_valve_that_followed_exactly(settings_of, rows):
    plant = Plant(settings_of(2, 1))
    for wait_ms, position, one, other, mbar, settled in rows:
        plant.position[:] = position
        plant.actual[:] = [one, position[1], other]
        plant.facts.values[PRESSURE_MBAR] = mbar
        plant.facts.expected_mbar = mbar + 300 if mbar != UNKNOWN else 4_000
        plant.facts.settled = settled
        plant.look(wait_ms)
        assert plant.guard.fault[1] == valve_guard.NONE
        assert plant.guard.believed_permille[1] == position[1]
        assert all(0 <= fault < len(FAULTS) for fault in plant.guard.fault)
        assert all(0 <= permille <= 1_000 for permille in plant.guard.believed_permille)


@settings(max_examples=60, deadline=None)
@given(rows=ORDERS, again=st.lists(st.integers(0, 9_000), min_size=2, max_size=2))
def test_before_its_time_asking_again_changes_nothing(settings_of, rows, again):
    plant = Plant(settings_of(2, 1))
    guard = plant.guard

    def left_ms():
        now_ms = plant.facts.now_ms
        return min(guard.left_ms(now_ms), guard.effect.left_ms(now_ms))

    def state():
        dues = [
            follower.following.due_ms if follower.following.timing else None for follower in guard.followers
        ]
        return list(guard.fault), list(guard.believed_permille), list(guard.inferred), guard.deaf, dues

    for wait_ms, position, one, other, mbar, settled in rows:
        plant.position[:] = position
        plant.actual[:] = [one, other, UNKNOWN]
        plant.facts.values[PRESSURE_MBAR] = mbar
        plant.facts.settled = settled
        plant.look(min(wait_ms, max(1, left_ms())))
        before = state()
        for wait_again_ms in again:
            plant.look(min(wait_again_ms, left_ms() - 1))
            assert state() == before
