"""Household load: a base by the hour and the season, appliances that come and go, a heater by the clock.

Made-up in its detail, exact in its sum: a year adds up to what the household says it uses in a year. The
appliances are what makes it one house: a street's load is smooth, a house's highest quarter hour is ten
times its mean.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.times import DAY_S, YEAR_DAYS

Floats = npt.NDArray[np.float64]
Instants = npt.NDArray[np.int64]

HOUSE = 20  # streams of random numbers [seed, 20, ...]; the weather and the sun have others
DAY_SHAPE = 25.0  # gamma shape of a day's use: a spread of 1 / sqrt(25) = 20 % from day to day. Chosen by us


@dataclass(frozen=True)
class Appliance:
    """Something that is switched on now and then and runs for a while.

    Parameters
    ----------
    name : str
        What it is called.
    power_w : float
        Power while it runs. [W]
    minutes : float
        How long it runs. [min]
    per_day : float
        Mean number of starts in a day over the year. [-]
    hours : sequence of 24 floats, or empty
        Relative number of starts by hour of the day, midnight first; empty: as the house's profile. [-]
    months : sequence of 12 floats, or empty
        Relative number of starts a day by month, January first; empty: all alike. [-]
    """

    name: str
    power_w: float
    minutes: float
    per_day: float
    hours: Sequence[float] = ()
    months: Sequence[float] = ()

    def __post_init__(self) -> None:
        """Check the numbers.

        Raises
        ------
        ValueError
            If one is outside its range.
        """
        for key in ("power_w", "minutes", "per_day"):
            if not (math.isfinite(getattr(self, key)) and getattr(self, key) >= 0.0):
                raise ValueError(f"{key} of {self.name} must be at least 0")
        for key, count in (("hours", 24), ("months", 12)):
            if getattr(self, key):
                _weights(getattr(self, key), count, f"{key} of {self.name}")


def household_load_series(
    *,
    daily_kwh: float,
    profile: Sequence[float],
    winter_factor: float,
    days: int,
    start_s: int,
    step_s: int,
    seed: int,
    appliances: Sequence[Appliance] = (),
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
        Base load in midwinter over the year's mean [-], 0 to 2; in midsummer it is as far on the other side
        of 1.
    days : int
        Length [d].
    start_s : int
        First instant [s], local standard time counted as if UTC.
    step_s : int
        Step [s].
    seed : int
        Seed of the days and of the appliances' starts; each appliance has its own, by its place.
    appliances : sequence of Appliance
        What comes and goes, at random, one of each: all may run at once, but none twice at once. The base
        load is what they leave of `daily_kwh`.
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
        If a number is outside its range, or if the appliances alone would use more than `daily_kwh`.

    Examples
    --------
    >>> kettle = Appliance("kettle", power_w=2000.0, minutes=4.0, per_day=5.0)
    >>> load_w = household_load_series(daily_kwh=4.8, profile=[1.0] * 24, winter_factor=1.2, days=365,
    ...                                start_s=0, step_s=3600, seed=1, appliances=[kettle])
    >>> load_w.size, round(float(load_w.mean()), 1)
    (8760, 200.0)
    """
    shape = _weights(profile, 24, "profile")
    if days < 1 or step_s < 1:
        raise ValueError("days and step_s must be at least 1")
    if not 0.0 <= winter_factor <= 2.0:
        raise ValueError("winter_factor must be from 0 to 2")
    if not (math.isfinite(daily_kwh) and daily_kwh >= 0.0):
        raise ValueError("daily_kwh must be at least 0")
    first_day = start_s // DAY_S
    # The energy is made to fit in each block of a year.
    blocks = -(-(days + 1) // YEAR_DAYS)  # one day more: a start after midnight reaches into it
    edge_s = _edges_s(days, start_s, step_s)
    left_wh = np.full(blocks, daily_kwh * 1000.0 * YEAR_DAYS)
    load_ws = np.zeros(edge_s.size - 1)
    for place, appliance in enumerate(appliances, 1):
        length_s = round(appliance.minutes * 60.0)
        starts_s = [
            block * YEAR_DAYS * DAY_S
            + _starts_s(
                np.random.default_rng([seed, HOUSE, block, place]),
                appliance,
                shape,
                first_day + block * YEAR_DAYS,
            )
            for block in range(blocks)
        ]
        left_wh -= [begin_s.size * appliance.power_w * length_s / 3600.0 for begin_s in starts_s]
        load_ws += appliance.power_w * np.diff(_running_s(edge_s, np.concatenate(starts_s), length_s))
    if np.any(left_wh < 0.0):
        raise ValueError("daily_kwh is less than the appliances alone use; raise it, or lower their per_day")
    base_wh = []
    for block in range(blocks):
        rng = np.random.default_rng([seed, HOUSE, block])
        day_wh = _season(first_day + block * YEAR_DAYS, winter_factor, midwinter_day)
        day_wh = day_wh * rng.gamma(DAY_SHAPE, 1.0 / DAY_SHAPE, YEAR_DAYS)
        base_wh.append(np.outer(day_wh * (left_wh[block] / day_wh.sum()), shape).ravel())
    hour_wh = np.concatenate(base_wh)
    hour_s = np.arange(hour_wh.size + 1) * 3600.0
    load_ws += 3600.0 * np.diff(np.interp(edge_s, hour_s, np.concatenate([[0.0], np.cumsum(hour_wh)])))
    return np.asarray(np.round(load_ws / step_s, 1), dtype=np.float64)


def timed_heater_series(
    *, heater_w: float, hours: Sequence[float], months: Sequence[float], days: int, start_s: int, step_s: int
) -> Floats:
    """Mean power of a heater that a clock switches on, the same hours each day.

    Parameters
    ----------
    heater_w : float
        Power while it runs [W].
    hours : sequence of float
        Whole hours of the day in which it runs, 0 to 23: 2 is from 2:00 to 3:00.
    months : sequence of 12 floats, or empty
        0 for the months in which it is off, January first; empty: on in all.
    days, start_s, step_s : int
        As for the household [d, s, s].

    Returns
    -------
    ndarray of float64, shape (ceil(days * 86400 / step_s),)
        Mean power of each step [W], in tenths.

    Raises
    ------
    ValueError
        If an hour is not one of the day's.

    Examples
    --------
    >>> timed_heater_series(heater_w=600.0, hours=[2, 3], months=[], days=1, start_s=0, step_s=7200).tolist()
    [0.0, 600.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    """
    on_hours = {int(hour) for hour in hours if 0 <= hour <= 23 and hour == int(hour)}
    if len(on_hours) < len(set(hours)):
        raise ValueError("heater_hours must be whole hours of the day, 0 to 23")
    day_on = _months(start_s // DAY_S + np.arange(days + 2), months or [1.0] * 12) > 0.0
    hour_on = np.outer(day_on, [hour in on_hours for hour in range(24)]).ravel()
    on_s = np.concatenate([[0], np.cumsum(3600 * hour_on)])
    edge_s = _edges_s(days, start_s, step_s)
    running_s = np.diff(np.interp(edge_s, np.arange(on_s.size) * 3600.0, on_s))
    return np.asarray(np.round(heater_w * running_s / step_s, 1), dtype=np.float64)


def _weights(numbers: Sequence[float], count: int, what: str) -> Floats:
    """Relative numbers made to add up to 1."""
    weights = np.asarray(numbers, dtype=np.float64)
    if weights.shape != (count,) or not np.all(np.isfinite(weights) & (weights >= 0.0)) or not weights.any():
        raise ValueError(f"{what} must hold {count} numbers of at least 0, not all 0")
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _edges_s(days: int, start_s: int, step_s: int) -> Instants:
    """Beginnings and ends of the steps, from the first midnight."""
    return start_s % DAY_S + np.arange(-(-days * DAY_S // step_s) + 1, dtype=np.int64) * step_s


def _months(days_since_1970: Instants, by_month: Sequence[float]) -> Floats:
    month = days_since_1970.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % 12
    return np.asarray(by_month, dtype=np.float64)[month]


def _season(first_day: int, winter_factor: float, midwinter_day: int) -> Floats:
    date = (first_day + np.arange(YEAR_DAYS)).astype("datetime64[D]")
    day_of_year = (date - date.astype("datetime64[Y]")).astype(np.int64) + 1
    swing = np.cos(2.0 * np.pi * (day_of_year - midwinter_day) / 365.25)
    return np.asarray(1.0 + (winter_factor - 1.0) * swing, dtype=np.float64)


def _starts_s(rng: np.random.Generator, appliance: Appliance, shape: Floats, first_day: int) -> Instants:
    """Starts within one block of days, as many a day as chance has it."""
    per_day = _months(first_day + np.arange(YEAR_DAYS), appliance.months or [1.0] * 12)
    day = np.repeat(np.arange(YEAR_DAYS), rng.poisson(appliance.per_day * per_day / per_day.mean()))
    hours = _weights(appliance.hours, 24, "hours") if appliance.hours else shape
    share = np.concatenate([[0.0], np.cumsum(hours)])
    within_s = np.interp(rng.random(day.size), share, np.arange(25) * 3600.0)
    starts_s = np.sort(day * DAY_S + within_s.astype(np.int64))
    # there is one of it: a start while it still runs waits for its end, and none runs past the year's
    length_s, place = round(appliance.minutes * 60.0), np.arange(day.size)
    starts_s = np.maximum.accumulate(starts_s - length_s * place) + length_s * place
    starts_s = np.minimum(starts_s, YEAR_DAYS * DAY_S - length_s * (day.size - place))
    if day.size and starts_s[0] < 0:
        raise ValueError(f"{appliance.name} would run more than all day; lower its minutes or per_day")
    return np.asarray(starts_s, dtype=np.int64)


def _running_s(edge_s: Instants, starts_s: Instants, length_s: int) -> Instants:
    """Seconds of running up to each edge, summed over all starts, which are in order."""
    total = np.zeros(edge_s.shape, dtype=np.int64)
    for sign, bound_s in ((1, starts_s), (-1, starts_s + length_s)):
        passed = np.searchsorted(bound_s, edge_s)
        total += sign * (passed * edge_s - np.concatenate([[0], np.cumsum(bound_s)])[passed])
    return total
