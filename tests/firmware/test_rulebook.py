"""All rules together."""

import pytest

from becklight import reasons
from becklight.alarms import STOP_PRESSED, slot_of
from becklight.facts import Facts, Rule
from becklight.menu import Menu
from becklight.orders import HIGHEST, LOWEST, Orders
from becklight.pipe_guard import LOW, NONE
from becklight.readings import BATTERY_MV, LEVEL_MM, PRESSURE_MBAR, RUN_SWITCH, UNKNOWN, Readings
from becklight.rulebook import RuleBook
from becklight.rules import NO_LIMIT, binding
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.valve_guard import DRIFTS, HALF, STUCK, WRONG_WAY

WRAP_MS = PERIOD_MS - 65_000
SOUND = [120, 5_000, 26_500, 250, UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, 1, UNKNOWN]


@pytest.fixture
def book(settings_of):
    return RuleBook(settings_of(), [0] * 4)


def _judge(book, now_ms, **changed):
    """All ceilings with sound readings but for these, jets closed."""
    facts = Facts()
    facts.now_ms = ticks_add(WRAP_MS, now_ms)
    facts.settled = True
    facts.values[:] = SOUND
    for name, value in changed.items():
        facts.values[PLACES[name]] = value
    book.judge(facts, Readings(4))
    return [rule.ceiling_ml_s for rule in book.rules]


PLACES = {"level": LEVEL_MM, "pressure": PRESSURE_MBAR, "battery": BATTERY_MV, "switch": RUN_SWITCH}


def test_every_rule_offers_what_a_rule_offers(book):
    for rule in book.rules:
        assert isinstance(rule, Rule)
        assert 0 < rule.reason < len(reasons.NAMES)
        for name in ("judge", "watch", "left_ms"):
            assert name in vars(type(rule))


def test_a_sound_plant_is_limited_by_none(book):
    assert _judge(book, 0) == [NO_LIMIT] * len(book.rules)
    assert book.left_ms(WRAP_MS) > 0


def test_of_equal_ceilings_the_owner_gives_the_reason(book):
    _judge(book, 0, switch=0, level=UNKNOWN, pressure=UNKNOWN)
    ceilings = _judge(book, 60_000, switch=0, level=UNKNOWN, pressure=UNKNOWN)
    assert ceilings.count(0) > 1
    assert book.rules[binding(ceilings)].reason == reasons.STOP_SWITCH


def test_a_pipe_that_fills_is_not_a_leak(settings_of):
    book = RuleBook(settings_of(fill_mbar=4_700, fill_hold_ms=60_000), [0] * 4)
    for second in range(600):
        _judge(book, 1_000 * second, pressure=1_000)
    assert book.pipe.filling
    assert not book.pipe.burst
    assert book.rules[binding(_judge(book, 600_000, pressure=1_000))].reason == reasons.FILLING


def test_frost_lifts_the_ceiling_of_a_full_battery(settings_of):
    read = settings_of(rest_when_full=1, keep_ml_s=200, frost_hold_ms=0, full_hold_ms=0)
    book = RuleBook(read, [0] * 4)
    facts = Facts()
    facts.values[:] = [*SOUND[:7], -50, 1, UNKNOWN]
    facts.values[BATTERY_MV] = 29_000
    book.judge(facts, Readings(4))
    assert book.battery.ceiling_ml_s == book.frost.keep_ml_s >= 200
    assert book.battery.reason == reasons.FROST


def test_a_lock_by_the_owner_reaches_the_menu_once(book):
    menu = Menu(book.settings)
    assert not book.locks_changed(menu)
    book.owner.lock(1, True)
    assert book.locks_changed(menu)
    assert not book.locks_changed(menu)
    assert [menu.masks[place] for place in range(len(menu.masks)) if menu.locked(place)] == [2, 3, 6, 7]
    book.owner.lock(1, False)
    assert book.locks_changed(menu)
    assert not any(menu.locked(place) for place in range(len(menu.masks)))


