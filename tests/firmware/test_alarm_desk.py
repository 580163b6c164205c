"""Which alarm stands for what has been found."""

import pytest

from becklight import alarms as codes
from becklight import valve_guard
from becklight.facts import Facts
from becklight.pipe_guard import BURST, HIGH, LOW, NO_FLOW
from becklight.pond import PondRule
from becklight.readings import LEVEL_MM, UNKNOWN
from becklight.reasons import POND_LOW
from becklight.rulebook import RuleBook
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.witness import GONE, JUMP

WRAP_MS = PERIOD_MS - 65_000
HOURS_2_MS = 7_200_000  # longer than any alarm waits
VALVE = {
    "name": "pond",
    "step_permille": 100,
    "open_step_ms": 2_000,
    "close_step_ms": 3_000,
    "slow_zone_permille": 200,
    "slow_times": 2,
}
POND = {
    "valve": VALVE,
    "opening_permille": 600,
    "lowest_mm": 400,
    "again_mm": 700,
    "still_ms": 0,
    "night_fall_mm": 30_000,
    "week_fall_mm": 30_000,
    "release_ml_s": 500,
}


@pytest.fixture
def book(settings_of):
    return RuleBook(settings_of(residual={"level_mm": [0] * 11 + [90]}, pond=POND), [0] * 4)


@pytest.fixture
def pond(book):
    return PondRule(book.settings, book.settings.pond)


def _facts(level_mm=120, drawn_ml_s=1_000, year_day=100):
    facts = Facts()
    facts.values[:] = [level_mm, 4_900, 26_500, 250, 60_000, 900, year_day, 100, 1, UNKNOWN]
    facts.drawn_ml_s = drawn_ml_s
    return facts


def _names(book, pond, facts, valve=0):
    """All alarms after two hours of the same."""
    for now_ms in (0, HOURS_2_MS):
        facts.now_ms = ticks_add(WRAP_MS, now_ms)
        book.desk.look(facts, book, 0, pond)
    book.alarms.acknowledge(codes.RESTARTED)
    raised = [slot for slot in range(codes.SLOTS) if book.alarms.raised(slot)]
    assert all(codes.valve_of(slot) in (-1, valve) for slot in raised)
    return [codes.NAMES[codes.code_of(slot)] for slot in raised]


def test_the_first_look_after_power_up_tells_of_a_restart_until_it_is_seen(book, pond):
    facts = _facts()
    for now_ms in (0, HOURS_2_MS, 2 * HOURS_2_MS):
        facts.now_ms = ticks_add(WRAP_MS, now_ms)
        book.desk.look(facts, book, 0, pond)
        assert book.alarms.raised(codes.RESTARTED)
    book.alarms.acknowledge(codes.RESTARTED)
    assert _names(book, pond, facts) == []


def test_a_blocked_jet_is_named_as_soon_as_it_is_known(book, pond):
    facts = _facts()
    book.pipe.fault = HIGH
    assert _names(book, pond, facts) == ["jet_blocked"]
    assert book.alarms.about[codes.JET_BLOCKED] == codes.NO_VALVE
    book.pipe.suspect = 2
    assert _names(book, pond, facts) == ["jet_blocked"]
    assert book.alarms.about[codes.JET_BLOCKED] == 2
    book.valves.blocked = 1  # found by a valve's own move: surer
    _names(book, pond, facts)
    assert book.alarms.about[codes.JET_BLOCKED] == 1
    book.pipe.fault = 0  # gone, or never seen by the pipe's guard
    assert _names(book, pond, facts) == ["jet_blocked"]
    book.valves.blocked = codes.NO_VALVE
    assert _names(book, pond, facts) == ["jet_blocked"]  # not seen yet
    assert book.alarms.about[codes.JET_BLOCKED] == 1


def test_a_sound_plant_raises_nothing(book, pond):
    assert _names(book, pond, _facts()) == []
    assert book.desk.left_ms(ticks_add(WRAP_MS, HOURS_2_MS)) > HOURS_2_MS


def test_an_instrument_that_is_gone_and_one_that_lies(book, pond):
    book.trust.told[LEVEL_MM] = GONE
    book.trust.told[1] = JUMP
    facts = _facts(level_mm=UNKNOWN)
    assert _names(book, pond, facts) == ["level_gone", "pressure_lies"]


@pytest.mark.parametrize(
    ("fault", "name"),
    [(BURST, "pipe_burst"), (HIGH, "jet_blocked"), (LOW, "leak_or_air"), (NO_FLOW, "pipe_frozen")],
)
def test_what_the_pipes_guard_has_found(book, pond, fault, name):
    book.pipe.fault = fault
    assert _names(book, pond, _facts()) == [name]


