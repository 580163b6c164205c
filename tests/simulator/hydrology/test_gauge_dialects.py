"""The dialects of loggers and spreadsheets: whole files as a user would hand them over."""

import numpy as np
import pytest

from becksim.errors import UserError
from becksim.hydrology.gauge import read_gauge_csv
from becksim.hydrology.gauge_numbers import decimal_mark, read_number
from becksim.hydrology.gauge_stamps import date_order, read_stamp


@pytest.fixture
def read(tmp_path):
    """read(text or bytes, encoding="utf-8", **options) -> the series."""

    def read_file(content, encoding="utf-8", **options):
        path = tmp_path / "beck.csv"
        path.write_bytes(content.encode(encoding) if isinstance(content, str) else content)
        return read_gauge_csv(path, **options)

    return read_file


def l_s(series):
    return np.round(1e3 * series.flow_m3_s, 9).tolist()


def start(series):
    return str(np.datetime64(series.start_s, "s").astype("datetime64[m]"))


# --- letters


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_each_encoding_gives_the_same(read, encoding):
    text = "Zeitstempel;Abfluß [m³/s]\n2030-05-01 00:00;0,012\n2030-05-01 01:00;0,013\n"
    series = read(text, encoding)
    assert (l_s(series), series.notes) == ([12.0, 13.0], ())


def test_a_dash_of_an_old_spreadsheet_is_no_reason_to_refuse(read):
    series = read("time;flow – weir [l/s]\n2030-05-01 00:00;1\n2030-05-01 01:00;2\n", "cp1252")
    assert l_s(series) == [1.0, 2.0]


# --- where the table begins


def test_lines_above_the_header_are_left_out_and_said(read):
    rows = "14.05.2030;00:00;1,5\n14.05.2030;01:00;2,5\n"
    series = read(f"Station;Upper beck\nSerial;12345\n\nDate;Time;Flow [l/s]\n{rows}")
    assert l_s(series) == [1.5, 2.5]
    assert series.notes == ("2 lines above the header, line 4, were left out.",)


@pytest.mark.parametrize(
    "text",
    [
        "sep=;\ntime;flow_l_s\n2030-05-01 00:00;1\n2030-05-01 01:00;2\n",
        "# time, flow_l_s\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n",
        "time|flow_l_s\n2030-05-01 00:00|1\n2030-05-01 01:00|2\n",
        "time;flow_l_s;;\n2030-05-01 00:00;1;;\n2030-05-01 01:00;2;;\n",
        '"time","flow, L/s"\n"2030-05-01 00:00","1"\n"2030-05-01 01:00","2"\n',
        "time,flow\nYYYY-MM-DD hh:mm,L/s\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n",
        "time,flow_l_s\n-,l/s\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n",
        "time,flow\n2030-05-01 00:00,1 L/s\n2030-05-01 01:00,2 L/s\n",
        "time,flow L·s⁻¹\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n",
    ],
)
def test_each_way_to_write_a_small_table_is_read_without_a_note(read, text):
    series = read(text)
    assert l_s(series) == [1.0, 2.0]
    assert (start(series), series.time_s.tolist(), series.notes) == ("2030-05-01T00:00", [0, 3600], ())


def test_a_zone_in_the_row_of_units_is_heeded(read):
    series = read("time,flow\nUTC,l/s\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n", utc_offset_h=1.0)
    assert start(series) == "2030-05-01T01:00"
    assert "says UTC" in series.notes[0]


def test_a_unit_behind_a_number_that_is_not_the_columns_spoils_the_row(read):
    series = read("time,flow [l/s]\n2030-05-01 00:00,1 L/s\n2030-05-01 01:00,2 m3/s\n2030-05-01 02:00,3\n")
    assert l_s(series) == [1.0, 3.0]
    assert "line 3 '2 m3/s': flow is not a number" in series.notes[0]


