from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.errors import UserError
from becksim.hydrology.gauge import read_gauge_csv

CLEAN = "time,flow_l_s\n2030-05-01 00:00,10\n2030-05-01 01:00,20\n2030-05-01 02:00,30\n"
HOURS = tuple(f"2030-05-01 {hour:02}:00" for hour in range(24))


def epoch_s(text):
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


@pytest.fixture
def read(tmp_path):
    def read_text(text, **arguments):
        path = tmp_path / "stenbeck.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_gauge_csv(path, **arguments)

    return read_text


def record(stamps, flows=None, header="time,flow_l_s"):
    flows = range(1, len(stamps) + 1) if flows is None else flows
    return header + "\n" + "".join(f"{stamp},{flow}\n" for stamp, flow in zip(stamps, flows, strict=True))


def test_a_clean_record_is_read_without_a_note(read):
    series = read(CLEAN)
    assert series.start_s == epoch_s("2030-05-01 00:00")
    assert series.time_s.tolist() == [0, 3600, 7200]
    assert series.flow_m3_s == pytest.approx([0.010, 0.020, 0.030])
    assert series.source == "gauge record stenbeck.csv"
    assert series.notes == ()


# --- layout ---


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_each_separator_and_line_end_reads_the_same(read, separator, line_end):
    assert read(CLEAN.replace(",", separator).replace("\n", line_end)).time_s.tolist() == [0, 3600, 7200]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_decimal_comma_is_read_where_the_comma_does_not_part_columns(read, separator):
    series = read(
        f"time{separator}flow_l_s\n2030-05-01 00:00{separator}1,5\n2030-05-01 01:00{separator}2.5\n"
    )
    assert series.flow_m3_s.tolist() == pytest.approx([0.0015, 0.0025])


def test_a_decimal_comma_between_commas_is_reported_not_cut_off(read):
    series = read(CLEAN + "2030-05-01 03:00,12,5\n")
    assert series.time_s.size == 3
    assert "line 5 '2030-05-01 03:00,12,5': more columns than the header" in series.notes[0]


def test_comments_blank_lines_quotes_and_byte_order_mark_are_passed_over(read):
    text = '\ufeff# gauge\n#kept by the mill\n\n"time","flow, measured [l/s]"\n"2030-05-01 00:00","1"\n'
    series = read(text + "# moved the float\n2030-05-01 01:00,2\n")
    assert series.flow_m3_s.tolist() == pytest.approx([0.001, 0.002])
    assert series.notes == ()


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "utf-16"])
def test_each_usual_encoding_is_read(read, encoding):
    text = "Datum;Abfluss [m³/s]\n01.05.2030 00:00;0,5\n13.05.2030 00:00;0,6\n"
    assert read(text.encode(encoding)).flow_m3_s.tolist() == [0.5, 0.6]


# --- columns and unit ---


def test_columns_are_found_among_others(read):
    text = "id,Timestamp,level_mm,Discharge (m3/s),discharge quality\n1,2030-05-01 00:00,50,0.1,ok\n"
    assert read(text + "2,2030-05-01 01:00,60,0.2,ok\n").flow_m3_s.tolist() == [0.1, 0.2]


def test_columns_are_taken_as_named(read):
    text = "logged,time,sensor a,flow_l_s\n2030-05-01 00:00,x,5,9\n2030-05-01 01:00,x,6,9\n"
    series = read(text, time_column="LOGGED", flow_column="sensor a", flow_unit="l/s")
    assert series.flow_m3_s.tolist() == pytest.approx([0.005, 0.006])


def test_a_date_column_and_a_time_column_are_joined(read):
    series = read("Date,Time,Flow_l_s\n2030-05-01,23:00,1\n2030-05-02,00:00,2\n")
    assert (series.start_s, series.time_s.tolist()) == (epoch_s("2030-05-01 23:00"), [0, 3600])


