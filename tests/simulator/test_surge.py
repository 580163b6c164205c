"""The surge job as a whole: what it reports, and a year's real orders on the pipe."""

import csv
import dataclasses
import io
import json
import math

import numpy as np
import pytest
from rich.console import Console

from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.hydraulics.water import GRAVITY_M_S2, water_density_kg_m3
from becksim.moves import play
from becksim.rampsearch import strokes_s
from becksim.replay import replay
from becksim.report.surge_summary import print_surge
from becksim.site import load_site
from becksim.surge import STILL_RETURNS, _trains_of, analyse, as_json, worst_of_year
from becksim.trains import engine_train

SITES = {name: load_site(name) for name in ("upland-hostel", "millbrook-smallholding")}
REPORTS = {name: analyse(site) for name, site in SITES.items()}
FOUND = {name: as_json(report) for name, report in REPORTS.items()}
BOTH = pytest.mark.parametrize("name", SITES)
BAR = water_density_kg_m3(10.0) * GRAVITY_M_S2 / 1e5  # of a metre


@BOTH
def test_no_order_breaks_the_limit_and_all_of_them_were_played(name):
    found = FOUND[name]
    jets = len(SITES[name].jets)
    standings = 2 ** (jets - 1) * 3
    assert found["ok"]
    assert found["complaints"] == []
    assert [line.split(":")[0] for line in found["hazards"]] == ["The bus is dangerous to touch"]
    assert found["changeovers"] == {
        "played": standings * (standings - 1),
        "of": standings * (standings - 1),
        "turned_midway": 60,
        "turned_ok": True,
    }
    assert len(found["moves"]) == jets * 2 * 2 ** (jets - 1) + standings * (standings - 1)
    assert all(move["ok"] for move in found["moves"])
    assert found["pipe"]["working_bar"] < found["pipe"]["static_bar"] < found["pipe"]["limit_bar"]


@BOTH
def test_the_report_is_json_that_agrees_with_the_settings(name):
    found = json.loads(json.dumps(FOUND[name], allow_nan=False))
    site = SITES[name]
    assert len(found["pipe"]["wave_speed_m_s"]) == len(site.penstock.sections)
    assert [(row["valve"], row["direction"]) for row in found["fastest"]] == [
        (jet.name, direction) for jet in site.jets for direction in ("opening", "closing")
    ]
    compiled = compile_site(site)
    for row, valve in zip(found["fastest"][1::2], compiled["valves"], strict=True):
        assert row["in_settings_step_ms"] == valve["close_step_ms"]
        assert row["ramp_s"] <= row["in_settings_s"]
    single, changeover = found["moves"][0], found["moves"][-1]
    assert (single["from_permille"], single["to_permille"]) == (0, 1000)
    assert len(changeover["from_permille"]) == len(site.jets)
    assert set(single["others"]) == {jet.name for jet in site.jets} - {single["valve"]}
    for move in found["moves"]:
        assert set(move) >= {"valve", "others", "ramp_s", "peak_bar", "trough_bar", "ok"}
        assert move["trough_bar"] <= move["valve_trough_bar"] <= move["peak_bar"]


@BOTH
def test_a_single_move_lasts_as_long_as_its_ramp(name):
    found, report = FOUND[name], REPORTS[name]
    for move, row in zip(report.moves, found["moves"], strict=True):
        if move.alone:
            ramp = next(
                ramp
                for ramp in report.ramps
                if ramp.valve == move.valves[0]
                and (ramp.direction == "opening") == (move.train.to_permille[-1] == 1000)
            )
            assert 0.5 * ramp.in_settings_s < row["ramp_s"] <= ramp.in_settings_s + 2.0


@BOTH
def test_mishaps_of_every_kind_with_advice_where_they_fail(name):
    report = REPORTS[name]
    jets = len(SITES[name].jets)
    kinds = [mishap.kind for mishap in report.mishaps]
    assert {kind: kinds.count(kind) for kind in kinds} == {
        "no rest": jets,
        "two at once": math.comb(jets, 2),
        "power failure": 1,
        "blocked": jets,
    }
    for mishap in report.mishaps:
        assert bool(mishap.advice) == (not mishap.outcome.ok)
        assert not mishap.advice or mishap.advice.endswith(".")


@BOTH
def test_slams_and_blocked_jets_keep_the_joukowsky_bound(name):
    """No stop takes away more than the whole flow; friction's head comes back up to standing water."""
    report = REPORTS[name]
    model = report.model
    section = model.sections[-1]
    area_m2 = math.pi / 4.0 * section.inside_diameter_m**2
    for valve, jet in enumerate(SITES[name].jets):
        flow_m3_s = model.areas_m2[valve, -1] * math.sqrt(2.0 * GRAVITY_M_S2 * model.reservoir_head_m)
        rise_bar = BAR * section.wave_speed_m_s * flow_m3_s / area_m2 / GRAVITY_M_S2
        by_kind = {
            mishap.kind: mishap.outcome
            for mishap in report.mishaps
            if mishap.what.startswith(f"{jet.name} ") and mishap.kind in ("no rest", "blocked")
        }
        assert by_kind["no rest"].peak_bar < by_kind["blocked"].peak_bar
        assert by_kind["no rest"].peak_bar <= model.static_bar + rise_bar
        assert by_kind["no rest"].ok
        if len(model.sections) == 1:  # waves that turn at a junction may add up to more
            assert by_kind["blocked"].peak_bar <= model.static_bar + rise_bar


def test_a_blocked_jet_parts_the_water_of_the_narrow_pipe_but_not_of_the_wide_one():
    parted = {
        name: [mishap.outcome.parted for mishap in report.mishaps if mishap.kind == "blocked"]
        for name, report in REPORTS.items()
    }
    assert not any(parted["upland-hostel"])
    assert any(parted["millbrook-smallholding"])