def test_a_level_loggers_export_is_read_over_a_notch(read):
    """A title line, a column of numbers, the zone in the header, years of two digits, clocks of 12 hours."""
    series = read(
        '"Plot Title: upper weir"\n"#","Date Time, GMT+01:00","Water Level, m","Host Connected"\n'
        '1,"05/14/30 11:00:00 AM",0.100,\n2,"05/14/30 12:00:00 PM",0.120,\n3,"05/14/30 01:00:00 PM",0.130,\n',
        notch_angle_deg=90.0,
        utc_offset_h=2.0,
    )
    assert start(series) == "2030-05-14T12:00"
    assert series.time_s.tolist() == [0, 3600, 7200]
    assert 1e3 * series.flow_m3_s[0] == pytest.approx(4.41, abs=0.01)
    assert any("says UTC+01:00" in note for note in series.notes)
    assert any("'05/14/30 11:00:00 AM' was read as 2030-05-14" in note for note in series.notes)


def test_a_record_of_flow_needs_no_notch_and_that_is_said(read):
    series = read("time,flow_l_s\n2030-05-01 00:00,1\n2030-05-01 01:00,2\n", notch_angle_deg=90.0)
    assert l_s(series) == [1.0, 2.0]
    assert series.notes == ("The record holds flow, not level, so neither notch nor rating was used.",)


# --- numbers


@pytest.mark.parametrize(
    ("separator", "cells", "numbers"),
    [
        (";", ["12,5", "9,75"], [12.5, 9.75]),
        (";", ["12.5", "9.75"], [12.5, 9.75]),
        (";", ["1.234,5", "999,5"], [1234.5, 999.5]),
        (";", ["1.234", "999,5"], [1234.0, 999.5]),
        (";", ["0,125", "1,250"], [0.125, 1.25]),
        (";", ["1 234,5", "1\u00a0234"], [1234.5, 1234.0]),
        (",", ["1,234.5", "12.5"], [1234.5, 12.5]),
        (",", ["12,5", "9,75"], [12.5, 9.75]),
        (",", ["1'234.5", "1e-3"], [1234.5, 0.001]),
        (",", ["1,234,567", "8.0"], [1234567.0, 8.0]),
    ],
)
def test_the_column_tells_its_decimal_mark(separator, cells, numbers):
    mark, notes = decimal_mark(cells, separator)
    assert [read_number(cell, mark) for cell in cells] == numbers
    assert notes == []


@pytest.mark.parametrize(("separator", "number"), [(",", 1234.0), (";", 1.234)])
def test_a_comma_that_nothing_explains_is_said(separator, number):
    mark, notes = decimal_mark(["1,234", "2,345"], separator)
    assert read_number("1,234", mark) == number
    assert notes == [f"No number shows what a comma means; '1,234' was read as {number:g}."]


@pytest.mark.parametrize("text", ["", "1,2,3", "12.3.4", "1.23,4,5", "12,34.5", "1_0", "nan", "ice", "--"])
def test_what_is_no_number_is_none(text):
    assert read_number(text, ".") is None


def test_decimal_commas_between_commas_are_refused_with_a_hint(read):
    with pytest.raises(UserError, match="more columns than the header.*export it with semicolons"):
        read("time,flow_l_s\n2030-05-01 00:00,12,5\n2030-05-01 01:00,13,5\n")


@pytest.mark.parametrize("code", ["9999", "999", "99999.0", "999,99"])
def test_a_code_of_nines_is_no_flow(read, code):
    series = read(f"time;flow_l_s\n2030-05-01 00:00;{code}\n2030-05-01 01:00;2\n2030-05-01 02:00;3\n")
    assert l_s(series) == [2.0, 3.0]
    assert "looks like a code for no value" in series.notes[0]


def test_nines_that_may_be_a_flow_are_kept(read):
    series = read("time,flow_l_s\n2030-05-01 00:00,999\n2030-05-01 01:00,120\n2030-05-01 02:00,900\n")
    assert l_s(series) == [999.0, 120.0, 900.0]


# --- times


