"""A level that falls where nothing is let past."""

import pytest

from becklight.readings import UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.sinking import WINDOW_MS, Sinking
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
OUTLET_MM = 80  # of the plant in conftest.py
SINK_MM = 30
MINUTE_MS = 60_000
WINDOW_MINUTES = WINDOW_MS // MINUTE_MS


class Bench:
    """Asked every minute."""

    def __init__(self, read):
        self.sinking = Sinking(read)
        self.now_ms = 0

    def show(self, minutes, level_mm, fall_mm_h=0, resting=True):
        for minute in range(minutes):
            shown_mm = level_mm if level_mm == UNKNOWN else level_mm - fall_mm_h * minute // 60
            self.sinking.judge(ticks_add(WRAP_MS, self.now_ms), shown_mm, resting)
            self.now_ms += MINUTE_MS
        return self.sinking.found


@pytest.fixture
def bench(settings_of):
    return Bench(settings_of(level_sink_mm=SINK_MM))


def test_one_that_sinks_further_than_it_can_is_found(bench):
    assert not bench.show(1, 70)
    assert not bench.show(60, 70 - SINK_MM)
    assert bench.show(1, 70 - SINK_MM - 1)


@pytest.mark.parametrize(("fall_mm_h", "found"), [(5, False), (6, True), (40, True)])
def test_what_counts_is_the_fall_in_six_hours(bench, fall_mm_h, found):
    assert bench.show(3 * WINDOW_MINUTES, 79, fall_mm_h) == found


@pytest.mark.parametrize(
    ("level_mm", "resting"), [(OUTLET_MM + 400, True), (70, False)], ids=["above the outlet", "jets draw"]
)
def test_a_fall_that_the_plant_can_make_is_not(bench, level_mm, resting):
    assert not bench.show(300, level_mm, 60, resting)


@pytest.mark.parametrize(("level_mm", "resting"), [(50, False), (UNKNOWN, True), (OUTLET_MM + 1, True)])
def test_the_count_begins_anew_when_the_jets_have_drawn_or_the_level_was_lost(bench, level_mm, resting):
    bench.show(1, 70)
    bench.show(1, level_mm, resting=resting)
    assert not bench.show(1, 39)


def test_it_stays_found_until_the_level_is_back_at_an_outlet(bench):
    bench.show(1, 70)
    assert bench.show(1, 30)
    assert bench.show(3 * WINDOW_MINUTES, 75)
    assert bench.show(1, UNKNOWN)
    assert bench.show(1, OUTLET_MM)
    assert not bench.show(1, OUTLET_MM + 1)


def test_without_a_limit_it_is_never_found(settings_of):
    assert not Bench(settings_of(level_sink_mm=0)).show(600, 79, 60)


def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of):
    read = settings_of(level_sink_mm=SINK_MM)
    often, seldom = Sinking(read), Sinking(read)
    due, asked = 0, 0
    levels_mm = [85 - minute // 40 + minute * 7 % 3 for minute in range(2_400)]
    levels_mm += [40, 60, 79, 81, 82, 80, 49, 50] * 200
    finds = set()
    for minute, level_mm in enumerate(levels_mm):
        now_ms = ticks_add(WRAP_MS, MINUTE_MS * minute)
        often.judge(now_ms, level_mm, True)
        if minute >= due or not seldom.low <= level_mm <= seldom.high:
            seldom.judge(now_ms, level_mm, True)
            left_ms = seldom.left_ms(now_ms)
            due = minute + (10_000 if left_ms == NO_LIMIT else -(-left_ms // MINUTE_MS))
            asked += 1
        assert seldom.found == often.found
        finds.add(often.found)
    assert finds == {False, True}
    assert asked < len(levels_mm) // 2
