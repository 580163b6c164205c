"""The whole engine, fed with readings made up as functions of time."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.alarms import PIPE_BURST, SPARE_OVERSPEED, slot_of
from becklight.engine import RuleEngine
from becklight.orders import HIGHEST, Orders
from becklight.phases import MEASURING, MOVING, PHASES, SETTLING, STEADY
from becklight.readings import COUNT, LEVEL_MM, TEMP_DECIC, UNKNOWN, Readings
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

BEFORE_WRAP_MS = PERIOD_MS - 65_000
HOUR_S = 3_600
# Low pressure only eases off, which ends by itself; readings may stand still, and answer to no valve.
SIMPLE = {
    "burst_permille": 0,
    "leak_permille": 0,
    "level_looks": 0,
    "pressure_looks": 0,
    "battery_looks": 0,
    "pressure_doubt_mbar": 5_000,
}


def _values(
    level_mm=105,
    pressure_mbar=4_900,
    battery_mv=26_500,
    temp_decic=250,
    run_switch=1,
    spare_bus_mv=UNKNOWN,
):
    return [level_mm, pressure_mbar, battery_mv, temp_decic, *[UNKNOWN] * 4, run_switch, spare_bus_mv]


class Bench:
    """One engine asked every second, with all that changed in its orders."""

    def __init__(self, read, ask):
        self.settings = read
        self.engine = RuleEngine(read)
        self.orders = Orders(len(read.valves))
        self.ask = ask
        self.now_s = 0
        self.changes = []  # (second, openings, reason)

    def step(self, values):
        self.ask(self.engine, self.orders, 1_000 * self.now_s, values, BEFORE_WRAP_MS)
        now = (self.now_s, tuple(self.orders.opening_permille), self.orders.reason)
        if not self.changes or now[1:] != self.changes[-1][1:]:
            self.changes.append(now)
        self.now_s += 1

    def run(self, seconds, **values):
        """Ask with these readings; what changed meanwhile."""
        first = len(self.changes)
        for _ in range(seconds):
            self.step(_values(**values))
        return self.changes[first:]

    def drawn_ml_s(self):
        return self.engine.ramps.flow_ml_s(self.orders.opening_permille)

    def now_ms(self):
        """The instant of the next step."""
        return ticks_add(BEFORE_WRAP_MS, 1_000 * self.now_s)

    def ahead_ms(self):
        """From the last step to the instant at which the engine wants to be asked again."""
        return ticks_diff(self.orders.next_ms, ticks_add(BEFORE_WRAP_MS, 1_000 * (self.now_s - 1)))

    def reason(self):
        return reasons.NAMES[self.orders.reason]


@pytest.fixture
def bench(settings_of, ask):
    """bench(fixed=3, trims=1, **rules) -> a fresh Bench."""
    return lambda *args, **kwargs: Bench(settings_of(*args, **{**SIMPLE, **kwargs}), ask)


@pytest.fixture
def running(bench):
    """running(...) -> a Bench whose jets take some two litres a second, at rest at the target."""

    def build(*args, **kwargs):
        built = bench(*args, **kwargs)
        while built.engine.phase != SETTLING:
            built.run(1, level_mm=160)
        built.run(2 * HOUR_S, level_mm=104)
        assert built.engine.phase == STEADY
        assert 1_800 < built.drawn_ml_s() < 3_000
        return built

    return build


# -- opening ----------------------------------------------------------------------------------------


def test_it_starts_closed_and_says_so(bench):
    fresh = bench()
    assert (fresh.orders.opening_permille, fresh.reason()) == ([0] * 4, "starting")
    fresh.run(59, level_mm=140)
    assert (fresh.orders.opening_permille, fresh.reason()) == ([0] * 4, "starting")


def test_it_opens_when_the_level_shows_water(bench):
    fresh = bench()
    while fresh.engine.phase != SETTLING:
        fresh.run(1, level_mm=140)  # 933 mL/s are let past, 300 of them the residual flow
    assert fresh.now_s > 60
    assert fresh.reason() == "stream"
    recover_ml_s = 20 * 5_000 // 2_000  # of what stands above the target
    assert 500 < fresh.drawn_ml_s() <= 933 - 300 + recover_ml_s


def test_it_stays_closed_without_water(bench):
    fresh = bench()
    fresh.run(HOUR_S, level_mm=101)
    assert (fresh.orders.opening_permille, fresh.reason()) == ([0] * 4, "no_water")


@pytest.mark.parametrize("level_mm", [0, 59, 99])
def test_it_stays_closed_below_the_target(bench, level_mm):
    fresh = bench()
    fresh.run(HOUR_S, level_mm=level_mm)
    assert fresh.orders.opening_permille == [0] * 4


def test_a_flood_opens_everything(bench):
    fresh = bench()
    fresh.run(3 * HOUR_S, level_mm=200)
    assert (fresh.orders.opening_permille, fresh.reason()) == ([1000] * 4, "all_open")


def test_the_pipe_ceiling_is_kept_and_named(bench):
    fresh = bench(ceiling_ml_s=3_000)
    fresh.run(3 * HOUR_S, level_mm=200)
    assert fresh.reason() == "pipe_ceiling"
    assert 2_500 < fresh.drawn_ml_s() <= 3_000


def test_another_set_waits_for_the_dwell(bench):
    fresh = bench(dwell_ms=3_600_000)
    while fresh.engine.phase != SETTLING:
        fresh.run(1, level_mm=160)
    standing = fresh.orders.opening_permille[:3]
    assert 0 < sum(standing) < 3_000
    fresh.run(1_800, level_mm=200)
    assert fresh.reason() == "dwell"
    changes = fresh.run(1_500, level_mm=200)
    assert all(list(openings[:3]) == standing for _, openings, _ in changes)
    fresh.run(HOUR_S, level_mm=200)
    assert fresh.orders.opening_permille == [1_000] * 4


# -- closing ----------------------------------------------------------------------------------------


def _check_ramp(bench_, changes):
    """One valve a step, no step larger than allowed or sooner than its rest allows."""
    moves = [(changes[0][0], changes[0][1])]
    for second, openings, _ in changes[1:]:
        if openings != moves[-1][1]:
            moves.append((second, openings))
    earlier_s, rest_ms = None, 0
    for place in range(1, len(moves)):
        second, after = moves[place]
        before = moves[place - 1][1]
        moved = [valve for valve in range(len(after)) if after[valve] != before[valve]]
        assert len(moved) == 1
        valve = bench_.settings.valves[moved[0]]
        here, there = before[moved[0]], after[moved[0]]
        assert abs(there - here) <= valve.step_permille
        assert earlier_s is None or 1_000 * (second - earlier_s) >= rest_ms
        rest_ms = valve.open_step_ms if there > here else valve.close_step_ms
        if min(here, there) < valve.slow_zone_permille:
            rest_ms *= valve.slow_times
        earlier_s = second


def test_near_the_floor_it_closes_a_quarter_at_a_time_down_to_nothing(running):
    plant = running(floor_wait_ms=300_000)
    before_ml_s = plant.drawn_ml_s()
    plant.run(1, level_mm=59)
    assert plant.reason() == "floor"
    changes = plant.run(290, level_mm=59)
    assert 0.5 * before_ml_s < plant.drawn_ml_s() < 0.76 * before_ml_s
    assert plant.drawn_ml_s() > 0
    changes += plant.run(3 * HOUR_S, level_mm=59)
    assert plant.orders.opening_permille == [0] * 4
    _check_ramp(plant, changes)


def test_near_the_floor_no_valve_opens_further_than_its_changeover_needs(running):
    plant = running(1, 1)
    flows = []
    for _ in range(HOUR_S):
        plant.run(1, level_mm=55)
        flows.append(plant.drawn_ml_s())
    largest_step_ml_s = 400  # 40 permille of the largest valve
    assert all(later <= earlier + largest_step_ml_s for earlier, later in zip(flows, flows[1:], strict=False))
    assert max(flows) <= flows[0] + largest_step_ml_s


def test_a_bad_sample_of_the_level_changes_nothing(running):
    plant = running()
    assert plant.run(59, level_mm=UNKNOWN) == []
    assert plant.run(HOUR_S, level_mm=104) == []


def test_without_a_level_little_is_taken_while_the_pressure_protects_the_pipe(running):
    plant = running()
    changes = [plant.changes[-1], *plant.run(HOUR_S, level_mm=UNKNOWN)]
    assert plant.reason() == "level_unknown"
    assert 0 < plant.drawn_ml_s() <= plant.settings.rules.blind_flow_ml_s
    _check_ramp(plant, changes)


def test_without_level_and_pressure_everything_closes_by_the_slow_ramp_and_says_so(running):
    plant = running()
    changes = [plant.changes[-1], *plant.run(HOUR_S, level_mm=UNKNOWN, pressure_mbar=UNKNOWN)]
    assert plant.orders.opening_permille == [0] * 4
    assert plant.reason() in ("level_unknown", "filling")
    _check_ramp(plant, changes)


def test_a_level_that_comes_back_is_trusted_again(running):
    plant = running()
    plant.run(HOUR_S, level_mm=UNKNOWN)
    plant.run(HOUR_S, level_mm=140)
    assert plant.reason() != "level_unknown"
    assert plant.drawn_ml_s() > 400


def test_a_level_that_comes_back_must_be_measured_before_anything_opens(running):
    plant = running(full_hold_ms=0)
    plant.run(HOUR_S, level_mm=UNKNOWN, pressure_mbar=UNKNOWN)
    plant.run(50, level_mm=104, battery_mv=28_600)  # easing off is decided at once, but not on an old inflow
    assert plant.orders.opening_permille == [0] * 4


def test_a_measurement_that_changes_nothing_is_not_repeated_at_the_same_level(running):
    plant = running(flow_deadband_ml_s=1_200, set_hysteresis_ml_s=1_500)
    plant.run(HOUR_S, level_mm=126)  # above target and rise: measured, and not worth a move
    assert plant.engine.phase == STEADY
    assert plant.orders.high[LEVEL_MM] == 126 + plant.settings.rules.level_rise_mm


def test_a_full_battery_eases_off_and_a_recovered_one_resumes(running):
    plant = running()
    before_ml_s = plant.drawn_ml_s()
    plant.run(599, level_mm=104, battery_mv=28_600)
    assert plant.drawn_ml_s() == before_ml_s
    plant.run(600, level_mm=104, battery_mv=28_600)
    assert plant.reason() == "battery_full"
    assert 0 < plant.drawn_ml_s() <= 1_000
    plant.run(HOUR_S, level_mm=152, battery_mv=25_400)
    assert plant.reason() != "battery_full"
    assert plant.drawn_ml_s() > 1_000


def test_low_pressure_closes_step_by_step_and_says_so(running):
    plant = running()
    before_ml_s = plant.drawn_ml_s()
    changes = [plant.changes[-1], *plant.run(22, level_mm=104, pressure_mbar=2_000)]  # believed after 5 s
    assert plant.reason() == "pressure_low"
    changes += plant.run(1_200, level_mm=104, pressure_mbar=2_000)
    assert plant.drawn_ml_s() < before_ml_s // 3
    _check_ramp(plant, changes)


def test_every_move_of_a_stormy_day_keeps_the_ramps(bench):
    stormy = bench(2, 2)
    for values in _weather(seed=11, seconds=6 * HOUR_S, unknown_share=0.1):
        stormy.step(values)
    assert len(stormy.changes) > 100
    _check_ramp(stormy, stormy.changes)


def test_it_moves_at_once_after_four_quiet_days(settings_of, ask):
    read = settings_of(**SIMPLE)
    engine, orders = RuleEngine(read), Orders(4)
    now_ms = 0
    while now_ms < 4 * 86_400_000 or engine.phase != STEADY:
        level_mm = 170 if now_ms < 900_000 else 104
        ask(engine, orders, now_ms, _values(level_mm))
        quiet = now_ms > 8 * 3_600_000
        now_ms += 900_000 if quiet and engine.phase == STEADY else 1_000
    before = list(orders.opening_permille)
    assert sum(before) > 0
    ask(engine, orders, now_ms, _values(55))
    assert orders.opening_permille != before


# -- the contract -----------------------------------------------------------------------------------


def _weather(seed, seconds, unknown_share=0.0, noise=1):
    """Readings for every second: spells of level, pressure and battery, with noise and failures."""
    draw = random.Random(seed)
    rows = []
    while len(rows) < seconds:
        spell = [
            draw.choice([55, 70, 95, 101, 104, 125, 140, 170, 200]),
            draw.choice([4_900, 4_900, 4_900, 2_500]),
            draw.choice([24_500, 25_450, 26_500, 28_550, 29_000]),
            draw.choice([100, 250, 350]),
        ]
        for place in range(4):
            if draw.random() < unknown_share:
                spell[place] = UNKNOWN
        for _ in range(draw.choice([20, 200, 900, 1_800])):
            noisy = [value if value == UNKNOWN else value + draw.randint(-noise, noise) for value in spell]
            rows.append([*noisy, *[UNKNOWN] * 4, 1, UNKNOWN])
    return rows[:seconds]


def _next_event(now_ms, orders, rows, start_ms):
    """When the contract says to ask again: at next_ms, or at the first sample outside its band."""
    due_ms = now_ms + ticks_diff(orders.next_ms, ticks_add(start_ms, now_ms))
    second = now_ms // 1_000 + 1
    while 1_000 * second < due_ms and second < len(rows):
        if not orders.within(rows[second]):
            return 1_000 * second
        second += 1
    return due_ms


def _every(period_ms):
    return lambda now_ms, orders, rows, start_ms: now_ms + period_ms


def _with_extra(seed):
    """Besides the instants due, random ones between."""
    draw = random.Random(seed)

    def next_ms(now_ms, orders, rows, start_ms):
        event_ms = _next_event(now_ms, orders, rows, start_ms)
        return min(event_ms, now_ms + draw.randint(1, 20_000))

    return next_ms


def _changes(read, rows, next_ms, ask, start_ms=BEFORE_WRAP_MS):
    """(instant, openings, reason) at every change of the orders, asked at the instants of `next_ms`."""
    engine, orders = RuleEngine(read), Orders(len(read.valves))
    changes = []
    now_ms = 0
    while now_ms < 1_000 * len(rows):
        ask(engine, orders, now_ms, rows[now_ms // 1_000], start_ms)
        now = (now_ms, tuple(orders.opening_permille), orders.reason)
        if not changes or now[1:] != changes[-1][1:]:
            changes.append(now)
        now_ms = next_ms(now_ms, orders, rows, start_ms)
    return changes


@pytest.mark.parametrize("seed", range(6))
def test_asking_every_second_gives_the_orders_of_asking_when_due(settings_of, ask, seed):
    rows = _weather(seed, 4 * HOUR_S, unknown_share=0.1)
    seldom = _changes(settings_of(**SIMPLE), rows, _next_event, ask)
    assert len(seldom) > 20
    assert _changes(settings_of(**SIMPLE), rows, _every(1_000), ask) == seldom


@pytest.mark.parametrize("seed", range(6))
def test_without_noise_the_engine_still_wakes_in_time(settings_of, ask, seed):
    # nothing but next_ms tells when a hold, a wait or a dwell is over
    read = settings_of(floor_wait_ms=400_000, dwell_ms=1_000_000, full_hold_ms=300_000, **SIMPLE)
    rows = _weather(seed, 12 * HOUR_S, noise=0)
    seldom = _changes(read, rows, _next_event, ask)
    assert len(seldom) > 20
    assert _changes(read, rows, _every(1_000), ask) == seldom


@pytest.mark.parametrize("seed", range(6))
def test_asking_at_extra_instants_changes_nothing(settings_of, ask, seed):
    rows = _weather(seed, 2 * HOUR_S)
    seldom = _changes(settings_of(**SIMPLE), rows, _next_event, ask)
    assert _changes(settings_of(**SIMPLE), rows, _with_extra(seed), ask) == seldom
    assert _changes(settings_of(**SIMPLE), rows, _every(100), ask) == seldom


@pytest.mark.parametrize("start_ms", [0, 123_456_789, PERIOD_MS - 3_600_000])
def test_a_run_across_the_wrap_equals_one_far_from_it(settings_of, ask, start_ms):
    rows = _weather(3, 2 * HOUR_S, unknown_share=0.1)
    across = _changes(settings_of(**SIMPLE), rows, _every(1_000), ask)
    assert _changes(settings_of(**SIMPLE), rows, _every(1_000), ask, start_ms) == across


def test_next_is_ahead_by_no_more_than_the_quiet_time(settings_of, ask):
    read = settings_of(**SIMPLE)
    engine, orders = RuleEngine(read), Orders(4)
    for second, values in enumerate(_weather(5, 6 * HOUR_S, unknown_share=0.2)):
        ask(engine, orders, 1_000 * second, values, BEFORE_WRAP_MS)
        ahead_ms = ticks_diff(orders.next_ms, ticks_add(BEFORE_WRAP_MS, 1_000 * second))
        assert 0 < ahead_ms <= read.rules.quiet_ms


def test_it_asks_to_be_woken_when_the_battery_has_been_full_for_long_enough(running):
    plant = running()
    plant.run(1, level_mm=104, battery_mv=28_600)
    assert plant.ahead_ms() == plant.settings.rules.full_hold_ms


def test_it_asks_to_be_woken_when_the_pressure_has_been_low_for_long_enough(running):
    plant = running()
    plant.run(1, level_mm=104, pressure_mbar=4_000)
    assert plant.ahead_ms() == plant.settings.rules.pressure_hold_ms


def test_it_asks_to_be_woken_when_the_wait_at_the_floor_is_over(running):
    plant = running(floor_wait_ms=300_000)
    plant.run(201, level_mm=59)
    assert plant.engine.phase != MOVING
    assert plant.ahead_ms() == 100_000


def test_it_asks_to_be_woken_when_the_dwell_is_over(bench):
    fresh = bench(dwell_ms=1_200_000, blocked_hold_ms=86_400_000)
    while fresh.engine.phase != SETTLING:
        fresh.run(1, level_mm=160)
    set_off_s = fresh.now_s
    while fresh.engine.phase != STEADY or fresh.reason() != "dwell":
        fresh.run(1, level_mm=200 if fresh.now_s < set_off_s + 400 else 180)
    left_ms = ticks_diff(fresh.engine.dwell_due_ms, ticks_add(BEFORE_WRAP_MS, 1_000 * (fresh.now_s - 1)))
    assert 0 < fresh.ahead_ms() == left_ms


def test_storms_reach_every_phase_and_every_reason(settings_of, ask):
    seen_reasons, seen_phases = set(), set()
    for read in (settings_of(**SIMPLE), settings_of(ceiling_ml_s=2_000, dwell_ms=1_800_000, **SIMPLE)):
        engine, orders = RuleEngine(read), Orders(4)
        for second, values in enumerate(_weather(9, 12 * HOUR_S, unknown_share=0.05)):
            ask(engine, orders, 1_000 * second, values)
            seen_reasons.add(reasons.NAMES[orders.reason])
            seen_phases.add(PHASES[engine.phase])
    assert seen_reasons == set(reasons.NAMES[: reasons.POND_RESTS])
    assert seen_phases == set(PHASES)


# -- garbage ----------------------------------------------------------------------------------------

ANY_VALUE = st.one_of(
    st.just(UNKNOWN),
    st.just(HIGHEST),
    st.integers(0, 300),
    st.integers(UNKNOWN, HIGHEST),
    st.integers(2_000, 30_000),
)
ANY_TEMP_DECIC = st.one_of(st.just(UNKNOWN), st.integers(-1_000, 2_000))
ANY_WAIT_MS = st.one_of(st.integers(1, 5_000), st.integers(0, 3_600_000), st.integers(0, PERIOD_MS - 1))
GARBAGE = st.lists(
    st.tuples(ANY_WAIT_MS, st.lists(ANY_VALUE, min_size=COUNT, max_size=COUNT), ANY_TEMP_DECIC),
    min_size=5,
    max_size=60,
)


def _integers(thing):
    """Every whole number that an object of the engine keeps, however deep."""
    if isinstance(thing, bool):
        return
    if isinstance(thing, int):
        yield thing
    elif isinstance(thing, list | tuple):
        for item in thing:
            yield from _integers(item)
    elif hasattr(thing, "__dict__") and not isinstance(thing, Settings):
        for item in vars(thing).values():
            yield from _integers(item)


@settings(max_examples=80, deadline=None)
@given(garbage=GARBAGE, fixed=st.integers(1, 4), trims=st.integers(1, 2))
def test_any_readings_on_a_jumping_clock_are_survived(settings_of, ask, garbage, fixed, trims):
    read = settings_of(fixed, trims)
    engine, orders = RuleEngine(read), Orders(fixed + trims)
    now_ms = 0
    for wait_ms, values, temp_decic in garbage:
        values = [*values[:TEMP_DECIC], temp_decic, *values[TEMP_DECIC + 1 :]]
        now_ms = ticks_add(now_ms, wait_ms)
        stands = engine.started and ticks_diff(now_ms, orders.next_ms) < 0 and orders.within(values)
        ask(engine, orders, now_ms, values)
        if not stands:
            assert 0 < ticks_diff(orders.next_ms, now_ms) <= read.rules.quiet_ms
        assert all(0 <= opening <= 1_000 for opening in orders.opening_permille)
        assert 0 <= orders.reason < len(reasons.NAMES)
        assert all(-(2**30) <= number < 2**30 for number in _integers([engine, orders]))


def test_the_walk_over_the_engines_numbers_finds_them(settings_of):
    engine = RuleEngine(settings_of(**SIMPLE))
    engine.book.pipe.falling.due_ms = 2**31
    assert 2**31 in _integers(engine)


# -- corners ----------------------------------------------------------------------------------------


def test_asking_more_often_than_sampled_changes_nothing_with_an_unknown_level_either(settings_of, ask):
    rows = [_values(UNKNOWN)] * 60 + [_values(140)] * 600
    seldom = _changes(settings_of(**SIMPLE), rows, _next_event, ask)
    assert _changes(settings_of(**SIMPLE), rows, _every(100), ask) == seldom


def test_an_absurd_temperature_leaves_the_bands_small_integers(settings_of, ask):
    engine, orders = RuleEngine(settings_of(**SIMPLE)), Orders(4)
    ask(engine, orders, 0, _values(temp_decic=HIGHEST))
    assert all(-(2**30) <= number < 2**30 for number in _integers([engine, orders]))


def test_easing_off_needs_no_measurement(running):
    plant = running(full_hold_ms=0, measure_ms=3_600_000)
    while plant.engine.phase != MEASURING:  # a rising level starts a measurement
        plant.run(1, level_mm=126)
        assert plant.now_s < 8 * HOUR_S
    plant.run(60, level_mm=126, battery_mv=28_600)
    assert plant.reason() == "battery_full"


def test_an_unknown_level_shuts_a_trim_that_opens_late_completely(plant, ask):
    table = plant(1, 1)
    table["valves"][1]["area_dmm2"][1] = 0
    for row in table["menu"]["sets"]:
        row["flow_ml_s"][1] = row["flow_ml_s"][0]
    late = Bench(Settings(table), ask)
    late.run(1_500, level_mm=140)
    assert late.drawn_ml_s() > 0
    late.run(HOUR_S, level_mm=UNKNOWN, pressure_mbar=UNKNOWN)
    assert late.orders.opening_permille == [0, 0]


def test_readings_that_expire_close_the_jets(running):
    plant = running()
    readings = Readings(8)
    for place, value in enumerate(_values(104)):
        readings.put(place, value, ticks_add(BEFORE_WRAP_MS, 1_000 * plant.now_s))
    for _ in range(HOUR_S):  # nothing is put any more: the instrument is dead
        now_ms = ticks_add(BEFORE_WRAP_MS, 1_000 * plant.now_s)
        readings.expire(now_ms)
        plant.engine.step(now_ms, readings, plant.orders)
        plant.now_s += 1
    assert readings.values[LEVEL_MM] == UNKNOWN
    assert (plant.orders.opening_permille, plant.reason()) == ([0] * 4, "level_unknown")


# -- the owner --------------------------------------------------------------------------------------


@pytest.fixture
def held(running):
    """A Bench whose jets the owner has ordered to stay as they are, for three hours."""
    plant = running()
    engine = plant.engine
    assert engine.owner.hold(plant.now_ms(), engine.set, engine.trim_permille, 3 * 3_600_000)
    return plant


def test_a_hold_keeps_the_jets_while_the_stream_bears_it(held):
    standing = list(held.orders.opening_permille)
    for level_mm in (104, 150, 200, 120, 104):
        held.run(1_800, level_mm=level_mm)
        assert (held.orders.opening_permille, held.reason()) == (standing, "owner")


def test_a_held_set_is_gone_to(running):
    plant = running()
    closed = plant.engine.menu.closed
    assert plant.engine.owner.hold(plant.now_ms(), closed, 500, 3_600_000)
    plant.run(900, level_mm=150)
    assert (plant.orders.opening_permille, plant.reason()) == ([0, 0, 0, 500], "owner")


def test_a_hold_gives_way_when_water_is_lacking(held):
    before_ml_s = held.drawn_ml_s()
    held.run(HOUR_S, level_mm=92)
    assert held.drawn_ml_s() < before_ml_s
    assert held.reason() != "owner"


def test_a_hold_gives_way_near_the_floor(held):
    changes = [held.changes[-1], *held.run(HOUR_S, level_mm=55)]
    assert (held.orders.opening_permille, held.reason()) == ([0] * 4, "floor")
    _check_ramp(held, changes)


def test_a_hold_expires_and_says_when(held):
    hold_ms = 3 * 3_600_000
    held.run(1, level_mm=150)
    assert held.engine.owner.left_ms(held.now_ms()) == hold_ms - 1_000
    standing = list(held.orders.opening_permille)
    held.run(3 * HOUR_S - 1, level_mm=150)
    assert (held.orders.opening_permille, held.reason()) == (standing, "owner")
    held.run(600, level_mm=150)
    assert held.engine.owner.left_ms(held.now_ms()) > hold_ms
    assert held.reason() == "stream"
    assert held.drawn_ml_s() > held.engine.ramps.flow_ml_s(standing)


def test_a_stop_closes_by_the_slow_ramp_and_a_resume_reopens(running):
    plant = running()
    assert plant.engine.owner.stop(plant.now_ms(), 0)
    changes = [plant.changes[-1], *plant.run(HOUR_S, level_mm=104)]
    _check_ramp(plant, changes)
    assert (plant.orders.opening_permille, plant.reason()) == ([0] * 4, "owner")
    assert plant.run(HOUR_S, level_mm=200) == []
    plant.engine.owner.resume()
    plant.run(HOUR_S, level_mm=160)
    assert plant.reason() in ("stream", "all_open")
    assert plant.drawn_ml_s() > 1_000


@pytest.mark.parametrize("run_switch", [0, UNKNOWN])
def test_the_stop_switch_beats_a_hold_and_nothing_but_itself_reopens(held, run_switch):
    engine = held.engine
    held.run(60, level_mm=104)
    changes = [held.changes[-1], *held.run(600, level_mm=104, run_switch=run_switch)]
    _check_ramp(held, changes)
    assert (held.orders.opening_permille, held.reason()) == ([0] * 4, "stop_switch")
    engine.owner.hold(held.now_ms(), engine.menu.closed, 500, 3_600_000)
    held.run(600, level_mm=160, run_switch=run_switch)
    engine.owner.resume()
    held.run(HOUR_S, level_mm=200, run_switch=run_switch)
    assert (held.orders.opening_permille, held.reason()) == ([0] * 4, "stop_switch")
    held.run(HOUR_S, level_mm=160)
    assert held.reason() in ("stream", "all_open")
    assert held.drawn_ml_s() > 1_000


def test_a_locked_jet_is_closed_and_left_out(running):
    plant = running()
    valve = plant.orders.opening_permille.index(1_000)
    assert plant.engine.owner.lock(valve, True)
    changes = [plant.changes[-1], *plant.run(HOUR_S, level_mm=160)]
    _check_ramp(plant, changes)
    assert plant.orders.opening_permille[valve] == 0
    assert plant.drawn_ml_s() > 1_000
    plant.run(3 * HOUR_S, level_mm=200)
    assert [opening == 0 for opening in plant.orders.opening_permille] == [jet == valve for jet in range(4)]
    plant.engine.owner.lock(valve, False)
    plant.run(3 * HOUR_S, level_mm=200)
    left_ml_s = plant.engine.menu.most_flow_ml_s - plant.drawn_ml_s()
    assert left_ml_s < plant.engine.settings.rules.flow_deadband_ml_s
    assert plant.orders.opening_permille[valve] == 1_000


def test_with_every_jet_locked_all_is_closed(running):
    plant = running()
    for valve in range(4):
        plant.engine.owner.lock(valve, True)
    plant.run(3 * HOUR_S, level_mm=200)
    assert plant.orders.opening_permille == [0] * 4


# -- valves -----------------------------------------------------------------------------------------


def _run_with_feedback(plant, seconds, stuck, **values):
    """Openings of every step, with valves that are where they were ordered, but for one that stays shut."""
    readings = Readings(4)
    seen = []
    for _ in range(seconds):
        now_ms = plant.now_ms()
        for place, value in enumerate(_values(**values)):
            readings.put(place, value, now_ms)
        for valve, opening in enumerate(plant.orders.opening_permille):
            readings.put_position(valve, 0 if valve == stuck else opening, now_ms)
        plant.engine.step(now_ms, readings, plant.orders)
        seen.append(list(plant.orders.opening_permille))
        plant.now_s += 1
    return seen


def test_a_valve_that_is_stuck_is_left_out_and_the_others_carry_on(bench):
    plant = bench()
    while not plant.engine.book.locked[1]:
        seen = _run_with_feedback(plant, 1, 1, level_mm=200)
        assert plant.now_s < HOUR_S
    assert seen[-1][1] > 0  # it has been tried
    _run_with_feedback(plant, 130, 1, level_mm=200)
    assert plant.engine.book.locked == [False, True, False, False]
    assert plant.orders.opening_permille == [1_000, 0, 1_000, 1_000]


def _power_up(read, positions, seconds, level_mm):
    """(openings, anew) of every step from power-up; valves without feedback but for these positions."""
    engine, orders, readings = RuleEngine(read), Orders(4), Readings(4)
    seen = []
    for second in range(seconds):
        now_ms = ticks_add(BEFORE_WRAP_MS, 1_000 * second)
        for place, value in enumerate(_values(level_mm)):
            readings.put(place, value, now_ms)
        for valve, position in enumerate(positions):
            readings.put_position(valve, UNKNOWN if second else position, now_ms)
        engine.step(now_ms, readings, orders)
        seen.append((tuple(orders.opening_permille), orders.anew, reasons.NAMES[orders.reason]))
    return seen


def _anew(seen):
    """The seconds at which the orders begin to say that the valves are taken to stand elsewhere."""
    said = [0, *[anew for _, anew, _ in seen]]
    return [second for second in range(len(seen)) if said[second + 1] > said[second]]


@pytest.mark.parametrize(
    ("positions", "begins"),
    [([UNKNOWN] * 4, [1_000] * 4), ([0, 320, 700, UNKNOWN], [0, 320, 700, 1_000]), ([-1, 1_001, 0, 5], None)],
)
def test_at_power_up_every_valve_is_closed_before_any_opens(settings_of, positions, begins):
    begins = begins or [1_000, 1_000, 0, 5]  # what cannot be is not believed
    seen = _power_up(settings_of(**SIMPLE), positions, 2 * HOUR_S, 160)
    assert _anew(seen) == [0]
    assert list(seen[0][0]) == begins
    shut = next(second for second, (openings, _, _) in enumerate(seen) if not any(openings))
    assert {reason for _, _, reason in seen[:shut]} == {"homing"}
    for (before, _, _), (after, _, _) in zip(seen[:shut], seen[1 : shut + 1], strict=True):
        moved = [here - there for here, there in zip(before, after, strict=True) if here != there]
        assert len(moved) <= 1
        assert all(0 < step <= 40 for step in moved)
    assert any(seen[-1][0])


def test_valves_that_say_they_are_shut_are_believed(settings_of):
    seen = _power_up(settings_of(**SIMPLE), [0] * 4, 300, 160)
    assert "homing" not in {reason for _, _, reason in seen}
    assert any(seen[-1][0])


def test_an_intake_that_stays_empty_though_all_is_closed_makes_it_close_all_anew_now_and_then(settings_of):
    seen = _power_up(settings_of(**SIMPLE), [0] * 4, 13 * HOUR_S, 40)
    found = _anew(seen)
    assert found[0] == 0  # at power-up there is nothing to close
    assert [after - before for before, after in zip(found[1:], found[2:], strict=False)] == [6 * HOUR_S]
    assert seen[found[1]][2] == "homing"
    assert not any(seen[found[2] - 1][0])


def test_an_idle_valve_is_moved_a_little_and_back(running):
    plant = running(exercise_days=1)
    before, reason = list(plant.orders.opening_permille), plant.orders.reason
    changes = plant.run(26 * HOUR_S, level_mm=104)
    exercised = [openings for _, openings, why in changes if reasons.NAMES[why] == "exercise"]
    away = [
        max(abs(openings[valve] - before[valve]) for openings in exercised) for valve in range(len(before))
    ]
    assert away == [plant.settings.rules.exercise_permille] * 4
    assert (list(plant.orders.opening_permille), plant.orders.reason) == (before, reason)
    _check_ramp(plant, changes)


@pytest.mark.parametrize(("open_min", "taken"), [([600, 0], 1), ([0, 600], 0)])
def test_of_two_equal_jets_the_rested_one_is_taken(plant, ask, open_min, taken):
    table = plant(2, 1, **SIMPLE)
    table["valves"][1]["area_dmm2"] = table["valves"][0]["area_dmm2"]
    sets = {row["mask"]: row for row in table["menu"]["sets"]}
    for key in ("flow_ml_s", "pressure_mbar"):
        sets[2][key] = sets[1][key]
    even = Bench(Settings(table), ask)
    even.engine.duties.even.open_min[:] = open_min
    while even.engine.phase != SETTLING:
        even.run(1, level_mm=152)
    assert even.orders.opening_permille[taken] == 1_000
    assert even.orders.opening_permille[1 - taken] == 0


def test_the_spare_wheel_takes_the_water_while_the_main_one_is_out(running):
    plant = running(spare=[0])
    assert plant.orders.opening_permille[0] == 0
    plant.run(3 * HOUR_S, level_mm=200)
    assert (plant.orders.opening_permille, plant.reason()) == ([0, 1_000, 1_000, 1_000], "all_open")
    assert plant.engine.owner.lock_wheel(0, True)
    changes = [plant.changes[-1], *plant.run(HOUR_S, level_mm=200)]
    _check_ramp(plant, changes)
    assert (plant.orders.opening_permille, plant.reason()) == ([1_000, 0, 0, 0], "all_open")
    plant.engine.owner.lock_wheel(0, False)
    plant.run(3 * HOUR_S, level_mm=200)
    assert plant.orders.opening_permille == [0, 1_000, 1_000, 1_000]


def test_a_spare_that_runs_too_fast_is_shut_step_by_step_and_the_main_wheel_carries_on(running):
    plant = running(spare=[0], spare_beside=1)
    plant.run(3 * HOUR_S, level_mm=200, spare_bus_mv=50_000)
    assert (plant.orders.opening_permille, plant.reason()) == ([1_000] * 4, "all_open")
    changes = [plant.changes[-1], *plant.run(300, level_mm=200, spare_bus_mv=99_000)]
    _check_ramp(plant, changes)
    assert (plant.orders.opening_permille, plant.reason()) == ([0, 1_000, 1_000, 1_000], "overspeed")
    assert plant.orders.out_bits == 1
    assert plant.engine.book.alarms.raised(slot_of(SPARE_OVERSPEED, 0))
    plant.run(600, level_mm=200, spare_bus_mv=0)
    assert plant.orders.opening_permille[0] == 0
    plant.run(1_200, level_mm=200, spare_bus_mv=0)
    assert (plant.orders.opening_permille, plant.orders.out_bits) == ([1_000] * 4, 0)


# -- what waits for somebody to look -----------------------------------------------------------------


def _burst(bench):
    """A plant closed for a burst, its alarm seen."""
    plant = bench(burst_permille=500, leak_permille=800, fill_ms=600_000)
    plant.run(2 * HOUR_S, level_mm=160)
    assert any(plant.orders.opening_permille)
    plant.run(1_200, level_mm=160, pressure_mbar=100)
    alarms = plant.engine.book.alarms
    assert alarms.raised(PIPE_BURST)
    alarms.acknowledge(PIPE_BURST)
    return plant


def test_a_burst_that_has_been_seen_stays_closed_and_raised(bench):
    plant = _burst(bench)
    plant.run(6 * HOUR_S, level_mm=160, pressure_mbar=5_000)
    assert plant.orders.opening_permille == [0] * 4
    assert plant.reason() == "burst"
    assert plant.engine.book.alarms.raised(PIPE_BURST)


def test_a_pipe_that_has_been_walked_is_filled_and_bled_before_it_runs_again(bench):
    plant = _burst(bench)
    plant.settings.rules.fill_mbar = 4_900
    plant.settings.rules.fill_hold_ms = 0
    plant.engine.owner.clear_pipe()
    plant.run(600, level_mm=160, pressure_mbar=3_000)
    assert (plant.reason(), plant.orders.opening_permille) == ("filling", [0] * 4)
    plant.run(2 * HOUR_S, level_mm=160, pressure_mbar=5_000)
    assert any(plant.orders.opening_permille)
    assert not plant.engine.book.alarms.raised(PIPE_BURST)


def test_a_pipe_that_is_cleared_though_it_is_still_burst_closes_again(bench):
    plant = _burst(bench)
    plant.engine.owner.clear_pipe()
    plant.run(600, level_mm=160, pressure_mbar=100)
    assert plant.orders.opening_permille == [0] * 4
    assert plant.engine.book.pipe.burst


def test_valves_that_have_been_looked_at_are_closed_anew_from_fully_open(bench):
    plant = bench()
    plant.run(2 * HOUR_S, level_mm=160)
    plant.engine.owner.clear_valves()
    plant.run(1, level_mm=160)
    assert plant.orders.anew == 1
    assert plant.orders.opening_permille == [1_000] * 4  # without feedback
    plant.run(20, level_mm=160)
    assert plant.reason() == "homing"


def test_a_raked_screen_is_flushed_anew_when_it_blocks_again(bench):
    plant = bench(flush_most=2)
    plant.run(60)
    flush = plant.engine.book.flush
    flush.count, flush.given_up = 2, True
    plant.engine.owner.clear_screen()
    plant.run(1)
    assert (flush.count, flush.given_up) == (0, False)


# -- edges ------------------------------------------------------------------------------------------


def test_a_level_that_goes_while_the_intake_settles_leaves_no_instant_behind(bench):
    fresh = bench()
    while fresh.engine.phase != SETTLING:
        fresh.run(1, level_mm=140)
    fresh.run(1, level_mm=UNKNOWN)
    assert fresh.engine.phase == STEADY
