"""From [stream] to flow: each test edits an example's text, as an owner would."""

import dataclasses
import json
import re

import numpy as np
import pytest

from becksim.cli import main
from becksim.errors import UserError
from becksim.hydrology.climates import CLIMATES, catchment_like
from becksim.hydrology.series import FlowSeries
from becksim.hydrology.stores import snow_store
from becksim.hydrology.stream import SPIN_UP_DAYS, made_up_weather
from becksim.site import EXAMPLES, load_site
from becksim.streams import (
    SYNTHETIC_START_S,
    air_temp_c,
    catchment_of,
    flow_series,
    refuse_gaps,
    replayed_stream,
    second_source_m3_s,
)

HOSTEL = (EXAMPLES / "upland-hostel.toml").read_text(encoding="utf-8")
UPLAND = 'area_km2 = 0.5\nclimate = "maritime upland"\n'
MOUNTAIN = 'area_km2 = 0.5\nclimate = "snow-fed mountain"\n'
FACTS = """
[stream.facts]
lowest_flow_l_s = 2.5
[[stream.facts.gaugings]]
date = 2031-08-14
flow_l_s = 9
[[stream.facts.gaugings]]
date = "2032-02-03"
flow_l_s = 30
"""
WHOLE = re.search(r"(?s)\[stream\.synthetic\]\n(.*?)\n\[", HOSTEL)[1]


@pytest.fixture
def site(tmp_path):
    """site(synthetic, more="", stream="") -> the hostel with other stream tables."""

    def load(synthetic=WHOLE, more="", stream="", changes=()):
        text = HOSTEL.replace(WHOLE, synthetic + more)
        text = text.replace("residual_flow_l_s = 1.5\n", "residual_flow_l_s = 1.5\n" + stream)
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        return load_site(str(path), changes)

    return load


@pytest.fixture
def refused(site):
    """refused(...) -> the sentences that loading such a site gives."""

    def load(*arguments, **options):
        with pytest.raises(UserError) as caught:
            site(*arguments, **options)
        return str(caught.value).splitlines()

    return load


# --- the catchment


def test_the_whole_catchment_is_as_the_file_says():
    catchment, notes = catchment_of(load_site("upland-hostel"))
    assert (catchment.area_km2, catchment.soil_mm, catchment.base_flow_m3_s) == (0.22, 70.0, 0.0008)
    assert (catchment.wet_soil_sheds, catchment.shed_power, catchment.drought_chance) == (0.5, 2, 0.0)
    assert notes == ()


@pytest.mark.parametrize("climate", CLIMATES)
def test_a_climate_and_an_area_are_enough(site, climate):
    catchment, (note,) = catchment_of(site(f'area_km2 = 0.5\nclimate = "{climate}"\n'))
    assert catchment == catchment_like(climate, area_km2=0.5)
    assert note.startswith(
        f"The stream is made up from the climate {climate!r}, moved to 0.5 km2 with its usual"
    )


def test_rain_and_single_keys_override_the_climate(site):
    catchment, (note,) = catchment_of(site(UPLAND, "rain_mm_per_year = 1200\nsoil_mm = 55\nshed_power = 1\n"))
    like = catchment_like("maritime upland", area_km2=0.5, rain_mm_per_year=1200.0)
    assert catchment == dataclasses.replace(like, soil_mm=55.0, shed_power=1)
    assert "1200 mm of rain a year" in note


def test_the_yearly_rain_holds_whatever_the_droughts(site):
    """Mean yearly rain is that of all years: without droughts each year has a little less."""
    with_droughts, _ = catchment_of(site(UPLAND, "rain_mm_per_year = 1200\n"))
    without, _ = catchment_of(site(UPLAND, "rain_mm_per_year = 1200\ndrought_chance = 0\n"))
    assert without.wet_day_mm[0] == pytest.approx(with_droughts.wet_day_mm[0] * (1.0 - 0.1 * 0.25))


def test_in_the_southern_half_the_climate_is_turned(site):
    south, _ = catchment_of(site(MOUNTAIN, changes=["site.latitude_deg=-44"]))
    north, _ = catchment_of(site(MOUNTAIN))
    assert south.temperature_c == north.temperature_c[6:] + north.temperature_c[:6]


