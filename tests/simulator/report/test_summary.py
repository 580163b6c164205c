import copy
import dataclasses
import io
import re

import pytest
from rich.console import Console

from becklight.reasons import NAMES
from becksim.inputs import SYNTHETIC
from becksim.replay import as_json, replay
from becksim.report.summary import print_summary
from becksim.report.words import CAUSE_WORDS, WORDS
from becksim.site import load_site


@pytest.fixture(scope="module")
def result():
    return replay(load_site("upland-hostel"), days=2)


def printed(result, width=100):
    console = Console(file=io.StringIO(), width=width, color_system=None)
    print_summary(result, console)
    return console.file.getvalue()


def row_of(text, name):
    """The numbers of a table's row, thousands joined."""
    line = next(line for line in text.splitlines() if re.match(rf"│ {re.escape(name)} +│", line))
    return [float(cell.replace(",", "")) for cell in line.split("│")[2:-1] if cell.strip()]


def test_it_begins_with_site_days_and_source(result):
    assert printed(result).startswith("Upland hostel: 2 days, synthetic stream, seed 1")


def test_it_has_the_months_that_were_replayed_and_no_other(result):
    text, energy = printed(result), as_json(result)["energy"]
    jan = row_of(text, "Jan")
    assert jan[0] == pytest.approx(energy["generated_kwh"], abs=0.51)
    assert jan[1] == pytest.approx(energy["accepted_kwh"], abs=0.51)
    assert jan[4] == pytest.approx(energy["load_kwh"], abs=0.51)
    assert "│ Feb" not in text


def test_it_sets_the_controller_beside_the_hand_set_jet(result):
    found = as_json(result)
    ours, theirs = row_of(printed(result), "accepted kWh")
    assert ours == pytest.approx(found["energy"]["accepted_kwh"], abs=0.51)
    assert theirs == pytest.approx(found["baseline"]["accepted_kwh"], abs=0.51)


def test_it_tells_the_best_that_was_possible_if_asked_and_what_was_lost_to_what(result):
    assert "best that was possible" not in printed(result)
    asked = replay(load_site("upland-hostel", ["house.daily_kwh=60"]), days=1, bound=True)
    text, bound = printed(asked), as_json(asked)["bound"]
    assert row_of(text.replace(" %", ""), "the best that was possible")[0] == round(bound["useful_kwh"])
    name = max(bound["lost_to"], key=bound["lost_to"].get)
    kwh, percent = row_of(text.replace(" %", ""), CAUSE_WORDS[name])
    assert kwh == pytest.approx(bound["lost_to"][name], abs=0.051)
    assert percent == pytest.approx(100.0 * kwh / bound["useful_kwh"], abs=0.11)
    assert all(row in text for row in (CAUSE_WORDS[one] for one, lost in bound["lost_to"].items() if lost))
    assert all(CAUSE_WORDS[one] not in text for one, lost in bound["lost_to"].items() if not lost)


def test_it_tells_of_every_valve_and_every_reason_in_words(result):
    text, found = printed(result), as_json(result)
    for name, valve in found["valves"].items():
        assert row_of(text, name)[1] == valve["strokes"]
    for name, hours in found["reasons"].items():
        assert row_of(text, WORDS[name]) == [pytest.approx(hours, abs=0.051)]


def test_it_tells_of_the_stream_in_a_line(result):
    stream = as_json(result)["stream"]
    assert f"Stream: mean {stream['mean_l_s']:.1f} L/s." in printed(result)  # two days: no more to tell


