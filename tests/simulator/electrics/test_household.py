import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.household import Appliance, household_load_series, timed_heater_series
from becksim.site import load_site

EVENING = [1.0] * 6 + [3.0] * 12 + [6.0] * 4 + [2.0] * 2


def load_w(**changes):
    numbers = {
        "daily_kwh": 6.0,
        "profile": EVENING,
        "winter_factor": 1.0,
        "days": 365,
        "start_s": 0,
        "step_s": 3600,
        "seed": 1,
    }
    return household_load_series(**(numbers | changes))


def appliance(**changes):
    return Appliance(**({"name": "press", "power_w": 2000.0, "minutes": 30.0, "per_day": 0.6} | changes))


@settings(max_examples=25, deadline=None)
@given(
    daily_kwh=st.floats(3.0, 50.0),
    winter_factor=st.floats(0.0, 2.0),
    step_s=st.sampled_from([300, 900, 3600, 7200]),
    seed=st.integers(0, 10**6),
    appliances=st.lists(
        st.builds(
            Appliance,
            name=st.just("press"),
            power_w=st.floats(0.0, 1500.0),
            minutes=st.floats(0.0, 45.0),
            per_day=st.floats(0.0, 1.0),
            hours=st.just(()) | st.lists(st.floats(0.1, 1.0), min_size=24, max_size=24),
            months=st.just(()) | st.lists(st.floats(0.1, 1.0), min_size=12, max_size=12),
        ),
        max_size=2,
    ),
)
def test_a_year_has_the_mean_that_was_asked_for_appliances_included(daily_kwh, **numbers):
    year_w = load_w(daily_kwh=daily_kwh, **numbers)
    assert year_w.mean() == pytest.approx(daily_kwh * 1000.0 / 24.0, abs=0.05)
    assert year_w.min() >= 0.0
    assert np.array_equal(year_w, np.round(year_w, 1))


def test_every_year_of_several_has_that_mean():
    years_w = load_w(days=3 * 365, appliances=[appliance()], winter_factor=1.3)
    assert years_w.reshape(3, -1).mean(axis=1) == pytest.approx([250.0] * 3, abs=0.05)


def test_the_day_has_the_shape_of_the_profile():
    by_hour = load_w().reshape(365, 24).mean(axis=0)
    np.testing.assert_allclose(by_hour / by_hour.sum(), np.array(EVENING) / sum(EVENING), atol=1e-4)


def test_the_season_peaks_in_midwinter_by_its_factor():
    by_day = load_w(winter_factor=1.4).reshape(365, 24).mean(axis=1)
    around_midwinter, around_midsummer = by_day[:29].mean(), by_day[182:212].mean()
    assert around_midwinter == pytest.approx(1.4 * 250.0, rel=0.1)
    assert around_midsummer == pytest.approx(0.6 * 250.0, rel=0.1)
    south = load_w(winter_factor=1.4, midwinter_day=197).reshape(365, 24).mean(axis=1)
    assert south[182:212].mean() > south[:29].mean()


def test_a_short_run_has_the_load_of_its_season_not_of_the_year():
    year = load_w(winter_factor=1.4)
    assert np.array_equal(load_w(winter_factor=1.4, days=20), year[: 20 * 24])


def test_days_differ_by_about_a_fifth():
    by_day = load_w().reshape(365, 24).mean(axis=1)
    assert by_day.std() / by_day.mean() == pytest.approx(0.2, abs=0.04)


def test_the_appliance_adds_its_power_for_its_minutes():
    press = appliance(per_day=0.5)
    minute_w = load_w(daily_kwh=1.5, appliances=[press], step_s=60, days=30)
    on = minute_w > 2000.0
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], on, [0]]))))[::2]
    assert on.any()
    assert np.median(runs) == pytest.approx(30, abs=1)
    assert minute_w[~on].max() < 2000.0


def used_hours(load):
    return set(np.flatnonzero(load.reshape(365, 24).sum(axis=0)))


def test_an_appliance_starts_at_the_hours_of_the_profile_or_at_its_own():
    only_noon, only_night = ([float(hour == wanted) for hour in range(24)] for wanted in (12, 2))
    short = appliance(minutes=10, per_day=1.0)
    assert used_hours(load_w(profile=only_noon, appliances=[short])) <= {12, 13}  # 12:55 runs past the hour
    own = appliance(minutes=10, per_day=1.0, hours=only_night)
    assert used_hours(load_w(profile=only_noon, appliances=[own])) == {2, 3, 12}


def test_an_appliance_may_have_its_months_and_keeps_its_starts_a_day_over_the_year():
    """Starts are counted by what they use: all of the load, when the base has no room left."""
    summer = [float(5 <= month <= 7) for month in range(12)]
    saw = appliance(power_w=1000.0, minutes=60, per_day=2.0, months=summer)
    with_saw, without = (load_w(daily_kwh=10.0, appliances=rows) for rows in ([saw], []))
    base = with_saw[: 90 * 24].sum() / without[: 90 * 24].sum()  # January to March: only the base
    used_kwh = (1.0 - base) * 3650.0
    assert used_kwh == pytest.approx(2.0 * 365, rel=0.1)
    np.testing.assert_allclose(with_saw[: 90 * 24], base * without[: 90 * 24], atol=0.11)
    assert with_saw[151 * 24 : 243 * 24].sum() == pytest.approx(
        base * without[151 * 24 : 243 * 24].sum() + used_kwh * 1000.0, rel=0.001
    )


def test_one_appliance_never_runs_twice_at_once_but_two_may():
    busy = appliance(power_w=1000.0, minutes=30, per_day=20.0)
    one = load_w(daily_kwh=11.0, appliances=[busy], step_s=60)  # of which it uses about 10
    two = load_w(daily_kwh=21.0, appliances=[busy, busy], step_s=60)
    assert 1000.0 < one.max() < 1500.0
    assert 2000.0 < two.max() < 2500.0


