"""The bus voltage against what the regulator's input bears."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.facts import Facts
from becklight.orders import Orders
from becklight.overspeed import CALM, CLOSED, EASED, LONGEST_CALM_MS, MODES, OverspeedRule, SpareOverspeed
from becklight.readings import BUS_MV, SPARE_BUS_MV, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.settings_reader import RULES
from becklight.ticks import PERIOD_MS, ticks_add

# Of the plant built in conftest.py: the input bears 120 V, the smallest set takes 1000 mL/s.
TRIP_MV, CALM_MV, EASE_ML_S = 114_000, 96_000, 1_000
SPARE_TRIP_MV, SPARE_CALM_MV = 95_000, 80_000  # of 100 V
WRAP_MS = PERIOD_MS - 65_000


@pytest.fixture
def rule(settings_of):
    return OverspeedRule(settings_of(1, 1))


def _show(rule, now_ms, bus_mv):
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, now_ms)
    facts.values[BUS_MV] = bus_mv
    rule.judge(facts)
    return rule.ceiling_ml_s, MODES[rule.mode]


def test_every_mode_has_its_name():
    assert [MODES[mode] for mode in (CALM, EASED, CLOSED)] == ["calm", "eased", "closed"]


def test_two_seconds_too_fast_ease_and_a_further_minute_closes(rule):
    shown = [_show(rule, now_ms, TRIP_MV + 1) for now_ms in (0, 1_999, 2_000, 61_999, 62_000)]
    assert shown == [(NO_LIMIT, "calm")] * 2 + [(EASE_ML_S, "eased")] * 2 + [(0, "closed")]
    assert rule.fault


def test_95_percent_is_not_too_fast(rule):
    assert {_show(rule, 1_000 * second, TRIP_MV) for second in range(300)} == {(NO_LIMIT, "calm")}
    assert not rule.fault


def test_a_dip_begins_the_minute_anew(rule):
    for now_ms in (0, 2_000, 61_000):
        _show(rule, now_ms, TRIP_MV + 1)
    _show(rule, 61_500, TRIP_MV)
    assert _show(rule, 62_000, TRIP_MV + 1) == (EASE_ML_S, "eased")
    assert _show(rule, 121_999, TRIP_MV + 1) == (EASE_ML_S, "eased")
    assert _show(rule, 122_000, TRIP_MV + 1) == (0, "closed")


@pytest.mark.parametrize(("closed", "mode"), [(False, "eased"), (True, "closed")])
def test_it_resumes_after_ten_calm_minutes_and_no_sooner(rule, closed, mode):
    _show(rule, 0, TRIP_MV + 1)
    _show(rule, 2_000, TRIP_MV + 1)
    if closed:
        _show(rule, 62_000, TRIP_MV + 1)
    assert _show(rule, 100_000, CALM_MV - 1)[1] == mode
    assert _show(rule, 699_999, CALM_MV - 1)[1] == mode
    assert _show(rule, 700_000, CALM_MV - 1) == (NO_LIMIT, "calm")


def test_eighty_percent_is_not_calm(rule):
    _show(rule, 0, TRIP_MV + 1)
    for minute in range(1, 60):
        assert _show(rule, 60_000 * minute, TRIP_MV + 1 if minute == 1 else CALM_MV) == (EASE_ML_S, "eased")


@pytest.mark.parametrize("tripped", [False, True])
def test_an_unknown_voltage_neither_trips_nor_resumes(rule, tripped):
    answer = (NO_LIMIT, "calm")
    if tripped:
        _show(rule, 0, TRIP_MV + 1)
        answer = _show(rule, 2_000, TRIP_MV + 1)
    assert {_show(rule, 60_000 * minute, UNKNOWN) for minute in range(1, 60)} == {answer}


def test_the_largest_settings_are_small_integers():
    highest = {name: most for name, _, most in RULES}
    assert highest["bus_most_mv"] // 1000 * highest["bus_trip_permille"] < 2**30


VOLTAGES = st.one_of(
    st.sampled_from([UNKNOWN, TRIP_MV, TRIP_MV + 1, CALM_MV, CALM_MV - 1, 130_000]), st.integers(0, 130_000)
)


@settings(max_examples=60, deadline=None)
@given(steps=st.lists(st.tuples(st.integers(1, 700_000), VOLTAGES), max_size=25), data=st.data())
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, steps, data):
    rule = OverspeedRule(settings_of(1, 1))
    holds = (rule.tripping, rule.waiting, rule.calming)
    orders = Orders(2)
    now_ms = 0
    for wait_ms, bus_mv in steps:
        now_ms += min(wait_ms, max(1, rule.left_ms(ticks_add(WRAP_MS, now_ms))))
        answer = _show(rule, now_ms, bus_mv)
        state = [hold.due_ms if hold.timing else None for hold in holds]
        orders.widen()
        rule.watch(orders)
        low, high = orders.low[BUS_MV], orders.high[BUS_MV]
        assert low <= bus_mv <= high
        for _ in range(2):
            left_ms = rule.left_ms(ticks_add(WRAP_MS, now_ms))
            now_ms += data.draw(st.integers(0, min(900_000, left_ms - 1)))
            if bus_mv != UNKNOWN:
                bus_mv = data.draw(st.integers(max(0, low), min(140_000, high)))
            assert _show(rule, now_ms, bus_mv) == answer
            assert [hold.due_ms if hold.timing else None for hold in holds] == state


# -- the spare wheel ----------------------------------------------------------------------------------


@pytest.fixture
def spare(settings_of):
    return SpareOverspeed(settings_of(2, 1, spare=[1]))


def _show_spare(rule, now_ms, spare_mv, runs=True):
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, now_ms)
    facts.values[SPARE_BUS_MV], facts.values[BUS_MV] = spare_mv, 2 * TRIP_MV
    facts.spare_runs = runs
    rule.judge(facts)
    assert rule.ceiling_ml_s == NO_LIMIT
    return rule.fault


def test_the_spare_is_shut_after_two_seconds_too_fast_by_its_own_limit(spare):
    assert [_show_spare(spare, now_ms, SPARE_TRIP_MV) for now_ms in (0, 9_000)] == [False, False]
    shown = [_show_spare(spare, 10_000 + now_ms, SPARE_TRIP_MV + 1) for now_ms in (0, 1_999, 2_000)]
    assert shown == [False, False, True]


def _trip(rule, now_ms):
    """Too fast for two seconds, then at rest; how long it stays shut [ms]."""
    _show_spare(rule, now_ms, SPARE_TRIP_MV + 1)
    assert _show_spare(rule, now_ms + 2_000, SPARE_TRIP_MV + 1)
    rest_ms = now_ms + 3_000
    assert _show_spare(rule, rest_ms, 0, runs=False)
    wait_ms = rule.left_ms(ticks_add(WRAP_MS, rest_ms))
    assert _show_spare(rule, rest_ms + wait_ms - 1, 0, runs=False)
    assert not _show_spare(rule, rest_ms + wait_ms, 0, runs=False)
    return wait_ms


def test_each_time_anew_it_stays_shut_twice_as_long_up_to_a_day(spare):
    now_ms, found = 0, []
    for _ in range(10):
        found.append(_trip(spare, now_ms))
        now_ms += 3_000 + found[-1] + 60_000
    assert found == [min(LONGEST_CALM_MS, 600_000 << times) for times in range(10)]
    assert found[-1] == LONGEST_CALM_MS


@pytest.mark.parametrize(
    ("spare_mv", "runs", "lasts_ms", "forgiven"),
    [
        (60_000, True, 1_800_000, True),
        (60_000, True, 1_799_000, False),
        (0, False, 9_000_000, False),  # it has not been tried
        (UNKNOWN, True, 9_000_000, False),
    ],
)
def test_a_spare_that_has_run_well_for_long_enough_is_forgiven_all(spare, spare_mv, runs, lasts_ms, forgiven):
    now_ms = 3_000 + _trip(spare, 0) + 1_000
    _show_spare(spare, now_ms, spare_mv, runs)
    now_ms += lasts_ms
    _show_spare(spare, now_ms, spare_mv, runs)
    assert _trip(spare, now_ms + 1_000) == (600_000 if forgiven else 1_200_000)


@pytest.mark.parametrize("tripped", [False, True])
def test_an_unknown_voltage_of_the_spare_neither_shuts_it_nor_lets_it_run_again(spare, tripped):
    if tripped:
        _show_spare(spare, 0, SPARE_TRIP_MV + 1)
        _show_spare(spare, 2_000, SPARE_TRIP_MV + 1)
    assert {_show_spare(spare, 60_000 * minute, UNKNOWN) for minute in range(1, 60)} == {tripped}


SPARE_VOLTAGES = st.one_of(
    st.sampled_from([UNKNOWN, SPARE_TRIP_MV, SPARE_TRIP_MV + 1, SPARE_CALM_MV, SPARE_CALM_MV - 1, 60_000]),
    st.integers(0, 130_000),
)


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(st.tuples(st.integers(1, 2_000_000), SPARE_VOLTAGES, st.booleans()), max_size=25),
    data=st.data(),
)
def test_of_the_spare_too_asking_inside_its_bands_changes_nothing(settings_of, steps, data):
    rule = SpareOverspeed(settings_of(2, 1, spare=[1]))
    orders = Orders(3)
    now_ms = 0
    for wait_ms, spare_mv, runs in steps:
        now_ms += min(wait_ms, max(1, rule.left_ms(ticks_add(WRAP_MS, now_ms))))
        answer = _show_spare(rule, now_ms, spare_mv, runs), rule.next_ms
        orders.widen()
        rule.watch(orders)
        low, high = orders.low[SPARE_BUS_MV], orders.high[SPARE_BUS_MV]
        assert low <= spare_mv <= high
        left_ms = rule.left_ms(ticks_add(WRAP_MS, now_ms))
        now_ms += data.draw(st.integers(0, min(900_000, left_ms - 1)))
        if spare_mv != UNKNOWN:
            spare_mv = data.draw(st.integers(max(0, low), min(140_000, high)))
        assert (_show_spare(rule, now_ms, spare_mv, runs), rule.next_ms) == answer
