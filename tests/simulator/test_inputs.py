import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.inputs import STEP_S, build_inputs
from becksim.site import load_site
from becksim.streams import SYNTHETIC_START_S

HOSTEL, MILLBROOK = load_site("upland-hostel"), load_site("millbrook-smallholding")
STEPS_A_DAY = 86_400 // STEP_S


def inputs(site=HOSTEL, flows=None, seed=1, days=3):
    return build_inputs(site, flows=flows, seed=seed, days=days)


@pytest.fixture
def gauge(tmp_path):
    """gauge(hours, start="2030-03-30", skip=()) -> path of an hourly record in L/s."""

    def write(hours, start="2030-03-30", skip=()):
        first = np.datetime64(start, "h")
        rows = [f"{first + hour}:00,{2 + hour % 24 / 10}" for hour in range(hours) if hour not in skip]
        path = tmp_path / "stream.csv"
        path.write_text("\n".join(["time,flow_l_s", *rows]) + "\n", encoding="utf-8")
        return str(path)

    return write


@pytest.mark.parametrize("days", [1, 3, 40])
def test_every_list_covers_the_days_and_the_stream_one_instant_more(days):
    found = inputs(days=days)
    steps = days * STEPS_A_DAY
    assert found.days == days
    assert len(found.inflow_m3_s) == steps + 1
    for values in (found.load_w, found.solar_w, found.month, found.battery_temp_c):
        assert len(values) == steps


def test_a_year_is_replayed_if_no_number_of_days_is_given():
    found = inputs(days=None)
    assert (found.days, found.notes) == (365, ())
    assert [found.month.count(month) // STEPS_A_DAY for month in range(12)] == [
        31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31,
    ]  # fmt: skip


def test_values_are_plain_numbers_and_not_negative():
    found = inputs()
    for values in (found.inflow_m3_s, found.load_w, found.solar_w):
        assert all(type(value) is float and value >= 0.0 for value in values)
    assert all(type(month) is int for month in found.month)


def test_a_synthetic_year_begins_on_new_years_day():
    found = inputs()
    assert found.start_s == SYNTHETIC_START_S
    assert datetime.fromtimestamp(SYNTHETIC_START_S, UTC).isoformat() == "2025-01-01T00:00:00+00:00"
    assert set(found.month) == {0}


def test_the_seed_decides_and_nothing_else_does():
    assert inputs(seed=7) == inputs(seed=7)
    one, other = inputs(seed=7), inputs(seed=8)
    assert one.inflow_m3_s != other.inflow_m3_s
    assert one.solar_w != other.solar_w
    assert one.load_w != other.load_w
    assert one.battery_temp_c == other.battery_temp_c


def test_more_days_of_the_same_seed_begin_alike():
    short, long = inputs(days=2), inputs(days=30)
    assert long.inflow_m3_s[: len(short.inflow_m3_s)] == short.inflow_m3_s


def test_the_household_uses_about_what_the_file_says():
    found = inputs(days=365)
    assert sum(found.load_w) * STEP_S / 3.6e6 / 365 == pytest.approx(HOSTEL.house.daily_kwh, rel=0.02)


# --- gauge record


def test_the_sites_own_record_is_taken_first_with_its_notes_and_start():
    found = inputs(MILLBROOK)
    assert found.source == "gauge record millbrook-gauge.csv"
    assert any("1 gap, from 2025-02-11" in note for note in found.notes)
    assert any("more than once" in note for note in found.notes)
    assert datetime.fromtimestamp(found.start_s, UTC).isoformat() == "2024-10-01T00:00:00+00:00"
    assert set(found.month) == {9}
    assert found.inflow_m3_s[0] == pytest.approx(0.00137)


def test_a_synthetic_stream_may_be_asked_for_instead():
    found = inputs(MILLBROOK, flows="synthetic")
    assert "synthetic" in found.source
    assert (found.start_s, found.notes) == (SYNTHETIC_START_S, ())


def test_a_record_given_by_hand_is_taken_instead(gauge):
    path = gauge(24 * 3 + 1)
    for site in (HOSTEL, MILLBROOK):
        found = inputs(site, flows=path, days=2)
        assert found.source == "gauge record stream.csv"
        assert found.inflow_m3_s[0] == 0.002
        assert found.inflow_m3_s[4] == pytest.approx(0.0021)  # an hour later


def test_the_months_follow_the_records_own_dates(gauge):
    found = inputs(flows=gauge(24 * 4 + 1), days=4)  # 30 March on
    assert found.month == [2] * 2 * STEPS_A_DAY + [3] * 2 * STEPS_A_DAY


