"""Where rain waits before it is stream: snow, soil, a quick and a slow reservoir, stepped in order.

The soil follows the HBV model's idea (Bergström 1992, SMHI RH 4, from memory): the wetter it is, the more of
the rain it sheds. Every store is a plain loop over the steps, so that a mm can be followed by hand.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydrology.catchment import Catchment

Floats = npt.NDArray[np.float64]

START_FILL = 0.5  # soil store at the start, share of full, chosen by us
MELT_HOURS = (9, 19)  # the part of the day in which snow melts, chosen by us


@dataclass(frozen=True, eq=False)
class WaterBook:
    """Account of a catchment step by step, in mm over its area: what fell, what left, what is stored.

    `rain_mm` (snow included), `evaporation_mm` and `outflow_mm` are sums over each step, shape (n,);
    `soil_mm`, `quick_mm`, `slow_mm` and `snow_mm` are the stores at the steps' bounds, shape (n + 1,). The
    spin-up is included.
    """

    rain_mm: Floats
    evaporation_mm: Floats
    outflow_mm: Floats
    soil_mm: Floats
    quick_mm: Floats
    slow_mm: Floats
    snow_mm: Floats


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


def linear_reservoir(inflow_per_day: Floats, *, stay_days: float, step_days: float) -> Floats:
    """Storage of a reservoir empty at first, by `linear_reservoir_step` over and over.

    Parameters
    ----------
    inflow_per_day : ndarray of float64, shape (n,)
        Inflow of each step, in any unit [V/d].
    stay_days, step_days : float
        Mean stay of the water and length of a step [d].

    Returns
    -------
    ndarray of float64, shape (n + 1,)
        Storage at the steps' bounds [V].

    Examples
    --------
    >>> linear_reservoir(np.array([2.0, 0.0]), stay_days=5.0, step_days=1.0).round(3).tolist()
    [0.0, 1.813, 1.484]
    """
    kept = math.exp(-step_days / stay_days)
    storage = 0.0
    stored = [storage]
    for steady in (inflow_per_day * stay_days).tolist():
        storage = steady + (storage - steady) * kept
        stored.append(storage)
    return np.array(stored)


def snow_store(catchment: Catchment, rain_mm: Floats, temperature_c: Floats) -> tuple[Floats, Floats]:
    """Snow lies until it melts: degree-day method (Hock 2003, Journal of Hydrology 282, from memory).

    A day's melt comes out in the hours of the sun; rain runs through the snow.

    Parameters
    ----------
    catchment : Catchment
        `snow_below_c` and `melt_mm_c_day` are used.
    rain_mm : ndarray of float64, shape (24 * days,)
        Rain or snow of each hour, as water [mm].
    temperature_c : ndarray of float64, shape (days,)
        Mean temperature of each day [degC].

    Returns
    -------
    tuple of ndarray
        Rain and melt that reach the soil in each hour [mm], shape (24 * days,), and the snow lying at the
        hours' bounds, as water [mm], shape (24 * days + 1,).
    """
    hour = np.arange(24)
    share = ((hour >= MELT_HOURS[0]) & (hour < MELT_HOURS[1])) / (MELT_HOURS[1] - MELT_HOURS[0])
    can_melt_mm = np.outer(catchment.melt_mm_c_day * np.maximum(temperature_c, 0.0), share).ravel()
    freezing = np.repeat(temperature_c < catchment.snow_below_c, 24)
    snow = 0.0
    lying = [snow]
    reaching = []
    for water, frozen, can_melt in zip(
        rain_mm.tolist(), freezing.tolist(), can_melt_mm.tolist(), strict=True
    ):
        if frozen:
            snow += water
            water = 0.0
        melt = min(snow, can_melt)
        snow -= melt
        lying.append(snow)
        reaching.append(water + melt)
    return np.array(reaching), np.array(lying)


def soil_store(catchment: Catchment, water_mm: Floats, demand_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """What the soil lets run off, gives to the air and keeps.

    Parameters
    ----------
    catchment : Catchment
        `soil_mm`, `wet_soil_sheds` and `shed_power` are used.
    water_mm, demand_mm : ndarray of float64, shape (n,)
        Water that reaches the soil and evaporation from wet soil, in each step [mm].

    Returns
    -------
    tuple of ndarray
        Runoff and evaporation of each step [mm], shape (n,), and the soil's store at the steps' bounds [mm],
        shape (n + 1,).
    """
    full, sheds, more = catchment.soil_mm, catchment.wet_soil_sheds, range(catchment.shed_power - 1)
    stored = START_FILL * full
    soil, runoff, evaporation = [stored], [], []
    for water, demand in zip(water_mm.tolist(), demand_mm.tolist(), strict=True):
        shed = 0.0
        if water:
            fill = stored / full
            shed = water * sheds * fill  # wetter soil sheds more
            for _ in more:  # no pow(): its last bit differs from machine to machine
                shed *= fill
            stored += water - shed
        excess = stored - full
        if excess > 0.0:
            stored -= excess
            shed += excess
        lost = demand * stored / full  # dry soil gives its water up more slowly
        if lost > stored:
            lost = stored
        stored -= lost
        soil.append(stored)
        runoff.append(shed)
        evaporation.append(lost)
    return np.array(runoff), np.array(evaporation), np.array(soil)


def water_account(
    catchment: Catchment,
    rain_mm: Floats,
    demand_mm: Floats,
    temperature_c: Floats | None = None,
) -> WaterBook:
    """Account for the water of a catchment hour by hour, from soil half full and no snow.

    Parameters
    ----------
    catchment : Catchment
    rain_mm, demand_mm : ndarray of float64, shape (24 * days,)
        Rain and evaporation from wet soil of each hour [mm].
    temperature_c : ndarray of float64, shape (days,), optional
        Mean temperature of each day [degC]. None: it never snows.

    Returns
    -------
    WaterBook
    """
    water_mm, snow_mm = rain_mm, np.zeros(rain_mm.size + 1)
    if temperature_c is not None:
        water_mm, snow_mm = snow_store(catchment, rain_mm, temperature_c)
    runoff_mm, evaporation_mm, soil_mm = soil_store(catchment, water_mm, demand_mm)
    runoff_mm_day = runoff_mm * 24.0
    to_quick = runoff_mm_day * catchment.quick_share
    to_slow = runoff_mm_day - to_quick
    step = 1 / 24
    quick_mm = linear_reservoir(to_quick, stay_days=catchment.quick_days, step_days=step)
    slow_mm = linear_reservoir(to_slow, stay_days=catchment.slow_days, step_days=step)
    quick_out = quick_mm[:-1] + to_quick * step - quick_mm[1:]
    slow_out = slow_mm[:-1] + to_slow * step - slow_mm[1:]
    return WaterBook(rain_mm, evaporation_mm, quick_out + slow_out, soil_mm, quick_mm, slow_mm, snow_mm)
