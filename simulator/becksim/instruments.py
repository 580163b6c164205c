"""The instruments that stand in for the board's: noise, resolution and lag between plant and readings.

The noise of a sample is a function of the seed, the instrument and the second, not of how often it
was asked for; so a replay that looks at every second and one that skips see the same readings. It is
bounded, so that a long stretch can be known to stay within a band without looking at each second.
"""

import math
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from mypy_extensions import i64  # whole numbers of 64 bits, once compiled; until then an int

_IS_COMPILED = not __file__.endswith(".py")
_BITS_64 = (1 << 64) - 1


def _signed(bits: int) -> int:
    """64 bits as a whole number with a sign."""
    return bits if bits < 1 << 63 else bits - (1 << 64)


# splitmix64 (Steele, Lea and Flood 2014, constants from memory): a fixed scramble of the counter.
_OF_KEY: Final["i64"] = _signed(0x9E3779B97F4A7C15)
_OF_SECOND: Final["i64"] = _signed(0xD1B54A32D192ED03)
_FIRST: Final["i64"] = _signed(0xBF58476D1CE4E5B9)
_SECOND: Final["i64"] = _signed(0x94D049BB133111EB)
# Keeps 64 bits of a product; compiled there are no more, and -1 is all of them.
_MASK: Final["i64"] = _signed(_BITS_64) if _IS_COMPILED else _BITS_64
# Sum of four 16-bit uniforms: mean 131070, standard deviation 37837, never more than 3.47 deviations out.
_MEAN = 131_070.0
_DEVIATION: Final = math.sqrt(4.0 / 12.0) * 65_535.0
MOST_DEVIATIONS = _MEAN / _DEVIATION
# Fewer samples than these are sooner looked at one by one than as arrays.
_FEW: Final = 1_000_000 if _IS_COMPILED else 12


def noise(key: "i64", second: "i64") -> float:
    """Noise of one sample, in standard deviations; about normal, bounded by MOST_DEVIATIONS.

    Examples
    --------
    >>> noise(5, 1000) == noise(5, 1000) != noise(5, 1001)
    True
    """
    z = (key * _OF_KEY + second * _OF_SECOND + _OF_KEY) & _MASK
    z = ((z ^ (z >> 30 & 0x3FFFFFFFF)) * _FIRST) & _MASK
    z = ((z ^ (z >> 27 & 0x1FFFFFFFFF)) * _SECOND) & _MASK
    z ^= z >> 31 & 0x1FFFFFFFF
    total: int = (z & 0xFFFF) + (z >> 16 & 0xFFFF) + (z >> 32 & 0xFFFF) + (z >> 48 & 0xFFFF)
    return (total - _MEAN) / _DEVIATION


def noises(key: int, seconds: npt.NDArray[np.uint64]) -> npt.NDArray[np.float64]:
    """The same for many samples, shape (n,)."""
    start = np.uint64((key * 0x9E3779B97F4A7C15 + 0x9E3779B97F4A7C15) & _BITS_64)
    with np.errstate(over="ignore"):
        z = seconds * np.uint64(0xD1B54A32D192ED03) + start
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z ^= z >> np.uint64(31)
    low = np.uint64(0xFFFF)
    total = (z & low) + (z >> np.uint64(16) & low) + (z >> np.uint64(32) & low) + (z >> np.uint64(48))
    shares: npt.NDArray[np.float64] = (total.astype(np.float64) - _MEAN) / _DEVIATION
    return shares


class Shows(Protocol):
    """What shows many samples at once."""

    def shows(
        self, shares: npt.NDArray[np.float64], seconds: npt.NDArray[np.uint64]
    ) -> npt.NDArray[np.float64]:
        """What `Readings` then hold, for many samples, shape (n,)."""