def test_appliances_do_not_disturb_each_other():
    """A second one takes its energy from the base and leaves the first one's starts as they are."""
    first, second = appliance(power_w=3000.0), appliance(power_w=100.0, minutes=5)
    one, both = (load_w(appliances=rows, step_s=900) for rows in ([first], [first, second]))
    assert np.array_equal(one > 2000.0, both > 2000.0)


def test_coarser_steps_hold_the_means_of_finer_ones():
    changes = {"appliances": [appliance()], "days": 10}
    fine, coarse = load_w(step_s=300, **changes), load_w(step_s=7200, **changes)
    np.testing.assert_allclose(fine.reshape(-1, 24).mean(axis=1), coarse, atol=0.11)


def test_a_longer_run_begins_like_a_shorter_one():
    changes = {"appliances": [appliance()], "start_s": 7 * 3600, "step_s": 900}
    short, long = load_w(days=100, **changes), load_w(days=800, **changes)
    assert np.array_equal(long[: short.size], short)


# --- one house, not a street


@pytest.mark.parametrize("name", ["millbrook-smallholding", "upland-hostel"])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_the_example_houses_are_as_uneven_as_single_houses_are(name, seed):
    """Mean over highest quarter hour of a year, and evening over night (19 to 20 h over 3 to 4 h).

    Open 15-minute household years, simbench 1.6.3 LoadProfile.csv (ODbL), figures only: 0.056 to 0.139 and
    3.1 to 4.2; a standard profile of thousands of houses has 0.53.
    """
    house = load_site(name).house
    year_w = load_w(
        daily_kwh=house.daily_kwh,
        profile=house.profile,
        winter_factor=house.winter_factor,
        appliances=[Appliance(**vars(row)) for row in house.appliances],
        step_s=900,
        seed=seed,
    )
    assert 0.06 < year_w.mean() / year_w.max() < 0.14
    by_hour = year_w.reshape(365, 24, 4).mean(axis=(0, 2))
    assert 3.1 < by_hour[19] / by_hour[3] < 4.2
    inverter_w = {"millbrook-smallholding": 3_000, "upland-hostel": 10_000}[name]
    assert (year_w > inverter_w).sum() <= 2  # quarter hours of a year in which somebody should have waited


# --- heater by the clock


def heater_w(**changes):
    numbers = {"heater_w": 600.0, "hours": [2, 3, 4], "months": (), "days": 365, "start_s": 0, "step_s": 900}
    return timed_heater_series(**(numbers | changes))


def test_a_timed_heater_runs_in_its_hours_of_every_day():
    found = heater_w().reshape(365, 24, 4)
    assert np.all(found[:, [2, 3, 4]] == 600.0)
    assert found.sum() == 600.0 * 12 * 365


def test_a_timed_heater_rests_in_the_months_that_say_0():
    found = heater_w(months=[1, 1, 0] + [1] * 9).reshape(365, 96).sum(axis=1)
    assert set(np.flatnonzero(found == 0.0)) == set(range(59, 90))


def test_a_timed_heater_keeps_the_clock_whatever_the_start_and_the_step():
    late = heater_w(start_s=3 * 3600 + 1800, days=1)
    assert np.flatnonzero(late).tolist() == [*range(6), *range(90, 96)]  # to 5:00, and from 2:00 on
    odd = heater_w(start_s=3 * 3600, days=3, step_s=7000)  # 38 steps, to 4:53 on the fourth day
    on_s = (2 + 3 + 3) * 3600 + (38 * 7000 + 3 * 3600 - 3 * 86400 - 2 * 3600)
    assert odd.sum() * 7000.0 == pytest.approx(600.0 * on_s, rel=1e-4)


@pytest.mark.parametrize("hours", [[24], [-1], [2.5], [2, 3, 3.5]])
def test_hours_that_are_not_the_days_are_refused(hours):
    with pytest.raises(ValueError, match="heater_hours"):
        heater_w(hours=hours)


def test_the_seed_decides():
    assert np.array_equal(load_w(seed=4), load_w(seed=4))
    assert not np.array_equal(load_w(seed=4), load_w(seed=5))


def test_a_start_at_midday_and_an_odd_step_are_covered_to_the_last_day():
    late = load_w(days=365, start_s=18 * 3600, step_s=7000)
    assert late.size == -(-365 * 86400 // 7000)
    assert late[0] > 1.5 * late[4]  # evening over the small hours
    assert late[-1] > 0.0


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"profile": [1.0] * 23}, "profile"),
        ({"profile": [0.0] * 24}, "profile"),
        ({"profile": [-1.0] + [1.0] * 23}, "profile"),
        ({"days": 0}, "days"),
        ({"step_s": 0}, "step_s"),
        ({"winter_factor": 2.5}, "winter_factor"),
        ({"daily_kwh": -1.0}, "daily_kwh"),
        ({"daily_kwh": 1.0, "appliances": [appliance(per_day=2.0)]}, "less than the appliances alone use"),
        ({"daily_kwh": 99.0, "appliances": [appliance(per_day=50.0)]}, "press would run more than all day"),
    ],
)
def test_numbers_out_of_range_are_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        load_w(**changes)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"power_w": -1.0}, "power_w of press"),
        ({"minutes": float("nan")}, "minutes of press"),
        ({"per_day": -1.0}, "per_day of press"),
        ({"hours": [1.0] * 23}, "hours of press must hold 24"),
        ({"months": [0.0] * 12}, "months of press must hold 12"),
    ],
)
def test_an_appliance_that_cannot_be_is_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        appliance(**changes)