def test_of_a_longer_record_it_tells_low_and_high_flows_and_dry_days(result):
    inputs = dataclasses.replace(
        result.inputs,
        days=60,
        inflow_m3_s=[0.002 + 0.00001 * step / 96 for step in range(96 * 60, -1, -1)],
        month=[0] * 96 * 60,
    )
    site = dataclasses.replace(
        result.site, stream=dataclasses.replace(result.site.stream, residual_flow_l_s=2.2)
    )
    text = " ".join(printed(dataclasses.replace(result, inputs=inputs, site=site), width=1000).split())
    assert "Stream: mean 2.3 L/s; above 2.0 L/s on 95 days of 100, 2.3 on half of them, 2.6 on 5; " in text
    assert "(Lyne-Hollick, 0.925, 3 passes); without rain 1.00 of it is left a day later; less than " in text
    assert "less than the residual flow on 20 days." in text


def test_it_tells_the_lowest_level_and_the_floor(result):
    text, level = " ".join(printed(result).split()), as_json(result)["level"]
    assert f"lowest level {level['min_mm']:,.0f} mm, floor {level['floor_mm']} mm" in text


SPECIAL = ("Second source:", "Storage pond:", "Lost:", "Rain on", "Frost:", "Heater:")


def test_a_plant_without_pond_frost_or_heater_has_no_line_about_them(result):
    text = printed(result)
    assert not [name for name in SPECIAL if name in text]


def test_it_tells_in_a_line_each_what_pond_second_source_frost_and_heater_did():
    changes = [
        "storage_pond.level_mm=[0, 1500]",
        "storage_pond.area_m2=[200, 400]",
        "storage_pond.crest_level_mm=1400",
        "storage_pond.lowest_level_mm=500",
        "storage_pond.fill_l_s=4",
        "storage_pond.valve_bore_mm=60",
        "storage_pond.seepage_l_s=0.5",
        "stream.second_source.flow_l_s=0.5",
        "frost.exposed_length_m=60",  # so cold that no flow keeps it open
        "frost.u_w_m2_k=60",
        "frost.water_winter_c=0.1",
        f"frost.air_month_c={[-35] * 12}",
        "house.heater_kind=surplus",
        "house.heater_w=500",
        "battery.start_percent=15",
        "battery.capacity_ah=30",
        "sun.peak_w=8000",
    ]
    result = replay(load_site("millbrook-smallholding", changes), flows=SYNTHETIC, days=3)
    water, energy = as_json(result)["water"], as_json(result)["energy"]
    lines = " ".join(printed(result, 200).split())
    assert f"Second source: {water['second_source_m3']:,.0f} m3 came besides." in lines
    assert water["second_source_m3"] == pytest.approx(3 * 43.2)
    assert water["storage_pond_open_h"] > 0.0
    assert (
        f"Storage pond: {water['storage_pond_released_m3']:,.0f} m3 let down, its valve open for "
        f"{water['storage_pond_open_h']:,.1f} hours." in lines
    )
    assert f"Lost: {water['lost_m3']:,.0f} m3 to ground and air." in lines
    assert water["lost_m3"] > 50.0
    assert f"Frost: the pipe was frozen for {water['frozen_h']:,.1f} hours." in lines
    assert water["frozen_h"] > 0.0
    assert f"Heater: {energy['heater_kwh']:,.0f} kWh of surplus" in lines
    assert energy["heater_kwh"] > 0.0


def test_more_rain_on_a_pond_than_is_lost_is_told_as_such():
    changes = [f"pond.evaporation_mm={[-300] * 12}"]
    result = replay(load_site("upland-hostel", changes), days=2)
    lost_m3 = as_json(result)["water"]["lost_m3"]
    assert lost_m3 < -1.0
    text = " ".join(printed(result).split())
    assert f"Rain on the ponds brought {-lost_m3:,.0f} m3 more than ground and air took." in text
    assert "Lost:" not in text


