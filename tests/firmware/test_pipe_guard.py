"""The pipe's guard: the pressure against what is expected."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import pipe_guard, reasons
from becklight.facts import Facts
from becklight.orders import Orders
from becklight.pipe_guard import FAULTS, PipeGuard
from becklight.readings import LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

# Of the plant built in conftest.py: static 5000 mbar, floor 50 mm, lowest pressure of any set 3000 mbar.
STATIC_MBAR = 5_000
WRAP_MS = PERIOD_MS - 65_000
MINUTE_MS = 60_000


class Plant:
    """A guard, what it is shown, and the orders it narrows."""

    def __init__(self, read):
        self.position = [0] * len(read.valves)
        self.guard = PipeGuard(read, self.position)
        self.facts = Facts()
        self.facts.values[LEVEL_MM] = 100
        self.orders = Orders(len(read.valves))
        self.now_ms = 0

    def open(self, *position, expected_mbar=4_000, drawn_ml_s=4_000):
        self.position[:] = [*position, *[0] * (len(self.position) - len(position))]
        self.facts.closed = not any(position)
        self.facts.expected_mbar = STATIC_MBAR if self.facts.closed else expected_mbar
        self.facts.drawn_ml_s = 0 if self.facts.closed else drawn_ml_s

    def show(self, now_ms, mbar):
        """The ceiling and the fault at this instant."""
        self.now_ms = now_ms
        self.facts.now_ms = ticks_add(WRAP_MS, now_ms)
        self.facts.values[PRESSURE_MBAR] = mbar
        self.guard.judge(self.facts)
        return self.guard.ceiling_ml_s, FAULTS[self.guard.fault]

    def hold(self, minutes, mbar):
        """Shown once a second (every ten seconds in long spells)."""
        end_ms = self.now_ms + minutes * MINUTE_MS
        step_ms = 1_000 if minutes < 5 else 10_000
        while self.now_ms < end_ms:
            answer = self.show(self.now_ms + step_ms, mbar)
        return answer

    def within(self):
        self.orders.widen()
        self.guard.watch(self.orders)
        return self.orders.within(self.facts.values)


@pytest.fixture
def plant(settings_of):
    return Plant(settings_of(3, 1))


def test_every_fault_has_its_name():
    places = [pipe_guard.NONE, pipe_guard.HIGH, pipe_guard.NO_FLOW, pipe_guard.LOW, pipe_guard.BURST]
    assert [FAULTS[place] for place in places] == ["none", "high", "no_flow", "low", "burst"]
    assert len(FAULTS) == len(places)


# -- much lower than expected -----------------------------------------------------------------------


def test_low_pressure_takes_a_quarter_off_after_the_hold_and_again(plant):
    plant.open(1_000)
    assert plant.show(0, 3_399) == (NO_LIMIT, "none")
    assert plant.show(14_999, 3_399) == (NO_LIMIT, "none")
    assert plant.show(15_000, 3_399) == (3_000, "low")
    plant.facts.drawn_ml_s = 3_000
    assert plant.show(29_999, 3_399) == (3_000, "low")
    assert plant.show(30_000, 3_399) == (2_250, "low")
    assert plant.guard.reason == reasons.PRESSURE_LOW


def test_85_percent_of_what_is_expected_is_not_low(plant):
    plant.open(1_000)
    assert plant.hold(10, 3_400) == (NO_LIMIT, "none")


@pytest.mark.parametrize(("mbar", "answer"), [(3_000, (NO_LIMIT, "none")), (2_999, (3_000, "low"))])
def test_on_the_way_only_less_than_any_set_explains_is_low(plant, mbar, answer):
    plant.open(1_000)
    plant.facts.moving = True  # whatever is expected does not count
    plant.show(0, mbar)
    assert plant.show(15_000, mbar) == answer


def test_a_short_dip_of_pressure_changes_nothing(plant):
    plant.open(1_000)
    for now_ms in range(0, 300_000, 10_000):
        assert plant.show(now_ms, 3_000 if now_ms % 20_000 == 0 else 4_000) == (NO_LIMIT, "none")


def test_the_limit_is_lifted_after_ten_holds_of_good_pressure(plant):
    plant.open(1_000)
    plant.show(0, 3_000)
    assert plant.show(15_000, 3_000) == (3_000, "low")
    assert plant.show(20_000, 4_000) == (3_000, "low")
    assert plant.show(169_999, 4_000) == (3_000, "low")
    assert plant.show(170_000, 4_000) == (NO_LIMIT, "none")


def test_what_is_not_low_on_the_way_does_not_lift_the_limit(plant):
    plant.open(1_000)
    plant.show(0, 3_200)
    assert plant.show(15_000, 3_200) == (3_000, "low")
    plant.facts.expected_mbar = UNKNOWN
    assert plant.hold(20, 3_200) == (3_000, "low")


def test_an_unknown_pressure_neither_limits_nor_lifts(plant):
    plant.open(1_000)
    assert plant.hold(5, UNKNOWN) == (NO_LIMIT, "none")
    plant.show(400_000, 3_000)
    plant.show(415_000, 3_000)
    assert plant.hold(20, UNKNOWN) == (3_000, "low")


# -- a burst ----------------------------------------------------------------------------------------


def test_half_the_pressure_gone_for_five_seconds_closes_everything(plant):
    plant.open(1_000)
    assert plant.show(0, 1_999) == (NO_LIMIT, "none")
    assert plant.show(4_999, 1_999) == (NO_LIMIT, "none")
    assert plant.show(5_000, 1_999) == (0, "burst")
    assert plant.guard.reason == reasons.BURST


@pytest.mark.parametrize("expected_mbar", [UNKNOWN, 4_000])
def test_half_the_pressure_is_not_a_burst(plant, expected_mbar):
    plant.open(1_000, expected_mbar=expected_mbar)
    half_mbar = 1_500 if expected_mbar == UNKNOWN else 2_000
    plant.hold(2, half_mbar)
    assert plant.guard.fault == pipe_guard.LOW
    plant.hold(1, half_mbar - 1)
    assert plant.guard.fault == pipe_guard.BURST


def test_a_surge_shorter_than_the_hold_is_no_burst(plant):
    plant.open(1_000)
    for now_ms in range(0, 120_000, 1_000):
        assert plant.show(now_ms, 1_000 if now_ms % 5_000 else 4_000) == (NO_LIMIT, "none")


def test_a_burst_stands_until_the_owner_has_looked(plant):
    plant.open(1_000)
    plant.hold(1, 1_000)
    plant.open()
    for mbar in (STATIC_MBAR, UNKNOWN, 0):
        assert plant.hold(60, mbar) == (0, "burst")
    plant.guard.clear()
    assert plant.show(plant.now_ms + 1_000, STATIC_MBAR) == (NO_LIMIT, "none")


def test_an_intake_below_its_floor_draws_air_and_has_not_burst(plant):
    plant.open(1_000)
    plant.facts.values[LEVEL_MM] = 49
    plant.hold(2, 1_000)
    assert plant.guard.fault == pipe_guard.LOW
    plant.facts.values[LEVEL_MM] = UNKNOWN  # nothing says so
    assert plant.hold(1, 1_000) == (0, "burst")


def test_far_below_static_with_every_jet_closed_is_a_burst_after_a_minute(plant):
    plant.open()
    assert plant.show(0, 3_999) == (NO_LIMIT, "none")
    assert plant.show(59_999, 3_999) == (NO_LIMIT, "none")
    assert plant.show(60_000, 3_999) == (0, "burst")


@pytest.mark.parametrize(("mbar", "level_mm", "moving"), [(4_000, 100, 0), (0, 49, 0), (3_999, 100, 1)])
def test_closed_and_no_burst(plant, mbar, level_mm, moving):
    plant.open()
    plant.facts.values[LEVEL_MM] = level_mm
    plant.facts.moving = bool(moving)
    assert plant.hold(60, mbar) == (NO_LIMIT, "none")


def test_a_pipe_that_fills_has_not_burst_but_one_that_stops_filling_has(plant):
    plant.open()
    for second in range(900):  # a quarter of an hour to fill three quarters of the fall
        assert plant.show(1_000 * second, 4 * second) == (NO_LIMIT, "none")
    assert plant.show(940_000, 3_600) == (NO_LIMIT, "none")
    assert plant.show(960_000, 3_600) == (0, "burst")  # less than a hundredth of static more in a minute


# -- no effect of opening ---------------------------------------------------------------------------


def test_static_pressure_though_jets_are_open_is_a_frozen_pipe(plant):
    plant.open(1_000)  # a fall of 1000 mbar is due
    assert plant.show(0, 4_750) == (NO_LIMIT, "none")
    assert plant.show(59_999, 4_750) == (NO_LIMIT, "none")
    assert plant.show(60_000, 4_750) == (NO_LIMIT, "no_flow")
    plant.show(70_000, 4_749)
    assert plant.show(130_000, 4_749) == (NO_LIMIT, "none")


@pytest.mark.parametrize(("expected_mbar", "fault"), [(4_920, "no_flow"), (4_921, "none"), (UNKNOWN, "none")])
def test_a_fall_that_a_reading_may_hide_tells_nothing(plant, expected_mbar, fault):
    plant.open(300, expected_mbar=expected_mbar)
    assert plant.hold(2, STATIC_MBAR) == (NO_LIMIT, fault)


def test_a_dry_intake_says_nothing_about_frost(plant):
    plant.open(1_000)
    plant.facts.values[LEVEL_MM] = 20
    assert plant.hold(5, STATIC_MBAR) == (NO_LIMIT, "none")


# -- a jet that passes too little -------------------------------------------------------------------


def test_eight_percent_too_high_for_ten_minutes_is_told_and_limits_nothing(plant):
    plant.open(1_000)
    assert plant.show(0, 4_321) == (NO_LIMIT, "none")
    assert plant.show(599_999, 4_321) == (NO_LIMIT, "none")
    assert plant.show(600_000, 4_321) == (NO_LIMIT, "high")
    assert plant.hold(12, 4_301) == (NO_LIMIT, "high")  # within a reading's doubt it is as high as before
    assert plant.hold(9, 4_300) == (NO_LIMIT, "high")
    assert plant.hold(2, 4_300) == (NO_LIMIT, "none")


def test_noise_about_a_threshold_wakes_nobody_and_hides_nothing(plant):
    plant.open(1_000)
    assert plant.show(0, 4_321) == plant.show(1_000, 4_310) == (NO_LIMIT, "none")
    for second in range(2, 600):
        mbar = 4_302 + second % 37
        orders = Orders(4)
        plant.guard.watch(orders)
        assert orders.low[PRESSURE_MBAR] <= mbar <= orders.high[PRESSURE_MBAR]
        assert plant.show(1_000 * second, mbar) == (NO_LIMIT, "none")
    assert plant.show(600_000, 4_302) == (NO_LIMIT, "high")
    plant.show(601_000, 3_399)
    plant.show(602_000, 3_405)
    for second in range(603, 640):
        mbar = 3_390 + second % 29
        orders = Orders(4)
        plant.guard.watch(orders)
        assert orders.low[PRESSURE_MBAR] <= mbar <= orders.high[PRESSURE_MBAR]
        plant.show(1_000 * second, mbar)
    assert plant.guard.is_low
    plant.show(640_000, 3_420)
    assert not plant.guard.is_low


@pytest.mark.parametrize(("mbar", "fault"), [(4_850, "none"), (4_851, "high")])
def test_in_a_wide_pipe_halfway_to_static_is_too_high(plant, mbar, fault):
    plant.open(1_000, expected_mbar=4_700)
    assert plant.hold(11, mbar) == (NO_LIMIT, fault)


def test_a_standing_near_static_proves_nothing(plant):
    plant.open(1_000, expected_mbar=4_950)
    assert plant.hold(30, STATIC_MBAR) == (NO_LIMIT, "none")
    assert plant.guard.found == -1


BLOCKED = 1
SETS = ((1_000, 1_000), (1_000,), (0, 1_000, 1_000), (0, 0, 1_000))


def _stand(plant, position, blocked=BLOCKED):
    plant.open(*position)
    high = blocked < len(position) and position[blocked] == 1_000
    plant.hold(11, 4_500 if high else 4_000)


def test_the_jet_that_all_high_standings_have_in_common_is_suspect(plant):
    suspects = []
    for position in SETS:
        _stand(plant, position)
        suspects.append(plant.guard.suspect)
    assert suspects == [-1, -1, BLOCKED, BLOCKED]


def test_jets_always_open_together_are_not_told_apart(plant):
    for _ in range(4):
        _stand(plant, (1_000, 1_000))
        _stand(plant, (0,))
    assert (plant.guard.suspect, plant.guard.score) == (-1, [4, 4, 0, 0])
    _stand(plant, (1_000,))
    assert plant.guard.suspect == BLOCKED


def test_one_standing_accuses_nobody_however_long(plant):
    plant.open(1_000)
    assert plant.hold(600, 4_500) == (NO_LIMIT, "high")
    assert (plant.guard.suspect, plant.guard.score) == (-1, [1, 0, 0, 0])


def test_a_cleaned_jet_is_cleared_by_fine_standings_or_by_the_owner(plant):
    for _ in range(6):
        _stand(plant, (1_000, 1_000))
        _stand(plant, (1_000,))
    assert plant.guard.suspect == BLOCKED
    for _ in range(3):
        _stand(plant, (0, 1_000), blocked=9)
        _stand(plant, (1_000, 1_000), blocked=9)
    assert plant.guard.suspect == -1
    _stand(plant, (0, 1_000))
    plant.guard.clear()
    assert (plant.guard.fault, plant.guard.score) == (pipe_guard.NONE, [0, 0, 0, 0])


def test_a_trim_opened_a_little_is_neither_accused_nor_cleared(plant):
    plant.open(0, 1_000, 0, 499)
    plant.hold(11, 4_500)
    assert plant.guard.score == [0, 1, 0, 0]
    plant.open(0, 1_000, 0, 500)
    plant.hold(11, 4_500)
    assert plant.guard.score == [0, 2, 0, 1]


# -- until when an answer stands --------------------------------------------------------------------


def _state(guard):
    """All that a later answer depends on."""
    holds = [hold.due_ms if hold.timing else None for hold in guard.holds]
    kept = (guard.limit_ml_s, guard.burst, guard.frozen, guard.too_high, guard.found, guard.filled_mbar)
    return guard.ceiling_ml_s, guard.fault, guard.suspect, list(guard.score), kept, holds


PRESSURES = st.one_of(st.just(UNKNOWN), st.integers(0, 5_200), st.sampled_from([3_399, 3_400, 4_320, 4_750]))
LEVELS = st.sampled_from([UNKNOWN, 20, 49, 50, 100])
STANDINGS = st.sampled_from([(), (1_000,), (1_000, 1_000), (0, 1_000, 0, 400)])
STEPS = st.lists(
    st.tuples(st.integers(1, 700_000), PRESSURES, LEVELS, STANDINGS, st.booleans(), st.booleans()),
    max_size=20,
)


@settings(max_examples=60, deadline=None)
@given(steps=STEPS, data=st.data())
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, steps, data):
    plant = Plant(settings_of(3, 1))
    now_ms = 0
    for wait_ms, mbar, level_mm, position, moving, settled in steps:
        now_ms += min(wait_ms, max(1, plant.guard.left_ms(plant.facts.now_ms)))
        plant.open(*position)
        plant.facts.moving = moving
        if moving or not settled:
            plant.facts.expected_mbar = UNKNOWN
        plant.facts.values[LEVEL_MM] = level_mm
        plant.show(now_ms, mbar)
        state = _state(plant.guard)
        assert plant.within()  # what it has just seen lies in its bands
        for _ in range(2):
            low, high = plant.orders.low, plant.orders.high
            now_ms += data.draw(st.integers(0, min(900_000, plant.guard.left_ms(plant.facts.now_ms) - 1)))
            if mbar != UNKNOWN:
                mbar = data.draw(
                    st.integers(max(0, low[PRESSURE_MBAR]), max(0, min(6_000, high[PRESSURE_MBAR])))
                )
            if level_mm != UNKNOWN:
                level_mm = data.draw(st.integers(max(0, low[LEVEL_MM]), min(300, high[LEVEL_MM])))
            plant.facts.values[LEVEL_MM] = level_mm
            plant.show(now_ms, mbar)
            assert _state(plant.guard) == state
            plant.within()


@settings(max_examples=60, deadline=None)
@given(steps=STEPS)
def test_a_ceiling_only_for_low_and_burst_and_none_for_a_pipe_as_expected(settings_of, steps):
    plant = Plant(settings_of(3, 1))
    sound = Plant(settings_of(3, 1))
    now_ms = 0
    for wait_ms, mbar, level_mm, position, moving, _ in steps:
        now_ms += wait_ms
        for each, shown_mbar in ((plant, mbar), (sound, 4_000 if any(position) else STATIC_MBAR)):
            each.open(*position)
            each.facts.moving = moving
            each.facts.values[LEVEL_MM] = level_mm
            each.show(now_ms, shown_mbar)
        limited = plant.guard.ceiling_ml_s != NO_LIMIT
        assert limited == (plant.guard.fault in (pipe_guard.LOW, pipe_guard.BURST))
        assert -1 <= plant.guard.suspect < 4
        assert (sound.guard.ceiling_ml_s, sound.guard.fault) == (NO_LIMIT, pipe_guard.NONE)