@pytest.mark.parametrize(
    ("stamp", "order", "means"),
    [
        ("2030-05-14 24:00", "day", "2030-05-15T00:00"),
        ("14.05.2030 24:00:00", "day", "2030-05-15T00:00"),
        ("31.12.2030 24:00", "day", "2031-01-01T00:00"),
        ("5/14/2030 1:30 PM", "month", "2030-05-14T13:30"),
        ("5/14/2030 12:00 am", "month", "2030-05-14T00:00"),
        ("14/05/2030 12:15:30 p.m.", "day", "2030-05-14T12:15:30"),
        ("14.05.2030, 07:30", "day", "2030-05-14T07:30"),
        ("14.05.2030 07.30", "day", "2030-05-14T07:30"),
        ("14.05.2030 7h30", "day", "2030-05-14T07:30"),
        ("2030/5/4 7:30", "month", "2030-05-04T07:30"),
        ("14-05-2030 07:30", "day", "2030-05-14T07:30"),
        ("14-May-2030 07:30", "day", "2030-05-14T07:30"),
        ("14. Mai 2030 07:30", "day", "2030-05-14T07:30"),
        ("May 14, 2030 7:30 AM", "day", "2030-05-14T07:30"),
        ("14.05.30", "day", "2030-05-14T00:00"),
        ("30/05/14 07:30", "year", "2030-05-14T07:30"),
        ("14.05.99", "day", "1999-05-14T00:00"),
        ("203005140730", "day", "2030-05-14T07:30"),
        ("2030051407", "day", "2030-05-14T07:00"),
        ("2030-05-14 07:30 GMT+1", "day", "2030-05-14T07:30+01:00"),
        ("14/05/2030 07:30 UTC", "day", "2030-05-14T07:30+00:00"),
    ],
)
def test_each_form_of_a_stamp_is_read(stamp, order, means):
    assert read_stamp(stamp, order) == read_stamp(means, "day")
    assert read_stamp(means, "day") is not None


@pytest.mark.parametrize(
    "stamp",
    [
        *("", "2030-05-14 24:30", "2030-02-29", "2030-13-01", "31.02.2030", "14.05.203", "31.12.9999 24:00"),
        *("14.05.2030 13:00 PM", "14.05.2030 0:30 AM", "14.05.2030 07:60", "14-Mau-2030", "14/05-2030"),
        *("1714521600", "2030131407"),
    ],
)
def test_what_is_no_stamp_is_none(stamp):
    assert read_stamp(stamp, "day") is None


@pytest.mark.parametrize(
    ("first", "text", "begins"),
    [
        ("month", "%m/%d/%Y", "2030-04-01"),
        ("day", "%d/%m/%Y", "2030-04-01"),
        ("month", "%m/%d/%y", "2030-04-01"),
        ("day", "%d.%m.%y", "2030-04-01"),
        ("year", "%y/%m/%d", "2030-04-01"),
    ],
)
@pytest.mark.parametrize("newest_first", [False, True])
def test_of_two_possible_orders_the_one_without_jumps_is_taken(first, text, begins, newest_first):
    """Twelve days of April, none of which shows by itself which number is the month."""
    days = [np.datetime64(begins) + number for number in range(12)]
    stamps = [day.astype(object).strftime(text) for day in days]
    order, notes = date_order(stamps[::-1] if newest_first else stamps)
    assert order == first
    assert f"the {first} was taken as first" in notes[0]


def test_spreadsheet_days_are_read_to_the_second_and_said(read):
    rows = "".join(f"{47604 + hour / 24:.10f};{hour + 1}\n" for hour in range(30))
    series = read(f"time;flow_l_s\n{rows}total;465\n")
    assert start(series) == "2030-05-01T00:00"
    assert set(np.diff(series.time_s)) == {3600}
    assert "read as a spreadsheet's days: '47604.0000000000' as 2030-05-01T00:00:00" in series.notes[0]


@pytest.mark.parametrize("scale", [1, 1000])
def test_seconds_since_1970_are_utc(read, scale):
    rows = "".join(f"{(1_904_169_600 + 900 * number) * scale},1\n" for number in range(5))
    series = read(f"timestamp,flow_l_s\n{rows}", utc_offset_h=1.0)
    assert (start(series), series.time_s[-1]) == ("2030-05-05T01:00", 3600)
    assert "since 1970 in UTC" in series.notes[0]


@pytest.mark.parametrize(
    ("header", "hours"),
    [("time (UTC+2)", 2), ("time_utc", 0), ("time GMT-03:30", -3.5), ("time [UTC +05:30]", 5.5)],
)
def test_the_zone_in_a_header_is_heeded(read, header, hours):
    series = read(f"{header},flow_l_s\n2030-05-01 06:00,1\n2030-05-01 07:00,2\n")
    assert series.start_s == int(np.datetime64("2030-05-01T06:00", "s").astype(int)) - round(hours * 3600)
    assert "The header of the time column says UTC" in series.notes[0]
