import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.clouds import beta_quantile, light_shares

BELL = np.maximum(np.sin(np.pi * (np.arange(96) - 24) / 48.0), 0.0) * 800.0  # light from 6 h to 18 h


def shares(days=1000, clearness=0.5, seed=1, month=6):
    light = np.tile(BELL, (days, 1))
    return light_shares(light, [month] * days, [clearness] * 12, seed)


def of_days(found):
    return (found * BELL).sum(axis=1) / BELL.sum()


@pytest.mark.parametrize("clearness", [0.03, 0.1, 0.3, 0.5, 0.7, 0.95])
def test_the_mean_share_is_the_months_clearness(clearness):
    assert of_days(shares(days=8000, clearness=clearness)).mean() == pytest.approx(clearness, rel=0.04)


def test_a_sky_without_clouds_and_one_without_light_are_exact():
    assert np.all(shares(clearness=1.0) == 1.0)
    assert np.all(shares(clearness=0.0) == 0.0)


def test_days_are_clear_or_dull_and_none_is_darker_than_thick_cloud():
    days = of_days(shares(days=4000))
    assert days.min() > 0.19
    assert days.max() < 1.0 + 1e-9
    assert days.std() == pytest.approx(0.25, abs=0.03)


def test_a_dull_day_is_likely_to_be_followed_by_another():
    days = of_days(shares(days=4000))
    assert np.corrcoef(days[:-1], days[1:])[0, 1] == pytest.approx(0.4, abs=0.06)


def test_clouds_pass_most_on_days_that_are_half_clear():
    found = shares(days=4000)
    days, swing = of_days(found), found[:, 30:66].std(axis=1)
    half, dull, clear = (days > 0.5) & (days < 0.7), days < 0.25, days > 0.97
    assert swing[half].mean() > 0.15
    assert swing[dull].mean() < 0.05
    assert swing[clear].mean() < 0.05


@settings(max_examples=20, deadline=None)
@given(clearness=st.floats(0.0, 1.0), seed=st.integers(0, 10**6), month=st.integers(0, 11))
def test_no_step_is_dark_or_much_brighter_than_the_clear_sky(clearness, seed, month):
    found = shares(days=40, clearness=clearness, seed=seed, month=month)
    assert found.min() >= 0.0
    assert found.max() < 1.6
    assert found[:, 30:66].max() < 1.4


def test_a_longer_run_begins_like_a_shorter_one():
    assert np.array_equal(shares(days=20), shares(days=50)[:20])
    assert not np.array_equal(shares(days=20, seed=2), shares(days=20))


def test_each_day_has_the_clearness_of_its_own_month():
    light = np.tile(BELL, (2000, 1))
    found = light_shares(light, [0, 1] * 1000, [0.3, 0.8] + [0.5] * 10, 1)
    assert of_days(found[::2]).mean() == pytest.approx(0.3, abs=0.02)
    assert of_days(found[1::2]).mean() == pytest.approx(0.8, abs=0.02)


@pytest.mark.parametrize("clearness", [[0.5] * 11, [1.5] * 12, [float("nan")] * 12])
def test_a_clearness_that_cannot_be_is_refused(clearness):
    with pytest.raises(ValueError, match="clearness"):
        light_shares(np.tile(BELL, (2, 1)), [0, 0], clearness, 1)


@settings(max_examples=50, deadline=None)
@given(mean=st.floats(0.0, 1.0))
def test_the_beta_distribution_rises_from_0_to_1_about_its_mean(mean):
    values = beta_quantile((np.arange(20_000) + 0.5) / 20_000, mean)
    assert np.all(np.diff(values) >= 0.0)
    assert 0.0 <= values[0] <= values[-1] <= 1.0
    assert values.mean() == pytest.approx(mean, abs=0.003)


def test_the_beta_distribution_of_equal_parts_is_even():
    """a = b = 0.7; its quarter and tenth by the incomplete beta function (scipy 1.17.1 `betaincinv`)."""
    assert beta_quantile([0.1, 0.25, 0.5], 0.5) == pytest.approx([0.05543, 0.19955, 0.5], abs=1e-3)
