"""Journal records and their bytes, as the device writes them. records_read.py reads them, on the desktop.

A record has 64 bytes, little-endian: type, format, boot (u16), uptime_s (u32), what its type holds, and
last the CRC-32 of all that. Nothing is stored that a torn write could leave half right.

    record = Record()                                   # once
    journal.append(record.minute(boot, clock_s, minute))
    journal.append(record.event(boot, uptime_s, JOG, valve, from_permille, to_permille))
"""

import binascii
import struct

from ..compat import const
from ..readings import (
    AIR_DECIC,
    BATTERY_MV,
    BUS_MV,
    LEVEL_MM,
    POND_MM,
    PRESSURE_MBAR,
    RUN_SWITCH,
    SPARE_BUS_MV,
    TEMP_DECIC,
    UNKNOWN,
)

SIZE = const(64)
BODY = const(60)  # what the CRC is of; it follows
FORMAT = const(1)

# Types.
MINUTE = const(1)
EVENT = const(2)
BOOT = const(3)
CLOCK = const(4)
TYPES = ("none", "minute", "event", "boot", "clock")

# Events: what their whole numbers say, in their order.
REASON = const(0)  # reason, the one before
ALARM_RAISED = const(1)  # alarm, the valve it is about or -1
ALARM_CLEARED = const(2)  # alarm, valve or -1
ALARM_SEEN = const(3)  # alarm, valve or -1
WISH = const(4)  # granted: code, first, second, third of wishes.py
WISH_REFUSED = const(5)  # the same
STOP_SWITCH = const(6)  # 1 pressed, or its wire broken; 0 released
SETTINGS_SAVED = const(7)  # version, bytes
SETTINGS_REFUSED = const(8)  # piece, of so many; text: why
SETTINGS_UNDONE = const(9)  # version
JOG = const(10)  # valve, from, to [permille]
CALIBRATED = const(11)  # input, point (0: forgotten), counts, value
FASTLOG = const(12)  # place, seconds
ERROR = const(13)  # piece, of so many; text: what went wrong
RESTARTING = const(14)  # one of the reasons of a start below
SILENT = const(15)  # a duty that showed no life: its number
POND_REASON = const(16)  # reason of the pond's valve, the one before
JOURNAL_LOST = const(17)  # so many records were not kept, because the flash refused
EVENTS = (
    "reason",
    "alarm_raised",
    "alarm_cleared",
    "alarm_seen",
    "wish",
    "wish_refused",
    "stop_switch",
    "settings_saved",
    "settings_refused",
    "settings_undone",
    "jog",
    "calibrated",
    "fastlog",
    "error",
    "restarting",
    "silent",
    "pond_reason",
    "journal_lost",
)
TEXT = const(32)  # bytes of text that an event holds; longer texts come in pieces

# Why it started.
BY_POWER = const(0)
BY_WATCHDOG = const(1)
BY_ERROR = const(2)
BY_FLASHING = const(3)
BY_CONSOLE = const(4)
STARTS = ("power", "watchdog", "error", "flashing", "console")
VERSION_TEXT = const(16)  # bytes

VALVES = const(9)  # eight jets at most, and the storage pond's
NOT_FITTED = const(1023)  # stands in the place of an opening
ALARM_BYTES = const(5)  # a bit for each alarm, those of several valves together
UNKNOWN_16 = const(-32768)
NO_SWITCH = const(255)

# What follows the head; the openings are ten bits each, three in a number.
_HEAD = "<BBHI"
MINUTE_BODY = "<IiiihhhhhhhBBIIIBBB5s"
CLOCK_BODY = "<II"
BODY_AT = const(8)
_TEXT_AT = const(28)
_VERSION_AT = const(16)
_CRC_AT = const(60)


def short(value: int) -> int:
    """A reading in 16 bits: held at their ends, UNKNOWN as UNKNOWN_16."""
    if value == UNKNOWN:
        return UNKNOWN_16
    return max(-32767, min(32767, value))


