"""Real time from starts, uptime and clock: exact between settings, bracketed without a clock."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becksim.logdates import BASES, BY_HAND_S, DRIFT, EPOCH, Dated, Stamp, as_datetime, date_stamps

DAY_S = 86_400
T0_S = 800_000_000


def at(seconds):
    return as_datetime(T0_S + seconds)


def stamps(*rows):
    """Rows of boot, uptime, and what the clock showed and had shown, both from T0_S."""
    found = []
    for number, (boot, uptime_s, *clock) in enumerate(rows):
        shown_s = T0_S + clock[0] if clock and clock[0] is not None else 0
        old_s = None
        if len(clock) == 2:
            old_s = 0 if clock[1] is None else T0_S + clock[1]
        found.append(Stamp(number, boot, uptime_s, shown_s, old_s))
    return found


def test_records_before_and_after_a_setting_are_counted_from_it():
    dated, notes = date_stamps(stamps((1, 0), (1, 60), (1, 100, 0, None), (1, 160), (1, 220)))
    assert [one.time for one in dated] == [at(-100), at(-40), at(0), at(60), at(120)]
    assert {one.basis for one in dated} == {"clock"}
    assert all(one.earliest == one.time == one.latest for one in dated)
    assert notes == []


def test_drift_between_two_settings_in_one_start_is_spread_evenly():
    dated, notes = date_stamps(
        stamps((1, 0, 0, None), (1, 25_000), (1, 50_000), (1, 100_000, 100_040, 100_000))
    )
    assert [one.time for one in dated] == [at(0), at(25_010), at(50_020), at(100_040)]
    assert notes == []


def test_a_minutes_own_clock_is_corrected_by_the_next_setting_over_a_power_cut_too():
    rows = ((1, 0, 0, None), (1, 50_000, 50_000), (2, 100, 100_000), (2, 200, 100_140, 100_100))
    dated, notes = date_stamps(stamps(*rows))
    assert [one.time for one in dated] == [at(0), at(50_020), at(100_040), at(100_140)]
    assert notes == []


@pytest.mark.parametrize(("off_s", "word"), [(DAY_S, "ahead"), (-3_600, "back")])
def test_a_wrong_setting_is_mended_by_the_one_after_it_and_said(off_s, word):
    dated, notes = date_stamps(
        stamps(
            (1, 0), (1, 100, -off_s, None), (1, 160, 60 - off_s), (1, 200, 100, 100 - off_s), (1, 260, 160)
        )
    )
    assert [one.time for one in dated] == [at(-100), at(0), at(60), at(100), at(160)]
    assert len(notes) == 1
    assert notes[0].startswith(f"record 3: the clock was set {word} by {abs(off_s)} s, more than it can have")


def test_starts_without_a_clock_lie_between_their_neighbours_and_it_is_said():
    dated, notes = date_stamps(
        stamps((1, 0, 0, None), (1, 100, 100), (2, 0), (2, 300), (3, 0), (3, 50), (4, 10, 1_010))
    )
    assert [one.basis for one in dated] == ["clock"] * 2 + ["between"] * 4 + ["clock"]
    # Boot 4 began at 1000; boots 2 and 3 took 300 and 50 of the 900 seconds since 100.
    assert dated[2] == Dated(at(375), at(100), at(650), "between")
    assert dated[3] == Dated(at(675), at(400), at(950), "between")
    assert dated[4] == Dated(at(675), at(400), at(950), "between")
    assert notes == [
        "boot 2 (records 2 to 3): its clock was never set; it lies between its neighbours, "
        f"{at(100)} and {at(950)}.",
        "boot 3 (records 4 to 5): its clock was never set; it lies between its neighbours, "
        f"{at(400)} and {at(1_000)}.",
    ]


def test_at_the_ends_only_one_side_is_known():
    dated, notes = date_stamps(stamps((1, 40), (2, 0, 100, None), (3, 60)))
    assert dated[0] == Dated(at(100), None, at(100), "before")
    assert dated[2] == Dated(at(160), at(160), None, "after")
    assert "ended before" in notes[0]
    assert "began after" in notes[1]


def test_no_clock_at_all_is_no_time_at_all():
    dated, notes = date_stamps(stamps((1, 0), (1, 60), (2, 5)))
    assert dated == [Dated(None, None, None, "none")] * 3
    assert len(notes) == 2


def test_nothing_is_nothing():
    assert date_stamps([]) == ([], [])


def test_neighbours_that_leave_no_room_give_no_time():
    dated, notes = date_stamps(stamps((1, 0, 0, None), (2, 5_000), (3, 0, 1_000)))
    assert dated[1] == Dated(None, None, None, "none")
    assert notes == [
        "boot 2 (records 1 to 1): its clock was never set, and the clocks of its neighbours leave no room "
        "for it."
    ]


def test_clocks_in_the_wrong_order_are_said():
    _, notes = date_stamps(stamps((1, 0, 5_000, None), (2, 0, 0)))
    assert notes == [
        f"boot 2 seems to begin at {at(0)}, before boot 1 ends at {at(5_000)}: one of the clocks was wrong."
    ]


def test_a_clock_that_jumps_is_said_and_each_record_keeps_its_own():
    dated, notes = date_stamps(stamps((1, 0, 0, None), (1, 60, 60), (1, 90), (1, 120, 9_120), (1, 150)))
    assert [one.time for one in dated] == [at(0), at(60), at(90), at(9_120), at(9_150)]
    assert notes == [
        "boot 1: between 60 and 120 s after its start the clock jumped by 9000 s without being set; "
        "each record keeps what its own clock showed."
    ]


def test_an_event_that_stands_before_the_minute_it_ended_is_dated_by_its_own_second():
    dated, _ = date_stamps(stamps((1, 60, 60, None), (1, 125), (1, 120, 120), (1, 130), (1, 180, 180)))
    assert [one.time for one in dated] == [at(60), at(125), at(120), at(130), at(180)]


def test_the_same_number_after_a_start_is_another_start():
    rows = [Stamp(0, 7, 60, T0_S), Stamp(1, 7, 0, starts=True), Stamp(2, 7, 30)]
    dated, _ = date_stamps(rows)
    assert [one.basis for one in dated] == ["clock", "after", "after"]


# -- made-up lives --------------------------------------------------------------------------------------


@st.composite
def lives(draw):
    """Stamps of several starts with their true times; clock and count of seconds drift steadily."""
    count_ppm, clock_ppm = draw(st.integers(-100, 100)), draw(st.integers(-100, 100))
    battery_backed = draw(st.booleans())
    now_s, rows, truth = float(T0_S), [], []
    clock = None  # (true time and reading when it was last set)
    for boot in range(1, draw(st.integers(1, 5)) + 1):
        started_s = now_s = now_s + draw(st.integers(0, 200_000))
        clock = clock if battery_backed else None
        for what in draw(
            st.lists(st.sampled_from(["minute", "minute", "event", "set"]), min_size=1, max_size=8)
        ):
            now_s += draw(st.integers(1, 40_000))
            uptime_s = int((now_s - started_s) * (1 + count_ppm * 1e-6))
            shown_s = 0 if clock is None else int(clock[1] + (now_s - clock[0]) * (1 + clock_ppm * 1e-6))
            number = len(rows)
            if what == "set":
                rows.append(Stamp(number, boot, uptime_s, round(now_s), shown_s))
                clock = (now_s, round(now_s))
            else:
                rows.append(Stamp(number, boot, uptime_s, shown_s if what == "minute" else 0))
            truth.append(now_s)
    return rows, truth


@given(lives())
def test_every_time_is_as_near_as_drift_allows_and_every_bracket_holds(life):
    rows, truth = life
    dated, notes = date_stamps(rows)
    sets = [place for place, row in enumerate(rows) if row.old_s is not None]
    unclear = {note.split()[1] for note in notes}
    for place, (one, true_s) in enumerate(zip(dated, truth, strict=True)):
        assert one.basis in BASES
        true = EPOCH + timedelta(seconds=true_s)
        drifting_s = truth[-1] - truth[0]
        slack = timedelta(seconds=3 + 250e-6 * drifting_s)
        if one.earliest is not None:
            assert one.earliest - slack <= true
        if one.latest is not None:
            assert true <= one.latest + slack
        if one.basis == "clock":
            assert abs(one.time - true) <= slack
            after = [at for at in sets if at >= place]
            before = [at for at in sets if at <= place]
            if after and before and rows[after[0]].boot == rows[place].boot == rows[before[-1]].boot:
                assert abs(one.time - true) <= timedelta(seconds=3)  # both clock and count are steady
        else:
            assert str(rows[place].boot) in unclear


@given(st.integers(1, 400_000), st.floats(-1, 1))
def test_what_a_clock_can_drift_is_spread_and_never_runs_backwards(length_s, share):
    ahead_s = int(share * (BY_HAND_S + DRIFT * length_s))
    middle_s = length_s // 2
    dated, notes = date_stamps(
        stamps((1, 0, 0, None), (1, middle_s, middle_s), (1, length_s, length_s + ahead_s, length_s))
    )
    assert notes == []
    assert dated[2].time == at(length_s + ahead_s)
    if ahead_s >= -length_s:
        assert dated[0].time <= dated[1].time <= dated[2].time


def test_seconds_since_2000_are_whole_dates():
    assert as_datetime(86_399.6) == datetime(2000, 1, 2)