def test_it_tells_why_the_pond_did_not_help_a_low_battery(result):
    assert as_json(result)["pond_reasons"] == {}
    book = copy.copy(result.book)
    book.pond_open_ms = 7_200_000
    book.pond_reason_ms = [0] * len(NAMES)
    for hours, name in enumerate(("pond_rests", "battery_low", "pond_low", "pond_allowance"), 1):
        book.pond_reason_ms[NAMES.index(name)] = hours * 3_600_000
    lines = " ".join(printed(dataclasses.replace(result, book=book), 200).split())
    assert (
        "Storage pond: 0 m3 let down, its valve open for 2.0 hours. "
        "Its valve was shut for 3.0 hours: battery low, but the pond is too. "
        "Its valve was shut for 4.0 hours: battery low, but the pond's allowance of the night or the week is "
        "drawn. " in lines
    )
    assert WORDS["pond_rests"] not in lines


def told_of_control(result, **other):
    changed = dataclasses.replace(result)
    vars(changed)["control"] = {**result.control, **other}
    text = " ".join(printed(changed, width=1000).split())
    return text[text.index("Control: ") :].split(" Intake: ")[0]


def test_it_tells_how_well_the_water_was_used_and_how_the_valves_were_treated(result):
    control = result.control
    text = told_of_control(result, used_share=0.671, used_share_when_wanted=0.896, limit_cycles=0)
    assert text.startswith(
        "Control: 67 % of the water used that could be, 90 % while the battery was not full; "
    )
    assert (
        f"; {control['strokes_per_day']:.1f} strokes and {control['set_changes_per_day']:.1f} changes" in text
    )
    assert text.endswith("(median).")


def test_it_tells_of_a_slow_plant_of_a_dry_stream_and_of_a_swing(result):
    assert "followed within 4 min (median)" in told_of_control(result, median_step_response_s=242)
    assert "followed within 3.6 h (median)" in told_of_control(result, median_step_response_s=13_010)
    assert "takes it most of a day" in told_of_control(result, median_step_response_s=None)
    assert told_of_control(
        result, used_share=None, used_share_when_wanted=None, strokes_per_day=0.0
    ).startswith("Control: 0.0 strokes and ")
    assert "swung at even intervals once, for" in told_of_control(result, limit_cycles=1)
    assert "swung at even intervals 3 times, for" in told_of_control(result, limit_cycles=3)


def test_its_tables_fit_a_terminal_of_80_columns(result):
    assert max(len(line) for line in printed(result, 80).splitlines()) <= 80


def test_it_shows_the_notes_of_a_gauge_record(result):
    inputs = dataclasses.replace(result.inputs, notes=("Gap from here to there.", "[odd] row skipped."))
    text = printed(dataclasses.replace(result, inputs=inputs))
    assert "Note: Gap from here to there." in text


@pytest.mark.parametrize("note", ["[odd] row skipped.", "line 3 'a[/b]': flow is not a number"])
def test_square_brackets_in_a_note_are_shown_as_they_are(result, note):
    inputs = dataclasses.replace(result.inputs, notes=(note,))
    assert note in printed(dataclasses.replace(result, inputs=inputs))


def test_square_brackets_in_the_sites_name_are_shown_as_they_are(result):
    place = dataclasses.replace(result.site.site, name="Stenbeck [old] mill")
    site = dataclasses.replace(result.site, site=place)
    assert "Stenbeck [old] mill" in printed(dataclasses.replace(result, site=site))


def test_a_regulator_that_bears_the_free_run_voltage_leaves_the_hazard_of_touching_the_bus(result):
    assert result.controlled.works.main.free_run_bus_v < result.site.wheel.most_bus_v
    text = " ".join(printed(result).split())
    assert text.count("Hazard: ") == 1
    assert "Hazard: The bus is dangerous to touch: " in text


def test_a_free_run_voltage_above_the_regulators_is_a_hazard_in_figures():
    site = load_site("upland-hostel", ["wheel.most_bus_v=100"])
    result = replay(site, flows=SYNTHETIC, days=1)
    text = " ".join(printed(result).split())
    volts = f"{result.controlled.works.main.free_run_bus_v:,.0f}"
    assert (
        f"Hazard: A wheel that runs free makes {volts} V on the bus; the charge regulator takes 100 V" in text
    )
