"""What the pipe feels: bounds, grids, profile, resonance."""

import dataclasses
import math

import numpy as np
import pytest

from becklight.settings import Settings
from becksim import pipemodel
from becksim.compile import compile_site
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3
from becksim.moves import play, play_one
from becksim.pipemodel import PipeModel
from becksim.rampsearch import strokes_s, turned_trains
from becksim.site import load_site
from becksim.trains import Train, engine_train
from becksim.works import Works, build_jets

SITES = {name: load_site(name) for name in ("upland-hostel", "millbrook-smallholding")}
BOTH = pytest.mark.parametrize("name", SITES)
BAR = water_density_kg_m3(10.0) * GRAVITY_M_S2 / 1e5  # of a metre


def model_of(site, *arguments, **options):
    return PipeModel(site, Works(site, build_jets(site)), *arguments, **options)


def with_sections(site, **changes):
    """The site with the same change to each section."""
    sections = tuple(dataclasses.replace(section, **changes) for section in site.penstock.sections)
    return dataclasses.replace(site, penstock=dataclasses.replace(site.penstock, sections=sections))


def with_penstock(site, **changes):
    return dataclasses.replace(site, penstock=dataclasses.replace(site.penstock, **changes))


def joukowsky_bar(model, valve, opening=1000):
    """Rise in the lowest section if the flow of one jet alone stops at once."""
    flow_m3_s = model.areas_m2[valve, opening] * math.sqrt(2.0 * GRAVITY_M_S2 * model.reservoir_head_m)
    section = model.sections[-1]
    velocity_m_s = flow_m3_s / (math.pi / 4.0 * section.inside_diameter_m**2)
    return BAR * section.wave_speed_m_s * velocity_m_s / GRAVITY_M_S2


@BOTH
def test_figures_of_the_pipe(name):
    site = SITES[name]
    model = model_of(site)
    assert model.static_bar == pytest.approx(BAR * site.penstock.gross_head_m)
    works = Works(site, build_jets(site))
    works.operate([1000] * len(site.jets), works.crest_level_m)
    assert model.working_bar == pytest.approx(works.pressure_pa() / 1e5, rel=1e-3)
    assert model.return_s == pytest.approx(
        sum(2.0 * s.length_m / s.wave_speed_m_s for s in model.sections), rel=1e-12
    )
    assert model.limit_pa.size == model.distance_m.size
    assert model.static_pa[0] == pytest.approx(1e5 * BAR * site.intake.crest_level_mm / 1000.0)


@BOTH
def test_a_train_without_steps_feels_nothing(name):
    site = SITES[name]
    model = model_of(site)
    openings = (1000,) * len(site.jets)
    (still,) = play(model, [Train(openings, (), (), ())], strokes_s(site))
    assert still.ok
    assert still.room_used == pytest.approx(0.0, abs=1e-9)
    assert still.peak_bar == pytest.approx(model.working_bar)
    assert still.valve_trough_bar == pytest.approx(model.working_bar)


@BOTH
def test_a_jet_stopped_at_once_rises_by_joukowsky(name):
    site = SITES[name]
    model = model_of(site, exact=True)
    for valve in range(len(site.jets)):
        start = tuple(1000 if place == valve else 0 for place in range(len(site.jets)))
        stop = Train(start, (0.0,), (valve,), (0,))
        time_s, valve_pa, _, _ = play_one(model, stop, [0.001] * len(site.jets))
        before_bar = valve_pa[0] / 1e5
        first_bar = valve_pa[time_s > 0.0][1] / 1e5
        share = math.sqrt(before_bar / model.static_bar)  # friction leaves a little less flow
        share *= model.grid.wave_speeds_m_s[-1] / model.wave_speed_m_s[-1]  # to fit the grid
        # 2 %: what friction no longer takes from the stopped water already adds a little.
        assert first_bar - before_bar == pytest.approx(share * joukowsky_bar(model, valve), rel=0.02)


@BOTH
def test_slams_stay_below_joukowsky(name):
    site = SITES[name]
    model = model_of(site)
    for valve in range(len(site.jets)):
        start = tuple(1000 if place == valve else 0 for place in range(len(site.jets)))
        slow, quick = (
            play(model, [Train(start, (0.0,), (valve,), (0,))], [stroke_s] * len(site.jets))[0]
            for stroke_s in (30.0, 5.0)
        )
        assert model.static_bar < slow.peak_bar < quick.peak_bar
        assert quick.peak_bar <= model.static_bar + joukowsky_bar(model, valve)


@BOTH
def test_a_finer_grid_and_all_cases_at_once_change_little(name, monkeypatch):
    site = SITES[name]
    device = Settings(compile_site(site))
    trains = turned_trains(device, 8)
    coarse = model_of(site)
    found = play(coarse, trains, strokes_s(site))
    for place in (0, 5):  # not bit for bit: a run's length follows the longest beside it
        assert play(coarse, [trains[place]], strokes_s(site))[0].peak_bar == pytest.approx(
            found[place].peak_bar, abs=1e-9
        )
    monkeypatch.setattr(pipemodel, "FINE_STEPS", 32)
    fine = play(model_of(site, 4 * sum(coarse.grid.reaches)), trains, strokes_s(site))
    for less, more in zip(found, fine, strict=True):
        # 2 % of the room: the sharp corners of a run's start and end fall between the instants played.
        assert less.room_used == pytest.approx(more.room_used, abs=0.02)
        # Not the place: where a rise below and a fall above use nearly the same room, the grid decides.