class Instrument:
    """One instrument: what it shows of a value that runs in a straight line through a stretch.

    Parameters
    ----------
    place : int
        Where its reading goes in `Readings.values`.
    noise_units, resolution_units : float
        Standard deviation of one sample, and the step of what is shown, in the reading's unit.
    lag_s : float
        First-order lag; it is followed by backward Euler, as the plant's level is. [s]
    seed : int
        Seed of the replay.
    """

    __slots__ = (
        "from_value",
        "key",
        "lag_s",
        "noise_units",
        "place",
        "reach",
        "resolution",
        "to_value",
        "value",
    )

    def __init__(
        self, place: int, noise_units: float, resolution_units: float, lag_s: float, seed: int
    ) -> None:
        self.place = place
        self.noise_units = noise_units
        self.resolution = max(resolution_units, 1.0)  # readings are whole units
        self.lag_s = lag_s
        self.key: i64 = _signed((seed * 1_000_003 + place * 7_919 + 17) & _BITS_64)
        # A reading is never further than this from the lagged value.
        self.reach = noise_units * MOST_DEVIATIONS + self.resolution / 2.0 + 1.0
        self.value = math.nan  # lagged value at the beginning of the stretch; not yet known
        self.from_value = 0.0
        self.to_value = 0.0

    def begin(self, end_true: float, length_s: float) -> None:
        """Lay out a stretch at whose end the true value is `end_true`."""
        if self.value != self.value:  # the first stretch: the instrument has been on for a while
            self.value = end_true
        self.from_value = self.value
        share = length_s / (self.lag_s + length_s)
        self.to_value = self.value + (end_true - self.value) * share

    def advance(self, share: float) -> None:
        """End the stretch after this share of it."""
        self.value = self.from_value + (self.to_value - self.from_value) * share

    def show(self, share: float, second: int) -> int:
        """The reading after this share of the stretch, at this second of the replay."""
        value = self.from_value + (self.to_value - self.from_value) * share
        if self.noise_units:
            value += self.noise_units * noise(self.key, second)
        return int(math.floor(value / self.resolution + 0.5) * self.resolution)

    def may_leave(self, low: int, high: int) -> bool:
        """Whether any reading of the stretch could lie outside a band."""
        below, above = self.from_value, self.to_value
        if below > above:
            below, above = above, below
        return below - self.reach < low or above + self.reach > high

    def first_outside(
        self, begin_ms: int, length_ms: int, first: int, last: int, sample_ms: int, low: int, high: int
    ) -> int:
        """The first of some samples of a stretch that shows a value outside a band; -1 if none does.

        Parameters
        ----------
        begin_ms, length_ms : int
            The stretch. [ms]
        first, last : int
            The samples, counted from the replay's start.
        sample_ms : int
            From one to the next. [ms]
        low, high : int
            The band, in the reading's unit.
        """
        if last - first >= _FEW:
            return first_outside(self, begin_ms, length_ms, first, last, sample_ms, low, high)
        slope = self.to_value - self.from_value
        surely_low, surely_high = low + self.reach, high - self.reach
        for sample in range(first, last + 1):
            share = (sample * sample_ms - begin_ms) / length_ms
            value = self.from_value + slope * share
            if surely_low <= value <= surely_high:
                continue
            if not low <= self.show(share, sample) <= high:
                return sample
        return -1

    def shows(
        self, shares: npt.NDArray[np.float64], seconds: npt.NDArray[np.uint64]
    ) -> npt.NDArray[np.float64]:
        """The same readings as `show`, for many seconds, shape (n,)."""
        values = self.from_value + (self.to_value - self.from_value) * shares
        if self.noise_units:
            values = values + self.noise_units * noises(self.key, seconds)
        shown: npt.NDArray[np.float64] = np.trunc(np.floor(values / self.resolution + 0.5) * self.resolution)
        return shown


def first_outside(
    sensor: "Shows", begin_ms: int, length_ms: int, first: int, last: int, sample_ms: int, low: int, high: int
) -> int:
    """The same as `Instrument.first_outside`, of many samples, for whatever shows them all at once."""
    samples = np.arange(first, last + 1)
    shown = sensor.shows((samples * sample_ms - begin_ms) / length_ms, samples.astype(np.uint64))
    outside = (shown < low) | (shown > high)
    place = int(outside.argmax())
    return first + place if outside[place] else -1
