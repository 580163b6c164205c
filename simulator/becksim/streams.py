"""From a site file's [stream] to what comes down the stream: flow series, second source, air above it.

A made-up stream is told from where its numbers come, a gauge record with what was mended in it.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from becksim.errors import UserError
from becksim.hydrology.calibrate import calibrate
from becksim.hydrology.catchment import Catchment
from becksim.hydrology.climates import CLIMATES, catchment_like
from becksim.hydrology.facts import OwnerFacts
from becksim.hydrology.gauge import gaps_told, read_gauge_csv
from becksim.hydrology.series import FlowSeries
from becksim.hydrology.statistics import stream_statistics
from becksim.hydrology.stream import SPIN_UP_DAYS, synthetic_flow
from becksim.hydrology.weather import daily_temperature_c
from becksim.site import Site
from becksim.site_tables.stream import Catchment as CatchmentTable
from becksim.site_tables.stream import Facts

SYNTHETIC = "synthetic"  # what --flows takes besides a file
# 1 January 2025, 00:00 local standard time: the first day of every synthetic year, chosen by us.
SYNTHETIC_START_S = 1_735_689_600

# What [stream.synthetic] may leave out where it names no climate; chosen by us for a small upland stream.
USUAL = {
    "gamma_shape": 0.7,
    "soil_mm": 60.0,
    "quick_share": 0.5,
    "quick_days": 1.5,
    "slow_days": 40.0,
    "base_flow_l_s": 0.0,
}
NO_NUMBERS = ("climate", "area_km2", "rain_mm_per_year")  # of the catchment, once its climate is known


def catchment_of(site: Site) -> tuple[Catchment, tuple[str, ...]]:
    """The catchment that a site's made-up stream comes from.

    Parameters
    ----------
    site : Site

    Returns
    -------
    tuple
        The catchment, and sentences on the climate and the owner's facts if there are any.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> catchment, notes = catchment_of(load_site("upland-hostel"))
    >>> catchment.slow_days, notes
    (35.0, ())
    """
    return _catchment(site.stream.synthetic, site.stream.facts, site.site.southern)


@lru_cache(maxsize=32)  # the search among 30 years of weather takes seconds
def _catchment(
    table: CatchmentTable, facts: Facts | None, southern: bool
) -> tuple[Catchment, tuple[str, ...]]:
    given = _numbers(table)
    if table.climate is None:
        usual = {name: value for name, value in USUAL.items() if getattr(table, name) is None}
        return Catchment(area_km2=table.area_km2, **_renamed({**usual, **given})), ()
    given = _renamed(given)
    rain_mm = table.rain_mm_per_year
    said = f"The stream is made up from the climate {table.climate!r}, moved to {table.area_km2:g} km2"
    if rain_mm is None:
        rain_mm = CLIMATES[table.climate].rain_mm_per_year
        said += f" with its usual rain, {rain_mm:.0f} mm a year"
    else:
        said += f" and {rain_mm:.0f} mm of rain a year"
    if facts is None:
        catchment = catchment_like(
            table.climate, area_km2=table.area_km2, rain_mm_per_year=rain_mm, southern=southern, fixed=given
        )
        return catchment, (f"{said}. No place is like another: gauge yours, and give [stream.facts].",)
    known = OwnerFacts(
        table.area_km2,
        rain_mm,
        tuple((gauging.date, gauging.flow_l_s / 1000.0) for gauging in facts.gaugings),
        None if facts.lowest_flow_l_s is None else facts.lowest_flow_l_s / 1000.0,
    )
    found = calibrate(known, climate=table.climate, southern=southern, fixed=given)
    notes = [f"{said}, and then to the facts given."]
    if not found.met:
        notes.append(
            "Not all facts can be met together in this climate: look for a slip among them, at the area, or "
            "try another climate. What the replay shows is uncertain by as much."
        )
    return found.catchment, (*notes, *found.sentences)


def _numbers(table: CatchmentTable) -> dict[str, Any]:
    """What stands in the table, by its keys."""
    return {
        name: value for name, value in vars(table).items() if value is not None and name not in NO_NUMBERS
    }


def _renamed(numbers: dict[str, Any]) -> dict[str, Any]:
    """By the catchment's names: flow in m3/s."""
    base_l_s = numbers.pop("base_flow_l_s", None)
    return numbers if base_l_s is None else {**numbers, "base_flow_m3_s": base_l_s / 1000.0}