def test_a_slow_train_in_step_with_the_pipe_is_worse_than_a_faster_one_out_of_step():
    """Steps every 4L/a add up; every 2L/a the next undoes the last."""
    site = SITES["upland-hostel"]
    model = model_of(site)
    positions = tuple(range(460, -1, -20))

    def closing(period_s):
        step_s = tuple(period_s * place for place in range(len(positions)))
        return Train((0, 0, 0, 480), step_s, (3,) * len(positions), positions)

    in_step, faster = play(model, [closing(2.0 * model.return_s), closing(model.return_s)], strokes_s(site))
    assert in_step.peak_bar - model.static_bar > 2.0 * (faster.peak_bar - model.static_bar)
    between_bar = 0.5 * (in_step.peak_bar + faster.peak_bar)
    weak = model_of(with_sections(site, nominal_pressure_bar=between_bar))
    outcomes = play(weak, [closing(2.0 * model.return_s), closing(model.return_s)], strokes_s(site))
    assert [outcome.ok for outcome in outcomes] == [False, True]
    assert outcomes[0].margin_bar < 0.0 < outcomes[1].margin_bar


def test_quick_waves_are_slowed_but_tell_the_same():
    short = with_sections(SITES["upland-hostel"], length_m=6.0, material="steel", nominal_pressure_bar=16.0)
    played, exact = model_of(short), model_of(short, exact=True)
    assert played.return_s == exact.return_s
    assert played.grid.time_step_s > 5.0 * exact.grid.time_step_s
    stop = Train((0, 0, 0, 1000), (0.0,), (3,), (0,))
    found = [play(model, [stop], [3.0] * 4)[0].peak_bar - model.static_bar for model in (played, exact)]
    assert found[0] == pytest.approx(found[1], rel=0.15)
    assert found[0] > 0.0


# Along the pipe


def test_a_high_spot_draws_the_pressure_below_the_atmosphere():
    """Even profile: the opening is fine. A hump just below the head line: it is not, or the water parts."""
    site = SITES["upland-hostel"]
    slam_open = Train((0, 0, 0, 0), (0.0,) * 4, (0, 1, 2, 3), (1000,) * 4)
    (even,) = play(model_of(site), [slam_open], [3.0] * 4)
    hump = with_penstock(site, profile_distance_m=(0, 210, 420), profile_fall_m=(0.22, 3.5, 58))
    (humped,) = play(model_of(hump), [slam_open], [3.0] * 4)
    assert even.ok
    assert not humped.ok
    assert not humped.steady_below
    assert humped.trough_bar < 0.0 < even.trough_bar
    assert 0.0 < humped.place_m < 260.0


def test_a_steady_state_below_the_atmosphere_is_its_own_complaint():
    site = with_penstock(
        SITES["upland-hostel"], profile_distance_m=(0, 210, 420), profile_fall_m=(0.22, 0.3, 58)
    )
    still = Train((1000,) * 4, (), (), ())
    (outcome,) = play(model_of(site), [still], [30.0] * 4)
    assert outcome.steady_below
    assert outcome.ok
    assert outcome.trough_bar < 0.0


def test_each_section_has_its_own_limit():
    site = SITES["millbrook-smallholding"]
    upper, lower = site.penstock.sections
    weak = with_penstock(site, sections=(dataclasses.replace(upper, nominal_pressure_bar=1.0), lower))
    model = model_of(weak)
    below = model.distance_m < 60.0
    assert np.all(model.limit_pa[below] == 1e5)
    assert np.all(model.limit_pa[model.distance_m > 60.0] > 5e5)
    assert model.limit_pa[model.distance_m == 60.0] == 1e5
    assert model.limit_bar == model_of(site).limit_bar
    stop = Train((0, 0, 1000), (0.0,), (2,), (0,))
    (outcome,) = play(model, [stop], [1.0] * 3)
    assert not outcome.ok
    assert outcome.place_m <= 60.0


def test_a_section_of_a_metre_is_joined_to_its_neighbour():
    site = SITES["upland-hostel"]
    whole = site.penstock.sections[0]
    cut = [dataclasses.replace(whole, length_m=length_m) for length_m in (1.0, 200.0, 219.0)]
    model = model_of(with_penstock(site, sections=tuple(cut)))
    assert len(model.grid.sections) < 3
    assert model.return_s == pytest.approx(model_of(site).return_s)
    train = engine_train(Settings(compile_site(site)), (0, 0, 0, 1000), (0, 0, 0, 0))
    one, other = (play(each, [train], [30.0] * 4)[0] for each in (model, model_of(site)))
    assert one.room_used == pytest.approx(other.room_used, abs=0.02)
