"""The years that candidates are tried over, and the years, of other seeds, that they are judged on.

    years = choose_years(job, seed=1, days=None)
    years.tuning, years.judging, years.notes

Of many made-up years only the stream is made, which is quick; of its usable water the median, a dry and a wet
year are taken. A gauge record is cut into years; half of them are tuned on if there are two or more.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from becksim.errors import UserError
from becksim.inputs import STEP_S, Inputs, build_inputs
from becksim.site import Site
from becksim.streams import SYNTHETIC, SYNTHETIC_START_S, flow_series, second_source_m3_s, usable_m3_s
from becksim.times import DAY_S, YEAR_DAYS
from becksim.tuning.job import Job, site_of, unpacked
from becksim.works import Works, build_jets

SEEDS = 30  # made-up years of each kind of use, of which three are taken; chosen by us
DRY_SHARE, WET_SHARE = 0.1, 0.9  # one year in ten is as dry as the dry one, or drier; as wet, or wetter
MOST_RECORD_YEARS = 2  # of a record for each use: the newest; chosen by us
LEAST_RECORD_DAYS = 30  # a shorter record judges nothing; chosen by us


@dataclass(frozen=True)
class Year:
    """Days to replay.

    Parameters
    ----------
    key : str
        Unlike any other year's.
    kind : {"typical", "dry", "wet", "record"}
        Which it is.
    judging : bool
        Whether it is kept for judging.
    seed : int
        Of the stream if made up, the clouds, the household and the instruments' noise.
    first_day, days : int
        Of a record where it begins, and how long it is. [d]
    words : str
        Which year it is.
    """

    key: str
    kind: str
    judging: bool
    seed: int
    first_day: int
    days: int
    words: str


@dataclass(frozen=True)
class Years:
    """The years of both uses, and what is to be said of them."""

    tuning: tuple[Year, ...]
    judging: tuple[Year, ...]
    notes: tuple[str, ...]


def choose_years(job: Job, *, seed: int, days: int | None = None) -> Years:
    """Take three made-up years for each use, and a gauge record's.

    Parameters
    ----------
    job : Job
        The site and its flows.
    seed : int
        Of the first made-up year; those looked at for judging begin 30 further on.
    days : int, optional
        Fewer days than a year, from its beginning, to try things out.

    Raises
    ------
    UserError
        If the record cannot be used.
    """
    days = YEAR_DAYS if days is None else days
    site = site_of(job)
    tuning = _made_up(site, seed, days, judging=False)
    judging = _made_up(site, seed + SEEDS, days, judging=True)
    notes: tuple[str, ...] = ()
    if days < YEAR_DAYS:
        notes = (
            f"Only {days} days of each year were played: enough to try it out, not to trust what is found.",
        )
    if job.has_record:
        recorded, said = _recorded(job, seed, days)
        notes += said
        tuning += tuple(year for year in recorded if not year.judging)
        judging += tuple(year for year in recorded if year.judging)
    return Years(tuning, judging, notes)


def _made_up(site: Site, seed: int, days: int, *, judging: bool) -> tuple[Year, ...]:
    seeds = range(seed, seed + SEEDS)
    works = Works(site, build_jets(site))
    usable = {one: usable_m3(site, works.most_flow_m3_s, one, days) for one in seeds}
    ranked = sorted(seeds, key=lambda one: (usable[one], one))
    use = "judging" if judging else "tuning"
    found = []
    for kind, share in (("typical", 0.5), ("dry", DRY_SHARE), ("wet", WET_SHARE)):
        place = max(0, math.ceil(share * len(ranked)) - 1)
        one = ranked[place]
        words = f"made-up stream, seed {one}: number {place + 1} of {len(ranked)} from the driest"
        found.append(Year(f"{use}-{kind}-{one}", kind, judging, one, 0, days, words))
    return tuple(found)


def usable_m3(site: Site, most_flow_m3_s: float, seed: int, days: int) -> float:
    """The water of a made-up year that the jets may have: all but the residual flow, at most what they take.

    Parameters
    ----------
    site : Site
        The site.
    most_flow_m3_s : float
        The most that pipe and intake bear. [m3/s]
    seed : int
        Of the stream.
    days : int
        Length. [d]

    Returns
    -------
    float
        Volume. [m3]
    """
    series = flow_series(site, flows=SYNTHETIC, seed=seed, days=days)
    steps = days * DAY_S // STEP_S
    stream = np.asarray(series.resampled(STEP_S)[: steps + 1])
    flow_m3_s = (stream[:-1] + stream[1:]) / 2.0
    dates = (SYNTHETIC_START_S + STEP_S * np.arange(steps)).astype("datetime64[s]")
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    second_m3_s = np.array(second_source_m3_s(site, month.tolist())[:-1])
    return float(STEP_S * usable_m3_s(site, flow_m3_s, second_m3_s, month, most_flow_m3_s).sum())


def _recorded(job: Job, seed: int, days: int) -> tuple[tuple[Year, ...], tuple[str, ...]]:
    """The newest whole years of the record: the later half is judged on, the earlier half tuned on."""
    with unpacked(job) as (site, flows):
        series = flow_series(site, flows=flows, seed=seed, days=None, fill_gaps=job.fill_gaps)
    covered = int(series.days)
    if covered < min(days, LEAST_RECORD_DAYS):
        raise UserError(
            f"{series.source} covers {covered} days; at least {min(days, LEAST_RECORD_DAYS)} are needed to "
            "judge by "
            f"it. Give a longer record, or leave it out (--flows {SYNTHETIC})."
        )
    whole = covered // YEAR_DAYS
    if whole < 2:
        length = min(days, covered)
        note = (
            f"{series.source} covers {covered} days, less than two years: it is used for judging alone, not "
            "for "
            "tuning."
        )
        return (_record_year(series.source, 0, length, seed, judging=True),), (note,)
    count = min(MOST_RECORD_YEARS, whole // 2)
    starts = [covered - YEAR_DAYS * (place + 1) for place in range(2 * count)]
    years = tuple(
        _record_year(series.source, start, days, seed, judging=place < count)
        for place, start in enumerate(starts)
    )
    note = (
        f"{series.source} covers {covered} days: its last {count} years are used for judging, the {count} "
        "before "
        "for tuning."
    )
    return years, (note,)


def _record_year(source: str, first_day: int, days: int, seed: int, *, judging: bool) -> Year:
    use = "judging" if judging else "tuning"
    words = f"{source}: {days} days from day {first_day + 1} on"
    return Year(f"{use}-record-{first_day}", "record", judging, seed, first_day, days, words)


@lru_cache(maxsize=8)  # some 10 MB each, and a worker meets the same years again and again
def inputs_of(job: Job, year: Year) -> Inputs:
    """Stream, house and sun of a year.

    Parameters
    ----------
    job : Job
        The site and its flows.
    year : Year
        One of those that `choose_years` took.

    Raises
    ------
    UserError
        If the record has gaps that nobody asked to fill.
    """
    if year.kind != "record":
        return build_inputs(site_of(job), flows=SYNTHETIC, seed=year.seed, days=year.days)
    days = year.first_day + year.days
    with unpacked(job) as (site, flows):
        inputs = build_inputs(site, flows=flows, seed=year.seed, days=days, fill_gaps=job.fill_gaps)
    return _from_day(inputs, year.first_day)


def _from_day(inputs: Inputs, first_day: int) -> Inputs:
    """The same without its first days."""
    steps = first_day * DAY_S // STEP_S
    air = inputs.air_temp_c
    return replace(
        inputs,
        start_s=inputs.start_s + first_day * DAY_S,
        days=inputs.days - first_day,
        inflow_m3_s=inputs.inflow_m3_s[steps:],
        load_w=inputs.load_w[steps:],
        solar_w=inputs.solar_w[steps:],
        month=inputs.month[steps:],
        battery_temp_c=inputs.battery_temp_c[steps:],
        second_m3_s=inputs.second_m3_s[steps:],
        air_temp_c=None if air is None else air[steps:],
        surplus_w=inputs.surplus_w[steps:],
    )