def test_every_number_of_a_catchment_has_a_key(site):
    numbers = {
        "wet_least_mm": 0.1, "gamma_shape": 0.9, "soil_mm": 80.0, "wet_soil_sheds": 0.3, "shed_power": 4,
        "quick_share": 0.3, "quick_days": 2.0, "slow_days": 20.0, "base_flow_l_s": 0.6, "melt_mm_c_day": 5.0,
        "temperature_noise_c": 2.0, "above_station_m": 300.0, "snow_below_c": 0.5, "drought_chance": 0.3,
        "drought_share": 0.5,
    }  # fmt: skip
    lists = {name: [5.0] * 12 for name in ("wet_day_mm", "evaporation_mm", "temperature_c")}
    lists |= {name: [0.4] * 12 for name in ("wet_after_dry", "wet_after_wet")}
    text = "".join(f"{name} = {value}\n" for name, value in {**numbers, **lists}.items())
    catchment, notes = catchment_of(site("area_km2 = 1.5\n" + text))
    assert notes == ()
    wanted = {**numbers, **{name: tuple(values) for name, values in lists.items()}, "area_km2": 1.5}
    wanted["base_flow_m3_s"] = wanted.pop("base_flow_l_s") / 1000.0
    assert vars(catchment) == wanted


def test_snow_in_the_file_lies_and_melts(site):
    cold, _ = catchment_of(site(WHOLE, "\ntemperature_c = [-6, -6, -4, 0, 5, 9, 11, 10, 7, 3, -2, -5]\n"))
    rain_mm, _, temperature_c = made_up_weather(cold, days=365, seed=1, start_s=SYNTHETIC_START_S)
    _, lying_mm = snow_store(cold, rain_mm, temperature_c)
    assert lying_mm[(SPIN_UP_DAYS + 60) * 24] > 50.0  # the first of March
    assert lying_mm[(SPIN_UP_DAYS + 212) * 24] == 0.0  # the first of August


# --- the owner's facts


def test_facts_move_the_climate_and_every_sentence_is_a_note(site):
    mine = site(UPLAND, FACTS)
    catchment, notes = catchment_of(mine)
    assert catchment.base_flow_m3_s != catchment_like("maritime upland", area_km2=0.5).base_flow_m3_s
    series = flow_series(mine, flows=None, seed=1, days=30)
    assert series.notes == notes
    assert notes[0].endswith("and then to the facts given.")
    assert [note.split(",")[0] for note in notes if note.startswith("Gauging")] == [
        "Gauging of 2031-08-14", "Gauging of 2032-02-03",
    ]  # fmt: skip
    assert any(note.startswith("Lowest flow remembered 2.5 L/s") for note in notes)
    assert not any("Not all facts" in note for note in notes)


def test_facts_that_cannot_be_met_together_are_said(site):
    _, notes = catchment_of(site(UPLAND, FACTS.replace("flow_l_s = 30", "flow_l_s = 900")))
    assert notes[1].startswith("Not all facts can be met together in this climate")
    assert any("it is higher than fits" in note for note in notes)


def test_a_number_that_the_owner_knows_stays_where_it_is(site):
    catchment, _ = catchment_of(site(UPLAND, "soil_mm = 140\ndrought_chance = 0\n" + FACTS))
    assert (catchment.soil_mm, catchment.drought_chance) == (140.0, 0.0)


def test_the_weather_replayed_does_not_change_what_the_facts_say(site):
    mine = site(UPLAND, FACTS)
    assert catchment_of(mine) is catchment_of(mine)  # found once
    one, other = (flow_series(mine, flows=None, seed=seed, days=30) for seed in (1, 2))
    assert one.notes == other.notes
    assert not np.array_equal(one.flow_m3_s, other.flow_m3_s)


# --- what contradicts itself


def test_a_climate_beside_months_of_rain_is_refused(refused):
    assert refused(WHOLE, '\nclimate = "monsoon"\n') == [
        "mine.toml: [stream.synthetic] wet_after_dry, wet_after_wet, wet_day_mm and evaporation_mm cannot "
        'stand beside the climate "monsoon", which has its own; leave out the one or the other.'
    ]


GAUGE = '[stream.gauge]\nfile = "a.csv"\n'


