"""The twin with faults: each does to plant, readings and orders what it says, and skipping stays exact."""

from functools import cache

import pytest
import simpy

from becklight import readings as places
from becklight.engine import RuleEngine
from becklight.readings import UNKNOWN
from becklight.settings import Settings
from becklight.valve_guard import NONE, STUCK
from becksim import twin
from becksim.compile import compile_site
from becksim.faults import INSTRUMENTS, KINDS, Fault, draw_faults
from becksim.faulty import FaultyInstrument
from becksim.faulty_twin import FaultyTwin
from becksim.inputs import build_inputs
from becksim.play import build_book, build_plant
from becksim.replay import replay
from becksim.site import load_site
from becksim.trials import play_faults

BOX = "millbrook-smallholding"
POND = "upland-hostel"
HUNGRY = ("battery.start_percent=45",)
HOUR_S = 3_600


@cache
def made(name):
    site = load_site(name, HUNGRY)
    return site, build_inputs(site, flows="synthetic", seed=1, days=1), compile_site(site)


class Probe:
    """A plant among faults, looked at now and then."""

    def __init__(self, faults, end_s, name=BOX, every_s=60, feedback=False):
        site, inputs, compiled = made(name)
        settings = Settings(compiled)
        self.plant = build_plant(site, inputs)
        self.asked = []
        self.engines = []
        instruments = {
            place: FaultyInstrument(sound, 1_000) for place, sound in twin.build_instruments(site, 1).items()
        }
        book = build_book(settings)

        def new_engine():
            self.engines.append(RuleEngine(settings))
            return self.engines[-1]

        self.controller = twin.Controller(settings, new_engine(), instruments, book, inputs, True)
        self.driver = FaultyTwin(self.plant, self.controller, faults, new_engine, self, feedback)
        self.rows = []  # (time_s, ordered, true openings, draw, pressure)
        env = simpy.Environment()
        env.process(twin.powerhouse(env, self.plant, self.driver))
        env.process(self.note(env, every_s))
        env.run(until=1_000 * end_s)

    def look(self, now_ms, plant, controller, faults):
        self.asked.append((now_ms // 1_000, list(controller.readings.values)))

    def restarted(self):
        self.asked.append((-1, None))

    def note(self, env, every_s):
        while True:
            yield env.timeout(1_000 * every_s)
            plant = self.plant
            self.rows.append(
                (
                    env.now // 1_000,
                    list(self.controller.openings),
                    list(plant.openings),
                    plant.water.draw_m3_s,
                    plant.works.net_head_m,
                )
            )

    def at(self, time_s):
        return next(row for row in self.rows if row[0] == time_s)

    def shown(self, name, from_s, to_s):
        return [values[INSTRUMENTS[name]] for now_s, values in self.asked if from_s <= now_s < to_s]


def test_without_faults_it_is_the_replay():
    site, _, compiled = made(POND)
    played = play_faults(site, [], days=1, seed=1, compiled=compiled)
    assert played.orders_sha256 == replay(site, days=1, flows="synthetic").orders_sha256
    assert played.broken == ()


def test_among_many_faults_skipping_is_still_asking_at_every_sample():
    site, _, compiled = made(POND)
    seed = 1
    faults = draw_faults(site, 1, seed, 700.0)
    assert len({fault.kind for fault in faults}) > 9
    skipping, dense = (
        play_faults(site, faults, days=1, seed=seed, every_sample=every_sample, compiled=compiled)
        for every_sample in (False, True)
    )
    assert skipping.orders_sha256 == dense.orders_sha256
    assert skipping.changes == dense.changes
    assert skipping.steps < dense.steps
    assert skipping.whole.turbined_m3 == pytest.approx(dense.whole.turbined_m3, rel=1e-9)


def test_a_battery_temperature_that_is_lost_is_seen_at_once_however_seldom_the_engine_is_asked():
    site, _, compiled = made(POND)
    fault = Fault("open", "temperature", 30_000, 600)
    trial = play_faults(site, [fault], days=1, seed=1, compiled=compiled)
    assert (30_300.0, "temp_gone", "") in trial.told


@pytest.mark.parametrize("what", [name for name in INSTRUMENTS if name not in ("pond", "spare_bus")])
@pytest.mark.parametrize("kind", ["open", "short", "stale"])
def test_a_silent_instrument_is_unknown_while_it_lasts(kind, what):
    probe = Probe([Fault(kind, what, 300, 120)], 480)
    before, after = probe.shown(what, 200, 300), probe.shown(what, 430, 470)
    late = 11 if kind == "stale" else 0
    assert UNKNOWN not in before + after
    assert set(probe.shown(what, 300 + late, 420)) == {UNKNOWN}
    if kind == "stale":
        assert len(set(probe.shown(what, 300, 310))) == 1
        assert UNKNOWN not in probe.shown(what, 300, 310)


def test_a_frozen_level_stays_while_the_true_one_moves():
    probe = Probe([Fault("frozen", "level", 600, 600)], 1_300)
    assert len(set(probe.shown("level", 600, 1_200))) == 1
    assert len(set(probe.shown("level", 1_200, 1_300))) > 1


def test_a_stuck_valve_leaves_the_plant_as_it_is_while_orders_go_on():
    probe = Probe([Fault("stuck", name, 1, 4 * HOUR_S) for name in ("left", "right", "trim")], 3 * HOUR_S)
    assert any(any(ordered) for _, ordered, *_ in probe.rows)
    assert all(true == [0, 0, 0] for _, _, true, *_ in probe.rows)
    assert all(draw_m3_s == 0.0 for *_, draw_m3_s, _ in probe.rows)


def test_a_valve_at_half_stands_at_half():
    probe = Probe([Fault("half", "trim", 1, 4 * HOUR_S)], 2 * HOUR_S)
    pairs = [(ordered[2], true[2]) for _, ordered, true, *_ in probe.rows if ordered[2] > 0]
    assert pairs
    assert all(abs(true - ordered / 2) <= 1 for ordered, true in pairs)


def test_a_creeping_valve_opens_at_its_pace_though_nothing_is_ordered():
    faults = [Fault("open", "level", 1, 4 * HOUR_S), Fault("creep", "trim", 600, 2 * HOUR_S, 120.0)]
    probe = Probe(faults, 3 * HOUR_S)
    assert all(row[1] == [0, 0, 0] for row in probe.rows if row[0] > 600)
    assert probe.at(600 + HOUR_S)[2][2] == pytest.approx(120, abs=20)
    assert probe.at(540 + 2 * HOUR_S)[2][2] == pytest.approx(240, abs=20)
    assert probe.at(540 + 2 * HOUR_S)[3] > 0.0
    assert probe.at(3 * HOUR_S - 60)[2] == [0, 0, 0]  # once it has been repaired all are closed anew


def test_a_burst_draws_more_and_leaves_less_pressure_even_over_closed_jets():
    closed = Fault("open", "level", 1, 4 * HOUR_S)
    probe = Probe([closed, Fault("burst", "pipe", 600, 600, 0.5)], 1_500)
    before, there, after = probe.at(540), probe.at(900), probe.at(1_440)
    assert before[3] == after[3] == 0.0
    assert there[3] > 0.0
    assert there[4] < 0.9 * before[4]
    assert after[4] == pytest.approx(before[4], rel=0.02)


def test_a_blocked_jet_gives_less_water_and_more_pressure():
    name = "right"
    sound = Probe([], 2 * HOUR_S)
    blocked = Probe([Fault("blocked jet", name, HOUR_S, 4 * HOUR_S, 0.2)], 2 * HOUR_S)
    assert sound.at(HOUR_S - 60) == blocked.at(HOUR_S - 60)
    now_s = next(row[0] for row in sound.rows if row[0] > HOUR_S and row[2][1] == 1000)
    if blocked.at(now_s)[2] == sound.at(now_s)[2]:
        assert blocked.at(now_s)[3] < sound.at(now_s)[3]
        assert blocked.at(now_s)[4] > sound.at(now_s)[4]


def test_a_raft_of_leaves_takes_the_water_and_a_visit_brings_it_back():
    probe = Probe([Fault("blocked screen", "screen", HOUR_S, 900, 0.995)], 2 * HOUR_S)
    assert probe.plant.water.screen is not None
    assert probe.at(HOUR_S + 300)[3] < 0.5 * probe.at(HOUR_S - 60)[3]
    assert probe.plant.water.screen.blocked_share == 0.0


def test_nothing_passes_a_frozen_pipe():
    probe = Probe([Fault("frozen pipe", "pipe", HOUR_S, 900)], 2 * HOUR_S)
    assert probe.at(HOUR_S - 60)[3] > 0.0
    assert probe.at(HOUR_S + 300)[3] == 0.0


def test_a_dead_controller_orders_nothing_and_starts_anew_over_valves_that_stayed():
    probe = Probe([Fault("power dip", "power", HOUR_S, 300)], HOUR_S + 900)
    assert len(probe.engines) == 2
    assert not any(HOUR_S <= now_s < HOUR_S + 300 for now_s, _ in probe.asked)
    before = probe.at(HOUR_S - 60)
    assert any(before[2])
    assert probe.at(HOUR_S + 240)[2] == before[2]
    assert probe.plant.works.flow_m3_s > 0.0  # what it believes shut is not
    place = probe.asked.index((-1, None))
    assert probe.asked[place + 1][0] == HOUR_S + 300
    assert probe.controller.clock_start_ms != twin.CLOCK_START_MS


def test_a_dip_amid_a_move_leaves_the_valves_midway():
    moving_s = next(row[0] for row in Probe([], HOUR_S, every_s=1).rows if 0 < row[2][2] < 900)
    probe = Probe([Fault("power dip", "power", moving_s, 100)], moving_s + 90, every_s=1)
    assert len({tuple(row[2]) for row in probe.rows if row[0] > moving_s + 1}) == 1


def test_valves_that_have_feedback_tell_where_they_are_and_others_nothing():
    fault = Fault("stuck", "trim", 60, 4 * HOUR_S)
    probe = Probe([fault], HOUR_S, feedback=True)
    assert probe.engines[-1].book.valves.fault == [NONE, NONE, STUCK]
    assert probe.controller.readings.position_permille == probe.plant.openings
    assert set(Probe([fault], 60).controller.readings.position_permille) == {UNKNOWN}


def test_a_wrong_calendar_comes_and_goes():
    probe = Probe([Fault("clock jump", "clock", 600, 600, 90.0)], 1_300)
    days = [(now_s, values[places.YEAR_DAY]) for now_s, values in probe.asked]
    assert {day for now_s, day in days if 600 <= now_s < 1_200} == {91}
    assert {day for now_s, day in days if not 600 <= now_s < 1_200} == {1}
    early = Probe([Fault("clock jump", "clock", 600, 600, -30.0)], 700)
    assert early.asked[-1][1][places.YEAR_DAY] == 337  # counted round a leap year


def test_harm_is_laid_at_the_door_of_what_was_there():
    site, _, compiled = made(BOX)
    faults = [Fault("burst", "pipe", HOUR_S, 5 * HOUR_S, 3.0), Fault("open", "bus", 20 * HOUR_S, HOUR_S)]
    played = play_faults(site, faults, days=1, seed=1, compiled=compiled)
    for seconds, whole_s in (
        (played.below_floor_s, played.whole.below_floor_s),
        (played.residual_short_s, played.whole.residual_short_s),
    ):
        assert set(seconds) == {"burst", "any"}
        assert seconds["burst"] == seconds["any"] == pytest.approx(whole_s)
        assert whole_s > 0.0


def test_every_kind_of_fault_has_a_test_here_or_beside():
    """A reminder: a new kind needs one."""
    assert len(KINDS) == 20


def test_an_intake_drained_by_a_burst_refills_on_the_bursts_account(tmp_path):
    flows = tmp_path / "low.csv"
    hours = "\n".join(f"2031-07-{1 + hour // 24:02d}T{hour % 24:02d}:00,1.6" for hour in range(50))
    flows.write_text(f"time,flow [l/s]\n{hours}\n", encoding="utf-8")
    burst = Fault("burst", "pipe", 7_200, 7_200, 0.5)
    harm_s = play_faults(load_site(POND), [burst], days=2, seed=1, flows=str(flows)).residual_short_s
    assert set(harm_s) == {"burst", "any"}
    assert harm_s["burst"] == harm_s["any"] > 7_200 + 3_600  # longer than it lasted and an hour more
