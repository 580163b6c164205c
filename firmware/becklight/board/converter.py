"""Counts from the chip's own converter and from ADS1115-type converters on the I2C bus.

inputs = Inputs(profile, bus)
inputs.counts(0)            # 0 .. 32767 (profiles.FULL_COUNTS), or NO_COUNTS

A converter's registers, from memory of the part's public data sheet: 0 conversion, 1 configuration, both 16
bits, high byte first. Each conversion is started by itself and waited for, so that no channel's value can be
taken for another's. Allocates nothing as long as the part answers.
"""

from machine import ADC, Pin

from ..compat import const
from ..ticks import ticks_diff
from .bus import Bus
from .profile import CONVERTERS, INPUTS_A_CONVERTER, Profile
from .uptime import now_ms, sleep_ms

NO_COUNTS = const(-1)

_CONVERSION = const(0)
_CONFIGURATION = const(1)
# High byte: start (bit 7); input 0 against ground (4 << 4; the next is one more);
# +-4.096 V (1 << 1); a single one (1).
_START = const(0x80 | 4 << 4 | 1 << 1 | 1)
# Low byte: 860 conversions a second (7 << 5), comparator off (3).
_FAST = const(7 << 5 | 3)
_READY = const(0x80)  # in the high byte: no conversion is running
_CONVERSION_MS = const(2)  # 1/860 s, a tenth more for its own clock, and waking up
_MORE_MS = const(3)  # then it is asked so often, a millisecond apart, before it is given up
_RETRY_MS = const(500)  # a converter that does not answer is left alone for so long; chosen by us


class Converter:
    """One ADS1115-type converter, four inputs against ground, full scale 4.096 V."""

    def __init__(self, bus: Bus, address: int) -> None:
        self._bus = bus
        self._address = address
        self._start = bytearray([_CONFIGURATION, _START, _FAST])
        self._answer = bytearray(2)
        self._silent = False
        self._failed_ms = 0

    def counts(self, channel: int) -> int:
        """One conversion of input 0 .. 3; never negative (a volt below ground is ground) but NO_COUNTS."""
        if self._silent and ticks_diff(now_ms(), self._failed_ms) < _RETRY_MS:
            return NO_COUNTS
        counts = self._convert(channel)
        self._silent = counts == NO_COUNTS
        if self._silent:
            self._failed_ms = now_ms()
        return counts

    def _convert(self, channel: int) -> int:
        answer = self._answer
        self._start[1] = _START + (channel << 4)
        if not self._bus.write(self._address, self._start):
            return NO_COUNTS
        sleep_ms(_CONVERSION_MS)
        for _ in range(_MORE_MS):
            if not self._bus.read(self._address, _CONFIGURATION, answer):
                return NO_COUNTS
            if answer[0] & _READY:
                break
            sleep_ms(1)
        else:
            return NO_COUNTS
        # it may have been started anew, or be another part: what it says must be what it was told
        if (answer[0] | _READY) != self._start[1] or answer[1] != _FAST:
            return NO_COUNTS
        if not self._bus.read(self._address, _CONVERSION, answer):
            return NO_COUNTS
        counts = answer[0] << 8 | answer[1]
        return counts if counts < 0x8000 else 0


class Inputs:
    """All analog inputs of a board, numbered through: the chip's first, then the converters'."""

    def __init__(self, profile: Profile, bus: Bus) -> None:
        self._chip = [self._adc(pin) for pin in profile.chip_inputs]
        self._converters = [Converter(bus, address) for address in CONVERTERS]

    def _adc(self, pin: int) -> ADC:
        full = getattr(ADC, "ATTN_11DB", None)  # where inputs have a range, the widest: about 3.1 V
        if full is None:
            return ADC(Pin(pin))
        return ADC(Pin(pin), atten=full)

    def counts(self, place: int) -> int:
        """One conversion; NO_COUNTS if the converter does not answer, or there is none."""
        chip = len(self._chip)
        if 0 <= place < chip:
            return self._chip[place].read_u16() >> 1
        which = (place - chip) // INPUTS_A_CONVERTER
        if 0 <= which < len(self._converters):
            return self._converters[which].counts((place - chip) % INPUTS_A_CONVERTER)
        return NO_COUNTS