@pytest.mark.parametrize(
    ("header", "arguments", "said"),
    [
        ("when,flow_l_s", {}, "no column is named like a time.*'when', 'flow_l_s'.*time_column"),
        ("time,level_mm", {}, "no column is named like a flow.*flow_column"),
        ("timestamp,timestamp b,flow_l_s", {}, "more than one column may be the time"),
        ("time,flow_a_l_s,flow_b_l_s", {}, "more than one column may be the flow"),
        ("time,flow_l_s", {"time_column": "clock"}, "no column is called 'clock'"),
        ("time,flow_l_s", {"flow_column": "runoff"}, "no column is called 'runoff'"),
        ("time,flow", {}, "does not say the unit.*stream.gauge. flow_unit.*header"),
        ("time,flow [furlong]", {}, "does not say the unit"),
        ("time,flow l/s per km2", {}, "does not say the unit"),
        ("time,flow l/s/km2", {}, "does not say the unit"),
        ("time,flow (uk gpm)", {}, "does not say the unit"),
        ("time,flow m3/s or l/s", {}, "does not say the unit"),
        ("time,flow", {"flow_unit": "buckets"}, "flow_unit 'buckets' is not known; use one of l/s, m3/s"),
        ("time,flow_l_s", {"time_zone": "Nowhere/Land"}, "time_zone 'Nowhere/Land' is not known"),
        ("time,flow_l_s", {"time_zone": "../x"}, "time_zone '../x' is not known"),
        ("2030-05-01 00:00,12", {}, "line 1 holds data, not column names"),
    ],
)
def test_what_cannot_be_told_is_asked_for(read, header, arguments, said):
    with pytest.raises(UserError, match=said):
        read(record(HOURS[:2], ["1,1", "2,2"] if header.count(",") == 2 else [1, 2], header), **arguments)


@pytest.mark.parametrize(
    ("header", "unit", "m3_s"),
    [
        ("flow_l_s", "l/s", 1e-3),
        ("flow [l/s]", "L/s", 1e-3),
        ("flow l/s half-hourly", "l/s", 1e-3),
        ("flow (l s^-1)", "l/s", 1e-3),
        ("q lps", "lps", 1e-3),
        ("Flow in litres per second", "litres per second", 1e-3),
        ("Q (m3/s)", "m3/s", 1.0),
        ("Q (m³ s⁻¹)", "m³/s", 1.0),
        ("q_cumecs", "cumecs", 1.0),
        ("flow_m3_h", "m3/h", 1 / 3600),
        ("flow ml/s", "ml/s", 1e-6),
        ("flow_l_min", "l/min", 1 / 60000),
        ("flow (cfs)", "cfs", 0.028316846592),  # 1 ft = 0.3048 m exactly
        ("flow ft3/s", "ft3/s", 0.028316846592),
        ("flow_gpm", "gpm", 6.30901964e-5),  # 1 US gallon = 231 in3 = 3.785411784 L
    ],
)
def test_each_unit_is_read_from_header_or_argument(read, header, unit, m3_s):
    for text, arguments in ((header, {}), ("flow", {"flow_unit": unit})):
        series = read(record(HOURS[:2], [3, 3], f"time,{text}"), **arguments)
        assert series.flow_m3_s[0] == pytest.approx(3 * m3_s, rel=1e-9)


def test_a_given_unit_wins_over_the_header_and_says_so(read):
    series = read(CLEAN, flow_unit="ml/s")
    assert series.flow_m3_s[0] == pytest.approx(10e-6)
    assert "names another unit; it was read in ml/s" in series.notes[0]


# --- time stamps ---


@pytest.mark.parametrize(
    ("stamp", "means"),
    [
        ("2030-05-14T07:30:15", "2030-05-14 07:30:15"),
        ("2030-05-14T07:30", "2030-05-14 07:30:00"),
        ("2030-05-14 07:30", "2030-05-14 07:30:00"),
        ("2030-05-14", "2030-05-14 00:00:00"),
        ("2030-05-14T07:30:14.7", "2030-05-14 07:30:15"),
        ("14.05.2030 07:30", "2030-05-14 07:30:00"),
        ("14/05/2030 07:30", "2030-05-14 07:30:00"),
        ("14/5/2030 7:30:15", "2030-05-14 07:30:15"),
        ("05/14/2030 07:30", "2030-05-14 07:30:00"),
        # an offset in the stamp: site is UTC+1
        ("2030-05-14T07:30Z", "2030-05-14 08:30:00"),
        ("2030-05-14 07:30:00 UTC", "2030-05-14 08:30:00"),
        ("2030-05-14T07:30+03:00", "2030-05-14 05:30:00"),
        ("2030-05-14 07:30 -0500", "2030-05-14 13:30:00"),
        ("14.05.2030 07:30 +00:00", "2030-05-14 08:30:00"),
    ],
)
def test_each_form_of_time_is_read(read, stamp, means):
    series = read(record(["2030-01-01T00:00+01:00", stamp], [1, 1]), utc_offset_h=1.0)
    assert series.start_s + series.time_s[-1] == epoch_s(means)


