"""The typical and the dry year of a plan."""

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.site import load_site
from becksim.sizing.years import MADE_UP_YEARS, plan_years

MOST_M3_S = 0.010


def record(tmp_path, years_l_s):
    """A gauge record with one flow a year, at noon of each day."""
    start = np.datetime64("2031-01-01T12:00")
    rows = [
        f"{start + np.timedelta64(day, 'D')}".replace("T", " ") + f",{years_l_s[day // 365]}"
        for day in range(365 * len(years_l_s))
    ]
    path = tmp_path / "record.csv"
    path.write_text("time,flow [l/s]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


def test_made_up_years_are_the_median_and_one_of_the_driest():
    years = plan_years(load_site("upland-hostel"), MOST_M3_S, seed=3)
    assert f"the median of {MADE_UP_YEARS}" in years.typical.words
    assert f"number 2 of {MADE_UP_YEARS} from the driest" in years.dry.words
    for year in (years.typical, years.dry):
        assert year.days == 365
        assert year.usable_m3_s.size == len(year.load_w) == len(year.month) == 8760
        assert year.usable_m3_s.min() >= 0.0
        assert year.usable_m3_s.max() <= MOST_M3_S
    assert years.dry.usable_m3_s.mean() < years.typical.usable_m3_s.mean()


def test_the_residual_flow_is_left_and_a_second_source_added():
    site = load_site("upland-hostel", ["stream.residual_share_percent=50", "stream.second_source.flow_l_s=2"])
    year = plan_years(site, 10.0).typical
    due_m3_s = np.maximum(0.0015, 0.5 * year.stream_m3_s)
    assert year.usable_m3_s == pytest.approx(np.maximum(year.stream_m3_s + 0.002 - due_m3_s, 0.0))


def test_a_record_of_several_years_gives_its_own_years(tmp_path):
    years = plan_years(load_site("upland-hostel"), MOST_M3_S, flows=record(tmp_path, [8.0, 3.0, 5.0, 6.0]))
    # The record's last day has no next noon, so its fourth year is not whole.
    assert years.typical.stream_m3_s[100] == pytest.approx(0.005)
    assert years.dry.stream_m3_s[100] == pytest.approx(0.003)


def test_a_record_of_one_year_is_scaled_for_the_dry_one(tmp_path):
    years = plan_years(load_site("upland-hostel"), MOST_M3_S, flows=record(tmp_path, [5.0]))
    assert years.typical.stream_m3_s.mean() == pytest.approx(0.005)
    made_up = plan_years(load_site("upland-hostel"), MOST_M3_S, flows="synthetic")
    ratio = made_up.dry.usable_m3_s.mean() / made_up.typical.usable_m3_s.mean()
    assert years.dry.usable_m3_s.mean() == pytest.approx(ratio * years.typical.usable_m3_s.mean(), rel=1e-6)


def test_a_part_of_a_year_is_refused(tmp_path):
    path = tmp_path / "short.csv"
    path.write_text(
        "time,flow [l/s]\n2031-01-01 00:00,2\n2031-01-01 12:00,2\n2031-01-03 00:00,2\n", encoding="utf-8"
    )
    with pytest.raises(UserError, match="every season"):
        plan_years(load_site("upland-hostel"), MOST_M3_S, flows=str(path), fill_gaps=True)
