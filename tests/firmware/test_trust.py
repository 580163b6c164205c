"""Which instrument is believed, and since when not."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import readings as places
from becklight.drift import DRIFT_HOLD_MS
from becklight.facts import Facts
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.readings import COUNT, LEVEL_MM, PRESSURE_MBAR, UNKNOWN, YEAR_DAY
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.trust import LEVEL_HOLD_MS, LONGEST_MS, LOOK_MS, PLACES, Trust
from becklight.witness import DRIFT, FAULTS, FROZEN, GONE, JUMP, MOST_UPSETS, NOISY, NOISY_MS, OK, RANGE

WRAP_MS = PERIOD_MS - 65_000
HEALTHY = {
    places.LEVEL_MM: 120,
    places.PRESSURE_MBAR: 4_900,
    places.BATTERY_MV: 26_000,
    places.BUS_MV: 60_000,
    places.POND_MM: 900,
    places.TEMP_DECIC: 200,
    places.AIR_DECIC: 80,
    places.SPARE_BUS_MV: 50_000,
}
LOOKS = 18
JUMP_MM = 200  # of the plant built in conftest.py


def raw_of(**changed):
    values = [HEALTHY.get(place, UNKNOWN) for place in range(COUNT)]
    for name, value in changed.items():
        values[places.NAMES.index(name)] = value
    return values


@pytest.fixture(scope="session")
def settings_of(settings_of):
    """The plant built in conftest.py with a spare wheel, so that every instrument is there."""
    return lambda *args, **kwargs: settings_of(*args, **{"spare": [0], **kwargs})


class Bench:
    """A Trust asked every second, or when told."""

    def __init__(self, read):
        self.trust = Trust(read)
        self.facts = Facts()
        self.facts.closed, self.facts.spare_runs = False, True
        self.now_ms = 0

    def show(self, seconds=1, every_ms=1_000, **changed):
        """The level believed, after so many steps."""
        for _ in range(seconds):
            self.trust.judge(ticks_add(WRAP_MS, self.now_ms), raw_of(**changed), self.facts)
            self.now_ms += every_ms
        return self.facts.values[LEVEL_MM]

    def fault(self, place=LEVEL_MM):
        return FAULTS[self.trust.fault[place]]


@pytest.fixture
def bench(settings_of):
    return Bench(settings_of(level_looks=LOOKS, pressure_looks=LOOKS, battery_looks=LOOKS))


# -- one sample at a time ---------------------------------------------------------------------------


def test_what_looks_healthy_is_believed_at_once_and_all_of_it(bench):
    bench.show(year_day=12, run_switch=1)
    assert bench.facts.values == raw_of(year_day=12, run_switch=1)
    assert set(bench.trust.fault) == {OK}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("value", "fault"), [(UNKNOWN, GONE), (1 << 27, RANGE), (-(1 << 27), RANGE)])
def test_each_instrument_is_judged_by_itself(bench, place, value, fault):
    bench.show()
    bench.show(**{places.NAMES[place]: value})
    assert bench.facts.values == raw_of(**{places.NAMES[place]: UNKNOWN})
    assert [bench.trust.fault[each] for each in PLACES] == [fault if each == place else OK for each in PLACES]


@pytest.mark.parametrize(
    ("name", "lowest", "highest"),
    [
        ("level_mm", -500, 2_300),
        ("battery_mv", 11_400, 35_625),  # of 24 V: 0.5 to 1.5 times
        ("pressure_mbar", -1_100, 11_000),
        ("temp_decic", -400, 800),
    ],
)
def test_the_ends_of_the_range_are_believed_and_what_lies_beyond_is_not(settings_of, name, lowest, highest):
    for value, fault in ((lowest, OK), (lowest - 1, RANGE), (highest, OK), (highest + 1, RANGE)):
        bench = Bench(settings_of())
        bench.show(**{name: value})
        assert bench.trust.fault[places.NAMES.index(name)] == fault


def test_an_instrument_that_is_not_fitted_is_neither_believed_nor_blamed(settings_of):
    bench = Bench(settings_of(fitted_bits=1023 & ~(1 << LEVEL_MM)))
    assert bench.show(30) == UNKNOWN
    assert bench.fault() == "ok"


# -- jumps ------------------------------------------------------------------------------------------


def test_one_odd_sample_is_unknown_and_the_next_good_one_is_believed(bench):
    bench.show(5)
    assert bench.show(level_mm=120 + JUMP_MM + 1) == UNKNOWN
    assert bench.fault() == "jump"
    assert bench.show() == 120


def test_a_jump_that_stays_is_real_after_its_hold(bench):
    bench.show(5)
    assert bench.show(LEVEL_HOLD_MS // 1_000, level_mm=900) == UNKNOWN
    assert bench.show(level_mm=910) == 910


def test_a_jump_onto_something_that_moves_on_as_a_plant_does_is_real_as_well(bench):
    bench.show(5)
    for second in range(LEVEL_HOLD_MS // 1_000):
        assert bench.show(level_mm=900 + 20 * second) == UNKNOWN
    assert bench.show(level_mm=1_300) == 1_300


def test_a_value_that_keeps_jumping_is_never_believed(bench):
    bench.show(5)
    for second in range(60):
        assert bench.show(level_mm=(700, 1_500)[second % 2]) == UNKNOWN
    assert bench.fault() == "noisy"  # each of them is an upset


def test_the_fastest_that_the_plant_can_move_is_believed(bench):
    for second in range(10):
        level_mm = 120 + JUMP_MM * second
        assert bench.show(level_mm=level_mm) == level_mm


def test_on_trial_it_may_move_as_far_as_a_plant_does_and_no_further(bench):
    bench.show(5)
    bench.show(10, level_mm=900)
    bench.show(10, level_mm=900 + JUMP_MM)
    assert bench.show(level_mm=900 + JUMP_MM) == 900 + JUMP_MM
    bench.show(10, level_mm=120)
    bench.show(10, level_mm=120 + JUMP_MM + 1)
    assert bench.show(level_mm=120 + JUMP_MM + 1) == UNKNOWN


def test_a_broken_wire_that_comes_back_elsewhere_is_on_trial(bench):
    bench.show(5)
    bench.show(60, level_mm=UNKNOWN)
    assert bench.show(LEVEL_HOLD_MS // 1_000, level_mm=400) == UNKNOWN
    assert bench.fault() == "gone"
    assert bench.show(level_mm=400) == 400


# -- noise ------------------------------------------------------------------------------------------


def test_too_many_upsets_in_an_hour_cost_an_hour_and_a_trial(bench):
    for _ in range(MOST_UPSETS):
        assert bench.show() == 120
        bench.show(level_mm=UNKNOWN)
    assert bench.fault() == "noisy"
    assert bench.show(NOISY_MS // 1_000 - 1) == UNKNOWN
    assert bench.fault() == "noisy"
    assert bench.show(LEVEL_HOLD_MS // 1_000) == UNKNOWN
    assert bench.show() == 120


def test_as_many_spread_over_hours_cost_nothing(bench):
    for _ in range(3 * MOST_UPSETS):
        bench.show(7, every_ms=60_000)
        bench.show(level_mm=UNKNOWN)
        assert bench.fault() == "gone"


# -- frozen -----------------------------------------------------------------------------------------


def _looks(bench, looks, *values):
    """Levels shown in turn, ten samples between two looks."""
    for step in range(10 * looks):
        bench.show(every_ms=LOOK_MS // 10, level_mm=values[step % len(values)])


def test_the_very_same_at_every_look_is_frozen_until_it_moves(bench):
    _looks(bench, LOOKS, 120)
    assert bench.fault() == "ok"
    assert bench.show(level_mm=120) == UNKNOWN
    assert bench.fault() == "frozen"
    assert bench.show(level_mm=121) == UNKNOWN
    assert bench.show(LEVEL_HOLD_MS // 1_000, level_mm=121) == 121


def test_one_that_wavers_between_looks_only_is_not(bench):
    _looks(bench, 10 * LOOKS, 120, 121, 119, 120, 121)
    assert bench.fault() == "ok"


@pytest.mark.parametrize(("closed", "fault"), [(True, OK), (False, FROZEN)])
def test_the_pressure_may_stand_still_while_no_jet_runs(bench, closed, fault):
    bench.facts.closed = closed
    for step in range(20 * LOOKS):
        bench.show(every_ms=LOOK_MS // 10, level_mm=120 + step % 2, pressure_mbar=4_998)
    assert bench.trust.fault[PRESSURE_MBAR] == fault


def test_zero_looks_means_that_it_may_stand_still(settings_of):
    bench = Bench(settings_of())
    _looks(bench, 3 * LOOKS, 120)
    assert bench.fault() == "ok"
    assert bench.trust.left_ms(ticks_add(WRAP_MS, bench.now_ms)) > LONGEST_MS


# -- drift ------------------------------------------------------------------------------------------

STATIC_MBAR = 5_000  # of the plant in conftest.py, with the level at its target of 100 mm


def _resting(bench, seconds, pressure_mbar, **changed):
    bench.facts.closed, bench.facts.settled, bench.facts.moving = True, True, False
    bench.show(seconds, pressure_mbar=pressure_mbar, **{"level_mm": 100, **changed})
    return FAULTS[bench.trust.fault[PRESSURE_MBAR]]


@pytest.mark.parametrize(
    ("pressure_mbar", "fault"),
    [
        (STATIC_MBAR + 250, "ok"),
        (STATIC_MBAR + 251, "drift"),
        (STATIC_MBAR - 250, "ok"),
        (STATIC_MBAR - 251, "drift"),
        (STATIC_MBAR - 1_000, "drift"),
        (STATIC_MBAR - 1_001, "ok"),  # a leak or an empty pipe: others look after that
    ],
)
def test_five_percent_off_with_all_closed_is_drift_after_its_hold(bench, pressure_mbar, fault):
    assert _resting(bench, DRIFT_HOLD_MS // 1_000, pressure_mbar) == "ok"
    assert _resting(bench, 1, pressure_mbar) == fault
    assert bench.facts.values[PRESSURE_MBAR] == (UNKNOWN if fault == "drift" else pressure_mbar)


def test_the_level_counts_for_what_it_weighs(bench):
    # a metre of water more is 98 mbar, and a twentieth of that is 254
    assert _resting(bench, 700, 5_352, level_mm=1_100) == "ok"
    assert _resting(bench, 700, 5_353, level_mm=1_100) == "drift"


def test_at_its_floor_the_level_still_tells_what_the_pressure_must_be(bench):
    assert _resting(bench, 700, 4_700, level_mm=50) == "drift"


@pytest.mark.parametrize("what", ["open", "moving", "unsettled", "level lost", "level below its floor"])
def test_nothing_is_said_of_drift_while_the_expected_pressure_is_not_known(bench, what):
    bench.facts.closed = what != "open"
    bench.facts.moving = what == "moving"
    bench.facts.settled = what != "unsettled"
    level_mm = {"level lost": UNKNOWN, "level below its floor": 40}.get(what, 100)
    bench.show(2_000, pressure_mbar=4_700, level_mm=level_mm)
    assert bench.trust.fault[PRESSURE_MBAR] == OK


def test_drift_must_last_at_rest_without_a_break(bench):
    assert _resting(bench, DRIFT_HOLD_MS // 1_000, 5_600) == "ok"
    bench.facts.closed = False
    bench.show(5, pressure_mbar=4_700)
    assert _resting(bench, DRIFT_HOLD_MS // 1_000, 5_600) == "ok"
    assert _resting(bench, 1, 5_600) == "drift"


def test_drift_stays_until_it_has_been_right_with_all_closed(bench):
    assert _resting(bench, 601, 5_600) == "drift"
    bench.facts.closed = False
    bench.show(2_000, pressure_mbar=4_900)
    assert bench.trust.fault[PRESSURE_MBAR] == DRIFT
    assert _resting(bench, 600, 5_010) == "drift"
    assert _resting(bench, 1, 5_010) == "ok"


@pytest.mark.parametrize(
    ("pressure_mbar", "fault"), [(4_600 - 172, OK), (4_600 - 173, DRIFT), (4_773, DRIFT)]
)
def test_drift_is_over_as_well_once_it_has_been_right_with_jets_running(bench, pressure_mbar, fault):
    assert _resting(bench, 601, 5_600) == "drift"
    bench.facts.closed, bench.facts.expected_mbar = False, 4_600
    for unknown in ("moving", "settled"):
        bench.facts.moving, bench.facts.settled = unknown == "moving", unknown != "settled"
        bench.show(2_000, pressure_mbar=4_600)
        assert bench.trust.fault[PRESSURE_MBAR] == DRIFT
    bench.facts.moving, bench.facts.settled = False, True
    bench.show(600, pressure_mbar=4_600)
    bench.show(1, pressure_mbar=UNKNOWN)  # the time begins anew
    bench.show(600, pressure_mbar=pressure_mbar)
    assert bench.trust.fault[PRESSURE_MBAR] == DRIFT
    bench.show(1, pressure_mbar=pressure_mbar)
    assert bench.trust.fault[PRESSURE_MBAR] == fault


# -- since when -------------------------------------------------------------------------------------


def test_how_long_is_told_up_to_a_day_and_never_wraps(bench):
    bench.show(level_mm=UNKNOWN)
    for minute in range(15, 15 * 4 * 24 * 8, 15):
        bench.show(every_ms=900_000, level_mm=UNKNOWN)
        lasted_ms = bench.trust.lasted_ms(LEVEL_MM, ticks_add(WRAP_MS, bench.now_ms))
        assert min(LONGEST_MS, 60_000 * minute) <= lasted_ms <= LONGEST_MS


# -- asked often or seldom --------------------------------------------------------------------------

SAMPLE_MS = 1_000


@st.composite
def spells(draw):
    """(seconds, level, its wobble, pressure, its wobble, valves closed): healthy, jumping, gone, drifting."""
    level_mm = draw(st.sampled_from([UNKNOWN, 90, 100, 120, 125, 190, 400, 1_200, 2_900, -600]))
    pressure_mbar = draw(st.sampled_from([UNKNOWN, 5_000, 4_900, 4_700, 3_400, 5_260, 12_000]))
    seconds = draw(st.sampled_from([1, 1, 2, 7, 25, 90, 700, 2_500]))
    wobbles = st.sampled_from([0, 1, 30, 60, 250])
    return seconds, level_mm, draw(wobbles), pressure_mbar, draw(wobbles), draw(st.booleans())


def _sample(value, wobble, second):
    return value if value == UNKNOWN else value + (second * 7 % 3 - 1) * wobble


@settings(max_examples=60, deadline=None)
@given(st.lists(spells(), max_size=12), st.sampled_from([0, 2, 4]))
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows, looks):
    """Asked at every sample or only when it must be, it believes the same at every sample it is asked."""
    read = settings_of(level_looks=looks, pressure_looks=looks, battery_looks=looks)
    often, seldom = Trust(read), Trust(read)
    facts_often, facts_seldom = Facts(), Facts()
    orders = Orders(len(read.valves))
    now_ms, due_ms, asked, samples, was_closed = 0, 0, 0, 0, None
    for seconds, level_mm, level_wobble, pressure_mbar, pressure_wobble, closed in rows:
        for _ in range(seconds):
            second = now_ms // SAMPLE_MS
            instant_ms = ticks_add(WRAP_MS, now_ms)
            raw = raw_of(
                level_mm=_sample(level_mm, level_wobble, second),
                pressure_mbar=_sample(pressure_mbar, pressure_wobble, second),
                battery_mv=26_000 + second % 2,
            )
            for facts in (facts_often, facts_seldom):
                facts.closed, facts.settled = closed, True
            often.judge(instant_ms, raw, facts_often)
            samples += 1
            if now_ms >= due_ms or not orders.within(raw) or closed != was_closed:
                was_closed = closed  # the engine's own doing, at a step of its own
                seldom.judge(instant_ms, raw, facts_seldom)
                orders.widen()
                seldom.watch(orders)
                left_ms = min(seldom.left_ms(instant_ms), seldom.noise.left_ms(instant_ms))
                due_ms = now_ms + max(1, min(900_000, left_ms))
                asked += 1
                assert facts_seldom.values == facts_often.values
            # Also where it was not asked: what it said stands.
            assert seldom.fault == often.fault
            assert seldom.since_ms == often.since_ms
            now_ms += SAMPLE_MS
    assert asked <= samples


def test_a_quiet_hour_is_slept_through(settings_of):
    read = settings_of()
    trust, facts, orders = Trust(read), Facts(), Orders(len(read.valves))
    trust.judge(0, raw_of(), facts)
    trust.watch(orders)
    assert min(trust.left_ms(0), trust.noise.left_ms(0)) > LONGEST_MS
    assert orders.within(raw_of(level_mm=170, pressure_mbar=5_200, battery_mv=25_100))


@pytest.mark.parametrize("raw", [raw_of(level_mm=900), raw_of(level_mm=UNKNOWN), raw_of(level_mm=2_500)])
def test_what_the_rules_watch_of_an_instrument_that_is_not_believed_does_not_count(bench, raw):
    bench.show(3)
    bench.trust.judge(ticks_add(WRAP_MS, bench.now_ms), raw, bench.facts)
    orders = Orders(4)
    orders.narrow(LEVEL_MM, LOWEST, UNKNOWN)  # what a rule asks for that sees UNKNOWN
    bench.trust.watch(orders)
    assert orders.within(raw)


def test_what_is_not_judged_is_not_watched(bench):
    bench.show()
    orders = Orders(4)
    bench.trust.watch(orders)
    assert (orders.low[YEAR_DAY], orders.high[YEAR_DAY]) == (LOWEST, HIGHEST)


def test_names_stay_in_step_with_the_numbers():
    codes = (OK, GONE, RANGE, JUMP, FROZEN, NOISY, DRIFT)
    assert codes == tuple(range(len(FAULTS)))
