"""The whole state as a table of 16-bit registers, for anybody who asks over RS-485 (modbus_server.py).

    fill(data, first, device)               # data: two bytes a register
    write(address, word, device)            # 0, or why not

One row a value, addresses from 0 without a gap. A value of two registers has its high half first. All are
signed but those whose unit is `bits`. What is unknown or not fitted reads 0x8000, or 0x8000 0000; what does
not fit is held at its end. hardware_notes/modbus.md holds this table, made by report/register_table.py.
"""

from ..alarms import SLOTS, code_of, valve_of
from ..compat import const
from ..readings import NAMES, UNKNOWN
from ..settings import MOST_FIXED, MOST_TRIMS
from ..wishes import SEEN
from . import views
from .doings import wish

MAP_VERSION = const(2)  # rises when a row changes its place or sense
VALVES = MOST_FIXED + MOST_TRIMS + 1
BITS = "bits"

# Faults of a write, as the standard numbers them.
_ILLEGAL_ADDRESS = const(2)
_ILLEGAL_VALUE = const(3)
_FAILURE = const(4)


def _map_version(device, _: int) -> int:  # type: ignore[no-untyped-def]
    return MAP_VERSION


def _version(device, _: int) -> int:  # type: ignore[no-untyped-def]
    total = 0
    for part in device.version.split("."):
        total = total * 100 + (int(part) if part.isdigit() else 0)
    return total


def _boot(device, _: int) -> int:  # type: ignore[no-untyped-def]
    boot: int = device.boot
    return boot


def _uptime_s(device, _: int) -> int:  # type: ignore[no-untyped-def]
    uptime_s: int = device.uptime_s
    return uptime_s


def _clock_s(device, _: int) -> int:  # type: ignore[no-untyped-def]
    clock_s: int = device.board.clock_s()
    return clock_s if clock_s > 0 else UNKNOWN


def _free_bytes(device, _: int) -> int:  # type: ignore[no-untyped-def]
    free: int = device.board.free_bytes()
    return free


def _has_rules(device, _: int) -> int:  # type: ignore[no-untyped-def]
    return 1 if views.has_rules(device) else 0


def _reason(device, _: int) -> int:  # type: ignore[no-untyped-def]
    reason: int = device.orders.reason
    return reason


def _pond_reason(device, _: int) -> int:  # type: ignore[no-untyped-def]
    reason: int = device.orders.pond_reason
    return reason if views.has_pond(device) else UNKNOWN


def _mode(device, _: int) -> int:  # type: ignore[no-untyped-def]
    return views.mode_of(device)


def _out_bits(device, _: int) -> int:  # type: ignore[no-untyped-def]
    bits: int = device.orders.out_bits
    return bits


def _drawn_ml_s(device, _: int) -> int:  # type: ignore[no-untyped-def]
    if not views.has_rules(device):
        return UNKNOWN
    drawn: int = device.engine.drawn_ml_s()
    return drawn


def _alarm_count(device, _: int) -> int:  # type: ignore[no-untyped-def]
    return views.alarms_of(device).count


def _alarm_highest(device, _: int) -> int:  # type: ignore[no-untyped-def]
    slot = views.alarms_of(device).highest()
    return UNKNOWN if slot < 0 else code_of(slot)


def _alarm_valve(device, _: int) -> int:  # type: ignore[no-untyped-def]
    alarms = views.alarms_of(device)
    slot = alarms.highest()
    return UNKNOWN if slot < 0 or alarms.about[slot] < 0 else alarms.about[slot]


def _alarm_slot(device, _: int) -> int:  # type: ignore[no-untyped-def]
    slot = views.alarms_of(device).highest()
    return UNKNOWN if slot < 0 else slot


def _raised(device, word: int) -> int:  # type: ignore[no-untyped-def]
    return views.alarm_word(device, word, False)


def _seen(device, word: int) -> int:  # type: ignore[no-untyped-def]
    return views.alarm_word(device, word, True)


def _reading(device, place: int) -> int:  # type: ignore[no-untyped-def]
    value: int = device.readings.values[place]
    return value


def _opening(device, valve: int) -> int:  # type: ignore[no-untyped-def]
    if valve < len(device.orders.opening_permille):
        return views.opening(device, valve)
    return UNKNOWN


def _pond_opening(device, _: int) -> int:  # type: ignore[no-untyped-def]
    permille: int = device.orders.pond_permille
    return permille if views.has_pond(device) else UNKNOWN


def _position(device, valve: int) -> int:  # type: ignore[no-untyped-def]
    positions: list[int] = device.readings.position_permille
    return positions[valve] if valve < len(positions) else UNKNOWN


