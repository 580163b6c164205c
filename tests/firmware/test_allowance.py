"""How far the storage pond may fall within a night and a week."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.allowance import HOUR_MS, Allowance, Window
from becklight.orders import HIGHEST, LOWEST
from becklight.readings import UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.settings import NO_FALL_LIMIT_MM
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
MINUTE_MS = 60_000


class Pond:
    """What an allowance reads of the settings."""

    def __init__(self, night_fall_mm=NO_FALL_LIMIT_MM, week_fall_mm=NO_FALL_LIMIT_MM):
        self.night_fall_mm = night_fall_mm
        self.week_fall_mm = week_fall_mm


class Watch:
    """An allowance asked at instants that rise from the wrap's eve."""

    def __init__(self, **falls_mm):
        self.allowance = Allowance(Pond(**falls_mm))
        self.now_ms = 0

    def see(self, level_mm, hours=0.0):
        """Whether it is drawn, so many hours later; asked every 15 minutes at this level."""
        for _ in range(round(4 * hours)):
            self.now_ms += HOUR_MS // 4
            self.allowance.see(ticks_add(WRAP_MS, self.now_ms), level_mm)
        if hours == 0.0:
            self.allowance.see(ticks_add(WRAP_MS, self.now_ms), level_mm)
        return self.allowance.drawn


def test_a_night_may_draw_its_allowance_and_no_more():
    watch = Watch(night_fall_mm=100)
    assert not watch.see(1_000)
    assert not watch.see(901, 8)
    assert watch.see(900)


def test_it_counts_from_the_highest_level_of_the_last_day_though_it_was_not_the_first():
    watch = Watch(night_fall_mm=100)
    watch.see(800)
    watch.see(950, 3)
    assert not watch.see(851, 5)
    assert watch.see(850)


def test_what_runs_in_again_is_given_back_by_halves_and_once_in_an_hour():
    watch = Watch(night_fall_mm=100)
    watch.see(1_000)
    watch.see(900)
    assert watch.see(949, 2)
    assert watch.see(950, 0.25)
    assert watch.see(950, 0.5)
    assert not watch.see(950, 0.25)  # the hour is over
    assert not watch.see(901)
    assert watch.see(900)


def test_as_the_night_moves_on_it_may_be_drawn_again():
    watch = Watch(night_fall_mm=100)
    watch.see(1_000)
    for hour in range(1, 11):
        watch.see(1_000 - 10 * hour, 1)
    assert watch.see(900, 14)
    # The hours of 1000 to 960 mm pass out of the window: half is there from 950 on.
    assert [watch.see(900, 1) for _ in range(6)] == [True, True, True, True, False, False]
    assert watch.allowance.night.top_mm == 940


def test_the_night_is_a_day_and_at_most_an_hour():
    for minutes in range(0, 60, 10):
        watch = Watch(night_fall_mm=100)
        watch.see(500)
        watch.now_ms = minutes * MINUTE_MS
        watch.see(1_000)
        watch.see(899)
        for later in range(0, 26 * 60, 10):
            watch.now_ms = (minutes + later) * MINUTE_MS
            drawn = watch.see(899)
            assert drawn or later > 24 * 60
        assert not drawn


def test_the_week_is_seven_days_and_at_most_six_hours():
    watch = Watch(week_fall_mm=300)
    watch.see(1_000)
    for _ in range(5):
        assert not watch.see(750, 24)
    assert watch.see(700, 0.25)
    assert watch.see(700, 2 * 24 - 0.25)
    assert watch.allowance.week.top_mm == 1_000  # the first reading is a week old
    assert watch.see(700, 5.75)
    assert not watch.see(700, 0.25)
    assert watch.allowance.week.top_mm == 750


def test_either_alone_stops_it():
    watch = Watch(night_fall_mm=100, week_fall_mm=150)
    watch.see(1_000)
    assert watch.see(900)
    assert not watch.see(900, 26)
    assert watch.allowance.low_mm == 851
    assert watch.see(850, 0.25)
    assert not watch.allowance.night.drawn
    assert watch.allowance.low_mm == 801


def test_while_the_level_is_unknown_the_hours_go_on_and_what_was_drawn_stays_so():
    watch = Watch(night_fall_mm=100)
    watch.see(1_000)
    watch.see(900)
    assert watch.see(UNKNOWN, 20)
    assert watch.see(900)
    assert watch.see(UNKNOWN, 5)
    assert not watch.see(900)
    assert not watch.see(801, 1)
    assert watch.see(800)


