"""Journal records, read. Only the desktop does; it stands here because records.py says what is in them.

decode(journal.read(number, 1))     # a table by name; None if it is torn or damaged
"""

import struct

from ..alarms import NAMES as ALARM_NAMES
from ..readings import UNKNOWN
from .records import (
    BODY_AT,
    BOOT,
    CLOCK_BODY,
    EVENT,
    MINUTE,
    MINUTE_BODY,
    NO_SWITCH,
    UNKNOWN_16,
    VALVES,
    boot_of,
)

_EVENT = "<Bxxxiiii32s"
_BOOT = "<BxxxI16s"


def _long(value: int) -> int:
    return UNKNOWN if value == UNKNOWN_16 else value


def _text(raw: bytes) -> bytes:
    return raw.rstrip(b"\0")


def decode(data: bytes) -> "dict[str, object] | None":
    """A record by name, None if it is torn or damaged; unknown readings are UNKNOWN, texts are bytes."""
    boot = boot_of(data)
    if boot < 0:
        return None
    uptime_s = struct.unpack_from("<I", data, 4)[0]
    found: dict[str, object] = {"type": data[0], "boot": boot, "uptime_s": uptime_s}
    if data[0] == MINUTE:
        _decode_minute(data, found)
    elif data[0] == EVENT:
        code, first, second, third, fourth, text = struct.unpack_from(_EVENT, data, BODY_AT)
        found.update({"code": code, "numbers": (first, second, third, fourth), "text": _text(text)})
    elif data[0] == BOOT:
        why, settings_version, version = struct.unpack_from(_BOOT, data, BODY_AT)
        found.update({"why": why, "settings_version": settings_version, "version": _text(version)})
    else:
        old_s, new_s = struct.unpack_from(CLOCK_BODY, data, BODY_AT)
        found.update({"old_s": old_s, "new_s": new_s})
    return found


def _decode_minute(data: bytes, found: "dict[str, object]") -> None:
    row = struct.unpack_from(MINUTE_BODY, data, BODY_AT)
    found["clock_s"] = row[0]
    for place, name in ((1, "pressure_mbar"), (2, "pressure_low_mbar"), (3, "battery_mv")):
        found[name] = row[place]
    for place, name in ((4, "bus_mv"), (5, "spare_bus_mv")):
        value = _long(row[place])
        found[name] = UNKNOWN if value == UNKNOWN else value * 100
    for place, name in (
        (6, "level_mm"),
        (7, "level_low_mm"),
        (8, "temp_decic"),
        (9, "air_decic"),
        (10, "pond_mm"),
    ):
        found[name] = _long(row[place])
    found["reason"] = row[11]
    found["pond_reason"] = row[12]
    found["opening_permille"] = [row[13 + valve // 3] >> valve % 3 * 10 & 1023 for valve in range(VALVES)]
    found["out_bits"] = row[16]
    found["run_switch"] = UNKNOWN if row[17] == NO_SWITCH else row[17]
    found["covers_s"] = 4 * row[18]
    bits = row[19]
    found["alarms"] = [code for code in range(len(ALARM_NAMES)) if bits[code >> 3] >> (code & 7) & 1]