def test_a_screen_that_no_flush_clears_and_a_wheel_too_fast(book, pond):
    book.flush.given_up = True
    book.overspeed.fault = True
    assert _names(book, pond, _facts()) == ["screen_blocked", "overspeed"]


@pytest.mark.parametrize(
    ("level_mm", "drawn_ml_s", "expected"),
    [
        (49, 1_000, ["level_low"]),  # the floor of the plant built in conftest.py is at 50
        (50, 1_000, []),
        (49, 0, []),  # a drought does that too
        (UNKNOWN, 1_000, []),
    ],
)
def test_a_level_below_the_floor_matters_while_jets_draw(book, pond, level_mm, drawn_ml_s, expected):
    assert _names(book, pond, _facts(level_mm, drawn_ml_s)) == expected


@pytest.mark.parametrize(("level_mm", "short"), [(89, True), (90, False)])
def test_too_little_let_past_while_jets_draw(book, pond, level_mm, short):
    facts = _facts(level_mm)
    for now_ms in (0, HOURS_2_MS):
        facts.now_ms = ticks_add(WRAP_MS, now_ms)
        book.desk.look(facts, book, 90, pond)
    assert book.alarms.raised(codes.slot_of(codes.RESIDUAL_SHORT, 0)) == short


def test_battery_and_pond(book, pond):
    pond.battery_low = True
    pond.reason = POND_LOW
    assert _names(book, pond, _facts()) == ["battery_low", "pond_low"]
    assert _names(RuleBook(book.settings, [0] * 4), None, _facts()) == []


def test_the_owners_hand(book, pond):
    book.owner.stop(WRAP_MS, 0)
    book.owner.stopped = True
    assert _names(book, pond, _facts()) == ["stop_pressed", "held_by_owner"]


def test_a_lost_calendar_matters_where_the_residual_flow_varies(book, pond, settings_of):
    assert _names(book, pond, _facts(year_day=UNKNOWN)) == ["clock_lost"]
    assert _names(RuleBook(settings_of(), [0] * 4), None, _facts(year_day=UNKNOWN)) == []


@pytest.mark.parametrize(
    ("fault", "name"),
    [
        (valve_guard.STUCK, "valve_stuck"),
        (valve_guard.HALF, "valve_half"),
        (valve_guard.WRONG_WAY, "valve_wrong_way"),
        (valve_guard.DRIFTS, "valve_drifts"),
        (valve_guard.END_LIES, "valve_end_lies"),
    ],
)
def test_a_valve_is_named_with_its_fault(book, pond, fault, name):
    book.valves.fault[2] = fault
    assert _names(book, pond, _facts(), valve=2) == [name]


def test_a_spare_wheel_that_runs_too_fast_is_told_by_its_own_alarm(settings_of):
    book = RuleBook(settings_of(spare=[2]), [0] * 4)
    book.desk.look(_facts(), book, 0, None)
    book.spare_speed.fault = True
    book.desk.look(_facts(), book, 0, None)
    assert book.alarms.raised(codes.slot_of(codes.SPARE_OVERSPEED, 0))
    assert not book.alarms.raised(codes.OVERSPEED)


def test_what_only_the_board_can_know_is_not_told_here(book, pond):
    facts = _facts(level_mm=UNKNOWN, year_day=UNKNOWN)
    book.trust.told[:] = [GONE] * len(book.trust.fault)
    book.valves.fault[:] = [valve_guard.STUCK] * 4
    for now_ms in (0, HOURS_2_MS):
        facts.now_ms = ticks_add(WRAP_MS, now_ms)
        book.desk.look(facts, book, 0, pond)
    codes_raised = {codes.code_of(slot) for slot in range(codes.SLOTS) if book.alarms.raised(slot)}
    assert codes_raised.isdisjoint({codes.SETTINGS_REFUSED})
    assert len(codes_raised) == 11  # eight instruments, the restart, the calendar, the valves


def test_a_jet_or_a_wheel_that_is_locked_out_is_told_until_it_is_given_back(book, pond):
    owner = book.owner
    for lock in (owner.lock, owner.lock_wheel):
        assert _names(book, pond, _facts()) == []
        assert lock(0, True)
        assert _names(book, pond, _facts()) == ["held_by_owner"]
        assert lock(0, False)
        assert _names(book, pond, _facts()) == []