@pytest.mark.parametrize(("fault", "out"), [(STUCK, True), (HALF, True), (WRONG_WAY, True), (DRIFTS, False)])
def test_a_valve_that_does_not_obey_is_out(book, fault, out):
    menu = Menu(book.settings)
    book.valves.fault[3] = fault
    assert book.locks_changed(menu) is out
    assert (menu.most_trim_permille == 0) is out


def test_a_hold_is_a_change_though_no_ceiling_moves(book):
    menu = Menu(book.settings)
    book.owner.hold(WRAP_MS, 1, 0, 60_000)
    assert book.locks_changed(menu)
    assert not book.locks_changed(menu)


def test_what_is_not_believed_is_watched_by_trust_alone(book):
    raw = [*SOUND]
    raw[LEVEL_MM] = 20_000  # beyond what can be
    facts, orders = Facts(), Orders(4)
    facts.now_ms = WRAP_MS
    book.trust.judge(WRAP_MS, raw, facts)
    assert facts.values[LEVEL_MM] == UNKNOWN
    book.judge(facts, Readings(4))
    orders.widen()
    book.watch(orders)
    assert orders.within(raw)
    assert LOWEST < orders.low[LEVEL_MM] <= 20_000 <= orders.high[LEVEL_MM] <= HIGHEST


def test_it_is_asked_again_when_the_first_of_its_holds_is_over(book):
    _judge(book, 0, level=UNKNOWN)
    assert book.left_ms(WRAP_MS) == book.settings.rules.lost_hold_ms
    _judge(book, 0, level=UNKNOWN, battery=28_600)
    assert book.left_ms(ticks_add(WRAP_MS, 59_000)) == 1_000


def _locked_after(book, menu):
    book.locks_changed(menu)
    return [valve for valve, locked in enumerate(book.locked) if locked]


def test_a_spare_wheel_stands_by_until_the_main_one_is_out(settings_of):
    book = RuleBook(settings_of(spare=[2]), [0] * 4)
    menu = Menu(book.settings)
    assert _locked_after(book, menu) == [2]
    assert not any(book.out)  # it is exercised all the same
    book.owner.lock_wheel(0, True)
    assert _locked_after(book, menu) == [0, 1, 3]
    book.owner.lock_wheel(0, False)
    assert _locked_after(book, menu) == [2]
    book.owner.lock(0, True)
    assert _locked_after(book, menu) == [0, 2]  # the main wheel still has jets
    book.owner.lock_wheel(1, True)
    book.owner.lock_wheel(0, True)
    assert _locked_after(book, menu) == [0, 1, 2, 3]


def test_a_spare_wheel_takes_over_when_no_valve_of_the_main_one_obeys(settings_of):
    book = RuleBook(settings_of(spare=[2]), [0] * 4)
    menu = Menu(book.settings)
    for valve in (0, 1, 3):
        assert 2 in _locked_after(book, menu)
        book.valves.fault[valve] = STUCK
    assert _locked_after(book, menu) == [0, 1, 3]


def test_a_spare_that_may_run_beside_the_main_wheel_is_no_different_from_its_jets(settings_of):
    book = RuleBook(settings_of(spare=[2], spare_beside=1), [0] * 4)
    menu = Menu(book.settings)
    assert _locked_after(book, menu) == []
    book.owner.lock_wheel(1, True)
    assert _locked_after(book, menu) == [2]


@pytest.mark.parametrize("beside", [0, 1])
def test_a_spare_wheel_that_runs_too_fast_is_out_and_the_main_one_is_not(settings_of, beside):
    book = RuleBook(settings_of(spare=[1, 2], spare_beside=beside), [0] * 4)
    menu = Menu(book.settings)
    book.locks_changed(menu)
    book.spare_speed.fault = True
    assert book.locks_changed(menu) == (beside == 1)  # standing by it was shut already
    assert book.out == [False, True, True, False]
    assert book.spare_missed == (beside == 1)
    book.owner.lock_wheel(0, True)
    assert _locked_after(book, menu) == [0, 1, 2, 3]
    assert book.spare_missed
    book.spare_speed.fault = False
    assert _locked_after(book, menu) == [0, 3]
    assert not book.spare_missed