@BOTH
def test_a_blocked_jet_draws_down_the_water_near_the_mouth(name):
    """There standing water presses little, and a sharp front falls nearly as far as at the valve."""
    blocked = [mishap for mishap in REPORTS[name].mishaps if mishap.kind == "blocked"]
    assert all(mishap.outcome.trough_bar < 0.0 < mishap.outcome.place_m < 20.0 for mishap in blocked)


def test_two_valves_closing_at_once_are_two_trains_in_one():
    mishap = next(row for row in REPORTS["millbrook-smallholding"].mishaps if row.kind == "two at once")
    device = Settings(REPORTS["millbrook-smallholding"].settings)
    start = mishap.train.start_permille
    steps = zip(mishap.train.step_s, mishap.train.valve, mishap.train.to_permille, strict=True)
    alone = engine_train(device, start, (0, *start[1:]))
    mine = [(step_s, there) for step_s, valve, there in steps if valve == 0]
    assert mine == list(zip(alone.step_s, alone.to_permille, strict=True))
    assert set(mishap.train.valve) == {0, 1}
    assert mishap.train.end_permille[:2] == (0, 0)


def test_a_power_failure_leaves_the_move_where_it_is():
    report = REPORTS["upland-hostel"]
    cut = next(row for row in report.mishaps if row.kind == "power failure").train
    assert any(move.train.first(len(cut.step_s)) == cut for move in report.moves)


def test_an_owners_ramp_in_step_with_the_pipe_fails_though_a_faster_one_is_safe():
    """Steps of 15 s in the slow zone are twice 4L/a = 7.48 s."""
    site = SITES["upland-hostel"]
    static_bar = REPORTS["upland-hostel"].model.static_bar
    section = dataclasses.replace(site.penstock.sections[0], nominal_pressure_bar=static_bar + 0.18)
    jets = (*site.jets[:3], dataclasses.replace(site.jets[3], close_s=225.0))
    asked = dataclasses.replace(
        site, penstock=dataclasses.replace(site.penstock, sections=(section,)), jets=jets
    )
    report = analyse(asked)
    ramp = next(row for row in report.ramps if row.valve == 3 and row.direction == "closing")
    assert ramp.step_ms == 5_000
    assert ramp.fastest_s < ramp.in_settings_s
    assert not report.ok
    failing = [move for move in report.moves if not move.outcome.ok]
    assert any(move.valves == (3,) and move.alone for move in failing)
    assert all(3 in move.valves for move in failing)
    with pytest.raises(UserError, match="close_s"):
        compile_site(asked)


def test_the_summary_fits_a_terminal_and_says_what_matters():
    for report in REPORTS.values():
        text = io.StringIO()
        print_surge(report, Console(file=text, width=100))
        words = text.getvalue()
        assert all(len(line) <= 100 for line in words.splitlines())
        for expected in ("pass", "none breaks the limit", "checked on the pipe with a gauge", "relief stay"):
            assert expected in " ".join(words.split())
        failed = sum(not mishap.outcome.ok for mishap in report.mishaps)
        assert words.replace("power fails", "").count("fail") == failed


# A year's orders


def orders_of(site, days):
    trace = io.StringIO()
    result = replay(site, days=days, trace=trace)
    trace.seek(0)
    jets = len(site.jets)
    rows = list(csv.reader(trace))[1:]
    changes = [(int(row[0]) / 1000.0, [int(value) for value in row[1 : 1 + jets]]) for row in rows]
    return result.settings, changes


def test_the_years_worst_is_the_worst_of_its_trains():
    site = SITES["millbrook-smallholding"]
    compiled, changes = orders_of(site, 6)
    model = REPORTS["millbrook-smallholding"].model
    trains = list(_trains_of(changes, STILL_RETURNS * model.return_s))
    outcomes = play(model, [train for _, train in trains], strokes_s(site))
    worst = worst_of_year(site, compiled, changes)
    assert worst.trains == len(trains) >= 5
    assert worst.distinct == len({train for _, train in trains})
    assert worst.ok
    assert worst.peak_bar == pytest.approx(max(outcome.peak_bar for outcome in outcomes), abs=1e-9)
    assert worst.valve_trough_bar == pytest.approx(
        min(outcome.valve_trough_bar for outcome in outcomes), abs=1e-9
    )
    begin_s, train = next(row for row in trains if row[1] == worst.train)
    assert begin_s <= worst.peak_time_s <= begin_s + train.step_s[-1] + 60.0


def test_changes_part_into_trains_that_join_up():
    site = SITES["millbrook-smallholding"]
    _, changes = orders_of(site, 6)
    trains = list(_trains_of(changes, 25.0))
    steps = sum(len(train.step_s) for _, train in trains)
    opened = [openings for _, openings in changes]
    assert steps == sum(a != b for a, b in zip(opened, opened[1:], strict=False))
    for (_, before), (_, after) in zip(trains, trains[1:], strict=False):
        assert before.end_permille == after.start_permille
    for begin_s, train in trains:
        assert begin_s >= 0.0
        assert train.step_s[0] == 0.0
        assert np.all(np.diff(train.step_s) <= 25.0)


def test_a_year_without_orders_is_standing_water():
    site = SITES["millbrook-smallholding"]
    worst = worst_of_year(site, compile_site(site), [(0.0, [0, 0, 0]), (5.0, [0, 0, 0])])
    assert (worst.trains, worst.train, worst.ok) == (0, None, True)
    assert worst.peak_bar == worst.valve_trough_bar == REPORTS["millbrook-smallholding"].model.static_bar
