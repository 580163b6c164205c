"""The household's tables of a site file: what the house uses, and the sun on its roof."""

from dataclasses import dataclass

from becksim.schema import number, numbers


@dataclass(frozen=True)
class HouseTable:
    """[house] What the household uses."""

    daily_kwh: float = number(0, 500)
    profile: tuple[float, ...] = numbers(0, 100, 24, 24)  # relative, hour by hour from midnight
    winter_factor: float = number(0, 2, default=1)  # midwinter's use over the year's mean
    inverter_efficiency_percent: float = number(40, 100, default=92)
    appliance_w: float = number(0, 50_000, default=0)  # one that comes and goes at random
    appliance_minutes: float = number(5, 600, default=30)
    appliance_per_day: float = number(0, 50, default=0)


@dataclass(frozen=True)
class SunTable:
    """[sun] Solar panels on the same battery; the clearness is that of each month, 0 to 1."""

    peak_w: float = number(0, 200_000)
    clearness: tuple[float, ...] = numbers(0.02, 1, 12, 12)
    performance_percent: float = number(10, 100, default=78)
