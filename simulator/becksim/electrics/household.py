"""Household load: a daily shape, a season, days that differ, and now and then a heavy appliance.

Made-up in its detail, exact in its sum: a year adds up to what the household says it uses in a year.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

YEAR_DAYS = 365  # the energy is made to fit in each such block of days
DAY_SHAPE = 25.0  # gamma shape of a day's use: a spread of 1 / sqrt(25) = 20 % from day to day. Chosen by us


def household_load_series(
    *,
    daily_kwh: float,
    profile: Sequence[float],
    winter_factor: float,
    days: int,
    start_s: int,
    step_s: int,
    seed: int,
    appliance_w: float = 0.0,
    appliance_minutes: float = 30.0,
    appliance_per_day: float = 0.0,
    midwinter_day: int = 15,
) -> Floats:
    """Mean load in each step.

    Parameters
    ----------
    daily_kwh : float
        Mean use of a day over the year, appliances included [kWh].
    profile : sequence of 24 floats
        Relative use by hour of the day, midnight first [-]; only their ratios count.
    winter_factor : float
        Load in midwinter over the year's mean [-], 0 to 2; in midsummer it is as far on the other side of 1.
    days : int
        Length [d].
    start_s : int
        First instant [s], local standard time counted as if UTC.
    step_s : int
        Step [s].
    seed : int
        Seed of the days and the appliance's starts.
    appliance_w : float
        Power of the heavy appliance while it runs [W].
    appliance_minutes : float
        How long it runs [min].
    appliance_per_day : float
        Mean number of starts in a day [-], more often at the hours of high `profile`.
    midwinter_day : int
        Day of the year in midwinter [d]; about 197 in the south.

    Returns
    -------
    ndarray of float64, shape (ceil(days * 86400 / step_s),)
        Mean load of each step [W], in tenths. Each 365 days from the first midnight have the mean
        `daily_kwh` / 24 h; a shorter run has its season's.

    Raises
    ------
    ValueError
        If a number is outside its range, or if the appliance alone would use more than `daily_kwh`.

    Examples
    --------
    >>> load_w = household_load_series(daily_kwh=4.8, profile=[1.0] * 24, winter_factor=1.2, days=365,
    ...                                start_s=0, step_s=3600, seed=1)
    >>> load_w.size, round(float(load_w.mean()), 1)
    (8760, 200.0)
    """
    shape = np.asarray(profile, dtype=np.float64)
    if shape.shape != (24,) or not np.all(np.isfinite(shape) & (shape >= 0.0)) or shape.sum() <= 0.0:
        raise ValueError("profile must hold 24 numbers of at least 0, not all 0")
    if days < 1 or step_s < 1:
        raise ValueError("days and step_s must be at least 1")
    if not 0.0 <= winter_factor <= 2.0:
        raise ValueError("winter_factor must be from 0 to 2")
    for number in (daily_kwh, appliance_w, appliance_minutes, appliance_per_day):
        if not (math.isfinite(number) and number >= 0.0):
            raise ValueError("daily_kwh and the appliance's numbers must be at least 0")
    first_day = start_s // 86400
    blocks = -(-(days + 1) // YEAR_DAYS)  # one day more: a start after midnight reaches into it
    length_s = round(appliance_minutes * 60.0)
    base_wh, starts_s = [], []
    for block in range(blocks):
        rng = np.random.default_rng([seed, block])
        season = _season(first_day + block * YEAR_DAYS, winter_factor, midwinter_day)
        day_wh = season * rng.gamma(DAY_SHAPE, 1.0 / DAY_SHAPE, YEAR_DAYS)
        begin_s = _appliance_starts_s(rng, shape, appliance_per_day, length_s)
        left_wh = daily_kwh * 1000.0 * YEAR_DAYS - begin_s.size * appliance_w * length_s / 3600.0
        if left_wh < 0.0:
            raise ValueError(
                "the appliance alone uses more than daily_kwh; lower appliance_per_day or raise daily_kwh"
            )
        base_wh.append(np.outer(day_wh * (left_wh / day_wh.sum()), shape / shape.sum()).ravel())
        starts_s.append(begin_s + block * YEAR_DAYS * 86400)
    edge_s = start_s % 86400 + np.arange(-(-days * 86400 // step_s) + 1, dtype=np.int64) * step_s
    hour_wh = np.concatenate(base_wh)
    until_wh = np.interp(
        edge_s, np.arange(hour_wh.size + 1) * 3600.0, np.concatenate([[0.0], np.cumsum(hour_wh)])
    )
    on_s = _running_s(edge_s, np.sort(np.concatenate(starts_s)), length_s)
    load_w = (np.diff(until_wh) * 3600.0 + np.diff(on_s) * appliance_w) / step_s
    return np.asarray(np.round(load_w, 1), dtype=np.float64)


def _season(first_day: int, winter_factor: float, midwinter_day: int) -> Floats:
    date = (first_day + np.arange(YEAR_DAYS)).astype("datetime64[D]")
    day_of_year = (date - date.astype("datetime64[Y]")).astype(np.int64) + 1
    swing = np.cos(2.0 * np.pi * (day_of_year - midwinter_day) / 365.25)
    return np.asarray(1.0 + (winter_factor - 1.0) * swing, dtype=np.float64)


def _appliance_starts_s(
    rng: np.random.Generator, shape: Floats, per_day: float, length_s: int
) -> npt.NDArray[np.int64]:
    """Starts within one block of days, as many a day as chance has it, at hours weighted by the profile."""
    day = np.repeat(np.arange(YEAR_DAYS), rng.poisson(per_day, YEAR_DAYS))
    share = np.concatenate([[0.0], np.cumsum(shape) / shape.sum()])
    within_s = np.interp(rng.random(day.size), share, np.arange(25) * 3600.0)
    starts_s = day * 86400 + within_s.astype(np.int64)
    return np.asarray(
        np.minimum(starts_s, YEAR_DAYS * 86400 - length_s), dtype=np.int64
    )  # none runs past the end


def _running_s(
    edge_s: npt.NDArray[np.int64], starts_s: npt.NDArray[np.int64], length_s: int
) -> npt.NDArray[np.int64]:
    """Seconds of running up to each edge, summed over all starts (they may overlap)."""
    total = np.zeros(edge_s.shape, dtype=np.int64)
    for sign, bound_s in ((1, starts_s), (-1, starts_s + length_s)):
        passed = np.searchsorted(bound_s, edge_s)
        total += sign * (passed * edge_s - np.concatenate([[0], np.cumsum(bound_s)])[passed])
    return total
