"""What time it is: a DS3231-type clock on the I2C bus, or one that somebody set, counted on.

clock = Clock(bus, fitted)
clock.seconds()             # since 2000-01-01 00:00; 0: nobody knows
clock.set(817_030_800)

Registers, from memory of the part's public data sheet: 0 to 6 hold second, minute, hour, day of the week,
day, month, year as pairs of decimal digits; bit 7 of register 15 says that the oscillator has stood still
since it was set, so that the time is worth nothing. The clock is asked at start and once an hour; between,
the chip's milliseconds count on. From 2034 on the seconds no longer fit a small integer of a 32-bit board:
they stay right and take 16 bytes of the heap each time.
"""

from ..compat import const
from ..ticks import ticks_add, ticks_diff
from .bus import Bus
from .uptime import now_ms

_ADDRESS = const(0x68)
_STATUS = const(15)
_STOPPED = const(0x80)  # bit 7 of the status
_DAY_S = const(86_400)
_ASK_S = const(3_600)  # chosen by us: crystals of both differ by some 0.2 s in it
_DOUBT_S = const(2)  # whole seconds of two clocks differ by one without either being wrong
_LAST_YEAR = const(99)
LATEST_S = const(3_155_760_000 - 1)  # the end of 2099

_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _leap(year: int) -> int:
    return 1 if year % 4 == 0 else 0  # right from 2000 to 2099


def _days(year: int, month: int, day: int) -> int:
    """Days since 2000-01-01 of a date; the year counted from 2000."""
    days = year * 365 + (year + 3) // 4 + _DAYS_BEFORE[month - 1] + day - 1
    return days + (_leap(year) if month > 2 else 0)


def _number(digits: int) -> int:
    """Two decimal digits, or -1 if they are none."""
    high, low = digits >> 4, digits & 15
    return 10 * high + low if high < 10 and low < 10 else -1


def _digits(number: int) -> int:
    return number // 10 << 4 | number % 10


def _hour(register: int) -> int:
    if not register & 0x40:
        return _number(register & 0x3F)
    hour = _number(register & 0x1F)  # 12-hour mode, as another program may have left it
    return hour % 12 + (12 if register & 0x20 else 0) if 1 <= hour <= 12 else -1


def decode(registers: bytearray) -> int:
    """Seconds since 2000-01-01 from registers 0 to 6, or 0 if they hold no date."""
    second, minute = _number(registers[0]), _number(registers[1])
    hour = _hour(registers[2])
    day, month, year = _number(registers[4]), _number(registers[5] & 0x7F), _number(registers[6])
    if not (0 <= second < 60 and 0 <= minute < 60 and 0 <= hour < 24 and 1 <= month <= 12 and year >= 0):
        return 0
    if not 1 <= day <= _DAYS[month - 1] + (_leap(year) if month == 2 else 0):
        return 0
    return _days(year, month, day) * _DAY_S + hour * 3_600 + minute * 60 + second


def encode(seconds: int, registers: bytearray) -> None:
    """Put seconds since 2000-01-01 into bytes 1 to 7, behind the number of the first register."""
    days, rest = seconds // _DAY_S, seconds % _DAY_S
    year = days // 366  # at most one too small
    while year < _LAST_YEAR and _days(year + 1, 1, 1) <= days:
        year += 1
    month = 12
    while _days(year, month, 1) > days:
        month -= 1
    registers[0] = 0
    registers[1] = _digits(rest % 60)
    registers[2] = _digits(rest // 60 % 60)
    registers[3] = _digits(rest // 3_600)
    registers[4] = (days + 5) % 7 + 1  # Monday is 1; 2000-01-01 was a Saturday
    registers[5] = _digits(days - _days(year, month, 1) + 1)
    registers[6] = _digits(month)
    registers[7] = _digits(year)


class Clock:
    """The time of day, as far as it is known."""

    def __init__(self, bus: "Bus | None") -> None:
        self._bus = bus  # None: no clock is fitted
        self._registers = bytearray(7)
        self._status = bytearray(1)
        self._seconds = 0
        self._counted_ms = now_ms()  # up to this instant
        self._asked_s = 0
        self._ask()

    def seconds(self) -> int:
        """Seconds since 2000-01-01, or 0 if nobody knows. Must be asked once in three days to count on."""
        passed_ms = ticks_diff(now_ms(), self._counted_ms)
        passed_s = max(0, passed_ms // 1_000)
        self._counted_ms = ticks_add(self._counted_ms, passed_s * 1_000)
        self._asked_s += passed_s
        if self._seconds:
            self._seconds += passed_s
        if self._asked_s >= _ASK_S:
            self._ask()
        return self._seconds

    def set(self, seconds: int) -> None:
        """Somebody says what time it is; also into the clock, if one is fitted."""
        self._seconds = min(max(0, seconds), LATEST_S)
        self._counted_ms = now_ms()
        self._asked_s = 0
        if self._bus is None or not self._seconds:
            return
        buffer = bytearray(8)
        encode(self._seconds, buffer)
        if self._bus.write(_ADDRESS, buffer) and self._bus.read(_ADDRESS, _STATUS, self._status):
            self._bus.write(_ADDRESS, bytearray([_STATUS, self._status[0] & ~_STOPPED & 0xFF]))

    def _ask(self) -> None:
        """Take over the fitted clock's time, if it has one to be believed; else go on counting."""
        self._asked_s = 0
        if self._bus is None or not self._bus.read(_ADDRESS, _STATUS, self._status):
            return
        if self._status[0] & _STOPPED or not self._bus.read(_ADDRESS, 0, self._registers):
            return
        said = decode(self._registers)
        if said and not -_DOUBT_S < said - self._seconds < _DOUBT_S:
            self._seconds = said
