"""What the world does to the plant in the days replayed: stream, house and sun, step by step."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from becksim.electrics.household import Appliance, household_load_series, timed_heater_series
from becksim.electrics.sun import SolarArray, season_temperature_c, solar_power_series
from becksim.errors import UserError
from becksim.intake_works import made_up_air_c
from becksim.site import Site
from becksim.streams import SYNTHETIC, air_temp_c, flow_series, refuse_gaps, second_source_m3_s
from becksim.times import DAY_S

STEP_S = 900  # the stream between two steps is a straight line, house and sun hold still; chosen by us
STEP_MS = 1000 * STEP_S


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
        What was found wrong in the gauge record, or what a climate's stream was made from, in sentences.
    second_m3_s : list of float, n + 1
        Second source, piped into the intake, apart from the stream. [m3/s]
    air_temp_c : list of float, n, or None
        Air at the intake; None if the site has neither a catchment with temperatures nor [frost]. [degC]
    surplus_w : list of float, n
        The most that a heater for surplus may take during each step. [W]
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
    second_m3_s: list[float] = field(default_factory=list)
    air_temp_c: list[float] | None = None
    surplus_w: list[float] = field(default_factory=list)

    def year_days(self) -> list[int]:
        """Day of the year of each step, 1 on 1 January."""
        instants = (self.start_s + STEP_S * np.arange(len(self.month))).astype("datetime64[s]")
        into = instants.astype("datetime64[D]") - instants.astype("datetime64[Y]")
        in_year: list[int] = (into.astype(np.int64) + 1).tolist()
        return in_year


def build_inputs(
    site: Site, *, flows: str | None, seed: int, days: int | None, fill_gaps: bool = False
) -> Inputs:
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
    fill_gaps : bool
        Bridge the gaps of a gauge record by straight lines, even if the site file does not ask for it.

    Returns
    -------
    Inputs

    Raises
    ------
    UserError
        If the gauge record cannot be used, covers fewer days than asked for, or has gaps in them that
        nobody asked to fill.
    """
    series = flow_series(site, flows=flows, seed=seed, days=days, fill_gaps=fill_gaps)
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
    refuse_gaps(series, until_s=days * DAY_S, own_record=flows is None)
    steps = days * DAY_S // STEP_S
    start_s = series.start_s
    inflow = series.resampled(STEP_S)[: steps + 1]
    time_s = start_s + STEP_S * np.arange(steps)
    dates = time_s.astype("datetime64[s]")
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    load = _house_load_w(site, days, start_s, seed)
    solar = _solar_w(site, days, start_s, seed)
    return Inputs(
        start_s=start_s,
        days=days,
        inflow_m3_s=inflow.tolist(),
        load_w=load[:steps].tolist(),
        solar_w=solar[:steps].tolist(),
        month=month.tolist(),
        battery_temp_c=_battery_temp_c(site, time_s),
        source=series.source,
        notes=tuple(notes),
        second_m3_s=second_source_m3_s(site, month.tolist()),
        air_temp_c=_air_temp_c(site, dates, seed),
        surplus_w=_surplus_w(site, month),
    )


def _solar_w(site: Site, days: int, start_s: int, seed: int) -> npt.NDArray[np.float64]:
    place, sun = site.site, site.sun
    facing_deg = sun.azimuth_deg
    if facing_deg is None:
        facing_deg = 0.0 if place.southern else 180.0
    return solar_power_series(
        array=SolarArray(
            sun.peak_w, sun.tilt_deg, facing_deg, sun.performance_percent / 100.0, sun.horizon_deg
        ),
        latitude_deg=place.latitude_deg,
        longitude_deg=15.0 * place.utc_offset_h if place.longitude_deg is None else place.longitude_deg,
        utc_offset_h=place.utc_offset_h,
        altitude_m=site.penstock.altitude_m,
        clearness=sun.clearness,
        air_winter_c=sun.air_winter_c,
        air_summer_c=sun.air_summer_c,
        days=days,
        start_s=start_s,
        step_s=STEP_S,
        seed=seed,
    )


def _house_load_w(site: Site, days: int, start_s: int, seed: int) -> npt.NDArray[np.float64]:
    house = site.house
    try:
        if house.heater_kind != "none" and house.heater_w == 0:
            raise ValueError(f'heater_kind is "{house.heater_kind}" but heater_w is 0; give its power')
        load_w = household_load_series(
            daily_kwh=house.daily_kwh,
            profile=house.profile,
            winter_factor=house.winter_factor,
            days=days,
            start_s=start_s,
            step_s=STEP_S,
            seed=seed,
            appliances=[Appliance(**vars(appliance)) for appliance in house.appliances],
            midwinter_day=197 if site.site.southern else 15,
        )
        if house.heater_kind != "timed":
            return load_w
        if not house.heater_hours:
            raise ValueError('heater_kind is "timed" but heater_hours is missing; give hours, such as [2, 3]')
        heater_w = timed_heater_series(
            heater_w=house.heater_w,
            hours=house.heater_hours,
            months=house.heater_months,
            days=days,
            start_s=start_s,
            step_s=STEP_S,
        )
        return np.round(load_w + heater_w, 1)
    except ValueError as error:  # what no single key can show, and what only the drawing of appliances can
        raise UserError(f"{site.path.name}: [house] {error}.") from error


def _air_temp_c(site: Site, dates: npt.NDArray[np.datetime64], seed: int) -> list[float] | None:
    """Of the weather that makes the stream; without one, or where the owner knows better, by [frost]."""
    found = air_temp_c(site, dates, seed)
    if site.frost is None or (found is not None and site.frost.air_month_c is None):
        return found
    start_s = int(dates[0].astype("datetime64[s]").astype(np.int64))
    days = dates.size * STEP_S // DAY_S
    made_up_c = made_up_air_c(site, days=days, start_s=start_s, step_s=STEP_S, seed=seed)
    return None if made_up_c is None else made_up_c.tolist()


def _surplus_w(site: Site, month: npt.NDArray[np.int64]) -> list[float]:
    """The most that a heater for surplus may take, in the months in which it is in use."""
    house = site.house
    if house.heater_kind != "surplus":
        return [0.0] * month.size
    by_month = np.array([house.heater_w if used > 0 else 0.0 for used in house.heater_months or (1,) * 12])
    watts: list[float] = by_month[month].tolist()
    return watts


def _battery_temp_c(site: Site, time_s: npt.NDArray[np.int64]) -> list[float]:
    """The battery room through the year."""
    battery = site.battery
    temp_c = season_temperature_c(time_s, battery.winter_c, battery.summer_c, southern=site.site.southern)
    rounded: list[float] = np.round(temp_c, 2).tolist()
    return rounded