def test_a_record_that_begins_at_noon_is_replayed_from_noon(gauge):
    path = gauge(48 + 1, start="2030-06-01T12")
    found = inputs(flows=path, days=2)
    assert datetime.fromtimestamp(found.start_s, UTC).hour == 12
    assert max(found.solar_w[: STEPS_A_DAY // 4]) > 0.0  # the afternoon
    assert max(found.solar_w[STEPS_A_DAY * 11 // 24 : STEPS_A_DAY * 14 // 24]) == 0.0  # 23:00 to 02:00


def test_a_record_shorter_than_a_year_is_replayed_whole_and_that_is_said(gauge):
    found = inputs(flows=gauge(24 * 5 + 7), days=None)
    assert found.days == 5
    assert any("covers 5 days, so 5 days are replayed" in note for note in found.notes)


def test_a_gap_in_the_record_is_refused(gauge):
    path = gauge(24 * 4 + 1, skip=range(30, 50))
    for site in (HOSTEL, MILLBROOK):  # the one fills the gaps of its own record, not of any
        with pytest.raises(UserError, match="1 gap, from 2030-03-31 05:00 to .* give --fill-gaps"):
            inputs(site, flows=path, days=4)
    assert inputs(flows=path, days=1).days == 1  # before the gap


def test_a_gap_that_is_to_be_filled_is_told_and_bridged(gauge):
    found = build_inputs(HOSTEL, flows=gauge(24 * 4 + 1, skip=range(30, 50)), seed=1, days=4, fill_gaps=True)
    assert any(
        note.startswith("Bridged by a straight line: 1 gap, from 2030-03-31 05:00 to ")
        for note in found.notes
    )
    assert min(found.inflow_m3_s) >= 0.002


def test_an_example_that_does_not_ask_has_its_gap_refused():
    millbrook = load_site("millbrook-smallholding", ["stream.gauge.fill_gaps=false"])
    with pytest.raises(UserError, match=r"1 gap, from 2025-02-11 .* fill_gaps = true in \[stream.gauge\]"):
        inputs(millbrook, days=None)


def test_second_source_and_air_cover_the_days_apart_from_the_stream():
    plain = inputs()
    assert plain.second_m3_s == [0.0] * (3 * STEPS_A_DAY + 1)
    assert plain.air_temp_c is None
    changes = ["stream.second_source.flow_l_s=2", f"stream.synthetic.temperature_c={[5] * 12}"]
    found = inputs(load_site("upland-hostel", changes))
    assert found.second_m3_s == [0.002] * (3 * STEPS_A_DAY + 1)
    assert len(found.air_temp_c) == 3 * STEPS_A_DAY
    assert inputs(load_site("upland-hostel", changes[:1])).inflow_m3_s == plain.inflow_m3_s


def test_days_beyond_the_record_are_refused_in_one_line(gauge):
    with pytest.raises(UserError) as caught:
        inputs(flows=gauge(24 * 5 + 1), days=6)
    text = str(caught.value)
    assert text.startswith("--days 6: gauge record stream.csv covers 5 days; ask for at most that")
    assert "\n" not in text


def test_a_record_of_less_than_a_day_is_refused(gauge):
    with pytest.raises(UserError, match="at least one day is needed"):
        inputs(flows=gauge(20), days=None)


def test_a_missing_record_is_refused(tmp_path):
    with pytest.raises(UserError, match="there is no such file"):
        inputs(flows=str(tmp_path / "nowhere.csv"))


def test_the_whole_record_can_be_asked_for(gauge):
    assert inputs(flows=gauge(24 * 5 + 1), days=5).days == 5


def test_the_unit_of_a_record_given_by_hand_may_stand_in_the_site_file(tmp_path):
    """The complaint about the missing unit itself asks for [stream.gauge] flow_unit."""
    path = tmp_path / "stream.csv"
    rows = [f"2030-05-0{day},{day}" for day in range(1, 5)]
    path.write_text("\n".join(["time,flow", *rows]) + "\n", encoding="utf-8")
    gauge = dataclasses.replace(MILLBROOK.stream.gauge, flow_unit="l/s")
    site = dataclasses.replace(MILLBROOK, stream=dataclasses.replace(MILLBROOK.stream, gauge=gauge))
    assert inputs(site, flows=str(path), days=2).inflow_m3_s[0] == 0.001


# --- battery room


def months_mean_c(site):
    found = inputs(site, flows="synthetic", days=365)
    months, temp_c = np.array(found.month), np.array(found.battery_temp_c)
    return [temp_c[months == month].mean() for month in range(12)]


@pytest.mark.parametrize(("sign", "coldest", "warmest"), [(1.0, 0, 6), (-1.0, 6, 0)])
def test_the_battery_room_is_coldest_in_its_own_hemispheres_midwinter(sign, coldest, warmest):
    place = dataclasses.replace(HOSTEL.site, latitude_deg=sign * 54.4)
    mean_c = months_mean_c(dataclasses.replace(HOSTEL, site=place))
    assert int(np.argmin(mean_c)) == coldest
    assert int(np.argmax(mean_c)) == warmest
    assert min(mean_c) == pytest.approx(HOSTEL.battery.winter_c, abs=0.5)
    assert max(mean_c) == pytest.approx(HOSTEL.battery.summer_c, abs=0.5)


def test_the_sun_is_strongest_in_its_own_hemispheres_summer():
    south = dataclasses.replace(HOSTEL.site, latitude_deg=-54.4)
    found = inputs(dataclasses.replace(HOSTEL, site=south), days=365)
    by_month = [
        sum(w for w, month in zip(found.solar_w, found.month, strict=True) if month == wanted)
        for wanted in (0, 6)
    ]
    assert by_month[0] > 2.0 * by_month[1]
