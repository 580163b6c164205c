import pytest

from becklight.alarms import NAMES as ALARM_NAMES
from becklight.alarms import RESTARTED, VALVE_STUCK, slot_of
from becklight.device import views
from becklight.device.registers import COUNT, ROWS, STARTS, VALVES, WRITABLE, fill, row_at, write
from becklight.readings import NAMES
from becklight.readings import UNKNOWN as UNKNOWN_READING

ROW_NAMES = [row[0] for row in ROWS]


def _words(device, first, count):
    data = bytearray(2 * count)
    fill(data, first, device)
    return [data[2 * place] << 8 | data[2 * place + 1] for place in range(count)]


def _at(device, name):
    row = ROW_NAMES.index(name)
    words = _words(device, STARTS[row], ROWS[row][2])
    return words[0] if len(words) == 1 else words[0] << 16 | words[1]


def test_rows_follow_each_other_without_a_gap():
    assert len(set(ROW_NAMES)) == len(ROWS)
    address = 0
    for row, start in zip(ROWS, STARTS, strict=False):
        assert start == address
        assert row[2] in (1, 2)
        address += row[2]
    assert address == COUNT < 250  # starts are bytes
    assert ROW_NAMES[-1] == "seen"
    assert STARTS[ROW_NAMES.index("seen")] == WRITABLE


def test_every_register_belongs_to_its_row():
    for address in range(COUNT):
        row = row_at(address)
        assert STARTS[row] <= address < STARTS[row] + ROWS[row][2]


def test_everything_is_there():
    assert set(NAMES) <= set(ROW_NAMES)
    assert len([name for name in ROW_NAMES if name.startswith("opening_")]) == VALVES == 9
    assert len(ALARM_NAMES) <= 16 * len([name for name in ROW_NAMES if name.startswith("alarms_seen_")])


def test_any_window_gives_the_same_words(desk):
    device = desk().device
    whole = _words(device, 0, COUNT)
    for first in range(0, COUNT, 7):
        for count in (1, 2, 5):
            if first + count <= COUNT:
                assert _words(device, first, count) == whole[first : first + count]


def test_values_are_signed_and_unknown_is_told(desk):
    device = desk().device
    values = device.readings.values
    values[:] = [-5, 70_000, UNKNOWN_READING, -400, 1 << 28, 3, 181, UNKNOWN_READING, 1, 99_000]
    assert _at(device, "level_mm") == (-5) & 0xFFFFFFFF
    assert _at(device, "pressure_mbar") == 70_000
    assert _at(device, "battery_mv") == 0x80000000
    assert _at(device, "temp_decic") == (-400) & 0xFFFFFFFF
    assert _at(device, "year_day") == 181
    assert _at(device, "spare_bus_mv") == 99_000


def test_what_does_not_fit_is_held_at_its_end(desk):
    device = desk().device
    device.orders.opening_permille[0] = 70_000
    device.orders.opening_permille[1] = -70_000
    assert _at(device, "opening_0") == 0x7FFF
    assert _at(device, "opening_1") == 0x8001
    assert _at(device, "opening_4") == 0x8000  # not fitted


def test_owner_and_outs_are_told(desk):
    here = desk()
    assert _at(here.device, "owner") == 0
    here.say("hold 5")
    assert _at(here.device, "owner") == 1
    here.say("stop")
    assert _at(here.device, "owner") == 2
    here.device.orders.out_bits = 0b1010
    assert _at(here.device, "out_bits") == 0b1010


def test_alarms_are_bits_those_of_several_valves_together(desk):
    device = desk().device
    alarms = device.engine.book.alarms
    alarms.note(VALVE_STUCK, True, 0, 2)
    assert _at(device, "alarms_1") == 1 << RESTARTED - 16 | 1 << VALVE_STUCK - 16
    assert _at(device, "alarm_highest") == VALVE_STUCK
    assert _at(device, "alarm_valve") == 2
    assert _at(device, "seen") == slot_of(VALVE_STUCK, 2)
    assert _at(device, "alarms_seen_1") == 0
    assert write(WRITABLE, slot_of(VALVE_STUCK, 2), device) == 0
    assert _at(device, "alarms_seen_1") == 1 << VALVE_STUCK - 16


def test_an_alarm_that_is_seen_but_no_longer_raised_is_not_told(desk):
    device = desk().device
    alarms = device.engine.book.alarms
    alarms.seen[0] = 1
    assert views.alarm_word(device, 0, True) == 0


@pytest.mark.parametrize(("seconds", "told"), [(0, 0x80000000), (820_000_000, 820_000_000)])
def test_a_clock_that_is_not_set_is_unknown(desk, seconds, told):
    here = desk()
    here.board.seconds = seconds
    assert _at(here.device, "clock_s") == told
