"""Filling the pipe, letting its air out, and waiting longer after each false start."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.facts import Facts
from becklight.menu import ANY, Menu
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.reach import least_ceiling_ml_s
from becklight.readings import KNOWN, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.start import PHASES, StartRule
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
MINUTE_MS = 60_000
OWN = {
    "fill_mbar": 4_700,
    "fill_hold_ms": 60_000,
    "fill_ms": 600_000,
    "empty_hold_ms": 60_000,
    "bleed_ml_s": 400,
    "bleed_ms": 300_000,
    "restart_good_ms": 1_800_000,
    "restart_wait_ms": 300_000,
    "restart_most_ms": 14_400_000,
}
DRY_MM, WET_MM = 49, 50  # level_floor_mm of the plant built in conftest.py is 50
FULL_MBAR, HALF_MBAR = 4_700, 3_000
EMPTY_MBAR = 3_525  # three quarters of that


@pytest.fixture
def look(settings_of):
    """look(at_ms, level_mm, pressure_mbar, closed) -> the phase after judging; look.rule is the rule."""
    facts = Facts()

    def judge(at_ms, level_mm=WET_MM, pressure_mbar=FULL_MBAR, closed=True, moving=False):
        facts.now_ms = ticks_add(WRAP_MS, at_ms)
        facts.values[LEVEL_MM] = level_mm
        facts.values[PRESSURE_MBAR] = pressure_mbar
        facts.closed = closed
        facts.moving = moving
        judge.rule.judge(facts)
        return PHASES[judge.rule.phase]

    judge.rule = StartRule(settings_of(**OWN))
    return judge


def _run(look):
    """Fill and bleed; the instant after."""
    look(0)
    look(60_000)
    look(60_000, closed=False)
    assert look(360_000, closed=False) == "running"
    return 360_000


def test_nothing_flows_until_the_pipe_stands_full_for_the_hold(look):
    assert look(0, pressure_mbar=HALF_MBAR) == "filling"
    assert look(10_000) == look(69_999) == "filling"
    assert (look.rule.ceiling_ml_s, look.rule.reason) == (0, reasons.FILLING)
    assert look(70_000) == "bleeding"
    assert (look.rule.ceiling_ml_s, look.rule.reason) == (400, reasons.BLEEDING)


def test_a_pressure_that_falls_back_begins_the_hold_anew(look):
    look(0)
    look(50_000, pressure_mbar=FULL_MBAR - 1)
    assert look(60_000) == look(119_999) == "filling"
    assert look(120_000) == "bleeding"


def test_without_a_pressure_it_takes_longer(look):
    look(0, pressure_mbar=UNKNOWN)
    assert look(599_999, pressure_mbar=UNKNOWN) == "filling"
    assert look(600_000, pressure_mbar=UNKNOWN) == "bleeding"


@pytest.mark.parametrize(
    ("level_mm", "pressure_mbar"), [(UNKNOWN, UNKNOWN), (DRY_MM, UNKNOWN), (DRY_MM, FULL_MBAR)]
)
def test_no_pipe_fills_from_a_dry_intake(look, level_mm, pressure_mbar):
    for minute in range(30):
        assert look(minute * MINUTE_MS, level_mm, pressure_mbar) == "filling"
    assert look.rule.ceiling_ml_s == 0


def test_only_flowing_water_takes_the_air_out(look):
    look(0)
    assert look(60_000) == "bleeding"
    assert look(3_600_000) == "bleeding"  # closed all the while
    look(3_600_000, closed=False)
    assert look(3_899_999, closed=False) == "bleeding"
    assert look(3_900_000, closed=False) == "running"
    assert look.rule.ceiling_ml_s == NO_LIMIT


@pytest.mark.parametrize(("level_mm", "pressure_mbar"), [(UNKNOWN, UNKNOWN), (DRY_MM, FULL_MBAR)])
def test_a_level_lost_for_the_hold_means_filling_again_and_no_sooner(look, level_mm, pressure_mbar):
    start_ms = _run(look)
    look(start_ms, level_mm, pressure_mbar, closed=False)
    assert look(start_ms + 59_999, level_mm, pressure_mbar, closed=False) == "running"
    assert look(start_ms + 60_000, level_mm, pressure_mbar, closed=False) == "filling"
    assert look.rule.ceiling_ml_s == 0


def test_a_pipe_with_pressure_is_full_though_nobody_knows_the_level(look):
    start_ms = _run(look)
    for minute in range(10):
        assert look(start_ms + minute * MINUTE_MS, UNKNOWN, closed=False) == "running"


def test_a_level_lost_for_a_moment_means_nothing(look):
    start_ms = _run(look)
    for second in range(300):
        level_mm = UNKNOWN if second % 50 else WET_MM
        assert look(start_ms + 1_000 * second, level_mm, closed=False) == "running"


def test_a_closed_pipe_of_little_pressure_has_stood_empty(look):
    start_ms = _run(look)
    look(start_ms, pressure_mbar=HALF_MBAR)
    assert look(start_ms + 60_000, pressure_mbar=HALF_MBAR) == "filling"


def test_little_pressure_while_jets_draw_or_valves_move_is_for_the_guard(look):
    start_ms = _run(look)
    for minute in range(10):
        at_ms = start_ms + minute * MINUTE_MS
        assert look(at_ms, pressure_mbar=0, closed=False) == "running"
        assert look(at_ms, pressure_mbar=0, moving=True) == "running"


def test_without_bleeding_it_runs_as_soon_as_it_is_full(settings_of, look):
    look.rule = StartRule(settings_of(**{**OWN, "bleed_ms": 0}))
    look(0)
    assert look(60_000) == "running"


def test_switched_off_it_has_nothing_to_say_once_there_is_a_level(settings_of, look):
    look.rule = StartRule(settings_of())
    assert look(0, pressure_mbar=0) == "running"
    assert (look.rule.ceiling_ml_s, look.rule.left_ms(WRAP_MS)) == (NO_LIMIT, NO_LIMIT)


@settings(max_examples=60, deadline=None)
@given(
    fixed=st.integers(1, 6),
    trims=st.integers(1, 2),
    least=st.integers(0, 500),
    deadband_ml_s=st.integers(1, 400),
    cost=st.integers(0, 500),
)
def test_even_the_least_bleeding_flow_opens_a_jet(settings_of, fixed, trims, least, deadband_ml_s, cost):
    read = settings_of(
        fixed,
        trims,
        trim_least_permille=least,
        flow_deadband_ml_s=deadband_ml_s,
        set_hysteresis_ml_s=deadband_ml_s,
        trim_cost_permille=cost,
        **{**OWN, "bleed_ml_s": 0},
    )
    rule, menu = StartRule(read), Menu(read)
    assert rule.bleed_ml_s == least_ceiling_ml_s(read)
    menu.choose(rule.bleed_ml_s, menu.closed, 0, ANY)
    # as RuleEngine._decide: another set, or a gain of a deadband
    assert menu.set != menu.closed or menu.flow_ml_s >= deadband_ml_s


# -- backing off ------------------------------------------------------------------------------------


def _opening(look, at_ms, minutes, *, for_water=True):
    """The jets open and close again; how long they must stay closed then [min]."""
    look.rule.started(ticks_add(WRAP_MS, at_ms))
    for minute in range(1, minutes):
        look(at_ms + minute * MINUTE_MS, closed=False)
    look.rule.stopped(ticks_add(WRAP_MS, at_ms + minutes * MINUTE_MS), for_water)
    waited = 0
    while look.rule.reason == reasons.BACKING_OFF and look.rule.ceiling_ml_s == 0:
        waited += 1
        look(at_ms + (minutes + waited) * MINUTE_MS)
    return waited


def test_each_false_start_doubles_the_wait_up_to_the_most(look):
    at_ms = _run(look)
    waits = []
    for _ in range(9):
        waits.append(_opening(look, at_ms, 10))
        at_ms += (10 + waits[-1]) * MINUTE_MS
    assert waits == [5, 10, 20, 40, 80, 160, 240, 240, 240]


def test_an_opening_that_lasts_is_forgiven_all(look):
    at_ms = _run(look)
    assert [_opening(look, at_ms, 10), _opening(look, at_ms + 15 * MINUTE_MS, 29)] == [5, 10]
    assert _opening(look, at_ms + 60 * MINUTE_MS, 30) == 0
    assert _opening(look, at_ms + 90 * MINUTE_MS, 10) == 5


def test_what_the_battery_or_the_owner_closes_is_no_false_start(look):
    at_ms = _run(look)
    assert _opening(look, at_ms, 10, for_water=False) == 0
    assert _opening(look, at_ms + 15 * MINUTE_MS, 10) == 5


def test_it_keeps_no_instant_that_has_passed(look):
    at_ms = _run(look)
    look.rule.started(ticks_add(WRAP_MS, at_ms))
    look(at_ms + 1_800_000, closed=False)
    assert not look.rule.proving
    assert _opening(look, at_ms + 1_800_000, 1) == 5
    assert not look.rule.waiting


# -- until when its answer stands -------------------------------------------------------------------

ROWS = st.lists(
    st.tuples(
        st.integers(1, 25),
        st.sampled_from([UNKNOWN, DRY_MM, WET_MM, WET_MM, 100, 100, 100]),
        st.sampled_from([UNKNOWN, KNOWN, EMPTY_MBAR - 1, EMPTY_MBAR, FULL_MBAR - 1, FULL_MBAR]),
        st.booleans(),
        st.booleans(),
    ),
    max_size=25,
)


RUNNING_ROWS = [(8, 100, FULL_MBAR, True, True), (22, 100, FULL_MBAR, False, True)]


@settings(max_examples=200, deadline=None)
@given(rows=ROWS)
@example(
    rows=[(2, 100, mbar, True, True) for mbar in (FULL_MBAR, FULL_MBAR - 1, FULL_MBAR, FULL_MBAR, FULL_MBAR)]
)
@example(rows=[*RUNNING_ROWS, *[(2, 100, EMPTY_MBAR - low, True, True) for low in (0, 1, 0, 1, 1, 1)]])
@example(rows=[*RUNNING_ROWS, (1, 100, EMPTY_MBAR - 1, True, True), (9, 100, UNKNOWN, True, True)])
@example(
    rows=[
        *RUNNING_ROWS,
        *[(2, UNKNOWN, mbar, False, True) for mbar in (0, UNKNOWN, 0, UNKNOWN, UNKNOWN, UNKNOWN)],
    ]
)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows):
    read = settings_of(**OWN)
    seldom, often = StartRule(read), StartRule(read)
    facts, orders = Facts(), Orders(4)
    now_ms = 0
    asked_ms = 0
    was = None
    for looks, level_mm, pressure_mbar, closed, for_water in rows:
        for _ in range(looks):
            facts.now_ms = ticks_add(WRAP_MS, now_ms)
            facts.values[LEVEL_MM], facts.values[PRESSURE_MBAR] = level_mm, pressure_mbar
            facts.closed = closed
            often.judge(facts)
            # the engine opens and closes at steps that it does not skip
            if now_ms >= asked_ms or not orders.within(facts.values) or closed != was:
                seldom.judge(facts)
                if closed != was:
                    for rule in (seldom, often):
                        if closed:
                            rule.stopped(facts.now_ms, for_water)
                        else:
                            rule.started(facts.now_ms)
                    was = closed
                asked_ms = now_ms + max(1, min(900_000, seldom.left_ms(facts.now_ms)))
                orders.widen()
                seldom.watch(orders)
                assert orders.within(facts.values)
            found = (seldom.phase, seldom.reason, seldom.ceiling_ml_s)
            assert found == (often.phase, often.reason, often.ceiling_ml_s)
            now_ms += 15_000


def test_where_the_trim_is_out_the_air_goes_with_the_smallest_jet(look):
    look.rule.least_ml_s = 1_200
    look(0)
    assert look(60_000) == "bleeding"
    assert look.rule.ceiling_ml_s == 1_200


# -- edges ------------------------------------------------------------------------------------------


def test_filling_anew_gives_filling_as_the_reason(look):
    start_ms = _run(look)
    look(start_ms, UNKNOWN, UNKNOWN, closed=False)
    look(start_ms + 60_000, UNKNOWN, UNKNOWN, closed=False)
    assert (look.rule.ceiling_ml_s, look.rule.reason) == (0, reasons.FILLING)


def test_while_jets_run_the_level_is_watched_and_the_pressure_is_not(look):
    _run(look)
    orders = Orders(4)
    orders.widen()
    look.rule.watch(orders)
    assert (orders.low[LEVEL_MM], orders.high[LEVEL_MM]) == (WET_MM, HIGHEST)
    assert (orders.low[PRESSURE_MBAR], orders.high[PRESSURE_MBAR]) == (LOWEST, HIGHEST)


def test_without_a_wait_no_start_is_too_soon(settings_of, look):
    look.rule = StartRule(settings_of(**{**OWN, "restart_wait_ms": 0}))
    at_ms = _run(look)
    assert [_opening(look, at_ms, 10), _opening(look, at_ms + 10 * MINUTE_MS, 10)] == [0, 0]


@pytest.mark.parametrize(("pressure_mbar", "phase"), [(EMPTY_MBAR, "running"), (EMPTY_MBAR - 1, "filling")])
def test_a_closed_pipe_is_empty_a_quarter_below_full(look, pressure_mbar, phase):
    start_ms = _run(look)
    look(start_ms, pressure_mbar=pressure_mbar)
    assert look(start_ms + 60_000, pressure_mbar=pressure_mbar) == phase