def flow_series(
    site: Site, *, flows: str | None, seed: int, days: int | None, fill_gaps: bool = False
) -> FlowSeries:
    """The stream's flow, made up or read from a gauge record.

    Parameters
    ----------
    site : Site
    flows : str or None
        Gauge CSV, or "synthetic"; None: the site's own gauge record if it has one, else synthetic.
    seed : int
        For the synthetic stream.
    days : int or None
        Length of a synthetic stream [d]; None: 365.
    fill_gaps : bool
        Whether gaps of a gauge record are bridged even if the site file does not ask for it.

    Returns
    -------
    FlowSeries
        Gaps left open unless they are to be filled; see `refuse_gaps`.

    Raises
    ------
    UserError
        If the gauge record cannot be used, or the catchment's floods are beyond any stream.
    """
    gauge = site.stream.gauge
    offset_h = site.site.utc_offset_h
    if flows is not None and flows != SYNTHETIC:
        # Unit, zone and stage as the site file says; the columns of another file may have other names. Its
        # gaps are not those that the site file knows of.
        return read_gauge_csv(
            Path(flows),
            flow_unit=gauge.flow_unit if gauge is not None else None,
            time_zone=gauge.time_zone if gauge is not None else None,
            utc_offset_h=offset_h,
            notch_angle_deg=gauge.notch_angle_deg if gauge is not None else None,
            rating=gauge.rating if gauge is not None else None,
            stage_zero_mm=gauge.stage_zero_mm if gauge is not None else 0.0,
            fill_gaps=fill_gaps,
        )
    if flows is None and gauge is not None:
        return read_gauge_csv(
            site.path.parent / gauge.file,
            time_column=gauge.time_column,
            flow_column=gauge.flow_column,
            flow_unit=gauge.flow_unit,
            time_zone=gauge.time_zone,
            utc_offset_h=offset_h,
            notch_angle_deg=gauge.notch_angle_deg,
            rating=gauge.rating,
            stage_zero_mm=gauge.stage_zero_mm,
            fill_gaps=fill_gaps or gauge.fill_gaps,
        )
    catchment, notes = catchment_of(site)
    try:
        series = synthetic_flow(catchment, days=(days or 365) + 1, seed=seed, start_s=SYNTHETIC_START_S)
    except ValueError as error:
        raise UserError(f"{site.path.name}: [stream.synthetic] {error}.") from error
    return replace(series, notes=notes)


def refuse_gaps(series: FlowSeries, *, until_s: int, own_record: bool) -> None:
    """Refuse a record with gaps left open before an instant.

    Parameters
    ----------
    series : FlowSeries
    until_s : int
        Last instant needed, seconds since the series' first [s].
    own_record : bool
        Whether it is the site file's own record, for which the site file may ask to fill them.

    Raises
    ------
    UserError
        Counts the gaps, names the longest, and says how they may be filled.
    """
    gaps = () if series.gaps_filled else tuple(gap for gap in series.gaps if gap[0] < until_s)
    if gaps:
        ask = "--fill-gaps"
        if own_record:
            ask = f"fill_gaps = true in [stream.gauge] of the site file, or {ask}"
        raise UserError(
            f"{series.source} has {gaps_told(series.start_s, gaps)}. No flow is invented unasked: to bridge "
            f"{'it by a straight line' if len(gaps) == 1 else 'them by straight lines'}, give {ask}."
        )


