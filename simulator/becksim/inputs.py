"""What the world does to the plant in the days replayed: stream, house and sun, step by step."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from becksim.electrics.household import household_load_series
from becksim.electrics.sun import solar_power_series
from becksim.errors import UserError
from becksim.hydrology.gauge import read_gauge_csv
from becksim.hydrology.series import FlowSeries
from becksim.hydrology.stream import Catchment, synthetic_flow
from becksim.site import Site

STEP_S = 900  # the stream between two steps is a straight line, house and sun hold still; chosen by us
STEP_MS = 1000 * STEP_S
DAY_S = 86_400
SYNTHETIC = "synthetic"  # what --flows takes besides a file
# 1 January 2025, 00:00 local standard time: the first day of every synthetic year, chosen by us.
SYNTHETIC_START_S = 1_735_689_600


@dataclass(frozen=True)
class Inputs:
    """Plain lists, because a replay reads them one number at a time.

    Parameters
    ----------
    start_s : int
        First instant, local standard time as seconds since 1970. [s]
    days : int
        Whole days covered.
    inflow_m3_s : list of float, n + 1
        Stream at the intake at each step's beginning, and at the end. [m3/s]
    load_w, solar_w : list of float, n
        House (AC side) and sun (at the battery) during each step. [W]
    month : list of int, n
        Month of each step, 0 is January.
    battery_temp_c : list of float, n
        Temperature of the battery room. [degC]
    source : str
        Where the flows come from.
    notes : tuple of str
        What was found wrong in the gauge record, in sentences.
    """

    start_s: int
    days: int
    inflow_m3_s: list[float]
    load_w: list[float]
    solar_w: list[float]
    month: list[int]
    battery_temp_c: list[float]
    source: str
    notes: tuple[str, ...]


def build_inputs(site: Site, *, flows: str | None, seed: int, days: int | None) -> Inputs:
    """Gather stream, house and sun.

    Parameters
    ----------
    site : Site
        The site.
    flows : str or None
        Gauge CSV, or "synthetic"; None: the site's own gauge record if it has one, else synthetic.
    seed : int
        For the synthetic stream, the clouds and the household.
    days : int or None
        Days to replay; None: 365, or as many as a shorter gauge record covers.

    Returns
    -------
    Inputs

    Raises
    ------
    UserError
        If the gauge record cannot be used, or covers fewer days than asked for.
    """
    series = _flow_series(site, flows, seed, days)
    covered = int(series.days)
    if covered < 1:
        raise UserError(f"{series.source} covers {24 * series.days:.1f} hours; at least one day is needed.")
    notes = list(series.notes)
    if days is None:
        days = min(365, covered)
        if days < 365:
            notes.append(f"{series.source} covers {covered} days, so {days} days are replayed, not a year.")
    elif days > covered:
        raise UserError(
            f"--days {days}: {series.source} covers {covered} days; ask for at most that, "
            f"or leave --flows to a synthetic stream (--flows {SYNTHETIC})."
        )
    steps = days * DAY_S // STEP_S
    start_s = series.start_s
    inflow = series.resampled(STEP_S)[: steps + 1]
    time_s = start_s + STEP_S * np.arange(steps)
    dates = time_s.astype("datetime64[s]")
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    load = _house_load_w(site, days, start_s, seed)
    solar = solar_power_series(
        latitude_deg=site.site.latitude_deg,
        peak_w=site.sun.peak_w,
        days=days,
        start_s=start_s,
        step_s=STEP_S,
        seed=seed,
        clearness=site.sun.clearness,
        performance_ratio=site.sun.performance_percent / 100.0,
    )
    return Inputs(
        start_s=start_s,
        days=days,
        inflow_m3_s=inflow.tolist(),
        load_w=load[:steps].tolist(),
        solar_w=solar[:steps].tolist(),
        month=month.tolist(),
        battery_temp_c=_battery_temp_c(site, dates),
        source=series.source,
        notes=tuple(notes),
    )


def _flow_series(site: Site, flows: str | None, seed: int, days: int | None) -> FlowSeries:
    gauge = site.stream.gauge
    offset_h = site.site.utc_offset_h
    if flows is not None and flows != SYNTHETIC:
        # Unit and time zone as the site file says; the columns of another file may have other names.
        return read_gauge_csv(
            Path(flows),
            flow_unit=gauge.flow_unit if gauge is not None else None,
            time_zone=gauge.time_zone if gauge is not None else None,
            utc_offset_h=offset_h,
        )
    if flows is None and gauge is not None:
        return read_gauge_csv(
            site.path.parent / gauge.file,
            time_column=gauge.time_column,
            flow_column=gauge.flow_column,
            flow_unit=gauge.flow_unit,
            time_zone=gauge.time_zone,
            utc_offset_h=offset_h,
        )
    table = site.stream.synthetic
    catchment = Catchment(
        area_km2=table.area_km2,
        wet_after_dry=table.wet_after_dry,
        wet_after_wet=table.wet_after_wet,
        wet_day_mm=table.wet_day_mm,
        gamma_shape=table.gamma_shape,
        evaporation_mm=table.evaporation_mm,
        quick_share=table.quick_share,
        quick_days=table.quick_days,
        slow_days=table.slow_days,
        soil_mm=table.soil_mm,
        base_flow_m3_s=table.base_flow_l_s / 1000.0,
    )
    return synthetic_flow(catchment, days=(days or 365) + 1, seed=seed, start_s=SYNTHETIC_START_S)


def _house_load_w(site: Site, days: int, start_s: int, seed: int) -> npt.NDArray[np.float64]:
    house = site.house
    try:
        return household_load_series(
            daily_kwh=house.daily_kwh,
            profile=house.profile,
            winter_factor=house.winter_factor,
            days=days,
            start_s=start_s,
            step_s=STEP_S,
            seed=seed,
            appliance_w=house.appliance_w,
            appliance_minutes=house.appliance_minutes,
            appliance_per_day=house.appliance_per_day,
            midwinter_day=15 if site.site.latitude_deg >= 0 else 197,
        )
    except ValueError as error:  # what only the drawing of appliances can show
        raise UserError(f"{site.path.name}: [house] {error}.") from error


def _battery_temp_c(site: Site, dates: np.ndarray) -> list[float]:
    """The battery room through the year: a cosine, coldest in mid January (north) or mid July (south)."""
    coldest_day = 15.0 if site.site.latitude_deg >= 0 else 15.0 + 182.5
    day = (dates - dates.astype("datetime64[Y]")).astype("timedelta64[s]").astype(np.float64) / DAY_S
    swing_c = (site.battery.summer_c - site.battery.winter_c) / 2.0
    mean_c = (site.battery.summer_c + site.battery.winter_c) / 2.0
    temp_c = mean_c - swing_c * np.cos(2.0 * np.pi * (day - coldest_day) / 365.25)
    rounded: list[float] = np.round(temp_c, 2).tolist()
    return rounded