def test_the_whole_column_decides_that_the_month_is_first(read):
    series = read(record(["04/01/2030 00:00", "04/02/2030 00:00", "04/13/2030 00:00"]))
    assert series.start_s == epoch_s("2030-04-01")
    assert series.time_s.tolist() == [0, 86400, 12 * 86400]
    assert not any("day" in note and "first" in note for note in series.notes)


@pytest.mark.parametrize("mark", [".", "/"])
def test_an_order_never_decided_is_day_first_and_said(read, mark):
    series = read(record([f"0{day}{mark}04{mark}2030 00:00" for day in (1, 2, 3)]))
    assert (series.start_s, series.days) == (epoch_s("2030-04-01"), 2.0)
    assert "the day was taken as first" in series.notes[0]


def test_contradicting_orders_are_said_and_the_fewer_skipped(read):
    series = read(record(["13/04/2030 00:00", "14/04/2030 00:00", "04/15/2030 00:00", "16/04/2030 00:00"]))
    assert series.time_s.size == 3
    assert "all were read day first" in series.notes[0]
    assert "line 4 '04/15/2030 00:00': time cannot be read" in series.notes[1]


# --- time zones ---


@pytest.mark.parametrize(
    ("time_zone", "local_hour"),
    [(None, 12), ("UTC", 14), ("utc", 14), ("+01:00", 13), ("-0330", 17.5), ("UTC+3", 11), ("CET", 12)],
)
def test_naive_times_are_moved_to_the_sites_standard_time(read, time_zone, local_hour):
    text = "time,flow_l_s\n2030-07-01 12:00,1\n2030-07-01 13:00,1\n"
    series = read(
        text, time_zone=time_zone, utc_offset_h=2.0
    )  # in July CET clocks are at UTC+2, as this site
    assert series.start_s == epoch_s("2030-07-01") + local_hour * 3600


def test_an_offset_in_the_stamp_wins_over_the_zone(read):
    series = read(record(["2030-05-01T00:00Z", "2030-05-01T01:00Z"]), time_zone="-05:00")
    assert series.start_s == epoch_s("2030-05-01")


def test_a_time_column_that_says_utc_is_read_so_and_said(read):
    series = read(record(HOURS[:2], header="time_utc,flow_l_s"), utc_offset_h=1.0)
    assert series.start_s == epoch_s("2030-05-01 01:00")
    assert "says UTC" in series.notes[0]