@pytest.mark.parametrize(
    ("synthetic", "more", "says"),
    [
        ("area_km2 = 1\n", "", "[stream.synthetic] without a climate wet_after_dry, wet_after_wet, wet_day"),
        ("area_km2 = 1\n", 'climate = "polar"\n', 'climate is "polar"; allowed: "maritime upland" or '),
        (WHOLE, "\nrain_mm_per_year = 900\n", "rain_mm_per_year scales a climate, but none is given"),
        (WHOLE, "\nmelt_mm_c_day = 3\n", "melt_mm_c_day is of use only where it snows; give temperature_c"),
        (UPLAND, "snow_below_c = 1\n", "snow_below_c is of use only where it snows"),
        (WHOLE, "\ndrought_share = 0.5\n", "drought_share is given, but no drought_chance"),
        (WHOLE, "\n" + FACTS, "[stream.facts] facts move a climate, but [stream.synthetic] has none"),
        (UPLAND, "slow_days = 30\n" + FACTS, "[stream.facts] facts decide slow_days; leave it out"),
        (UPLAND, "[stream.facts]\n", "[stream.facts] it is empty; give gaugings, lowest_flow_l_s or both."),
        (
            UPLAND,
            FACTS.replace("lowest_flow_l_s = 2.5", "lowest_flow_l_s = 10"),
            "[stream.facts.gaugings 1] flow_l_s is 9; allowed: at least the lowest_flow_l_s remembered, 10",
        ),
        (UPLAND, FACTS.replace("2032-02-03", "3 Feb"), 'gaugings 2] date is "3 Feb"; allowed: a day from'),
        (
            UPLAND,
            "[stream.second_source]\n",
            "[stream.second_source] give flow_l_s or flow_by_month_l_s, one of",
        ),
        (
            UPLAND,
            f"[stream.second_source]\nflow_l_s = 1\nflow_by_month_l_s = {[1] * 12}\n",
            "[stream.second_source] give flow_l_s or flow_by_month_l_s, one of the two.",
        ),
        (UPLAND, GAUGE + "stage_zero_mm = 5\n", "[stream.gauge] stage_zero_mm 5 is given"),
        (
            UPLAND,
            GAUGE + "notch_angle_deg = 90\nrating_stage_mm = [0, 9]\nrating_flow_l_s = [0, 9]\n",
            "[stream.gauge] notch_angle_deg and rating are both given; leave one out.",
        ),
        (
            UPLAND,
            GAUGE + "rating_stage_mm = [0, 9, 20]\nrating_flow_l_s = [0, 9]\n",
            "[stream.gauge] rating_stage_mm has 3 numbers, rating_flow_l_s has 2; allowed: one flow for each",
        ),
        (
            UPLAND,
            GAUGE + "rating_stage_mm = [0, 9]\nrating_flow_l_s = [9, 0]\n",
            "[stream.gauge] rating does not rise from (0, 9) to (9, 0)",
        ),
    ],
)
def test_a_contradiction_is_told_in_one_sentence(refused, synthetic, more, says):
    (line,) = refused(synthetic, more)
    assert line.startswith("mine.toml: ")
    assert says in line


def test_a_share_given_twice_is_refused(refused):
    (line,) = refused(stream=f"residual_share_percent = 10\nresidual_share_by_month_percent = {[5] * 12}\n")
    assert "residual_share_percent and residual_share_by_month_percent are both given" in line


def test_floods_beyond_any_stream_are_refused(site):
    wet = re.sub("wet_day_mm = .*", f"wet_day_mm = {[80] * 12}", WHOLE)
    huge = site(re.sub("area_km2 = .*", "area_km2 = 500", wet))
    with pytest.raises(UserError, match=r"\[stream.synthetic\] this catchment floods past 1000 m3/s"):
        flow_series(huge, flows="synthetic", seed=1, days=365)


# --- residual flow and second source


def test_the_residual_flow_by_month_and_share(site):
    plain = site().stream
    assert plain.residual_month_l_s == (1.5,) * 12
    assert plain.residual_share_month == (0.0,) * 12
    months = [1.0 + number for number in range(12)]
    told = site(
        stream=f"residual_by_month_l_s = {months}\nresidual_share_by_month_percent = {[10] * 11 + [90]}\n"
    ).stream
    assert told.residual_month_l_s == tuple(months)
    assert told.residual_share_month == (0.1,) * 11 + (0.9,)
    assert site(stream="residual_share_percent = 25\n").stream.residual_share_month == (0.25,) * 12


