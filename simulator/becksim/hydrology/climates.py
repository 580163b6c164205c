"""Catchments to begin with: four climates, per unit of area, scaled by the owner's area and yearly rain.

They are starting points, not places: a site without any record should be tried in the one that is most like
it, and then moved by what the owner knows (calibrate.py). All give streams within the
spread of real small ones.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from becksim.hydrology.catchment import Catchment, Months

MONTH_LENGTHS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class Climate:
    """What a `Catchment` is made from; months are those of the northern half of the world.

    `rain_share` is each month's part of the year's rain, in any unit; `base_flow_l_s_km2` is per area; all
    else is as in `Catchment`. `rain_mm_per_year` is used where the owner does not know it.
    """

    origin: str
    rain_mm_per_year: float
    rain_share: Months
    wet_after_dry: Months
    wet_after_wet: Months
    gamma_shape: float
    evaporation_mm: Months
    soil_mm: float
    wet_soil_sheds: float
    shed_power: int
    quick_share: float
    quick_days: float
    slow_days: float
    base_flow_l_s_km2: float
    drought_chance: float
    drought_share: float
    temperature_c: Months | None = None
    melt_mm_c_day: float = 3.0


CLIMATES = {
    "maritime upland": Climate(
        origin="chosen by us: rain on most days, most of it in autumn and winter, thin soil over rock",
        rain_mm_per_year=1700.0,
        rain_share=(11.0, 8.5, 8.5, 6.0, 5.5, 6.0, 6.5, 8.0, 8.5, 10.5, 10.5, 10.5),
        wet_after_dry=(0.42, 0.38, 0.36, 0.31, 0.28, 0.29, 0.32, 0.34, 0.35, 0.40, 0.42, 0.43),
        wet_after_wet=(0.77, 0.74, 0.73, 0.68, 0.66, 0.66, 0.68, 0.70, 0.71, 0.75, 0.77, 0.77),
        gamma_shape=0.75,
        evaporation_mm=(10, 14, 30, 50, 75, 85, 85, 70, 45, 25, 12, 8),
        soil_mm=80.0,
        wet_soil_sheds=0.6,
        shed_power=3,
        quick_share=0.45,
        quick_days=1.6,
        slow_days=22.0,
        base_flow_l_s_km2=1.5,
        drought_chance=0.1,
        drought_share=0.75,
    ),
    "snow-fed mountain": Climate(
        origin="chosen by us: a valley head, snow from November to May; degree-day factor after Hock 2003",
        rain_mm_per_year=1100.0,
        rain_share=(8.0, 7.0, 7.5, 8.0, 9.5, 10.5, 11.0, 10.5, 8.0, 6.5, 7.0, 7.0),
        wet_after_dry=(0.30, 0.30, 0.32, 0.36, 0.40, 0.42, 0.40, 0.38, 0.30, 0.26, 0.28, 0.30),
        wet_after_wet=(0.62, 0.62, 0.62, 0.64, 0.66, 0.66, 0.62, 0.62, 0.60, 0.58, 0.60, 0.62),
        gamma_shape=0.75,
        evaporation_mm=(3, 5, 15, 35, 65, 85, 95, 80, 48, 24, 8, 3),
        soil_mm=100.0,
        wet_soil_sheds=0.6,
        shed_power=3,
        quick_share=0.4,
        quick_days=2.5,
        slow_days=26.0,
        base_flow_l_s_km2=1.5,
        drought_chance=0.1,
        drought_share=0.75,
        temperature_c=(-6.0, -5.0, -2.0, 2.0, 6.5, 10.0, 12.0, 11.5, 8.5, 4.5, -1.0, -4.5),
        melt_mm_c_day=4.0,
    ),
    "dry-summer": Climate(
        origin="rain: daily record of a coastal city, 2012-15 (NOAA), the chances of its whole year moved by "
        "month by us; stores: near those that fit a rain-fed headwater of 1.8 km2; spring chosen by us",
        rain_mm_per_year=1100.0,
        rain_share=(116, 106, 152, 94, 52, 33, 12, 41, 59, 126, 161, 156),
        wet_after_dry=(0.33, 0.34, 0.36, 0.30, 0.22, 0.17, 0.09, 0.11, 0.17, 0.30, 0.38, 0.38),
        wet_after_wet=(0.72, 0.72, 0.73, 0.66, 0.58, 0.52, 0.40, 0.46, 0.58, 0.68, 0.74, 0.74),
        gamma_shape=0.75,
        evaporation_mm=(12, 18, 35, 55, 85, 105, 125, 110, 70, 35, 16, 10),
        soil_mm=124.0,
        wet_soil_sheds=0.4,
        shed_power=5,
        quick_share=0.45,
        quick_days=3.0,
        slow_days=13.0,
        base_flow_l_s_km2=2.8,
        drought_chance=0.15,
        drought_share=0.7,
    ),
    "monsoon": Climate(
        origin="chosen by us: four fifths of the rain in four months, deep weathered soil and springs after",
        rain_mm_per_year=2000.0,
        rain_share=(1.0, 1.2, 2.0, 3.5, 7.0, 16.0, 23.0, 21.0, 14.5, 7.0, 2.5, 1.3),
        wet_after_dry=(0.06, 0.08, 0.10, 0.16, 0.26, 0.42, 0.56, 0.54, 0.38, 0.18, 0.09, 0.06),
        wet_after_wet=(0.40, 0.42, 0.45, 0.52, 0.62, 0.76, 0.84, 0.83, 0.74, 0.60, 0.46, 0.40),
        gamma_shape=0.7,
        evaporation_mm=(60, 70, 105, 125, 130, 105, 90, 90, 90, 90, 70, 58),
        soil_mm=180.0,
        wet_soil_sheds=0.6,
        shed_power=3,
        quick_share=0.35,
        quick_days=2.5,
        slow_days=32.0,
        base_flow_l_s_km2=5.0,
        drought_chance=0.15,
        drought_share=0.7,
    ),
}


def of_own_half(northern: Months, southern: bool) -> Months:
    """Months north of the equator, turned by half a year south of it.

    Examples
    --------
    >>> of_own_half((1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12), southern=True)[0]
    7
    """
    return northern[6:] + northern[:6] if southern else northern


def catchment_like(
    climate: str,
    *,
    area_km2: float,
    rain_mm_per_year: float | None = None,
    southern: bool = False,
    fixed: Mapping[str, Any] | None = None,
) -> Catchment:
    """A catchment of a climate, scaled.

    Parameters
    ----------
    climate : str
        One of `CLIMATES`.
    area_km2 : float
        Area that drains to the intake [km2].
    rain_mm_per_year : float, optional
        Mean yearly rain and snow as water [mm], drought years included. None: the climate's usual.
    southern : bool
        Whether January is summer.
    fixed : mapping, optional
        Numbers of the `Catchment` to be taken instead of the climate's, such as `soil_mm`; not its rain.

    Returns
    -------
    Catchment

    Raises
    ------
    ValueError
        If the climate is not known, or a number is out of range.

    Examples
    --------
    >>> catchment_like("dry-summer", area_km2=2.0).base_flow_m3_s
    0.0056
    """
    if climate not in CLIMATES:
        raise ValueError(f"climate must be one of {', '.join(CLIMATES)}; found {climate!r}")
    found = CLIMATES[climate]
    after_dry, after_wet = np.array(found.wet_after_dry), np.array(found.wet_after_wet)
    wet_days = np.array(MONTH_LENGTHS) * after_dry / (1.0 + after_dry - after_wet)
    usual_mm = found.rain_mm_per_year if rain_mm_per_year is None else rain_mm_per_year
    fixed = {"drought_chance": found.drought_chance, "drought_share": found.drought_share, **(fixed or {})}
    usual_mm /= 1.0 - fixed["drought_chance"] * (1.0 - fixed["drought_share"])  # a year without drought
    share = np.array(found.rain_share)
    wet_day_mm = tuple((usual_mm * share / share.sum() / wet_days).tolist())

    like = Catchment(
        area_km2=area_km2,
        wet_after_dry=of_own_half(found.wet_after_dry, southern),
        wet_after_wet=of_own_half(found.wet_after_wet, southern),
        wet_day_mm=of_own_half(wet_day_mm, southern),
        gamma_shape=found.gamma_shape,
        evaporation_mm=of_own_half(found.evaporation_mm, southern),
        quick_share=found.quick_share,
        quick_days=found.quick_days,
        slow_days=found.slow_days,
        soil_mm=found.soil_mm,
        base_flow_m3_s=found.base_flow_l_s_km2 * area_km2 / 1000.0,
        wet_soil_sheds=found.wet_soil_sheds,
        shed_power=found.shed_power,
        temperature_c=None if found.temperature_c is None else of_own_half(found.temperature_c, southern),
        melt_mm_c_day=found.melt_mm_c_day,
    )
    return replace(like, **fixed)