@pytest.mark.parametrize("step_min", [15, 60])
@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize("change", ["2030-03-31", "2030-10-27"])
def test_a_zone_with_summer_time_is_even_across_both_changes(read, step_min, newest_first, change):
    begin = datetime.fromisoformat(change + "T00:00+00:00") - timedelta(hours=6)
    instants = [begin + timedelta(minutes=step_min * i) for i in range(16 * 60 // step_min)]
    stamps = [f"{instant.astimezone(ZoneInfo('CET')):%Y-%m-%d %H:%M}" for instant in instants]
    series = read(record(stamps[::-1] if newest_first else stamps), time_zone="CET", utc_offset_h=1.0)
    assert series.start_s == int(begin.timestamp()) + 3600
    assert set(np.diff(series.time_s)) == {step_min * 60}
    assert series.time_s.size == len(instants)
    assert len(series.notes) == newest_first


def test_an_hour_that_the_clocks_skip_is_reported(read):
    stamps = [f"2030-03-31 0{hour}:00" for hour in range(5)]
    series = read(record(stamps), time_zone="CET", utc_offset_h=1.0)
    assert series.time_s.tolist() == [0, 3600, 7200, 10800]
    assert "1 of 5 rows skipped (line 4 '2030-03-31 02:00': the clocks of this zone skip" in series.notes[0]
    assert "keeps standard time" in series.notes[1]


# --- rows that are bad, twice, late, missing ---


@pytest.mark.parametrize(
    ("row", "text", "why"),
    [
        ("yesterday,5", "'yesterday'", "time cannot be read"),
        ("2030-13-01 00:00,5", "'2030-13-01 00:00'", "time cannot be read"),
        ("1030-05-01 00:00,5", "'1030-05-01 00:00'", "time cannot be read"),
        (",5", "''", "time cannot be read"),
        ("2030-05-01 03:00,", "''", "flow is empty"),
        ("2030-05-01 03:00", "'2030-05-01 03:00'", "too few columns"),
        ("2030-05-01 03:00,NaN", "'NaN'", "flow is not a number"),
        ("2030-05-01 03:00,ice", "'ice'", "flow is not a number"),
        ("2030-05-01 03:00,1_0", "'1_0'", "flow is not a number"),
        ("2030-05-01 03:00,-5", "'-5'", "flow is negative"),
        ("2030-05-01 03:00,inf", "'inf'", "flow is above 1000 m3/s"),
        ("2030-05-01 03:00,9999999", "'9999999'", "flow is above 1000 m3/s"),
    ],
)
def test_a_bad_row_is_skipped_and_reported(read, row, text, why):
    series = read(CLEAN + row + "\n")
    assert series.time_s.size == 3
    assert series.notes == (f"1 of 4 rows skipped (line 5 {text}: {why}).",)


def test_of_many_bad_rows_the_first_three_are_shown(read):
    text = CLEAN + "no,1\n2030-05-01 03:00,bad\nno,2\nno,3\nno,4\n"
    (note,) = read(text).notes
    assert note.startswith("5 of 8 rows skipped (first line 5 'no'")
    assert [f"line {line} " in note for line in range(5, 10)] == [True, True, True, False, False]


def test_a_stray_quote_spoils_one_row_only(read):
    series = read(record(HOURS[:3], ['"1', 2, 3]) + record(HOURS[3:6]).split("\n", 1)[1])
    assert series.time_s.size >= 5


def test_duplicates_give_their_mean_and_are_reported(read):
    stamps = [HOURS[0], HOURS[1], HOURS[1], HOURS[2], HOURS[3], HOURS[3], HOURS[3]]
    series = read(record(stamps, [5, 10, 20, 7, 4, 4, 4]))
    assert series.flow_m3_s.tolist() == pytest.approx([0.005, 0.015, 0.007, 0.004])
    assert series.notes == (
        "2 instants given more than once (5 rows), first 2030-05-01 01:00; the mean was used.",
    )


def test_rows_out_of_order_are_sorted_and_reported(read):
    series = read(record([HOURS[0], HOURS[2], HOURS[1], HOURS[3]]))
    assert series.flow_m3_s.tolist() == pytest.approx([0.001, 0.003, 0.002, 0.004])
    assert series.notes == ("1 row earlier than the row before, first at line 4; all were sorted.",)


def test_a_record_that_runs_backwards_is_said_in_one_note(read):
    series = read(record(HOURS[3::-1]))
    assert series.flow_m3_s.tolist() == pytest.approx([0.004, 0.003, 0.002, 0.001])
    assert series.notes == ("The record runs backwards in time; it was sorted.",)


def test_irregular_spacing_is_kept(read):
    stamps = ["2030-05-01 00:00", "2030-05-01 00:07", "2030-05-01 01:00", "2030-05-01 03:30"]
    series = read(record(stamps))
    assert series.time_s.tolist() == [0, 420, 3600, 12600]
    assert series.notes == ()


def test_a_gap_is_bridged_and_reported(read):
    series = read(record([HOURS[0], HOURS[1], HOURS[2], HOURS[8]], [1, 1, 10, 40]))
    assert series.notes == (
        "Bridged by a straight line: 1 gap, from 2030-05-01 02:00 to 2030-05-01 08:00 (6.0 h).",
    )
    assert series.resampled(3600)[5] == 0.025


@pytest.mark.parametrize(
    ("spacing_min", "missing_min", "told"), [(15, 180, 0), (15, 181, 1), (120, 360, 0), (120, 361, 1)]
)
def test_a_gap_is_longer_than_three_spacings_and_three_hours(read, spacing_min, missing_min, told):
    begin = datetime(2030, 5, 1)
    minutes = [spacing_min * i for i in range(10)]
    minutes += [minutes[-1] + missing_min]
    series = read(record([f"{begin + timedelta(minutes=minute):%Y-%m-%d %H:%M}" for minute in minutes]))
    assert len(series.notes) == told


def test_of_many_gaps_number_sum_and_longest_are_told(read):
    days = [f"2030-05-{day:02} {hour}" for day in (1, 2, 3, 5, 6) for hour in ("00:00", "01:00", "02:00")]
    (note,) = read(record(days)).notes
    assert note == (
        "Bridged by straight lines: 4 gaps, 4.7 days in all, the longest from 2030-05-03 02:00 to "
        "2030-05-05 00:00 (46.0 h)."
    )


def test_gaps_are_listed_and_filled_as_a_rule(read):
    series = read(record([HOURS[0], HOURS[1], HOURS[2], HOURS[8], HOURS[9]]))
    assert (series.gaps, series.gaps_filled) == (((2 * 3600, 8 * 3600),), True)
    assert read(CLEAN).gaps == ()


def test_a_gap_left_open_has_no_flow_and_says_so(read):
    series = read(
        record([HOURS[0], HOURS[1], HOURS[2], HOURS[8], HOURS[9]], [1, 1, 10, 40, 40]), fill_gaps=False
    )
    assert series.notes == ("Left open: 1 gap, from 2030-05-01 02:00 to 2030-05-01 08:00 (6.0 h).",)
    flow = series.resampled(3600)
    assert np.flatnonzero(np.isnan(flow)).tolist() == [3, 4, 5, 6, 7]
    assert (flow[2], flow[8]) == (0.010, 0.040)


# --- files that are no record ---


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"# only talk\n\n", "the file is empty"),
        (b"time,flow_l_s\n", "0 usable rows found, at least 2"),
        (b"time,flow_l_s\n2030-05-01 00:00,1\nx,2\n", "1 usable row found.*line 3 'x'"),
        (b"time,flow_l_s\n2030-05-01 00:00,1\n2030-05-01 00:00,2\n", "one instant, 2030-05-01 00:00"),
        (b"\x89PNG\x00\x01\x02", "not a text file"),
    ],
)
def test_a_file_without_a_record_is_refused(read, content, said):
    with pytest.raises(UserError, match=said):
        read(content)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(UserError, match="no such file"):
        read_gauge_csv(tmp_path / "nothing.csv")
    with pytest.raises(UserError, match="folder"):
        read_gauge_csv(tmp_path)
    with pytest.raises(UserError, match="cannot be read"):
        read_gauge_csv("with\0nul.csv")


