"""Instruments lost at the other site, and two at a time: with nothing to protect it the plant closes."""

import pytest

from becklight.settings import Settings
from becksim.alarmbook import OF_THE_WEATHER
from becksim.compile import compile_site
from becksim.faults import Fault, fitted_instruments, span
from becksim.report.instrument_table import alarm_of, within_ms
from becksim.site import load_site
from becksim.surge import worst_of_year
from becksim.trials import play_faults

BOX = "millbrook-smallholding"
POND = "upland-hostel"
BEGINS_S = 40_000  # both plants run on the stream by then
LASTS_S = 4 * 3_600
# Large enough, and the way that is not told as a leak or as overspeed: test_instrument_faults.py.
JUMPS = {"level": 400.0, "battery": 6_000.0, "bus": -40_000.0}
KEEN = ("battery.start_percent=65",)


@pytest.fixture(scope="module")
def site_of():
    made = {}

    def site_of(name):
        if name not in made:
            site = load_site(name, [*KEEN])
            made[name] = site, compile_site(site)
        return made[name]

    return site_of


def play(site, compiled, *faults, days=1, seed=1):
    return play_faults(site, faults, days=days, seed=seed, compiled=compiled)


def names_told(trial):
    return {alarm.name for alarm in trial.told} - set(OF_THE_WEATHER)


def running_at(trial, at_s):
    return any([openings for time_s, openings in trial.changes if time_s <= at_s][-1])


@pytest.mark.parametrize("kind", ["open", "frozen", "jump"])
def test_at_a_box_without_a_pond_each_is_told_in_time_and_the_plant_goes_on(site_of, kind):
    site, compiled = site_of(BOX)
    for what in fitted_instruments(site):
        lasts_s = 25 * 3_600 if (what, kind) == ("temperature", "frozen") else LASTS_S
        size = JUMPS.get(what, span(site, what)) if kind == "jump" else 0.0
        fault = Fault(kind, what, BEGINS_S, lasts_s, size)
        trial = play(site, compiled, fault, days=1 + (BEGINS_S + lasts_s) // 86_400)
        assert trial.broken == ()
        alarm = alarm_of(what, kind)
        assert names_told(trial) == {alarm}, fault
        at_s = min(at_s for at_s, name, _ in trial.told if name == alarm)
        assert at_s - BEGINS_S <= within_ms(what, kind) / 1000.0, fault
        assert running_at(trial, fault.end_s), fault


@pytest.mark.parametrize("name", [BOX, POND])
def test_without_level_and_pressure_everything_closes_by_the_slow_ramps(site_of, name):
    site, compiled = site_of(name)
    faults = [Fault("open", what, BEGINS_S, LASTS_S) for what in ("level", "pressure")]
    trial = play(site, compiled, *faults)
    assert trial.broken == ()  # among it: no step larger or sooner than the ramps allow
    assert names_told(trial) == {"level_gone", "pressure_gone"}
    assert running_at(trial, BEGINS_S)
    closing = [time_s for time_s, _ in trial.changes if BEGINS_S <= time_s <= BEGINS_S + LASTS_S]
    lost_s = Settings(compiled).rules.lost_hold_ms / 1000.0
    assert min(closing) >= BEGINS_S + lost_s
    assert not running_at(trial, BEGINS_S + 1_800)
    assert not running_at(trial, BEGINS_S + LASTS_S)
    surge = worst_of_year(site, compiled, trial.changes)
    assert surge.ok


@pytest.mark.parametrize("name", [BOX, POND])
def test_without_a_level_but_with_a_pressure_it_carries_on_with_little(site_of, name):
    site, compiled = site_of(name)
    trial = play(site, compiled, Fault("open", "level", BEGINS_S, LASTS_S))
    assert trial.broken == ()
    assert names_told(trial) == {"level_gone"}
    assert running_at(trial, BEGINS_S + LASTS_S)
    healthy = play(site, compiled)
    assert 0.0 < trial.whole.turbined_m3 < healthy.whole.turbined_m3


@pytest.mark.parametrize("lost", [("pressure", "battery"), ("bus", "temperature"), ("battery", "bus")])
def test_two_that_do_not_protect_the_pipe_cost_no_water(site_of, lost):
    site, compiled = site_of(POND)
    trial = play(site, compiled, *[Fault("open", what, BEGINS_S, LASTS_S) for what in lost])
    assert trial.broken == ()
    assert names_told(trial) == {alarm_of(what, "open") for what in lost}
    healthy = play(site, compiled)
    assert trial.whole.turbined_m3 == pytest.approx(healthy.whole.turbined_m3, rel=0.02)


@pytest.mark.parametrize("name", [BOX, POND])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_while_all_are_sound_nothing_is_told_of_them(site_of, name, seed):
    site, compiled = site_of(name)
    trial = play(site, compiled, days=10, seed=seed)
    assert names_told(trial) == set()
    assert trial.broken == ()
