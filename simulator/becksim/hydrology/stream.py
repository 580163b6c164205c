"""A made-up stream from made-up weather: hourly flow for a site without a gauge, same seed same flow.

Rain is a chain of wet and dry days with gamma amounts (Richardson 1981, Water Resources Research 17(1), from
memory); a soil store decides how much of it runs off, and a quick and a slow linear reservoir decide when.
"""

import math
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from becksim.hydrology.series import MAX_FLOW_M3_S, FlowSeries

Floats = npt.NDArray[np.float64]
Months = tuple[float, ...]  # twelve numbers, January first

DAYS_PER_YEAR = 365.25
MONTH_DAYS = 30.4  # turns a month's evaporation into a day's
SPIN_UP_DAYS = 365  # thrown away, so that the first month does not depend on how full the stores began
STORM_HOURS = (2, 14)  # shortest and longest rain within a wet day, chosen by us
WET_SOIL_SHEDS = 0.5  # share of rain that runs off soil about to be full; once full, all of it. Chosen by us
START_FILL = 0.5  # soil store at the start of the spin-up, share of full, chosen by us


@dataclass(frozen=True)
class Catchment:
    """The land that feeds the stream, and its weather month by month (tuples of 12, January first).

    Parameters
    ----------
    area_km2 : float
        Area that drains to the intake [km2].
    wet_after_dry, wet_after_wet : tuple of 12 floats
        Chance of a wet day after a dry one, and after a wet one [-].
    wet_day_mm : tuple of 12 floats
        Mean rain of a wet day [mm].
    gamma_shape : float
        Shape of the gamma distribution of a wet day's rain [-]; below 1: many small falls, a few great ones.
    evaporation_mm : tuple of 12 floats
        Evaporation from wet soil, per month [mm].
    quick_share : float
        Share of the runoff that goes by the quick reservoir [-], 0 to 1.
    quick_days, slow_days : float
        Mean stay of water in the two reservoirs [d].
    soil_mm : float
        Water that the soil holds when full [mm].
    base_flow_m3_s : float
        Constant flow added from outside the balance, such as a spring [m3/s].

    Raises
    ------
    ValueError
        If a number is outside its range.
    """

    area_km2: float
    wet_after_dry: Months
    wet_after_wet: Months
    wet_day_mm: Months
    gamma_shape: float
    evaporation_mm: Months
    quick_share: float
    quick_days: float
    slow_days: float
    soil_mm: float
    base_flow_m3_s: float

    def __post_init__(self) -> None:
        months = ("wet_after_dry", "wet_after_wet", "wet_day_mm", "evaporation_mm")
        shares = ("wet_after_dry", "wet_after_wet", "quick_share")
        may_be_zero = (*shares, "wet_day_mm", "evaporation_mm", "base_flow_m3_s")
        for field in fields(self):
            value = getattr(self, field.name)
            monthly = field.name in months
            if monthly and len(value) != 12:
                raise ValueError(f"{field.name} must hold 12 numbers, January first; it holds {len(value)}")
            highest = 1.0 if field.name in shares else math.inf
            for number in value if monthly else (value,):
                in_range = 0.0 <= number <= highest and math.isfinite(number)
                if not in_range or (number == 0.0 and field.name not in may_be_zero):
                    least = "at least 0" if field.name in may_be_zero else "above 0"
                    most = " and at most 1" if highest == 1.0 else ""
                    raise ValueError(f"{field.name} must be {least}{most}; found {number!r}")


@dataclass(frozen=True)
class WetChainStatistics:
    """Long-run means of the wet-dry chain: shares [-], spells [d], wet days a year [d], rain a year [mm]."""

    wet_share: float
    wet_spell_days: float
    dry_spell_days: float
    wet_days_per_year: float
    rain_mm_per_year: float


@dataclass(frozen=True, eq=False)
class WaterBook:
    """Hourly account of a catchment, in mm over its area: what fell, what left, what is stored.

    `rain_mm`, `evaporation_mm` and `outflow_mm` are sums over each hour, shape (n,); `soil_mm`, `quick_mm`
    and `slow_mm` are the stores at the hours' bounds, shape (n + 1,). The year of spin-up is included.
    """

    rain_mm: Floats
    evaporation_mm: Floats
    outflow_mm: Floats
    soil_mm: Floats
    quick_mm: Floats
    slow_mm: Floats


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


