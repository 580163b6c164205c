"""The two years that a plan is made for, a typical one and a dry one: stream, house and sun, hour by hour."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from becksim.errors import UserError
from becksim.hydrology.series import FlowSeries
from becksim.inputs import STEP_S, Inputs, build_inputs
from becksim.site import Site
from becksim.sizing.power import Floats
from becksim.streams import SYNTHETIC, flow_series, refuse_gaps, usable_m3_s
from becksim.times import HOUR_S, YEAR_DAYS

MADE_UP_YEARS = 20  # enough to tell a year of ten from a common one; chosen by us
DRY_SHARE = 0.1  # of the years are as dry as the dry one, or drier
LEAST_RECORD_DAYS = 300  # a plan needs every season; chosen by us


@dataclass(frozen=True, eq=False)
class PlanYear:
    """A year, hour by hour.

    Parameters
    ----------
    kind : {"typical", "dry"}
    words : str
        Which year it is.
    days : int
        Days.
    stream_m3_s, second_m3_s, usable_m3_s : ndarray, shape (24 days,)
        What the stream and a second source bring, and what of it the jets may have: at most what
        pipe and intake bear. [m3/s]
    load_w, solar_w, surplus_w : list of float, 24 days
        House, sun, and the most that a heater for surplus takes. [W]
    month : list of int, 24 days
        0 is January.
    temp_c : list of float, 24 days
        Of the battery. [degC]
    """

    kind: str
    words: str
    days: int
    stream_m3_s: Floats
    second_m3_s: Floats
    usable_m3_s: Floats
    load_w: list[float]
    solar_w: list[float]
    surplus_w: list[float]
    month: list[int]
    temp_c: list[float]


@dataclass(frozen=True, eq=False)
class PlanYears:
    """Both years, where the flows come from, and what is to be said about them."""

    typical: PlanYear
    dry: PlanYear
    source: str
    notes: tuple[str, ...]


def plan_years(
    site: Site, most_flow_m3_s: float, *, flows: str | None = None, seed: int = 1, fill_gaps: bool = False
) -> PlanYears:
    """Choose a typical and a dry year of the stream.

    Of a made-up stream, or a record of several years: the year of the median of mean usable flow, and the
    one that is as dry as one year in ten or drier. A record of a single year is taken as typical; the dry
    year is that year with all flows scaled so that its mean usable flow falls as it does between a typical
    and a dry year of the site's made-up stream. House and sun are the same in both.

    Parameters
    ----------
    site : Site
        The site.
    most_flow_m3_s : float
        The most that pipe and intake bear. [m3/s]
    flows : str or None
        Gauge CSV, "synthetic", or None for the site's own record, else synthetic.
    seed : int
        Of the made-up stream, the clouds and the household.
    fill_gaps : bool
        Whether gaps of a record are bridged even if the site file does not ask for it.

    Returns
    -------
    PlanYears

    Raises
    ------
    UserError
        If the record cannot be used, or does not cover the seasons.
    """
    if flows == SYNTHETIC or (flows is None and site.stream.gauge is None):
        return _of_many(_made_up_years(site, most_flow_m3_s, seed), f"made-up stream, seed {seed}", ())
    inputs = build_inputs(site, flows=flows, seed=seed, days=None, fill_gaps=fill_gaps)
    if inputs.days < LEAST_RECORD_DAYS:
        raise UserError(
            f"{inputs.source} covers {inputs.days} days; a plan needs {LEAST_RECORD_DAYS} or more, to have "
            f"every season; give a longer record, or take a made-up stream (--flows {SYNTHETIC})."
        )
    series = flow_series(site, flows=flows, seed=seed, days=None, fill_gaps=fill_gaps)
    refuse_gaps(series, until_s=int(series.time_s[-1]), own_record=flows is None)
    years = _recorded_years(site, series, inputs, most_flow_m3_s)
    if len(years) > 1:
        return _of_many(years, inputs.source, inputs.notes)
    typical = replace(years[0], kind="typical")
    made_up = _of_many(_made_up_years(site, most_flow_m3_s, seed), "", ())
    share = _mean(made_up.dry.usable_m3_s) / max(1e-12, _mean(made_up.typical.usable_m3_s))

    def usable_at(factor: float) -> Floats:
        stream_m3_s = factor * typical.stream_m3_s
        return usable_m3_s(site, stream_m3_s, typical.second_m3_s, typical.month, most_flow_m3_s)

    factor = _factor(usable_at, share)
    dry = replace(
        typical,
        kind="dry",
        words=f"the same days with the stream's flow times {factor:.2f}",
        stream_m3_s=factor * typical.stream_m3_s,
        usable_m3_s=usable_at(factor),
    )
    note = (
        "One year of record does not tell how dry a dry year is. It is taken as typical, and the dry year "
        f"has {100.0 * share:.0f} % of its usable flow: as between the median and the dry one of "
        f"{MADE_UP_YEARS} years of [stream.synthetic]."
    )
    return PlanYears(typical, dry, inputs.source, (*inputs.notes, note))


def _of_many(years: list[PlanYear], source: str, notes: tuple[str, ...]) -> PlanYears:
    """The median and the dry one of several years, by their mean usable flow."""
    ranked = sorted(years, key=lambda year: (_mean(year.usable_m3_s), year.words))
    count = len(ranked)
    dry = ranked[max(0, math.ceil(DRY_SHARE * count) - 1)]
    typical = ranked[count // 2]
    return PlanYears(
        replace(typical, kind="typical", words=f"{typical.words}, the median of {count}"),
        replace(
            dry, kind="dry", words=f"{dry.words}, number {ranked.index(dry) + 1} of {count} from the driest"
        ),
        source,
        notes,
    )


def _made_up_years(site: Site, most_flow_m3_s: float, seed: int) -> list[PlanYear]:
    """Calendar years of the made-up stream, each cut to 365 days."""
    series = flow_series(site, flows=SYNTHETIC, seed=seed, days=MADE_UP_YEARS * YEAR_DAYS + MADE_UP_YEARS)
    inputs = build_inputs(site, flows=SYNTHETIC, seed=seed, days=YEAR_DAYS)
    first = np.datetime64(series.start_s, "s").astype("datetime64[Y]")
    flow_m3_s = series.resampled(HOUR_S)
    years = []
    for place in range(MADE_UP_YEARS):
        begin = (first + place).astype("datetime64[s]").astype(np.int64)
        hour = (int(begin) - series.start_s) // HOUR_S
        words = f"year {place + 1} of the made-up stream"
        years.append(_year(site, inputs, flow_m3_s[hour:], words, most_flow_m3_s))
    return years


def _recorded_years(site: Site, series: FlowSeries, inputs: Inputs, most_flow_m3_s: float) -> list[PlanYear]:
    """The record cut into years from its beginning; what is left over at its end is left out."""
    flow_m3_s = series.resampled(HOUR_S)
    years = []
    for place in range(max(1, int(series.days) // YEAR_DAYS)):
        hour = 24 * YEAR_DAYS * place
        begin = np.datetime64(series.start_s + HOUR_S * hour, "s").astype("datetime64[D]")
        words = f"{inputs.days} days of record from {begin}"
        years.append(_year(site, inputs, flow_m3_s[hour:], words, most_flow_m3_s))
    return years


def _year(site: Site, inputs: Inputs, flow_m3_s: Floats, words: str, most_flow_m3_s: float) -> PlanYear:
    """A year with this stream, and the house and the sun of the inputs; mean values of each hour."""
    hours = 24 * inputs.days
    every = HOUR_S // STEP_S
    stream_m3_s = (flow_m3_s[:hours] + flow_m3_s[1 : hours + 1]) / 2.0
    month = inputs.month[::every]
    second_m3_s = np.array(inputs.second_m3_s[:-1:every])
    return PlanYear(
        kind="",
        words=words,
        days=inputs.days,
        stream_m3_s=stream_m3_s,
        usable_m3_s=usable_m3_s(site, stream_m3_s, second_m3_s, month, most_flow_m3_s),
        second_m3_s=second_m3_s,
        load_w=_hourly(inputs.load_w),
        solar_w=_hourly(inputs.solar_w),
        surplus_w=_hourly(inputs.surplus_w),
        month=month,
        temp_c=inputs.battery_temp_c[::every],
    )


def _hourly(step_w: list[float]) -> list[float]:
    means: list[float] = np.array(step_w).reshape(-1, HOUR_S // STEP_S).mean(axis=1).tolist()
    return means


def _mean(flow_m3_s: Floats) -> float:
    return float(flow_m3_s.mean())


def _factor(usable_at: Callable[[float], Floats], share: float) -> float:
    """By what all flows must be multiplied so that the mean usable flow falls to this share of itself."""
    goal_m3_s = share * _mean(usable_at(1.0))
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = (low + high) / 2.0
        if _mean(usable_at(middle)) < goal_m3_s:
            low = middle
        else:
            high = middle
    return high