def replayed_stream(
    site: Site, inflow_m3_s: Sequence[float], month: Sequence[int], step_s: int
) -> dict[str, float | int | str | None]:
    """Statistics of the stream in the days replayed, second source left out.

    Parameters
    ----------
    site : Site
        Says what residual flow is due.
    inflow_m3_s : sequence of float, n + 1
        Stream at each step's beginning, straight lines between. [m3/s]
    month : sequence of int, n
        Month of each step, 0 is January; n is whole days.
    step_s : int
        Length of a step. [s]

    Returns
    -------
    dict
        As `stream_statistics`.
    """
    a_day = 86_400 // step_s
    flow = np.asarray(inflow_m3_s)
    daily_m3_s = ((flow[:-1] + flow[1:]) / 2.0).reshape(-1, a_day).mean(axis=1)
    due_m3_s = [site.stream.residual_month_l_s[number] / 1000.0 for number in month[::a_day]]
    return stream_statistics(daily_m3_s, due_m3_s)


def second_source_m3_s(site: Site, month: Sequence[int]) -> list[float]:
    """Flow of the second source at each step's beginning and, as in the last step, at the end [m3/s].

    Parameters
    ----------
    site : Site
    month : sequence of int, n
        Month of each step, 0 is January.

    Returns
    -------
    list of float, n + 1
    """
    second = site.stream.second_source
    if second is None:
        return [0.0] * (len(month) + 1)
    m3_s = [value / 1000.0 for value in second.month_l_s]
    return [m3_s[number] for number in month] + [m3_s[month[-1]]]


def usable_m3_s(
    site: Site,
    stream_m3_s: npt.NDArray[np.float64],
    second_m3_s: npt.NDArray[np.float64],
    month: npt.NDArray[np.int64] | list[int],
    most_flow_m3_s: float,
) -> npt.NDArray[np.float64]:
    """What the jets may have: all but the residual flow, the larger of a figure and a share of the stream.

    Parameters
    ----------
    site : Site
    stream_m3_s, second_m3_s : ndarray, shape (n,)
        Stream and second source. [m3/s]
    month : sequence of int, n
        0 is January.
    most_flow_m3_s : float
        The most that pipe and intake bear. [m3/s]

    Returns
    -------
    ndarray, shape (n,)
        [m3/s]

    Examples
    --------
    >>> from becksim.site import load_site
    >>> usable_m3_s(load_site("upland-hostel"), np.array([0.0001, 0.05]), np.zeros(2), [0, 0], 0.01).tolist()
    [0.0, 0.01]
    """
    figure_m3_s = np.array(site.stream.residual_month_l_s)[month] / 1000.0
    share = np.array(site.stream.residual_share_month)[month]
    due_m3_s = np.maximum(figure_m3_s, share * stream_m3_s)
    return np.clip(stream_m3_s + second_m3_s - due_m3_s, 0.0, most_flow_m3_s)


def air_temp_c(site: Site, dates: npt.NDArray[np.datetime64], seed: int) -> list[float] | None:
    """Daily mean of the air at the intake in each step, the one that decides over the stream's snow.

    Parameters
    ----------
    site : Site
    dates : ndarray of datetime64[s], shape (n,)
        Beginning of each step.
    seed : int
        Seed of the weather.

    Returns
    -------
    list of float, n, or None
        Temperature [degC], in tenths; None if the site's catchment has no temperatures. It starts from the
        spin-up before the first day, as the synthetic stream's does, so that both have the same weather.
    """
    catchment, _ = catchment_of(site)
    if catchment.temperature_c is None:
        return None
    day = dates.astype("datetime64[D]")
    days = np.arange(day[0] - SPIN_UP_DAYS, day[-1] + 1)
    temp_c = np.round(daily_temperature_c(replace(catchment, above_station_m=0.0), days, seed), 1)
    found: list[float] = (temp_c + 0.0)[(day - days[0]).astype(np.int64)].tolist()
    return found
