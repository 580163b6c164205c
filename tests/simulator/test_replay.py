"""Whole replays: a year without a fault at both example sites, and the same year twice."""

from functools import cache

import pytest

from becklight import reasons
from becksim.bound.losses import brought_kwh
from becksim.errors import UserError
from becksim.replay import as_json, replay
from becksim.site import load_site
from becksim.times import DAY_MS
from becksim.totals import sum_of

BOX = "millbrook-smallholding"
POND = "upland-hostel"
NAMES = [POND, BOX]


@cache
def year(name):
    return replay(load_site(name), bound=True)


# -- a year -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_in_a_year_the_intake_never_falls_below_its_floor_and_the_stream_gets_its_due(name):
    result = year(name)
    assert result.whole.below_floor_s == 0.0
    assert result.whole.residual_short_s == 0.0
    assert result.whole.pond_low_s == 0.0
    assert result.controlled.water.least_level_m > result.controlled.water.floor_m
    # The yardstick shows that this is no matter of course: the counting works.
    by_hand = sum_of(result.by_hand.months)
    assert by_hand.below_floor_s > 0.0
    assert by_hand.residual_short_s > 0.0


@pytest.mark.parametrize("name", NAMES)
def test_in_a_year_more_energy_is_accepted_than_with_a_hand_set_jet(name):
    result = year(name)
    by_hand = sum_of(result.by_hand.months)
    assert result.whole.accepted_j > 1.02 * by_hand.accepted_j
    assert result.whole.unserved_j < by_hand.unserved_j


@pytest.mark.parametrize(("name", "least_share"), [(POND, 0.93), (BOX, 0.97)])
def test_a_year_earns_most_of_what_was_possible_and_no_more(name, least_share):
    result = year(name)
    bound, by_hand = result.bound, sum_of(result.by_hand.months)
    assert least_share < bound.share < 1.0
    inverter = result.controlled.bank.inverter_efficiency
    assert brought_kwh(by_hand, inverter) < brought_kwh(result.whole, inverter)
    assert bound.lost_to["faults"] == 0.0


@pytest.mark.parametrize("name", NAMES)
def test_a_year_balances(name):
    result = year(name)
    for plant in (result.controlled, result.by_hand):
        whole = sum_of(plant.months)
        assert abs(plant.water_error_m3()) <= 1e-6 * whole.inflow_m3
        assert abs(plant.energy_error_j()) <= 1e-6 * (whole.generated_j + whole.solar_j)
        assert whole.generated_j == pytest.approx(whole.accepted_j + whole.curtailed_j)
        assert whole.seconds == pytest.approx(86_400.0 * result.inputs.days)
    # A stretch that is cut short keeps the inflow of its middle, so the two see it a trifle differently.
    assert sum_of(result.by_hand.months).inflow_m3 == pytest.approx(result.whole.inflow_m3, rel=1e-5)
    assert sum_of(result.by_hand.months).load_j == pytest.approx(result.whole.load_j, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_a_year_has_twelve_months_and_its_hours_have_reasons(name):
    result = year(name)
    days = result.inputs.days
    assert all(27 * 86_400 < month.seconds < 32 * 86_400 for month in result.controlled.months)
    assert sum(result.book.reason_ms) == days * DAY_MS
    assert result.book.reason_ms[reasons.STREAM] > 0.2 * days * DAY_MS
    for open_ms in result.book.open_ms:
        assert 0 < open_ms < days * DAY_MS
    assert len(result.history.hour) == 24 * days - 1


@pytest.mark.parametrize("name", NAMES)
def test_in_a_year_the_wheel_stays_within_what_the_regulator_survives(name):
    controlled = year(name).controlled
    assert 0.0 < controlled.most_bus_v[0] < controlled.works.main.most_bus_v
    # Free run is that of an intake at its crest; a flood stands a little higher.
    assert controlled.most_bus_v[0] <= 1.01 * controlled.works.main.free_run_bus_v


def test_the_gauge_record_says_what_was_mended():
    result = year(BOX)
    notes = " ".join(result.inputs.notes)
    assert result.inputs.source.startswith("gauge record millbrook-gauge.csv") or "millbrook" in notes
    assert "1 instant given more than once" in notes
    assert "2025-02-11 13:00 to 2025-02-12 09:00 (20.0 h)" in notes
    assert "364 days are replayed" in notes
    assert result.inputs.days == 364


@pytest.mark.parametrize("name", NAMES)
def test_the_json_sums_up_the_year(name):
    result = year(name)
    table = as_json(result)
    assert table["site"] == load_site(name).site.name
    assert [row["month"] for row in table["months"]] == list(range(1, 13))
    for key, value in table["energy"].items():
        assert sum(row[key] for row in table["months"]) == pytest.approx(value, abs=0.01)
    assert sum(table["reasons"].values()) == pytest.approx(24.0 * table["days"], abs=0.01)
    assert set(table["reasons"]) <= set(reasons.NAMES)
    assert table["energy"]["accepted_kwh"] == pytest.approx(result.whole.accepted_j / 3.6e6, abs=0.001)
    assert table["level"]["min_mm"] > table["level"]["floor_mm"]
    assert len(table["orders_sha256"]) == 64


# -- the same again, and others ---------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_same_inputs_give_the_same_orders_and_sums(name):
    site = load_site(name)
    once, again = replay(site, days=30), replay(site, days=30)
    assert again.orders_sha256 == once.orders_sha256
    assert again.whole == once.whole
    assert again.history == once.history
    assert replay(site, days=2, seed=2).orders_sha256 != replay(site, days=2).orders_sha256


@pytest.mark.parametrize("seed", range(1, 11))
@pytest.mark.parametrize("name", NAMES)
def test_other_streams_and_other_noise_bring_no_fault_either(name, seed):
    result = replay(load_site(name), seed=seed, days=60, flows="synthetic")
    assert result.whole.below_floor_s == 0.0
    assert result.whole.residual_short_s == 0.0
    assert result.whole.pond_low_s == 0.0
    assert sum(result.book.strokes) > 0


def test_each_day_is_told():
    told = []
    replay(load_site(POND), days=3, each_day=lambda day, days: told.append((day, days)))
    assert told == [(1, 3), (2, 3)]  # the last one ends with the replay


def test_the_history_notes_the_plant_hour_by_hour():
    history = replay(load_site(POND), days=2).history
    assert history.hour == list(range(1, 48))
    assert all(len(column) == 47 for column in vars(history).values())
    assert all(0.0 <= charge <= 1.0 for charge in history.charge)


def test_more_days_than_the_record_covers_are_refused():
    with pytest.raises(UserError, match=r"--days 400: .* covers 364 days"):
        replay(load_site(BOX), days=400)


def test_an_appliance_that_uses_more_than_the_house_is_a_mistake_of_the_owners():
    site = load_site(BOX, ["house.daily_kwh=0.2"])
    with pytest.raises(UserError, match="daily_kwh"):
        replay(site, days=1)