def daily_rain_mm(catchment: Catchment, month: npt.NDArray[np.int64], seed: int) -> Floats:
    """Rain of each day, from the chain of wet and dry days and the gamma amounts.

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
    chance = np.random.default_rng([seed, 1]).random(month.size)
    wet_if_dry = chance < np.array(catchment.wet_after_dry)[month]
    wet_if_wet = chance < np.array(catchment.wet_after_wet)[month]
    wet = np.zeros(month.size, dtype=bool)
    yesterday = False
    for day, (if_dry, if_wet) in enumerate(zip(wet_if_dry.tolist(), wet_if_wet.tolist(), strict=True)):
        yesterday = wet[day] = if_wet if yesterday else if_dry
    amount = np.random.default_rng([seed, 2]).gamma(catchment.gamma_shape, size=month.size)
    scale_mm = np.array(catchment.wet_day_mm)[month] / catchment.gamma_shape
    return np.asarray(np.where(wet, amount * scale_mm, 0.0), dtype=np.float64)


def linear_reservoir_step(
    storage: float, inflow_per_day: float, *, stay_days: float, step_days: float
) -> tuple[float, float]:
    """Exact step of a reservoir whose outflow is its storage divided by the mean stay (Maillet's recession).

    Parameters
    ----------
    storage : float
        Water stored at the start, in any unit [V].
    inflow_per_day : float
        Inflow, constant over the step [V/d].
    stay_days : float
        Mean stay of the water [d]; the recession per day is exp(-1 / stay_days).
    step_days : float
        Length of the step [d].

    Returns
    -------
    tuple of float
        Storage at the end and outflow during the step, both [V].

    Examples
    --------
    >>> storage, outflow = linear_reservoir_step(100.0, 0.0, stay_days=10.0, step_days=10.0)
    >>> round(storage, 3), round(outflow, 3)
    (36.788, 63.212)
    """
    steady = inflow_per_day * stay_days
    end = steady + (storage - steady) * math.exp(-step_days / stay_days)
    return end, storage + inflow_per_day * step_days - end


def water_book(catchment: Catchment, *, days: int, seed: int, start_s: int) -> WaterBook:
    """Account for the water of a catchment hour by hour, from a year before `start_s`.

    Parameters
    ----------
    catchment : Catchment
    days : int
        Days after the spin-up [d], at least 1.
    seed : int
        Seed of the weather.
    start_s : int
        First instant after the spin-up [s], local standard time counted as if UTC.

    Returns
    -------
    WaterBook
        (365 + days) * 24 hours.

    Raises
    ------
    ValueError
        If `days` is below 1.
    """
    if days < 1:
        raise ValueError("days must be at least 1")
    day = np.arange(SPIN_UP_DAYS + days) - SPIN_UP_DAYS
    when = np.datetime64(start_s, "s") + day * np.timedelta64(86400, "s")
    month = when.astype("datetime64[M]").astype(np.int64) % 12
    rain_mm = _within_the_day(daily_rain_mm(catchment, month, seed), seed)
    demand_mm = np.repeat(np.array(catchment.evaporation_mm)[month] / MONTH_DAYS / 24.0, 24)
    soil, quick, slow = [START_FILL * catchment.soil_mm], [0.0], [0.0]
    evaporation, outflow = [], []
    for rain, demand in zip(rain_mm.tolist(), demand_mm.tolist(), strict=True):
        stored = soil[-1]
        fill = stored / catchment.soil_mm
        share = rain * WET_SOIL_SHEDS * fill * fill  # wetter soil sheds more; the square is chosen by us
        stored += rain - share
        excess = max(0.0, stored - catchment.soil_mm)
        stored -= excess
        lost = min(stored, demand * stored / catchment.soil_mm)  # dry soil gives its water up more slowly
        soil.append(stored - lost)
        evaporation.append(lost)
        runoff_mm_day = (share + excess) * 24.0
        to_quick = runoff_mm_day * catchment.quick_share
        end, quick_out = linear_reservoir_step(
            quick[-1], to_quick, stay_days=catchment.quick_days, step_days=1 / 24
        )
        quick.append(end)
        end, slow_out = linear_reservoir_step(
            slow[-1], runoff_mm_day - to_quick, stay_days=catchment.slow_days, step_days=1 / 24
        )
        slow.append(end)
        outflow.append(quick_out + slow_out)
    return WaterBook(rain_mm, *(np.array(column) for column in (evaporation, outflow, soil, quick, slow)))


def synthetic_flow(catchment: Catchment, *, days: int, seed: int, start_s: int) -> FlowSeries:
    """Hourly flow of a made-up stream, both ends included.

    Parameters
    ----------
    catchment : Catchment
    days : int
        Length [d], at least 1.
    seed : int
        Seed of the weather.
    start_s : int
        First instant [s], local standard time counted as if UTC.

    Returns
    -------
    FlowSeries
        days * 24 + 1 hourly values [m3/s], in whole mL/s.

    Raises
    ------
    ValueError
        If `days` is below 1.

    Examples
    --------
    >>> hill = Catchment(area_km2=2.0, wet_after_dry=(0.3,) * 12, wet_after_wet=(0.6,) * 12,
    ...                  wet_day_mm=(8.0,) * 12, gamma_shape=0.7, evaporation_mm=(40.0,) * 12,
    ...                  quick_share=0.4, quick_days=1.0, slow_days=40.0, soil_mm=120.0, base_flow_m3_s=0.002)
    >>> series = synthetic_flow(hill, days=10, seed=7, start_s=0)
    >>> series.days, series.flow_m3_s.size, series.source
    (10.0, 241, 'synthetic stream, seed 7')
    """
    book = water_book(catchment, days=days, seed=seed, start_s=start_s)
    mm_day = (book.quick_mm / catchment.quick_days + book.slow_mm / catchment.slow_days)[SPIN_UP_DAYS * 24 :]
    flow_m3_s = catchment.base_flow_m3_s + mm_day * (catchment.area_km2 * 1e3 / 86400.0)
    if flow_m3_s.max() > MAX_FLOW_M3_S:
        raise ValueError(
            f"this catchment floods past {MAX_FLOW_M3_S:g} m3/s; area_km2 or wet_day_mm is too large"
        )
    time_s = np.arange(flow_m3_s.size, dtype=np.int64) * 3600
    return FlowSeries(start_s, time_s, np.round(flow_m3_s, 6), f"synthetic stream, seed {seed}")


def _within_the_day(rain_mm: Floats, seed: int) -> Floats:
    """Spread each day's rain evenly over a storm of random length and hour, inside that day."""
    chance = np.random.default_rng([seed, 3]).random((rain_mm.size, 2))
    shortest, longest = STORM_HOURS
    length_h = shortest + np.floor(chance[:, 0] * (longest - shortest + 1))
    begin_h = np.floor(chance[:, 1] * (25 - length_h))
    hour = np.arange(24)
    raining = (hour >= begin_h[:, None]) & (hour < (begin_h + length_h)[:, None])
    return np.asarray((raining * (rain_mm / length_h)[:, None]).ravel(), dtype=np.float64)