def test_a_quarter_hourly_year_is_read_whole(read):
    begin = datetime(2030, 1, 1)
    stamps = [f"{begin + timedelta(minutes=15 * i):%d.%m.%Y %H:%M}" for i in range(35040)]
    text = record(stamps, [1] * 35040)
    series = read(text, time_zone="UTC")
    assert (series.time_s.size, series.notes) == (35040, ())


CELL = st.one_of(
    st.sampled_from(
        ["", "5", "1,5", "-1", "nan", "1e400", '"', "01/02/2030 10:00", "31.12.2030", "2030-05-01T00:00Z"]
    ),
    st.datetimes().map(str),
    st.floats().map(str),
    st.text(max_size=12),
)
LIKE_A_RECORD = st.builds(
    lambda mark, header, rows: mark.join(header) + "\n" + "\n".join(mark.join(row) for row in rows),
    st.sampled_from([",", ";", "\t"]),
    st.permutations(["date", "flow [l/s]", "time", "note"]),
    st.lists(st.lists(CELL, min_size=1, max_size=5), max_size=12),
)


@settings(max_examples=300, deadline=None)
@given(
    content=st.one_of(
        st.binary(max_size=200),
        st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")),
        LIKE_A_RECORD.map(lambda text: text.encode("utf-8", "replace")),
    ),
    time_zone=st.sampled_from([None, "UTC", "CET", "+14:00"]),
)
def test_no_file_raises_anything_but_a_user_error(tmp_path_factory, content, time_zone):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content)
    try:
        series = read_gauge_csv(path, time_zone=time_zone, utc_offset_h=1.0)
    except UserError:
        return
    assert np.isfinite(series.flow_m3_s).all()
    assert series.resampled(10**7).size >= 1