def test_the_second_source_by_month_and_as_one_figure(site):
    month = [0, 0, 1, 11]
    assert second_source_m3_s(site(), month) == [0.0] * 5
    steady = site(UPLAND, "[stream.second_source]\nflow_l_s = 2\n")
    assert second_source_m3_s(steady, month) == [0.002] * 5
    months = [float(number) for number in range(1, 13)]
    by_month = site(UPLAND, f'[stream.second_source]\nname = "spring"\nflow_by_month_l_s = {months}\n')
    assert second_source_m3_s(by_month, month) == [0.001, 0.001, 0.002, 0.012, 0.012]


# --- the air


def dates(days, start_s=SYNTHETIC_START_S):
    return (start_s + 900 * np.arange(96 * days)).astype("datetime64[s]")


def test_without_temperatures_there_is_no_air(site):
    assert air_temp_c(site(), dates(2), 1) is None


def test_the_air_is_the_one_that_decides_over_the_streams_snow(site):
    mine = site(MOUNTAIN)
    catchment, _ = catchment_of(mine)
    _, _, temperature_c = made_up_weather(catchment, days=40, seed=5, start_s=SYNTHETIC_START_S)
    found = np.array(air_temp_c(mine, dates(40), 5)).reshape(40, 96)
    assert np.ptp(found, axis=1).max() == 0.0  # one mean a day
    np.testing.assert_allclose(found[:, 0], temperature_c[SPIN_UP_DAYS:], atol=0.0501)


def test_the_air_is_that_of_the_intake_not_of_the_heights(site):
    low, high = site(MOUNTAIN), site(MOUNTAIN, "above_station_m = 800\n")
    assert air_temp_c(low, dates(5), 1) == air_temp_c(high, dates(5), 1)


def test_a_record_from_noon_changes_its_air_at_midnight(site):
    found = np.array(air_temp_c(site(MOUNTAIN), dates(2, SYNTHETIC_START_S + 43_200), 1))
    assert np.flatnonzero(np.diff(found)).tolist() == [47, 143]


# --- the owner's own record


@pytest.fixture
def gauged(site, tmp_path):
    """gauged(rows, keys="") -> the hostel with that record in gauge.csv."""

    def load(text, keys=""):
        (tmp_path / "gauge.csv").write_text(text, encoding="utf-8")
        return site(UPLAND, f'[stream.gauge]\nfile = "gauge.csv"\n{keys}')

    return load


def hours(name, values, skip=()):
    first = np.datetime64("2030-03-01T00", "h")
    rows = [f"{first + hour}:00,{value:g}" for hour, value in enumerate(values) if hour not in skip]
    return "\n".join([f"time,{name}", *rows, ""])


def test_levels_over_a_notch_become_flow(gauged):
    mine = gauged(hours("level_mm", [130] * 30), "notch_angle_deg = 90\nstage_zero_mm = 30\n")
    series = flow_series(mine, flows=None, seed=1, days=None)
    assert 1000.0 * series.flow_m3_s[0] == pytest.approx(4.41, abs=0.01)


def test_levels_against_a_rating_become_flow(gauged):
    keys = "rating_stage_mm = [0, 50, 100, 200]\nrating_flow_l_s = [0, 0.8, 4.5, 25]\n"
    mine = gauged(hours("stage [cm]", [15] * 30), keys)
    series = flow_series(mine, flows=None, seed=1, days=None)
    assert 1000.0 * series.flow_m3_s[0] == pytest.approx(12.27, abs=0.01)


def test_a_file_given_by_hand_is_read_by_the_sites_notch(gauged, tmp_path):
    mine = gauged(hours("level_mm", [130] * 30), "notch_angle_deg = 90\nstage_zero_mm = 30\n")
    other = tmp_path / "other.csv"
    other.write_text(hours("level_mm", [130] * 30), encoding="utf-8")
    series = flow_series(mine, flows=str(other), seed=1, days=None)
    assert 1000.0 * series.flow_m3_s[0] == pytest.approx(4.41, abs=0.01)


GAPPY = hours("flow_l_s", [5] * 100, skip=[*range(20, 30), *range(50, 80)])