def test_without_a_spare_wheel_there_is_no_rule_for_it(book):
    assert book.spare_speed is None
    assert not book.spare_too_fast()


@pytest.mark.parametrize(("out", "needed"), [([3], False), ([3, 4], True), ([4], False)])
def test_without_the_first_trim_the_air_goes_by_what_is_left(settings_of, out, needed):
    book = RuleBook(settings_of(3, 2), [0] * 5)
    menu = Menu(book.settings)
    for valve in out:
        book.owner.lock(valve, True)
    book.locks_changed(menu)
    assert (book.start.least_ml_s == 0) == (3 not in out)
    if needed:
        assert book.start.least_ml_s == menu.least_ml_s() == menu.flow_at(1, 0)


# -- edges ------------------------------------------------------------------------------------------


def test_what_the_guard_suspects_reaches_the_flush_and_the_end_of_a_pause_the_guard(book, monkeypatch):
    told, lifted = [], []
    monkeypatch.setattr(book.pipe, "judge", lambda facts: None)
    monkeypatch.setattr(book.pipe, "lift", lambda: lifted.append(len(told)))
    monkeypatch.setattr(book.flush, "look", lambda facts, suspected: told.append(suspected) or len(told) == 2)
    for place, fault in enumerate((NONE, LOW, NONE)):
        book.pipe.fault = fault
        _judge(book, 1_000 * place)
    assert (told, lifted) == ([False, True, False], [2])


def test_the_pipes_guard_knows_at_the_same_step_that_the_pipe_is_full(book, monkeypatch):
    told = []
    monkeypatch.setattr(book.pipe, "judge", lambda facts: told.append(book.pipe.filling))
    _judge(book, 0)  # the plant built in conftest.py is full at once
    assert told == [False]


def test_without_a_trim_the_smallest_jet_that_is_left_must_be_allowed(book):
    menu = Menu(book.settings)
    found = []
    for valve, locked in ((3, True), (0, True), (3, False)):
        book.owner.lock(valve, locked)
        book.locks_changed(menu)
        found.append(book.start.least_ml_s)
    assert found == [menu.flow_at(menu.masks.index(1), 0), menu.flow_at(menu.masks.index(2), 0), 0]


@pytest.mark.parametrize("part", ["trust", "frost", "valves", "desk", "owner", "battery"])
def test_whoever_must_be_asked_first_says_when(book, part, monkeypatch):
    _judge(book, 0)
    monkeypatch.setattr(getattr(book, part), "left_ms", lambda now_ms: 7)
    assert book.left_ms(WRAP_MS) == 7


def test_everyone_narrows_the_bands_and_trust_last(book, monkeypatch):
    asked = []
    for part in (*book.rules, book.frost, book.trust):
        monkeypatch.setattr(part, "watch", lambda orders, part=part: asked.append(part))
    book.watch(Orders(4))
    assert asked == [*book.rules, book.frost, book.trust]


def test_what_is_noted_reaches_the_alarms(book):
    facts = Facts()
    facts.now_ms = WRAP_MS
    _judge(book, 0, switch=0)
    book.note(facts, 0, None)
    assert book.alarms.raised(slot_of(STOP_PRESSED, 0))


def test_the_valves_guard_is_shown_where_the_valves_say_they_are(book, monkeypatch):
    shown = []
    monkeypatch.setattr(book.valves, "judge", lambda facts, position: shown.append(list(position)))
    readings = Readings(4)
    readings.put_position(2, 400, WRAP_MS)
    book.judge(Facts(), readings)
    assert shown == [[UNKNOWN, UNKNOWN, 400, UNKNOWN]]
