"""The numbers that describe a catchment: its land, its weather month by month, its stores of water."""

import math
from dataclasses import dataclass, fields

Months = tuple[float, ...]  # twelve numbers, January first

MONTHLY = ("wet_after_dry", "wet_after_wet", "wet_day_mm", "evaporation_mm", "temperature_c")
SHARES = (
    "wet_after_dry",
    "wet_after_wet",
    "quick_share",
    "wet_soil_sheds",
    "drought_chance",
)
MAY_BE_ZERO = (
    *SHARES,
    *("wet_day_mm", "wet_least_mm", "evaporation_mm", "base_flow_m3_s", "temperature_noise_c"),
)
ANY_SIGN = ("temperature_c", "above_station_m", "snow_below_c")
SHED_POWERS = (
    1,
    2,
    3,
    4,
    5,
    6,
)  # as the beta of the HBV model is used (Bergström 1992, SMHI RH 4, from memory)


@dataclass(frozen=True)
class Catchment:
    """The land that feeds the stream, and its weather month by month (tuples of 12, January first).

    As they stand, the numbers with a default leave snow and drought years out.

    Parameters
    ----------
    area_km2 : float
        Area that drains to the intake [km2].
    wet_after_dry, wet_after_wet : tuple of 12 floats
        Chance of a wet day after a dry one, and after a wet one [-].
    wet_day_mm : tuple of 12 floats
        Mean rain of a wet day [mm], snow counted as water.
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
    wet_least_mm : float
        Least rain of a wet day [mm]; the gamma distribution is of what falls above it.
    wet_soil_sheds : float
        Share of rain that runs off soil about to be full [-], 0 to 1; off full soil, all of it does.
    shed_power : int
        Power of the soil's filling by which that share falls off as it dries [-], 1 to 6.
    temperature_c : tuple of 12 floats, optional
        Mean temperature of each month at the station [degC]. None: it never snows.
    temperature_noise_c : float
        Standard deviation of a day's temperature about the season's [degC].
    above_station_m : float
        Mean height of the catchment above the station [m].
    snow_below_c : float
        Daily mean temperature below which snow falls, not rain [degC].
    melt_mm_c_day : float
        Degree-day factor: melt per degree above 0 and day [mm/(degC d)].
    drought_chance : float
        Chance that a calendar year is a drought year [-]; 0: there is none.
    drought_share : float
        Rain of a drought year as a share of any other year's [-].

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
    wet_least_mm: float = 0.0
    wet_soil_sheds: float = 0.5  # chosen by us, as is the power
    shed_power: int = 2
    temperature_c: Months | None = None
    temperature_noise_c: float = 3.0  # chosen by us
    above_station_m: float = 0.0
    snow_below_c: float = 1.0  # 0 to 2 is usual, from memory
    melt_mm_c_day: float = 3.0  # 1 to 8 is usual (Hock 2003, Journal of Hydrology 282, from memory)
    drought_chance: float = 0.0
    drought_share: float = 0.6  # chosen by us

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is None and field.name == "temperature_c":
                continue
            monthly = field.name in MONTHLY
            if monthly and len(value) != 12:
                raise ValueError(f"{field.name} must hold 12 numbers, January first; it holds {len(value)}")
            for number in value if monthly else (value,):
                _check(field.name, number)
        if self.shed_power not in SHED_POWERS:
            raise ValueError(f"shed_power must be a whole number from 1 to 6; found {self.shed_power!r}")


def _check(name: str, number: float) -> None:
    if name in ANY_SIGN:
        if not math.isfinite(number):
            raise ValueError(f"{name} must be a finite number; found {number!r}")
        return
    highest = 1.0 if name in SHARES else math.inf
    in_range = 0.0 <= number <= highest and math.isfinite(number)
    if not in_range or (number == 0.0 and name not in MAY_BE_ZERO):
        least = "at least 0" if name in MAY_BE_ZERO else "above 0"
        most = " and at most 1" if highest == 1.0 else ""
        raise ValueError(f"{name} must be {least}{most}; found {number!r}")