def test_gaps_are_left_open_unless_the_file_or_the_caller_asks(gauged, tmp_path):
    def filled(mine, **options):
        return flow_series(mine, seed=1, days=None, **options).gaps_filled

    mine = gauged(GAPPY)
    assert not filled(mine, flows=None)
    assert filled(mine, flows=None, fill_gaps=True)
    mine = gauged(GAPPY, "fill_gaps = true\n")
    assert filled(mine, flows=None)
    assert not filled(mine, flows=str(tmp_path / "gauge.csv"))  # the file speaks for its own record alone
    assert filled(mine, flows=str(tmp_path / "gauge.csv"), fill_gaps=True)


def test_open_gaps_are_refused_with_number_length_and_remedy(gauged):
    series = flow_series(gauged(GAPPY), flows=None, seed=1, days=None)
    with pytest.raises(UserError) as caught:
        refuse_gaps(series, until_s=4 * 86_400, own_record=True)
    assert str(caught.value) == (
        "gauge record gauge.csv has 2 gaps, 42.0 h in all, the longest from 2030-03-03 01:00 to "
        "2030-03-04 08:00 (31.0 h). No flow is invented unasked: to bridge them by straight lines, give "
        "fill_gaps = true in [stream.gauge] of the site file, or --fill-gaps."
    )
    with pytest.raises(
        UserError, match="has 1 gap, from 2030-03-01 19:00 .* bridge it .* give --fill-gaps.$"
    ):
        refuse_gaps(series, until_s=2 * 86_400, own_record=False)


def test_gaps_after_the_last_day_replayed_or_filled_are_no_matter(gauged):
    mine = gauged(GAPPY)
    refuse_gaps(flow_series(mine, flows=None, seed=1, days=None), until_s=19 * 3600, own_record=True)
    series = flow_series(mine, flows=None, seed=1, days=None, fill_gaps=True)
    refuse_gaps(series, until_s=4 * 86_400, own_record=True)
    refuse_gaps(FlowSeries(0, np.array([0, 9]), np.zeros(2), "x"), until_s=9, own_record=True)


# --- what the report tells of the stream


def test_the_stream_replayed_is_told_by_its_days(site):
    mine = site(stream=f"residual_by_month_l_s = {[2.5] + [1.5] * 11}\n")
    inflow = np.repeat(np.linspace(0.001, 0.005, 62), 96).tolist() + [0.005]
    month = [0] * 31 * 96 + [1] * 31 * 96
    found = replayed_stream(mine, inflow, month, 900)
    assert (found["days"], found["mean_l_s"]) == (62, pytest.approx(3.0, abs=0.01))
    assert found["days_below_residual"] == 23  # 1 L/s and 22 steps of 0.0656 L/s: 2.44 L/s
    assert found["q95_l_s"] < found["q80_l_s"] < found["q50_l_s"] < found["q20_l_s"] < found["q5_l_s"]


def test_few_days_tell_no_quantiles(site):
    found = replayed_stream(site(), [0.002] * 97, [0] * 96, 900)
    assert (found["days"], found["mean_l_s"], found["days_below_residual"]) == (1, 2.0, 0)
    assert [found[key] for key in ("q95_l_s", "q5_l_s", "base_flow_index", "recession_k_per_day")] == [
        None
    ] * 4


def test_a_stream_that_is_dry_has_no_index(site):
    found = replayed_stream(site(), [0.0] * (96 * 70 + 1), [0] * 96 * 70, 900)
    assert (found["q50_l_s"], found["base_flow_index"], found["days_below_residual"]) == (0.0, None, 70)


# --- on the command line


def test_a_record_with_gaps_is_replayed_only_if_asked(tmp_path, capsys):
    path = tmp_path / "gappy.csv"
    path.write_text(hours("flow_l_s", [5] * 49, skip=range(20, 30)), encoding="utf-8")
    command = ["replay", "upland-hostel", "--flows", str(path), "--days", "1", "--json"]
    assert main(command) == 2
    assert "gappy.csv has 1 gap, from 2030-03-01 19:00" in capsys.readouterr().err
    assert main([*command, "--fill-gaps"]) == 0
    assert "Bridged by a straight line: 1 gap" in json.loads(capsys.readouterr().out)["notes"][0]
