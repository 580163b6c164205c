import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.household import household_load_series

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


@settings(max_examples=25, deadline=None)
@given(
    daily_kwh=st.floats(3.0, 50.0),
    winter_factor=st.floats(0.0, 2.0),
    step_s=st.sampled_from([300, 900, 3600, 7200]),
    seed=st.integers(0, 10**6),
    appliance_w=st.floats(0.0, 3000.0),
    appliance_per_day=st.floats(0.0, 1.0),
    appliance_minutes=st.floats(0.0, 45.0),
)
def test_a_year_has_the_mean_that_was_asked_for_appliances_included(daily_kwh, **numbers):
    year_w = load_w(daily_kwh=daily_kwh, **numbers)
    assert year_w.mean() == pytest.approx(daily_kwh * 1000.0 / 24.0, abs=0.05)
    assert year_w.min() >= 0.0
    assert np.array_equal(year_w, np.round(year_w, 1))


def test_every_year_of_several_has_that_mean():
    years_w = load_w(days=3 * 365, appliance_w=2000.0, appliance_per_day=0.6, winter_factor=1.3)
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
    minute_w = load_w(
        daily_kwh=1.5, appliance_w=2000.0, appliance_minutes=30, appliance_per_day=0.5, step_s=60, days=30
    )
    on = minute_w > 2000.0
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], on, [0]]))))[::2]
    assert on.any()
    assert np.median(runs) == pytest.approx(30, abs=1)
    assert minute_w[~on].max() < 2000.0


def test_the_appliance_starts_more_often_at_hours_of_high_use():
    only_noon = [float(hour == 12) for hour in range(24)]
    by_hour = load_w(profile=only_noon, appliance_w=3000.0, appliance_minutes=10, appliance_per_day=1.0)
    used = np.flatnonzero(by_hour.reshape(365, 24).sum(axis=0))
    assert set(used) <= {12, 13}  # a start at 12:55 runs on past the hour


def test_coarser_steps_hold_the_means_of_finer_ones():
    changes = {"appliance_w": 2000.0, "appliance_per_day": 0.6, "days": 10}
    fine, coarse = load_w(step_s=300, **changes), load_w(step_s=7200, **changes)
    np.testing.assert_allclose(fine.reshape(-1, 24).mean(axis=1), coarse, atol=0.11)


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
        ({"daily_kwh": 1.0, "appliance_w": 3000.0, "appliance_per_day": 2.0}, "more than daily_kwh"),
    ],
)
def test_numbers_out_of_range_are_refused(changes, rule):
    with pytest.raises(ValueError, match=rule):
        load_w(**changes)