def _rows() -> "tuple[tuple[str, str, int, object, int], ...]":
    """(name, unit, registers, getter, which one), in the order of the addresses."""
    rows: list[tuple[str, str, int, object, int]] = [
        ("map_version", "", 1, _map_version, 0),
        ("version", "major x 10000 + minor x 100 + patch", 2, _version, 0),
        ("boot", "starts", 2, _boot, 0),
        ("uptime_s", "s", 2, _uptime_s, 0),
        ("clock_s", "s since 2000-01-01", 2, _clock_s, 0),
        ("free_bytes", "bytes", 2, _free_bytes, 0),
        ("rules_run", "1 yes, 0 it only closes", 1, _has_rules, 0),
        ("reason", "reason", 1, _reason, 0),
        ("pond_reason", "reason", 1, _pond_reason, 0),
        ("owner", "0 free, 1 hold, 2 stop", 1, _mode, 0),
        ("out_bits", BITS, 1, _out_bits, 0),
        ("drawn_ml_s", "mL/s", 2, _drawn_ml_s, 0),
    ]
    units = ("mm", "mbar", "mV", "0.1 degrees C", "mV", "mm", "day", "0.1 degrees C", "1 run, 0 stop", "mV")
    for place in range(len(NAMES)):
        rows.append((NAMES[place], units[place], 2, _reading, place))
    for valve in range(VALVES - 1):
        rows.append(("opening_{}".format(valve), "permille", 1, _opening, valve))
    rows.append(("opening_pond", "permille", 1, _pond_opening, 0))
    for valve in range(VALVES - 1):
        rows.append(("position_{}".format(valve), "permille", 1, _position, valve))
    rows.append(("alarm_count", "alarms", 1, _alarm_count, 0))
    rows.append(("alarm_highest", "alarm", 1, _alarm_highest, 0))
    rows.append(("alarm_valve", "valve", 1, _alarm_valve, 0))
    for word in range(3):
        rows.append(("alarms_{}".format(word), BITS, 1, _raised, word))
    for word in range(3):
        rows.append(("alarms_seen_{}".format(word), BITS, 1, _seen, word))
    rows.append(("seen", "place of an alarm", 1, _alarm_slot, 0))
    return tuple(rows)


ROWS = _rows()
PLACE_NAME = const(0)
PLACE_UNIT = const(1)
PLACE_WIDTH = const(2)
PLACE_GET = const(3)
PLACE_WHICH = const(4)


def _starts() -> "bytes":
    """The address at which each row starts."""
    starts = []
    address = 0
    for row in ROWS:
        starts.append(address)
        address += int(row[2])
    return bytes(starts + [address])


STARTS = _starts()
COUNT = STARTS[-1]  # addresses from 0 to below this
WRITABLE = STARTS[-2]  # `seen`, the last


def row_at(address: int) -> int:
    """The row that a register belongs to."""
    row = 0
    while STARTS[row + 1] <= address:
        row += 1
    return row


def fill(data: bytearray, first: int, device) -> None:  # type: ignore[no-untyped-def]
    """Write registers from `first` on, two bytes each; both halves of a value are of the same moment."""
    row = row_at(first)
    at = 2 * (STARTS[row] - first)  # below 0 if it begins in the middle of a value
    while at < len(data):
        _, unit, width, get, which = ROWS[row]
        value = get(device, which)  # type: ignore[operator]
        if width == 2:
            value = -0x80000000 if value == UNKNOWN else max(-0x7FFFFFFF, min(0x7FFFFFFF, value))
            _put(data, at, value >> 16)
            _put(data, at + 2, value)
        elif unit == BITS:
            _put(data, at, value)
        else:
            _put(data, at, -0x8000 if value == UNKNOWN else max(-0x7FFF, min(0x7FFF, value)))
        at += 2 * width
        row += 1


def _put(data: bytearray, at: int, word: int) -> None:
    if 0 <= at < len(data):
        data[at] = word >> 8 & 0xFF
        data[at + 1] = word & 0xFF


def write(address: int, word: int, device) -> int:  # type: ignore[no-untyped-def]
    """Write one register; 0 if done, else the standard's number for why not. None of them moves water."""
    if address != WRITABLE:
        return _ILLEGAL_ADDRESS
    if not 0 <= word < SLOTS:
        return _ILLEGAL_VALUE
    now_ms = device.board.ticks_ms()
    valve = valve_of(word)
    return 0 if wish(device, now_ms, SEEN, code_of(word), max(0, valve), 0) else _FAILURE
