"""Made-up weather, day by day: rain from a chain of wet and dry days, temperature, drought years.

The rain is Richardson's (1981, Water Resources Research 17(1), from memory): whether a day is wet depends on
the day before, how much falls is a gamma amount. Each kind of chance has its own stream of random numbers, so
that switching one on changes no other.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydrology.catchment import Catchment, Months

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DAYS_PER_YEAR = 365.25
# How a wet day's rain falls, fitted by us to three years of hours at a station (2014-16): the longest storm
# of a day of 1 mm, growing with the root of the rain; and the shape of the gamma weights of its hours, uneven
# if small.
STORM_HOURS_AT_1_MM = 14.0
STORM_SHAPE = 0.6
NOISE_PERSISTENCE = 0.7  # of one day's temperature into the next; 0.6 to 0.8 is usual, from memory
LAPSE_C_PER_M = 0.0065  # ICAO standard atmosphere
WET_AT_MM = 0.1  # a day with less is dry: what a usual gauge can read, common practice
RAIN, AMOUNT, STORM, DROUGHT, TEMPERATURE, HOURS = 1, 2, 3, 4, 5, 6  # streams of random numbers


@dataclass(frozen=True)
class WetChainStatistics:
    """Long-run means of the wet-dry chain: shares [-], spells [d], wet days a year [d], rain a year [mm]."""

    wet_share: float
    wet_spell_days: float
    dry_spell_days: float
    wet_days_per_year: float
    rain_mm_per_year: float


@dataclass(frozen=True)
class WetChain:
    """The chain of a rain record: chances [-], wet days' mean and least [mm], shape [-], as in a `Catchment`.

    Drizzle below the least is counted to the mean.
    """

    wet_after_dry: Months
    wet_after_wet: Months
    wet_day_mm: Months
    gamma_shape: float
    wet_least_mm: float


def wet_chain_statistics(
    *, wet_after_dry: float, wet_after_wet: float, wet_day_mm: float
) -> WetChainStatistics:
    """Theory of the two-state chain of wet and dry days.

    Parameters
    ----------
    wet_after_dry, wet_after_wet : float
        Chance of a wet day after a dry one (above 0) and after a wet one (below 1) [-].
    wet_day_mm : float
        Mean rain of a wet day [mm], shape times scale of the gamma distribution.

    Returns
    -------
    WetChainStatistics
        wet share P01 / (1 + P01 - P11), mean wet spell 1 / (1 - P11), mean dry spell 1 / P01 (Richardson
        1981, from memory); a year has 365.25 days.

    Raises
    ------
    ValueError
        If a chance leaves no end to a spell.

    Examples
    --------
    >>> wet_chain_statistics(wet_after_dry=0.25, wet_after_wet=0.6, wet_day_mm=7.0).dry_spell_days
    4.0
    """
    if not (0.0 < wet_after_dry <= 1.0 and 0.0 <= wet_after_wet < 1.0):
        raise ValueError("wet_after_dry must be above 0 and at most 1, wet_after_wet at least 0 and below 1")
    wet_share = wet_after_dry / (1.0 + wet_after_dry - wet_after_wet)
    wet_days = DAYS_PER_YEAR * wet_share
    return WetChainStatistics(
        wet_share, 1.0 / (1.0 - wet_after_wet), 1.0 / wet_after_dry, wet_days, wet_days * wet_day_mm
    )


def fit_wet_chain(rain_mm: Floats, month: Ints, wet_at_mm: float = WET_AT_MM) -> WetChain:
    """The chain of wet and dry days that a rain record shows, month by month.

    Parameters
    ----------
    rain_mm : ndarray of float64, shape (days,)
        Rain of each day [mm].
    month : ndarray of int64, shape (days,)
        Month of each day, 0 is January.
    wet_at_mm : float
        Least rain of a wet day [mm]; drizzle below it is counted to the wet days' rain.

    Returns
    -------
    WetChain
        The shape is that of what falls above the least rain on all wet days together, the likeliest one by
        Thom's formula (1958, Monthly Weather Review 86(4), from memory): one wild day hardly moves it.

    Raises
    ------
    ValueError
        If a month has no wet day, or no day after a dry or after a wet one.

    Examples
    --------
    >>> month = np.repeat(np.arange(12), 6)
    >>> chain = fit_wet_chain(np.tile([0.0, 0.0, 4.0, 8.0, 0.0, 6.0], 12), month)
    >>> chain.wet_after_wet[1], chain.wet_day_mm[1]
    (0.3333333333333333, 6.0)
    """
    wet = rain_mm >= wet_at_mm
    before = wet[:-1]
    after_dry, after_wet, day_mm = [], [], []
    for number in range(12):
        here = month == number
        following_dry, following_wet = wet[1:][here[1:] & ~before], wet[1:][here[1:] & before]
        if not (following_dry.size and following_wet.size and wet[here].any()):
            raise ValueError(f"month {number + 1} has too few wet and dry days to tell their chances")
        after_dry.append(float(following_dry.mean()))
        after_wet.append(float(following_wet.mean()))
        day_mm.append(float(rain_mm[here].sum() / np.count_nonzero(wet[here])))
    # a gauge that reads tenths shows many days of just the least; a fiftieth of it keeps the logarithm finite
    above_mm = np.maximum(rain_mm[wet] - wet_at_mm, 0.02 * wet_at_mm)
    spread = np.log(above_mm.mean()) - np.log(above_mm).mean()
    if spread <= 0.0:
        raise ValueError("all wet days have the same rain")
    shape = float((1.0 + (1.0 + 4.0 * spread / 3.0) ** 0.5) / (4.0 * spread))
    return WetChain(tuple(after_dry), tuple(after_wet), tuple(day_mm), shape, wet_at_mm)


def daily_rain_mm(catchment: Catchment, month: Ints, seed: int) -> Floats:
    """Rain of each day, from the chain of wet and dry days and the gamma amounts; drought years left out.

    Parameters
    ----------
    catchment : Catchment
    month : ndarray of int64, shape (days,)
        Month of each day, 0 is January.
    seed : int
        The same seed gives the same rain; a longer run begins like a shorter one.

    Returns
    -------
    ndarray of float64, shape (days,)
        Rain [mm], 0 on dry days.
    """
    chance = np.random.default_rng([seed, RAIN]).random(month.size)
    wet_if_dry = chance < np.array(catchment.wet_after_dry)[month]
    wet_if_wet = chance < np.array(catchment.wet_after_wet)[month]
    wet = np.zeros(month.size, dtype=bool)
    yesterday = False
    for day, (if_dry, if_wet) in enumerate(zip(wet_if_dry.tolist(), wet_if_wet.tolist(), strict=True)):
        yesterday = wet[day] = if_wet if yesterday else if_dry
    amount = np.random.default_rng([seed, AMOUNT]).gamma(catchment.gamma_shape, size=month.size)
    least_mm = catchment.wet_least_mm
    scale_mm = np.maximum(np.array(catchment.wet_day_mm) - least_mm, 0.0)[month] / catchment.gamma_shape
    return np.asarray(np.where(wet, least_mm + amount * scale_mm, 0.0), dtype=np.float64)


def year_rain_factor(catchment: Catchment, year: Ints, seed: int) -> Floats:
    """What each day's rain is multiplied by: `drought_share` in a drought year, else 1.

    Parameters
    ----------
    catchment : Catchment
    year : ndarray of int64, shape (days,)
        Calendar year of each day, 1 or later.
    seed : int
        Whether a year is a drought year depends on the seed and the year alone, not on where a run begins.

    Returns
    -------
    ndarray of float64, shape (days,)
        Factor [-].
    """
    years, inverse = np.unique(year, return_inverse=True)
    chance = [np.random.default_rng([seed, DROUGHT, int(number)]).random() for number in years]
    factor = np.where(np.array(chance) < catchment.drought_chance, catchment.drought_share, 1.0)
    return np.asarray(factor[inverse], dtype=np.float64)


def daily_temperature_c(catchment: Catchment, day: npt.NDArray[np.datetime64], seed: int) -> Floats:
    """Mean temperature of each day at the catchment's mean height.

    The months' means stand at the middle of the months, straight lines between; the noise of a day carries
    over to the next.

    Parameters
    ----------
    catchment : Catchment
        With `temperature_c`.
    day : ndarray of datetime64[D], shape (days,)
        The days, one after the other.
    seed : int
        Seed of the noise.

    Returns
    -------
    ndarray of float64, shape (days,)
        Temperature [degC].

    Raises
    ------
    ValueError
        If the catchment has no temperatures.
    """
    if catchment.temperature_c is None:
        raise ValueError("this catchment has no temperature_c")
    first = day.astype("datetime64[M]")
    passed = (day - first.astype("datetime64[D]")).astype(np.float64) + 0.5
    length = ((first + 1).astype("datetime64[D]") - first.astype("datetime64[D]")).astype(np.float64)
    at_month = first.astype(np.int64) % 12 + passed / length
    season_c = np.interp(at_month, np.arange(12) + 0.5, catchment.temperature_c, period=12.0)
    shock = np.random.default_rng([seed, TEMPERATURE]).standard_normal(day.size)
    fresh = (1.0 - NOISE_PERSISTENCE**2) ** 0.5
    noise, yesterday = [], float(shock[0])
    for number, value in enumerate(shock.tolist()):
        yesterday = NOISE_PERSISTENCE * yesterday + fresh * value if number else value
        noise.append(yesterday)
    height_c = LAPSE_C_PER_M * catchment.above_station_m
    return np.asarray(season_c - height_c + catchment.temperature_noise_c * np.array(noise))


def hourly_rain_mm(rain_mm: Floats, seed: int) -> Floats:
    """Spread each day's rain unevenly over a storm of random length and hour, inside that day.

    A storm may last the longer the more rain falls; its hours are gamma weights, so that one or two of them
    bring most of it.

    Parameters
    ----------
    rain_mm : ndarray of float64, shape (days,)
        Rain of each day [mm].
    seed : int
        Seed of the storms.

    Returns
    -------
    ndarray of float64, shape (24 * days,)
        Rain of each hour [mm].
    """
    chance = np.random.default_rng([seed, STORM]).random((rain_mm.size, 2))
    weight = np.random.default_rng([seed, HOURS]).gamma(STORM_SHAPE, size=(rain_mm.size, 24))
    longest_h = np.minimum(STORM_HOURS_AT_1_MM * np.sqrt(rain_mm), 24.0)
    length_h = np.minimum(1.0 + np.floor(chance[:, 0] * longest_h), 24.0)
    begin_h = np.floor(chance[:, 1] * (25.0 - length_h))
    hour = np.arange(24)
    weight *= (hour >= begin_h[:, None]) & (hour < (begin_h + length_h)[:, None])
    share = weight / weight.sum(axis=1, keepdims=True)
    return np.asarray((share * rain_mm[:, None]).ravel(), dtype=np.float64)
