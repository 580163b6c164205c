"""Trials: years with random faults, and a controller that breaks under them is found out."""

import json

import pytest

from becklight import alarms
from becklight.engine import RuleEngine
from becklight.settings import FORMAT, Settings, SettingsError
from becklight.ticks import ticks_add
from becksim import cli
from becksim.compile import compile_site
from becksim.faults import KINDS, Fault, draw_faults
from becksim.report.trials_summary import print_trials
from becksim.site import load_site
from becksim.trials import as_json, play_faults, run_trials

BOX = "millbrook-smallholding"
KEYS = {
    "years",
    "faults",
    "detected",
    "wrong_alarms",
    "below_floor_s",
    "below_floor_healthy_s",
    "worst_surge_bar",
    "surge_limit_bar",
    "kwh_lost",
    "by_kind",
    "broken",
}


class Hasty(RuleEngine):
    """Has the first valve leap, once."""

    def step(self, now_ms, readings, orders):
        super().step(now_ms, readings, orders)
        self.steps = getattr(self, "steps", 0) + 1
        if self.steps == 20:
            orders.opening_permille[0] = abs(orders.opening_permille[0] - 500)


class Fragile(RuleEngine):
    """Falls over a level that is unknown."""

    def step(self, now_ms, readings, orders):
        if readings.values[0] < -1_000:
            raise ZeroDivisionError("no level")
        super().step(now_ms, readings, orders)


class Telling(RuleEngine):
    """Raises an alarm while the level is unknown; and a wrong one at the beginning."""

    def __init__(self, settings):
        super().__init__(settings)
        self.alarms = alarms.Alarms()

    def step(self, now_ms, readings, orders):
        super().step(now_ms, readings, orders)
        self.alarms.note(alarms.PIPE_BURST, ticks_add(now_ms, 65_000) < 60_000, now_ms)
        self.alarms.note(alarms.VALVE_STUCK, readings.values[0] < -1_000, now_ms, 1)


@pytest.fixture(scope="module")
def two():
    """Two short years on all cores."""
    told = []
    result = run_trials(
        load_site(BOX), years=2, days=3, per_month=100.0, tell=lambda *done: told.append(done)
    )
    assert told == [(0, 2), (1, 2), (2, 2)]
    return result


def test_two_short_years_break_nothing(two):
    assert two.ok
    assert [year.seed for year in two.years] == [1, 2]
    assert all(len(year.faults) > 3 for year in two.years)


def test_the_years_are_those_that_each_alone_would_be(two):
    alone = run_trials(load_site(BOX), years=1, seed=2, days=3, per_month=100.0, jobs=1)
    assert alone.years[0] == two.years[1]


def test_json_has_the_keys_and_adds_up(two):
    found = as_json(two)
    assert set(found) >= KEYS
    assert json.loads(json.dumps(found)) == found
    assert found["faults"] == sum(row["faults"] for row in found["by_kind"].values())
    assert set(found["by_kind"]) <= {*KINDS, "astray"}
    assert found["broken"] == []
    assert 0.0 < found["worst_surge_bar"] < found["surge_limit_bar"]


def test_a_leap_of_a_valve_is_caught_with_seed_instant_and_how_to_play_it_again():
    result = run_trials(load_site(BOX), years=1, seed=5, days=1, per_month=0.0, jobs=1, make_engine=Hasty)
    assert not result.ok
    row = as_json(result)["broken"][0]
    assert row["seed"] == 5
    assert 0.0 < row["time_s"] < 86_400.0
    assert "in one step" in row["rule"]
    assert row["again"] == f"becklight trials {BOX} --seed 5 --years 1 --days 1 --faults-per-month 0"


def test_an_engine_that_raises_is_caught_and_the_rest_of_the_years_are_played():
    site = load_site(BOX)
    played = play_faults(site, [Fault("open", "level", 7_200, 600)], days=1, seed=1, make_engine=Fragile)
    assert [(broken.time_s, broken.rule) for broken in played.broken] == [
        (7_200.0, "ZeroDivisionError: no level")
    ]
    assert "open (level)" in played.broken[0].faults[0]


def test_alarms_are_counted_if_the_engine_has_them():
    site = load_site(BOX)
    seed = next(
        seed
        for seed in range(1, 200)
        if any(f.what == "level" and f.kind == "open" for f in draw_faults(site, 2, seed, 30.0))
    )
    result = run_trials(site, years=1, seed=seed, days=2, per_month=30.0, jobs=1, make_engine=Telling)
    found = as_json(result)
    assert found["by_kind"]["open"]["detected"] >= 1
    assert found["by_kind"]["open"]["alarms"]["valve_stuck"] >= 1
    assert found["wrong_alarms"] >= 1


def test_settings_of_an_older_version_are_refused():
    compiled = compile_site(load_site(BOX))
    with pytest.raises(SettingsError, match="format"):
        Settings({**compiled, "format": FORMAT - 1})


def test_the_command_prints_and_its_status_tells_whether_anything_broke(capsys, monkeypatch):
    arguments = ["trials", BOX, "--days", "1", "--faults-per-month", "60", "--jobs", "1"]
    assert cli.main(arguments) == 0
    assert "Nothing broken." in capsys.readouterr().out
    monkeypatch.setattr("becksim.trials.run_trials.__kwdefaults__", _with(Hasty))
    assert cli.main([*arguments, "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["broken"]
    with pytest.raises(SystemExit):
        cli.main([*arguments, "--faults-per-month", "many"])


def _with(engine):
    return {**run_trials.__kwdefaults__, "make_engine": engine}


def test_the_summary_tells_what_was_broken_and_how_to_see_it_again():
    from io import StringIO

    from rich.console import Console

    result = run_trials(load_site(BOX), years=1, days=1, per_month=0.0, jobs=1, make_engine=Hasty)
    out = StringIO()
    print_trials(result, Console(file=out, width=100))
    assert "BROKEN" in out.getvalue()
    assert "becklight trials millbrook-smallholding --seed 1 --years 1 --days 1" in out.getvalue()
