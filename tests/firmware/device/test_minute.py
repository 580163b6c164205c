"""A minute's means, and when its record is full."""

from hypothesis import given
from hypothesis import strategies as st

from becklight.alarms import OVERSPEED, Alarms
from becklight.device.minute import QUIET_S, SHORT_S, Minute
from becklight.orders import Orders
from becklight.readings import BATTERY_MV, BUS_MV, COUNT, LEVEL_MM, PRESSURE_MBAR, UNKNOWN

QUIET = [100, 5_000, 25_000, 150, 60_000, UNKNOWN, 12, 80, 1, UNKNOWN]


def full_after(change=lambda second, orders, alarms: None, seconds=3_000):
    """How long each record is of, when the samples of every second are taken in."""
    minute, orders, alarms = Minute(2, True), Orders(2), Alarms()
    lengths = []
    for second in range(1, seconds + 1):
        change(second, orders, alarms)
        if minute.full(orders, alarms):
            lengths.append(minute.covers_s())
            minute.clear()
        minute.add(second, QUIET, orders, alarms)
    return lengths


def test_a_quiet_plant_fills_a_record_in_ten_minutes():
    assert full_after() == [SHORT_S] + [QUIET_S] * 4  # the start's own, and the last still being filled


def test_while_something_moves_each_minute_has_its_record():
    def move(second, orders, alarms):
        orders.opening_permille[1] = second % 1000

    assert full_after(move, 301) == [SHORT_S] * 5


def test_a_change_ends_the_quiet_record_before_it():
    def change(second, orders, alarms):
        if second == 250:
            orders.reason = 4

    assert full_after(change, 1_500) == [SHORT_S, 249 - SHORT_S, SHORT_S, QUIET_S]


def test_a_change_within_the_first_minute_is_in_that_record():
    def change(second, orders, alarms):
        orders.opening_permille[0] = 0 if second < 30 else 500

    assert full_after(change, 700)[:2] == [SHORT_S, QUIET_S]


def test_whatever_may_change_ends_it():
    def at(second, do):
        return full_after(lambda now, orders, alarms: do(orders, alarms) if now >= second else None, 400)

    for do in (
        lambda orders, alarms: orders.opening_permille.__setitem__(0, 5),
        lambda orders, alarms: setattr(orders, "pond_permille", 5),
        lambda orders, alarms: setattr(orders, "out_bits", 2),
        lambda orders, alarms: setattr(orders, "reason", 2),
        lambda orders, alarms: alarms.note(OVERSPEED, True, 0),
    ):
        assert at(200, do)[1] == 199 - SHORT_S


def test_a_record_shows_what_stood_in_it_not_what_ended_it():
    minute, orders, alarms = Minute(1, False), Orders(1), Alarms()
    for second in range(100):
        minute.add(second, QUIET, orders, alarms)
    orders.opening_permille[0] = 700
    assert minute.full(orders, alarms)
    assert minute.opening_permille[0] == 0


value = st.one_of(st.just(UNKNOWN), st.integers(-500, 3_000_000))


@given(st.lists(st.tuples(value, value, value, value), min_size=1, max_size=40))
def test_means_and_lowest_are_those_of_what_was_known(samples):
    minute, orders, alarms = Minute(1, False), Orders(1), Alarms()
    minute.add(0, [7] * COUNT, orders, alarms)
    minute.clear()
    places = (LEVEL_MM, PRESSURE_MBAR, BATTERY_MV, BUS_MV)
    for second, sample in enumerate(samples):
        values = [UNKNOWN] * COUNT
        for place, one in zip(places, sample, strict=True):
            values[place] = one
        minute.add(second, values, orders, alarms)
    for at, place in enumerate(places):
        known = [sample[at] for sample in samples if sample[at] != UNKNOWN]
        assert minute.mean(place) == (sum(known) // len(known) if known else UNKNOWN)
    for lowest, at in ((minute.level_low_mm, 0), (minute.pressure_low_mbar, 1)):
        assert lowest == min((s[at] for s in samples if s[at] != UNKNOWN), default=UNKNOWN)