def _decivolts(millivolts: int) -> int:
    """A bus voltage in 16 bits, to tenths of a volt: 3 kV fit."""
    return short(millivolts if millivolts == UNKNOWN else millivolts // 100)


class Record:
    """Room for one record, filled again and again. Each method gives the bytes, to be appended at once."""

    def __init__(self) -> None:
        self.bytes = bytearray(SIZE)
        self._body = memoryview(self.bytes)[:BODY]

    def _begin(self, kind: int, boot: int, uptime_s: int) -> None:
        for at in range(BODY):  # not [:], which takes from the heap
            self.bytes[at] = 0
        struct.pack_into(_HEAD, self.bytes, 0, kind, FORMAT, boot, uptime_s)

    def _seal(self) -> bytearray:
        struct.pack_into("<I", self.bytes, _CRC_AT, binascii.crc32(self._body))
        return self.bytes

    def _put_text(self, place: int, text: bytes, most: int) -> None:
        for at in range(min(len(text), most)):
            self.bytes[place + at] = text[at]

    def minute(self, boot: int, clock_s: int, minute) -> bytearray:  # type: ignore[no-untyped-def]
        """What a `minute.Minute` has gathered; clock_s: seconds since 2000 of a clock that is set, else 0."""
        self._begin(MINUTE, boot, minute.until_s)
        values, openings = minute.values, minute.opening_permille
        switch = values[RUN_SWITCH]
        struct.pack_into(
            MINUTE_BODY,
            self.bytes,
            BODY_AT,
            clock_s,
            minute.mean(PRESSURE_MBAR),
            minute.pressure_low_mbar,
            minute.mean(BATTERY_MV),
            _decivolts(minute.mean(BUS_MV)),
            _decivolts(values[SPARE_BUS_MV]),
            short(minute.mean(LEVEL_MM)),
            short(minute.level_low_mm),
            short(values[TEMP_DECIC]),
            short(values[AIR_DECIC]),
            short(values[POND_MM]),
            minute.reason,
            minute.pond_reason,
            openings[0] | openings[1] << 10 | openings[2] << 20,
            openings[3] | openings[4] << 10 | openings[5] << 20,
            openings[6] | openings[7] << 10 | openings[8] << 20,
            minute.out_bits,
            NO_SWITCH if switch == UNKNOWN else switch,
            min(255, minute.covers_s() // 4),
            minute.alarm_bits,
        )
        return self._seal()

    def event(
        self,
        boot: int,
        uptime_s: int,
        code: int,
        first: int = 0,
        second: int = 0,
        third: int = 0,
        fourth: int = 0,
        text: bytes = b"",
    ) -> bytearray:
        """Something that happened; what is beyond TEXT bytes of text is left out."""
        self._begin(EVENT, boot, uptime_s)
        struct.pack_into("<Bxxxiiii", self.bytes, BODY_AT, code, first, second, third, fourth)
        self._put_text(_TEXT_AT, text, TEXT)
        return self._seal()

    def booted(self, boot: int, why: int, settings_version: int, version: bytes) -> bytearray:
        """A start: why, the version of the settings (0: none), and of the firmware."""
        self._begin(BOOT, boot, 0)
        struct.pack_into("<BxxxI", self.bytes, BODY_AT, why, settings_version)
        self._put_text(_VERSION_AT, version, VERSION_TEXT)
        return self._seal()

    def clock(self, boot: int, uptime_s: int, old_s: int, new_s: int) -> bytearray:
        """The clock has been set: what it said (0: it had not been set), and what it says now."""
        self._begin(CLOCK, boot, uptime_s)
        struct.pack_into(CLOCK_BODY, self.bytes, BODY_AT, old_s, new_s)
        return self._seal()


def pieces(text: str) -> list[bytes]:
    """A text in pieces that each fit an event; at least one."""
    whole = text.encode()
    return [whole[at : at + TEXT] for at in range(0, len(whole), TEXT)] or [b""]


def boot_of(data: bytes) -> int:
    """The boot of a whole record; -1 if it is torn or damaged."""
    if len(data) != SIZE or data[1] != FORMAT or not MINUTE <= data[0] <= CLOCK:
        return -1
    if struct.unpack_from("<I", data, _CRC_AT)[0] != binascii.crc32(memoryview(data)[:BODY]):
        return -1
    return int(struct.unpack_from("<H", data, 2)[0])
