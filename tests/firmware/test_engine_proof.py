"""What may never happen, whatever the instruments say, the owner orders and the clock does.

Long lists of things that happen are made up: readings and feedback sensible, extreme, missing or garbage; the
owner's orders; waiting, asking late, asking when due. After each step of the engine the promises are checked.

500 lists in an ordinary run, the same every time; with BECKLIGHT_NIGHTLY=1 in the environment 10 000 new
ones. BECKLIGHT_EXAMPLES=3000 makes so many new ones.
"""

import os

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from becklight import alarms, reasons
from becklight.engine import RuleEngine
from becklight.orders import Orders
from becklight.readings import (
    COUNT,
    LEVEL_MM,
    POND_MM,
    PRESSURE_MBAR,
    RUN_SWITCH,
    SPARE_BUS_MV,
    UNKNOWN,
    YEAR_DAY,
    Readings,
)
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

NIGHTLY = os.environ.get("BECKLIGHT_NIGHTLY") == "1"
EXAMPLES = int(os.environ.get("BECKLIGHT_EXAMPLES", "10000" if NIGHTLY else "500"))
FRESH = EXAMPLES != 500
PROOF = settings(
    max_examples=EXAMPLES,
    derandomize=not FRESH,
    print_blob=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

MOST = (1 << 29) - 1
SMALL = 1 << 30  # a small integer of a 32-bit board lies below this
LONGEST_MS = 900_000
SOUND = [140, 4_900, 26_500, 250, 60_000, 2_000, 100, 80, 1, 50_000]

POND = {
    "valve": {
        "name": "pond",
        "step_permille": 100,
        "open_step_ms": 3_000,
        "close_step_ms": 3_000,
        "slow_zone_permille": 200,
        "slow_times": 2,
    },
    "opening_permille": 600,
    "lowest_mm": 500,
    "again_mm": 900,
    "still_ms": 600_000,
    "night_fall_mm": 200,
    "week_fall_mm": 300,
    "release_ml_s": 500,
}
MONTHS = {
    "level_mm": [0, 0, 90, 120, 120, 90, 0, 0, 0, 90, 0, 0],
    "share_permille": [0, 100, 0, 0, 300, 0, 0, 0, 0, 50, 0, 0],
    "margin_mm": 5,
}
# With the first jet and none: of a set's flow a needle would make little.
TURNS = {"lower": [0], "upper": [2], "from_ml_s": [100], "to_ml_s": [1_400]}
# All care switched on, and short times, so that much happens in a short list.
CARE = {
    "fill_mbar": 4_000,
    "fill_hold_ms": 10_000,
    "fill_ms": 60_000,
    "bleed_ms": 30_000,
    "restart_good_ms": 300_000,
    "restart_wait_ms": 60_000,
    "restart_most_ms": 600_000,
    "moves_per_hour": 6,
    "exercise_days": 1,
    "rest_when_full": 1,
    "frost_hold_ms": 60_000,
    "keep_ml_s": 200,
    "flush_ms": 30_000,
    "flush_wait_ms": 300_000,
    "flush_most": 2,
    "bus_doubt_mv": 900,
    "level_looks": 3,
    "low_hold_ms": 60_000,
    "full_hold_ms": 60_000,
    "resume_hold_ms": 60_000,
    "measure_ms": 20_000,
    "settle_ms": 20_000,
}

# -- what may happen --------------------------------------------------------------------------------

LEVELS_MM = st.sampled_from([140, 160, 200, 105, 100, 99, 95, 70, 59, 55, 50, 49, 40, 0])
SENSIBLE = st.one_of(
    st.tuples(st.just(LEVEL_MM), LEVELS_MM),
    st.tuples(st.just(LEVEL_MM), st.integers(0, 300)),
    st.tuples(st.just(PRESSURE_MBAR), st.integers(0, 5_200)),
    st.tuples(st.just(2), st.integers(23_000, 29_500)),
    st.tuples(st.just(4), st.integers(0, 125_000)),
    st.tuples(st.just(POND_MM), st.integers(400, 1_000)),
    st.tuples(st.just(YEAR_DAY), st.integers(1, 366)),
    st.tuples(st.just(7), st.integers(-100, 100)),
    st.tuples(st.just(RUN_SWITCH), st.sampled_from([0, 1, 1, UNKNOWN])),
    st.tuples(st.just(SPARE_BUS_MV), st.sampled_from([0, 50_000, 79_000, 95_001, 99_000, 110_000])),
)
ANY_VALUE = st.one_of(st.just(UNKNOWN), st.sampled_from([-MOST, MOST, 0, -1, 1, 2]), st.integers(-MOST, MOST))
ANY_READING = st.tuples(st.integers(0, COUNT - 1), ANY_VALUE)
ANY_LENGTH_MS = st.one_of(st.integers(100, 20_000), st.integers(100, LONGEST_MS))
HAPPENS = st.one_of(
    st.tuples(st.just("next"), st.integers(1, 25)),
    st.tuples(st.just("next"), st.integers(1, 25)),
    st.tuples(st.just("read"), st.lists(SENSIBLE, min_size=1, max_size=3)),
    st.tuples(st.just("read"), st.lists(SENSIBLE, min_size=1, max_size=3)),
    st.tuples(st.just("late"), ANY_LENGTH_MS),
    st.tuples(st.just("dense"), st.integers(100, 60_000)),
    st.tuples(st.just("sound"), LEVELS_MM),
    st.tuples(st.just("sound"), st.sampled_from([140, 160, 200])),
    st.tuples(st.just("read"), st.lists(ANY_READING, min_size=1, max_size=3)),
    st.tuples(st.just("lost"), st.integers(60_001, 120_000)),
    st.tuples(
        st.just("feedback"),
        st.integers(0, 2),
        st.one_of(ANY_VALUE, st.integers(-100, 1_100), st.just("true")),
    ),
    st.tuples(st.just("hold"), st.integers(-1, 5), st.integers(-1, 1_001), st.integers(-1, 90_000_000)),
    st.tuples(st.just("hold"), st.integers(0, 3), st.integers(0, 1_000), st.integers(1, 600_000)),
    st.tuples(st.just("stop"), st.sampled_from([0, 1_000, 60_000, 86_400_000, 86_400_001, -1])),
    st.tuples(st.just("resume")),
    st.tuples(st.just("lock"), st.integers(-1, 3), st.booleans()),
    st.tuples(st.just("lock_wheel"), st.integers(-1, 2), st.booleans()),
    st.tuples(st.just("clear")),
    st.tuples(
        st.just("acknowledge"), st.integers(0, len(alarms.NAMES) - 1), st.integers(0, alarms.VALVES - 1)
    ),
)
LISTS = st.lists(HAPPENS, min_size=8, max_size=40)
STARTS_MS = st.sampled_from([0, PERIOD_MS - 65_000, PERIOD_MS // 2 - 65_000, PERIOD_MS - 1])
AT_POWER_UP = st.one_of(
    st.just([0, 0, 0]),  # mostly: or the lists would be over before every valve has been closed
    st.just([0, 0, 0]),
    st.lists(
        st.one_of(st.just(0), st.just(UNKNOWN), st.integers(0, 1_000), ANY_VALUE), min_size=3, max_size=3
    ),
)


# -- who checks -------------------------------------------------------------------------------------


def parts_of(thing):
    """Every object and list of numbers that hangs on it, once; the settings stand and are left out."""
    found, waiting, seen = [], [thing], set()
    while waiting:
        one = waiting.pop()
        if id(one) in seen or type(one).__name__.endswith("Settings"):
            continue
        seen.add(id(one))
        if isinstance(one, (list, tuple)):
            found.append(one)
            waiting.extend(each for each in one if not isinstance(each, (int, str)))
        elif hasattr(one, "__dict__"):
            found.append(one.__dict__)
            waiting.extend(each for each in one.__dict__.values() if not isinstance(each, (int, str)))
    return found


def biggest(parts):
    """The number farthest from 0 among them."""
    most = 0
    for part in parts:
        for value in part.values() if isinstance(part, dict) else part:
            if isinstance(value, int) and abs(value) > most:
                most = abs(value)
    return most


def rest_ms(valve, here, there):
    """How long nothing may move after this step of a valve."""
    length_ms = valve.open_step_ms if there > here else valve.close_step_ms
    return length_ms * (valve.slow_times if min(here, there) < valve.slow_zone_permille else 1)


def told(orders):
    """All that the orders say."""
    return (
        *orders.opening_permille,
        orders.reason,
        orders.pond_permille,
        orders.pond_reason,
        orders.next_ms,
        *orders.low,
        *orders.high,
    )


class Proof:
    """An engine asked at every instant, its twin asked seldom, and the promises."""

    def __init__(self, read, start_ms, at_power_up):
        self.read = read
        self.valves = len(read.valves)
        self.engine, self.orders = RuleEngine(read), Orders(self.valves)
        self.twin, self.twin_orders = RuleEngine(read), Orders(self.valves)
        self.readings = Readings(self.valves)
        self.values = list(SOUND)
        self.feedback = list(at_power_up)
        self.start_ms = start_ms
        self.now_ms = 0  # since the start; does not wrap
        self.free_ms = 0  # no valve may move before
        self.both_lost_ms = None  # since when neither level nor pressure is believed
        self.parts = parts_of([self.engine, self.orders])
        self.moves = 0
        self.ask()

    def instant_ms(self):
        return ticks_add(self.start_ms, self.now_ms % PERIOD_MS)

    def due(self, engine, orders):
        """Whether somebody who asks seldom would ask now."""
        return (
            not engine.started
            or engine.owner.changed
            or ticks_diff(self.instant_ms(), orders.next_ms) >= 0
            or not orders.within(self.readings.values)
        )

    def ask(self):
        """One step, and all that is promised of it."""
        now_ms = self.instant_ms()
        readings, orders = self.readings, self.orders
        for place in range(COUNT):
            readings.put(place, self.values[place], now_ms)
        for valve in range(self.valves):
            told_permille = self.feedback[valve]
            if told_permille == "true":
                told_permille = orders.opening_permille[valve]
            readings.put_position(valve, told_permille, now_ms)
        before = list(orders.opening_permille)
        due = self.due(self.engine, orders)
        twin_due = self.due(self.twin, self.twin_orders)
        self.engine.step(now_ms, readings, orders)
        if due:
            self.check(before, now_ms)
            first = told(orders)
            self.engine.step(now_ms, readings, orders)
            assert told(orders) == first
        else:
            assert orders.opening_permille == before
        if twin_due:
            self.twin.step(now_ms, readings, self.twin_orders)
            assert told(self.twin_orders) == told(orders)

    def check(self, before, now_ms):
        orders = self.orders
        openings = orders.opening_permille
        assert all(0 <= permille <= 1_000 for permille in openings)
        assert 0 <= orders.pond_permille <= 1_000
        assert 0 <= orders.reason < len(reasons.NAMES)
        assert 0 <= orders.pond_reason < len(reasons.NAMES)
        assert 0 < ticks_diff(orders.next_ms, now_ms) <= self.read.rules.quiet_ms
        self.note_lost()
        if not orders.anew:
            self.check_moves(before, openings)

    def check_moves(self, before, openings):
        moved = [valve for valve in range(self.valves) if openings[valve] != before[valve]]
        assert len(moved) <= 1
        for valve in moved:
            self.moves += 1
            here, there = before[valve], openings[valve]
            assert abs(there - here) <= self.read.valves[valve].step_permille
            assert self.now_ms >= self.free_ms
            self.free_ms = self.now_ms + rest_ms(self.read.valves[valve], here, there)
            assert there < here or not self.must_not_open()
            assert there < here or not self.engine.owner.out(valve)
            assert there < here or self.read.valves[valve].wheel == 0 or not self.engine.book.spare_too_fast()

    def must_not_open(self):
        rules, values = self.read.rules, self.engine.facts.values
        pressed = self.values[RUN_SWITCH] != 1 and rules.fitted_bits >> RUN_SWITCH & 1
        low = values[LEVEL_MM] != UNKNOWN and values[LEVEL_MM] < rules.level_floor_mm
        blind = self.both_lost_ms is not None and self.now_ms - self.both_lost_ms > rules.lost_hold_ms
        return pressed or low or blind

    def note_lost(self):
        values = self.engine.facts.values
        if values[LEVEL_MM] != UNKNOWN or values[PRESSURE_MBAR] != UNKNOWN:
            self.both_lost_ms = None
        elif self.both_lost_ms is None:
            self.both_lost_ms = self.now_ms

    # -- what happens ------------------------------------------------------------------------------

    def happen(self, what, *how):
        getattr(self, what)(*how)
        assert biggest(self.parts) < SMALL

    def next(self, times):
        for _ in range(times):
            self.now_ms += max(1, ticks_diff(self.orders.next_ms, self.instant_ms()))
            self.ask()

    def late(self, length_ms):
        self.now_ms += length_ms
        self.ask()

    def dense(self, length_ms):
        """Asked every second and when due."""
        end_ms = self.now_ms + length_ms
        while self.now_ms < end_ms:
            due_ms = self.now_ms + max(1, ticks_diff(self.orders.next_ms, self.instant_ms()))
            self.now_ms = min(due_ms, end_ms, self.now_ms + 1_000)
            self.ask()

    def read_values(self, rows):
        for place, value in rows:
            self.values[place] = value
        self.ask()

    def sound(self, level_mm):
        self.values[:] = SOUND
        self.values[LEVEL_MM] = level_mm
        self.next(12)

    def lost(self, length_ms):
        self.values[LEVEL_MM] = self.values[PRESSURE_MBAR] = UNKNOWN
        self.ask()
        self.late(length_ms)

    def tell(self, valve, permille):
        self.feedback[valve] = permille

    def owner(self, name, *how):
        for engine in (self.engine, self.twin):
            answer = getattr(engine.owner, name)(*how)
        return answer

    def hold(self, menu_set, trim_permille, hold_ms):
        self.owner("hold", self.instant_ms(), menu_set, trim_permille, hold_ms)
        self.ask()

    def stop(self, hold_ms):
        self.owner("stop", self.instant_ms(), hold_ms)
        self.ask()

    def resume(self):
        self.owner("resume")
        self.ask()

    def lock(self, valve, locked):
        self.owner("lock", valve, locked)
        self.ask()

    def lock_wheel(self, wheel, locked):
        self.owner("lock_wheel", wheel, locked)
        self.ask()

    def clear(self):
        for name in ("clear_pipe", "clear_screen", "clear_valves"):
            self.owner(name)
        self.ask()

    def acknowledge(self, code, valve):
        for engine in (self.engine, self.twin):
            engine.book.alarms.acknowledge(code, valve)


NAMED = {"read": "read_values", "feedback": "tell"}


def play(read, start_ms, at_power_up, happens):
    """Let it all happen to a fresh engine."""
    proof = Proof(read, start_ms, at_power_up)
    for what, *how in happens:
        proof.happen(NAMED.get(what, what), *how)
    return proof


@pytest.fixture(scope="module")
def plants(settings_of):
    """A plain small plant; one with pond, residual flow by month and all care; two with a spare; turns."""
    return (
        settings_of(2, 1),
        settings_of(2, 1, residual=MONTHS, pond=POND, **CARE),
        settings_of(1, 2, spare=[2], **CARE),
        settings_of(2, 1, spare=[1], spare_beside=1, **CARE),
        settings_of(2, 1, residual=MONTHS, pond=POND, turns=TURNS, turns_rise_mm=4, **CARE),
    )


@PROOF
@given(which=st.integers(0, 4), start_ms=STARTS_MS, at_power_up=AT_POWER_UP, happens=LISTS)
def test_whatever_happens_the_promises_are_kept(plants, which, start_ms, at_power_up, happens):
    play(plants[which], start_ms, at_power_up, happens)


@settings(parent=PROOF, max_examples=EXAMPLES // 5)
@given(
    which=st.integers(0, 4),
    happens=LISTS,
    share_permille=st.integers(1, 999),
    ends=st.lists(st.integers(0, 2), min_size=COUNT, max_size=COUNT),
)
def test_a_look_that_nobody_asked_for_would_move_no_valve(plants, which, happens, share_permille, ends):
    # Inside every band and before its time the engine is made to look all the same. The reason may change
    # then: a rule that answers to what the engine has just done (start.stopped) is heard at the next look.
    # The level stays where it is: what was put off while it was low waits until it leaves its band.
    proof = play(plants[which], PERIOD_MS - 65_000, [0, 0, 0], happens)
    orders = proof.orders
    wait_ms = ticks_diff(orders.next_ms, proof.instant_ms())
    if wait_ms < 2:
        return
    proof.now_ms += max(1, wait_ms * share_permille // 1_000)
    now_ms = proof.instant_ms()
    for place in range(COUNT):
        end = 0 if place == LEVEL_MM else ends[place]
        value = (proof.values[place], orders.low[place], orders.high[place])[end]
        proof.readings.put(place, value, now_ms)
    for valve in range(proof.valves):
        proof.readings.put_position(valve, proof.readings.position_permille[valve], now_ms)
    stood = (*orders.opening_permille, orders.pond_permille)
    assert orders.within(proof.readings.values)
    orders.next_ms = now_ms
    proof.engine.step(now_ms, proof.readings, orders)
    assert (*orders.opening_permille, orders.pond_permille) == stood


# -- found by such lists, or by asking what they might miss ------------------------------------------

PRESS = ("read", [(RUN_SWITCH, 0)])


@pytest.mark.parametrize("steps", range(1, 50))
@pytest.mark.parametrize("level_mm", [55, 40])
def test_nothing_opens_near_the_floor_with_the_switch_pressed_or_below_it(plants, level_mm, steps):
    low = ("read", [(LEVEL_MM, level_mm)])
    hold = ("hold", 3, 1_000, 600_000)
    midway = ("next", steps)
    for happens in (
        [("sound", 160), midway, low, hold, ("next", 1), PRESS],
        [("sound", 200), midway, low, ("next", 3), PRESS],
        # all closed, ordered open while the last step's rest still runs, and the level falls
        [("hold", 1, 0, 600_000), ("sound", 160), ("next", 60), ("stop", 0), midway, hold, low],
    ):
        play(plants[0], 0, [0, 0, 0], [*happens, ("next", 30)])


def test_where_the_valves_are_taken_to_stand_is_told_before_any_of_them_moves(plants):
    proof = Proof(plants[0], 0, [1_000, 300, UNKNOWN])
    assert (proof.orders.anew, proof.orders.opening_permille) == (1, [1_000, 300, 1_000])
    proof.next(1)
    assert (proof.orders.anew, proof.orders.opening_permille) == (0, [1_000, 300, 1_000])
    proof.next(1)  # a step may have been taken just before the power failed
    assert (proof.now_ms, proof.orders.opening_permille) == (6_000, [960, 300, 1_000])


def test_the_owner_is_heard_at_once_and_not_when_the_engine_is_next_due(plants):
    proof = play(plants[0], 0, [0, 0, 0], [("sound", 160), ("next", 60)])
    assert sum(proof.orders.opening_permille) > 0
    while ticks_diff(proof.orders.next_ms, proof.instant_ms()) <= 2_000:
        proof.next(1)
    proof.now_ms += 1_000
    proof.stop(0)
    assert reasons.NAMES[proof.orders.reason] == "owner"


@pytest.mark.parametrize(
    ("place", "value"), [(RUN_SWITCH, MOST), (RUN_SWITCH, 2), (YEAR_DAY, -5), (YEAR_DAY, 900)]
)
def test_what_no_switch_or_calendar_says_need_not_be_looked_at_again_and_again(plants, place, value):
    proof = play(plants[1], 0, [0, 0, 0], [("sound", 160), ("read", [(place, value)])])
    assert proof.orders.within(proof.readings.values)


def test_the_checks_see_an_opening_that_was_not_allowed(plants):
    proof = play(plants[0], 0, [0, 0, 0], [("sound", 160), PRESS, ("next", 60)])
    with pytest.raises(AssertionError):
        proof.check_moves([0, 0, 0], [40, 0, 0])
    proof.values[RUN_SWITCH] = 1
    proof.now_ms += 60_000
    proof.check_moves([0, 0, 0], [40, 0, 0])
    with pytest.raises(AssertionError):
        proof.check_moves([40, 0, 0], [80, 0, 0])  # too soon
