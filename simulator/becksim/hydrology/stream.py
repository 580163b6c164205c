"""A stream from weather: hourly flow for a site without a gauge, from made-up rain or from a rain record.

The same seed gives the same flow. Weather, stores and the catchment's numbers have files of their own.
"""

import numpy as np

from becksim.hydrology.catchment import Catchment
from becksim.hydrology.series import MAX_FLOW_M3_S, FlowSeries
from becksim.hydrology.stores import Floats, WaterBook, water_account
from becksim.hydrology.weather import daily_rain_mm, daily_temperature_c, hourly_rain_mm, year_rain_factor

__all__ = ["Catchment", "flow_from_rain", "made_up_weather", "synthetic_flow", "water_book"]

MONTH_DAYS = 30.4  # turns a month's evaporation into a day's
SPIN_UP_DAYS = 365  # thrown away, so that the first month does not depend on how full the stores began


def made_up_weather(
    catchment: Catchment, *, days: int, seed: int, start_s: int
) -> tuple[Floats, Floats, Floats | None]:
    """Weather of a catchment from a year before `start_s`.

    Parameters
    ----------
    catchment, days, seed, start_s
        As in `water_book`.

    Returns
    -------
    tuple
        Rain and evaporation from wet soil of each hour [mm], shape ((365 + days) * 24,), and the mean
        temperature of each day [degC], shape (365 + days,), or None where it never snows.

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
    rain_mm = hourly_rain_mm(daily_rain_mm(catchment, month, seed), seed)
    if catchment.drought_chance > 0.0:
        year = when.astype("datetime64[Y]").astype(np.int64) + 1970
        rain_mm = rain_mm * np.repeat(year_rain_factor(catchment, year, seed), 24)
    temperature_c = None
    if catchment.temperature_c is not None:
        temperature_c = daily_temperature_c(catchment, when.astype("datetime64[D]"), seed)
    demand_mm = np.repeat(np.array(catchment.evaporation_mm)[month] / MONTH_DAYS / 24.0, 24)
    return rain_mm, demand_mm, temperature_c


def water_book(catchment: Catchment, *, days: int, seed: int, start_s: int) -> WaterBook:
    """Account for the water of a catchment hour by hour, in made-up weather from a year before `start_s`.

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
    return water_account(catchment, *made_up_weather(catchment, days=days, seed=seed, start_s=start_s))


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
        If `days` is below 1, or the catchment floods past `MAX_FLOW_M3_S`.

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
    return _series(catchment, book, SPIN_UP_DAYS, start_s, f"synthetic stream, seed {seed}")


def flow_from_rain(
    catchment: Catchment,
    rain_mm: Floats,
    evaporation_mm: Floats,
    *,
    temperature_c: Floats | None = None,
    start_s: int = 0,
    spin_up_days: int = SPIN_UP_DAYS,
    seed: int = 0,
) -> FlowSeries:
    """Hourly flow of a catchment in recorded weather; its own months of rain and evaporation are not used.

    Parameters
    ----------
    catchment : Catchment
    rain_mm, evaporation_mm : ndarray of float64, shape (days,)
        Rain and evaporation from wet soil of each day [mm].
    temperature_c : ndarray of float64, shape (days,), optional
        Mean temperature of each day at the catchment's height [degC]. None: it never snows.
    start_s : int
        Beginning of the first day [s], local standard time counted as if UTC.
    spin_up_days : int
        Days at the beginning that fill the stores and are left out of the flow [d].
    seed : int
        Seed of the hours at which a day's rain falls.

    Returns
    -------
    FlowSeries
        (days - spin_up_days) * 24 + 1 hourly values [m3/s], in whole mL/s.

    Raises
    ------
    ValueError
        If the arrays are not of one length, hold a number below 0 or none, or leave no day after the spin-up.

    Examples
    --------
    >>> hill = Catchment(area_km2=2.0, wet_after_dry=(0.3,) * 12, wet_after_wet=(0.6,) * 12,
    ...                  wet_day_mm=(8.0,) * 12, gamma_shape=0.7, evaporation_mm=(40.0,) * 12,
    ...                  quick_share=0.4, quick_days=1.0, slow_days=40.0, soil_mm=120.0, base_flow_m3_s=0.002)
    >>> series = flow_from_rain(hill, np.full(30, 5.0), np.full(30, 1.0), spin_up_days=20)
    >>> series.days, bool(series.flow_m3_s[-1] > series.flow_m3_s[0])
    (10.0, True)
    """
    weather = [rain_mm, evaporation_mm] + ([] if temperature_c is None else [temperature_c])
    if any(column.ndim != 1 or column.size != rain_mm.size for column in weather):
        raise ValueError("rain_mm, evaporation_mm and temperature_c must be of one length")
    if not (np.all(rain_mm >= 0.0) and np.all(evaporation_mm >= 0.0)):
        raise ValueError("rain_mm and evaporation_mm must be at least 0 on every day")
    if not all(np.all(np.isfinite(column)) for column in weather):
        raise ValueError("rain_mm, evaporation_mm and temperature_c must be finite on every day")
    if not 0 <= spin_up_days < rain_mm.size:
        raise ValueError(f"spin_up_days must be from 0 to {rain_mm.size - 1}; found {spin_up_days}")
    demand_mm = np.repeat(evaporation_mm / 24.0, 24)
    book = water_account(catchment, hourly_rain_mm(rain_mm, seed), demand_mm, temperature_c)
    return _series(catchment, book, spin_up_days, start_s + 86400 * spin_up_days, "stream from a rain record")


def _series(
    catchment: Catchment, book: WaterBook, skipped_days: int, start_s: int, source: str
) -> FlowSeries:
    """The flow that a book's reservoirs let out, after the days skipped."""
    mm_day = (book.quick_mm / catchment.quick_days + book.slow_mm / catchment.slow_days)[skipped_days * 24 :]
    flow_m3_s = catchment.base_flow_m3_s + mm_day * (catchment.area_km2 * 1e3 / 86400.0)
    if flow_m3_s.max() > MAX_FLOW_M3_S:
        raise ValueError(
            f"this catchment floods past {MAX_FLOW_M3_S:g} m3/s; area_km2 or wet_day_mm is too large"
        )
    time_s = np.arange(flow_m3_s.size, dtype=np.int64) * 3600
    return FlowSeries(start_s, time_s, np.round(flow_m3_s, 6), source)
