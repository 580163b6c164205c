"""Clouds made up from a seed: which share of a clear sky's light arrives, day by day and within the day.

Each day has a share of its own, drawn about its month's; a dull day is likely to be followed by another.
Within the day, clouds pass: most on a day that is half clear, hardly any on one that is clear or overcast.

The constants were fitted by us to two open years of hourly light that come with pvlib (TMY3, NREL): a dull
northern coast (55.3 deg N) and a sunny inland place (36.1 deg N). tests/handbook/test_sun.py keeps the fit.
"""

import math
from collections.abc import Sequence
from itertools import accumulate

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SUN = 10  # streams of random numbers [seed, 10, 1 or 2]; the weather and the household have others
DULLEST = 0.2  # share of a day under thick cloud; the records' darkest days: 0.2
CLOUD_SPREAD = 1.4  # a + b of the beta distribution of a day's share: low, so days are clear or dull
LEAST_SHAPE = 0.25  # a and b stay above it, or a month without clear (or dull) days would have only one kind
# Correlation of a day's cloud with the day before's. Counted within months it comes out as 0.32; the records
# have 0.26 and 0.31, but the dull one's longest spell asks for more.
DAY_TO_DAY = 0.4
PASSING = 2.4  # swing of passing clouds over x (1 - x), x a day's place between dullest and clear
PASSING_S = 4000.0  # in which passing clouds are forgotten to 1 / e; hour to hour 0.4, as in the records
TABLE = (np.arange(1001) / 1000.0) * (math.pi / 2.0)  # angles at which the beta distribution is summed


def light_shares(
    clear_w_m2: npt.ArrayLike,
    month: Sequence[int] | npt.NDArray[np.int64],
    clearness: Sequence[float],
    seed: int,
) -> Floats:
    """Share of a clear sky's light that arrives.

    A longer run begins like a shorter one of the same seed.

    Parameters
    ----------
    clear_w_m2 : array_like, shape (days, steps of a day)
        Light of a clear sky [W/m2].
    month : sequence of int, shape (days,)
        Month of each day, 0 is January.
    clearness : sequence of 12 floats
        Mean light over the clear sky's, by month, January first [-], 0 to 1.
    seed : int
        Seed of the clouds.

    Returns
    -------
    ndarray of float64, shape of `clear_w_m2`
        Share of each step [-]: 0 to about 1.2, as a cloud beside the sun may add light.

    Raises
    ------
    ValueError
        If `clearness` is not 12 numbers from 0 to 1.

    Examples
    --------
    >>> shares = light_shares(np.full((1000, 96), 500.0), [6] * 1000, [0.5] * 12, seed=1)
    >>> shares.shape, round(float(shares.mean()), 1)
    ((1000, 96), 0.5)
    """
    if len(clearness) != 12 or not all(0.0 <= share <= 1.0 for share in clearness):
        raise ValueError("clearness must hold 12 numbers from 0 to 1, January first")
    light = np.asarray(clear_w_m2, dtype=np.float64)
    days, steps = light.shape
    cloud = _cloud([seed, SUN, 1], days, DAY_TO_DAY)
    passing = 2.0 * _cloud([seed, SUN, 2], days * steps, math.exp(-86400.0 / steps / PASSING_S)) - 1.0
    passing = passing.reshape(days, steps)
    # its mean over the day, by light, is taken off: the day keeps the share that it has drawn
    day_light = np.maximum(light.sum(axis=1), 1e-9)
    passing = passing - ((passing * light).sum(axis=1) / day_light)[:, None]
    mean = np.asarray(clearness, dtype=np.float64)[np.asarray(month)]
    dullest = np.minimum(DULLEST, 0.5 * mean)
    place = np.zeros(days)
    for number in range(12):
        mine = np.asarray(month) == number
        low = min(DULLEST, 0.5 * clearness[number])
        place[mine] = beta_quantile(cloud[mine], (clearness[number] - low) / (1.0 - low))
    share = dullest + (1.0 - dullest) * place
    swing = PASSING * (1.0 - dullest) * place * (1.0 - place)
    return np.asarray(np.maximum(share[:, None] + swing[:, None] * passing, 0.0), dtype=np.float64)


def beta_quantile(chance: npt.ArrayLike, mean: float) -> Floats:
    """What a beta distribution of CLOUD_SPREAD stays below with that chance.

    Parameters
    ----------
    chance : array_like
        0 to 1 [-].
    mean : float
        Mean of the distribution [-], 0 to 1.

    Returns
    -------
    ndarray of float64, shape of `chance`
        0 to 1 [-].

    Examples
    --------
    >>> round(float(beta_quantile(0.5, 0.5)), 6)
    0.5
    """
    if not 0.001 < mean < 0.999:  # the powers below would run out of numbers
        return np.full(np.shape(chance), mean)
    spread = max(CLOUD_SPREAD, LEAST_SHAPE / min(mean, 1.0 - mean))
    # with x = sin^2 of an angle, x^(a - 1) (1 - x)^(b - 1) dx is sin^(2 a - 1) cos^(2 b - 1): tame there
    middle = 0.5 * (TABLE[1:] + TABLE[:-1])
    a, b = mean * spread, (1.0 - mean) * spread
    density = np.sin(middle) ** (2.0 * a - 1.0) * np.cos(middle) ** (2.0 * b - 1.0)
    below = np.concatenate([[0.0], np.cumsum(density)])
    return np.asarray(
        np.interp(np.asarray(chance, dtype=np.float64), below / below[-1], np.sin(TABLE) ** 2),
        dtype=np.float64,
    )


def _cloud(seeds: list[int], count: int, keep: float) -> Floats:
    """Numbers spread evenly over 0 to 1, each akin to the one before: a normal series, by its chances."""
    fresh = np.random.default_rng(seeds).standard_normal(count).tolist()
    new = math.sqrt(1.0 - keep * keep)
    series = accumulate(fresh, lambda before, now: keep * before + new * now)
    return np.array([0.5 + 0.5 * math.erf(value / math.sqrt(2.0)) for value in series])