def test_after_a_start_it_counts_from_the_level_found():
    watch = Watch(night_fall_mm=100)
    assert not watch.see(UNKNOWN, 3)
    assert not watch.see(600)
    assert not watch.see(501)
    assert watch.see(500)


def test_without_a_limit_nothing_is_counted_and_nothing_watched():
    allowance = Watch().allowance
    allowance.see(WRAP_MS, 900)
    assert (allowance.limited, allowance.drawn) == (False, False)
    assert (allowance.low_mm, allowance.high_mm) == (LOWEST, HIGHEST)
    assert allowance.left_ms(WRAP_MS) == NO_LIMIT
    allowance.see(WRAP_MS, -30_000)
    assert not allowance.drawn


@pytest.mark.parametrize("falls_mm", [{"night_fall_mm": 29_999}, {"week_fall_mm": 29_999}])
def test_one_limit_is_enough(falls_mm):
    assert Watch(**falls_mm).allowance.limited


def test_what_is_drawn_already_is_watched_no_more():
    watch = Watch(night_fall_mm=100, week_fall_mm=100)
    watch.see(1_000)
    assert (watch.allowance.low_mm, watch.allowance.high_mm) == (901, 1_000)
    watch.see(890)
    assert (watch.allowance.low_mm, watch.allowance.high_mm) == (LOWEST, 1_000)


def test_it_wants_to_be_asked_when_the_hour_is_over():
    watch = Watch(night_fall_mm=100)
    assert watch.allowance.left_ms(WRAP_MS) == NO_LIMIT
    watch.see(1_000)
    assert watch.allowance.left_ms(ticks_add(WRAP_MS, 20 * MINUTE_MS)) == 40 * MINUTE_MS
    watch.see(1_000, 2.25)
    assert watch.allowance.left_ms(ticks_add(WRAP_MS, watch.now_ms)) == 45 * MINUTE_MS


def test_the_smallest_allowance_comes_back_whole():
    window = Window(1, 24, 1)
    window.see(500)
    window.see(499)
    window.hour_over()
    window.see(499)
    assert window.drawn
    window.hour_over()
    window.see(500)
    assert not window.drawn


LEVELS = st.lists(
    st.tuples(st.integers(1, 1_500), st.one_of(st.just(UNKNOWN), st.integers(300, 900))), max_size=30
)


@settings(max_examples=100)
@given(LEVELS, st.integers(1, 300), st.integers(0, 300))
def test_while_it_is_not_drawn_the_level_has_fallen_by_less_in_any_day_and_week(rows, night_mm, more_mm):
    watch = Watch(night_fall_mm=night_mm, week_fall_mm=night_mm + more_mm)
    seen = []
    for minutes, level_mm in rows:
        # Somewhere in between, too: the engine never stays away for longer than an hour.
        for left in range(minutes, 0, -30):
            watch.now_ms += min(30, left) * MINUTE_MS
            drawn = watch.see(level_mm)
            if level_mm == UNKNOWN:
                continue
            seen.append((watch.now_ms, level_mm))
            for hours, fall_mm in ((24, night_mm), (168, night_mm + more_mm)):
                top_mm = max(mm for ms, mm in seen if watch.now_ms - ms <= hours * HOUR_MS)
                assert drawn or top_mm - level_mm < fall_mm


@settings(max_examples=100)
@given(LEVELS, st.integers(1, 300), st.integers(0, 300))
def test_inside_its_bands_and_before_the_hour_is_over_asking_changes_nothing(rows, night_mm, more_mm):
    falls_mm = {"night_fall_mm": night_mm, "week_fall_mm": night_mm + more_mm}
    seldom, often = Allowance(Pond(**falls_mm)), Allowance(Pond(**falls_mm))
    now_ms, asked_ms, before_mm = 0, 0, UNKNOWN
    for minutes, level_mm in rows:
        for _ in range(0, minutes, 5):
            instant_ms = ticks_add(WRAP_MS, now_ms)
            often.see(instant_ms, level_mm)
            lost = UNKNOWN in (before_mm, level_mm)
            if lost or now_ms >= asked_ms or not seldom.low_mm <= level_mm <= seldom.high_mm:
                seldom.see(instant_ms, level_mm)
                asked_ms = now_ms + seldom.left_ms(instant_ms)
            assert often.drawn == seldom.drawn
            before_mm = level_mm
            now_ms += 5 * MINUTE_MS
