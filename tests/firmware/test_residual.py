"""What the stream must be left: by month, by share, and without a calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.readings import UNKNOWN
from becklight.residual import Residual, month_of, release_ml_s
from becklight.settings import MOST_FLOW_ML_S

# The plant built in conftest.py lets past 300 mL/s at 100 mm, 600 at 120, 1100 at 150; its target is 100 mm.
FIGURES = {"level_mm": [95] * 6 + [120] * 6, "margin_mm": 5}
SHARE = {"share_permille": [200] * 12, "margin_mm": 5}


def test_each_month_has_its_level(settings_of):
    residual = Residual(settings_of(residual=FIGURES))
    assert residual.see(15)
    assert residual.target_mm(0) == 100  # the month's 95 + 5 is no more than the owner's own target
    assert residual.see(200)
    assert residual.target_mm(0) == 125
    assert not residual.see(230)  # as much is due in August as in July


def test_what_is_due_tomorrow_counts_today_and_today_counts_to_its_end(settings_of):
    residual = Residual(settings_of(residual=FIGURES))
    targets_mm = {}
    for year_day in (180, 181, 182, 364, 365, 366, 1, 2):
        residual.see(year_day)
        targets_mm[year_day] = residual.target_mm(0)
    # June has 30 days: the 181st is its last; December's last day may be the 365th or the 366th
    assert targets_mm == {180: 100, 181: 125, 182: 125, 364: 125, 365: 125, 366: 125, 1: 125, 2: 100}


def test_the_last_day_of_a_month_of_a_leap_year_is_that_months(settings_of):
    levels_mm = [95, 120] + [95] * 10  # most is due in February
    residual = Residual(settings_of(residual={"level_mm": levels_mm, "margin_mm": 5}))
    residual.see(60)  # 29 February, or 1 March
    assert residual.target_mm(0) == 125


@pytest.mark.parametrize(
    ("year_day", "month"), [(1, 0), (31, 0), (32, 1), (59, 1), (60, 2), (334, 10), (335, 11), (366, 11)]
)
def test_days_belong_to_months(year_day, month):
    assert month_of(year_day) == month


@pytest.mark.parametrize("year_day", [UNKNOWN, 0, 367, -1])
def test_without_a_calendar_the_strictest_month_counts(settings_of, year_day):
    residual = Residual(settings_of(residual=FIGURES))
    assert residual.target_mm(0) == 125
    assert not residual.see(year_day)
    assert residual.target_mm(0) == 125


def test_the_more_the_jets_take_of_a_shared_stream_the_higher_the_level(settings_of):
    residual = Residual(settings_of(residual=SHARE))
    # of 3 L/s a fifth is 600 mL/s, let past at 120 mm; the jets take the other 2400
    assert residual.target_mm(2_400) == 120 + 1 + 5
    assert residual.target_mm(0) == 100


@given(
    flow_ml_s=st.integers(-1_000, 60_000),
    share_permille=st.integers(0, 900),
    level_mm=st.integers(0, 140),
)
def test_what_the_jets_leave_is_let_past_at_the_level_then_held(
    settings_of, flow_ml_s, share_permille, level_mm
):
    read = settings_of(residual={"level_mm": [level_mm] * 12, "share_permille": [share_permille] * 12})
    residual = Residual(read)
    taken_ml_s = residual.available_ml_s(flow_ml_s, 0)
    assert taken_ml_s >= 0
    if taken_ml_s > 0:
        left_ml_s = flow_ml_s - taken_ml_s
        held_mm = residual.target_mm(taken_ml_s if share_permille else 0)
        assert release_ml_s(read, held_mm) <= left_ml_s
        # and at the level at which the share alone would be due, at least the share is left
        assert left_ml_s * 1000 >= share_permille * flow_ml_s - 1000


def test_what_runs_past_above_the_target_is_spare(settings_of):
    residual = Residual(settings_of())
    # 300 mL/s are let past at the target of 100 mm, 600 at 120, none at 80
    assert [residual.spared_ml_s(level_mm, 0) for level_mm in (100, 120, 80, UNKNOWN)] == [0, 300, -300, 0]


@given(flow_ml_s=st.integers(0, 50_000), more_ml_s=st.integers(0, 5_000))
def test_more_water_never_means_less_for_the_jets(settings_of, flow_ml_s, more_ml_s):
    residual = Residual(settings_of(residual=SHARE))
    assert residual.available_ml_s(flow_ml_s, 0) <= residual.available_ml_s(flow_ml_s + more_ml_s, 0)


# -- edges ------------------------------------------------------------------------------------------


def test_every_day_of_a_year_without_29_february_lies_in_its_month():
    days = [date(2025, 1, 1) + timedelta(days=place) for place in range(365)]
    assert [month_of(place + 1) for place in range(365)] == [day.month - 1 for day in days]


@pytest.mark.parametrize(
    ("month", "strict_days", "other_days"),
    [
        (0, (365, 366, 1, 2, 31, 32), (33, 363, 364)),
        (1, (31, 32, 60), (30, 61, 62)),
        (6, (181, 182, 213), (1, 2, 180, 214, 365, 366)),
        (11, (334, 335, 366, 1), (2, 3, 332, 333)),
    ],
)
def test_a_strict_month_counts_from_the_day_before_to_the_day_after(
    settings_of, month, strict_days, other_days
):
    levels_mm, shares_permille = [95] * 12, [100] * 12
    levels_mm[month], shares_permille[month] = 120, 200
    residual = Residual(settings_of(residual={"level_mm": levels_mm, "share_permille": shares_permille}))
    for days, due in ((strict_days, (120, 200)), (other_days, (95, 100))):
        for year_day in days:
            residual.see(year_day)
            assert (year_day, residual.level_mm, residual.share_permille) == (year_day, *due)


@pytest.mark.parametrize("no_day", [UNKNOWN, -1, 0, 367])
def test_a_calendar_that_is_lost_brings_the_strictest_month_back(settings_of, no_day):
    shares_permille = [100] * 5 + [200] * 2 + [100] * 5
    residual = Residual(settings_of(residual={"share_permille": shares_permille}))
    assert residual.share_permille == 200
    assert residual.see(15)  # the share alone has changed
    assert residual.share_permille == 100
    assert residual.see(no_day)
    assert residual.share_permille == 200


def test_a_share_is_of_the_whole_stream(settings_of):
    # nine parts let past to one drawn: 2421 mL/s, which needs just less than 157 mm
    assert Residual(settings_of(residual={"share_permille": [900] * 12})).target_mm(269) == 156 + 1 + 5


@pytest.mark.parametrize("share_permille", [0, 1, 200, 900])
@pytest.mark.parametrize(
    "flow_ml_s", [-5, 0, 1, 299, 300, 301, 1_000, 1_001, 5_000, 31_234, 700_001, MOST_FLOW_ML_S]
)
def test_all_that_is_not_due_is_the_jets(settings_of, flow_ml_s, share_permille):
    read = settings_of(residual={"share_permille": [share_permille] * 12})
    residual = Residual(read)
    taken_ml_s = residual.available_ml_s(flow_ml_s, 0)

    def fits(more_ml_s):
        return more_ml_s + release_ml_s(read, residual.target_mm(more_ml_s)) <= flow_ml_s

    assert fits(taken_ml_s) if taken_ml_s else not fits(1)
    assert not fits(taken_ml_s + 1)
