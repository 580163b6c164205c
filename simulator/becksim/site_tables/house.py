"""The household's tables of a site file: what the house uses, and the sun on its roof."""

from dataclasses import dataclass

from becksim.schema import choice, number, numbers, tables, text


@dataclass(frozen=True)
class ApplianceTable:
    """[[house.appliances]] One that is switched on at random and runs for a while: kettle, pump, iron."""

    name: str = text()
    power_w: float = number(0, 50_000)
    minutes: float = number(0.5, 600)
    per_day: float = number(0, 100)  # starts, a mean over the year
    hours: tuple[float, ...] = numbers(0, 100, 24, 24, default=())  # relative starts; none: as the profile
    months: tuple[float, ...] = numbers(0, 100, 12, 12, default=())  # relative starts; none: all alike


@dataclass(frozen=True)
class HouseTable:
    """[house] What the household uses."""

    daily_kwh: float = number(0, 500)  # with the appliances, without the heater
    profile: tuple[float, ...] = numbers(0, 100, 24, 24)  # relative, hour by hour from midnight
    winter_factor: float = number(0, 2, default=1)  # midwinter's base load over the year's mean
    inverter_efficiency_percent: float = number(40, 100, default=92)
    appliances: tuple[ApplianceTable, ...] = tables(ApplianceTable, 1, 40, default=())
    # A water or room heater: "timed" by a clock on the house's side of the inverter, on top of daily_kwh;
    # "surplus" on the battery's bus, where it takes only what would else be turned away.
    heater_kind: str = choice("none", "timed", "surplus", default="none")
    heater_w: float = number(0, 50_000, default=0)
    heater_hours: tuple[float, ...] = numbers(0, 23, 1, 24, default=())  # timed: 2 is from 2:00 to 3:00
    heater_months: tuple[float, ...] = numbers(0, 1, 12, 12, default=())  # 1: in use; none: all months


@dataclass(frozen=True)
class SunTable:
    """[sun] Solar panels on the same battery."""

    peak_w: float = number(0, 200_000)  # all panels together, at 1000 W/m2 and 25 degC
    clearness: tuple[float, ...] = numbers(0.02, 1, 12, 12)  # a month's light over a clear sky's, on the flat
    tilt_deg: float = number(0, 90, default=35)  # from flat; the default: common practice, no source
    azimuth_deg: float | None = number(0, 360, default=None)  # 180 faces south; none: towards the equator
    # What dirt, shade, mismatch, cable and regulator leave; heat is computed. PVWatts' losses (Dobos 2014)
    # are 14 % together.
    performance_percent: float = number(10, 100, default=86)
    horizon_deg: float = number(0, 80, default=0)  # hills all round: a lower sun gives only the sky's light
    air_winter_c: float = number(-50, 40, default=1)  # mean of the coldest days; chosen by us
    air_summer_c: float = number(-40, 45, default=17)  # mean of the warmest days; chosen by us
