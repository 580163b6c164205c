"""What an owner knows of a stream, and in words how well a made-up stream agrees with it.

A gauging is one instant in weather that nobody knows, so it is held against the spread of flows at its time
of year, not against one number.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from becksim.errors import UserError

Floats = npt.NDArray[np.float64]

MEMORY_YEARS = 10  # over which the lowest flow is remembered, chosen by us
WINDOW_DAYS = 15  # days before and after a gauging's date that are its time of year, chosen by us
RAIN_ALLOWED_MM = (100.0, 12_000.0)  # the driest to the wettest inhabited places, from memory
MET_WITHIN = 0.2  # a number met to this share counts as met, chosen by us
ENOUGH_GAUGINGS = 3  # chosen by us


@dataclass(frozen=True)
class OwnerFacts:
    """What the owner knows.

    Parameters
    ----------
    area_km2 : float
        Area that drains to the intake [km2].
    rain_mm_per_year : float
        Mean yearly rain and snow as water [mm].
    gaugings : sequence of (date, float)
        Day and flow [m3/s] of each spot gauging.
    lowest_flow_m3_s : float, optional
        Lowest flow remembered in about ten years [m3/s].

    Raises
    ------
    UserError
        If a fact is impossible or two contradict each other.
    """

    area_km2: float
    rain_mm_per_year: float
    gaugings: Sequence[tuple[date, float]] = ()
    lowest_flow_m3_s: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.area_km2 < math.inf:
            raise UserError(f"area_km2 is {self.area_km2:g}; it must be above 0. Measure it on a map.")
        low_mm, high_mm = RAIN_ALLOWED_MM
        if not low_mm <= self.rain_mm_per_year <= high_mm:
            raise UserError(
                f"rain_mm_per_year is {self.rain_mm_per_year:g}; it must be from {low_mm:g} to {high_mm:g}."
            )
        lowest_m3_s = self.lowest_flow_m3_s
        if lowest_m3_s is not None and not 0.0 < lowest_m3_s < math.inf:
            raise UserError(
                f"the lowest flow is {1e3 * lowest_m3_s:g} L/s; it must be above 0. "
                "For a stream that dries up give 0.1 L/s."
            )
        for day, flow_m3_s in self.gaugings:
            if not 0.0 < flow_m3_s < math.inf:
                raise UserError(
                    f"the gauging of {day} is {1e3 * flow_m3_s:g} L/s; it must be above 0. "
                    "If the stream was dry leave the gauging out and give 0.1 L/s as the lowest flow."
                )
            if lowest_m3_s is not None and flow_m3_s < lowest_m3_s:
                raise UserError(
                    f"the lowest flow is {1e3 * lowest_m3_s:g} L/s, but the gauging of {day} is "
                    f"{1e3 * flow_m3_s:g} L/s; give the lower of the two as the lowest."
                )


def time_of_year(days: npt.NDArray[np.datetime64], day: date) -> npt.NDArray[np.bool_]:
    """Which days are within `WINDOW_DAYS` of a date, whatever the year.

    Parameters
    ----------
    days : ndarray of datetime64[D], shape (n,)
        The days.
    day : date
        The date.

    Returns
    -------
    ndarray of bool, shape (n,)

    Examples
    --------
    >>> days = np.array(["2030-12-20", "2031-06-01"], dtype="datetime64[D]")
    >>> time_of_year(days, date(2033, 1, 3)).tolist()
    [True, False]
    """
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64)
    apart = np.abs(of_year - (day.timetuple().tm_yday - 1))
    return np.asarray(np.minimum(apart, 365 - apart) <= WINDOW_DAYS, dtype=np.bool_)


def lowest_of_memory_m3_s(flow_m3_s: Floats, memories: int) -> float:
    """Lowest daily mean of a memory's length: the median of as many.

    Parameters
    ----------
    flow_m3_s : ndarray of float64, shape (days,)
        Daily means over `memories` times `MEMORY_YEARS` [m3/s].
    memories : int
        Number of parts of which the lowest is taken.

    Returns
    -------
    float
        Flow [m3/s].

    Examples
    --------
    >>> lowest_of_memory_m3_s(np.array([5.0, 1.0, 4.0, 2.0, 7.0, 3.0]), 3)
    2.0
    """
    return float(np.median([part.min() for part in np.array_split(flow_m3_s, memories)]))


def rain_told(facts: OwnerFacts, factor: float) -> tuple[str, bool]:
    """A sentence on the yearly rain, moved by a factor, and whether it is met."""
    return (
        f"Yearly rain {facts.rain_mm_per_year:.0f} mm: the catchment has "
        f"{facts.rain_mm_per_year * factor:.0f} mm ({_percent(factor)}).",
        abs(factor - 1.0) <= MET_WITHIN,
    )


def gaugings_told(
    facts: OwnerFacts, flow_m3_s: Floats, windows: Sequence[npt.NDArray[np.bool_]]
) -> Iterator[tuple[str, bool]]:
    """A sentence on each gauging, against the daily means at its time of year, and whether it is met."""
    for (day, gauged_m3_s), window in zip(facts.gaugings, windows, strict=True):
        rare_low, low, middle, high, rare_high = (
            1e3 * float(flow) for flow in np.percentile(flow_m3_s[window], (2.5, 10, 50, 90, 97.5))
        )
        gauged = 1e3 * gauged_m3_s
        met = rare_low * (1.0 - MET_WITHIN) <= gauged <= rare_high * (1.0 + MET_WITHIN)
        if low <= gauged <= high:
            verdict = "it fits"
        elif met:
            verdict = f"it fits a {'dry' if gauged < low else 'wet'} spell"
        else:
            verdict = f"it is {'lower' if gauged < low else 'higher'} than fits"
        yield (
            f"Gauging of {day}, {gauged:.3g} L/s at one instant: at that time of year the stream carries "
            f"{middle:.3g} L/s at the median and {low:.3g} to {high:.3g} L/s on 8 days of 10; {verdict}.",
            met,
        )


def lowest_told(facts: OwnerFacts, lowest_m3_s: float) -> Iterator[tuple[str, bool]]:
    """A sentence on the lowest flow, if one is remembered, and whether it is met."""
    if facts.lowest_flow_m3_s is not None:
        ratio = lowest_m3_s / facts.lowest_flow_m3_s
        yield (
            f"Lowest flow remembered {1e3 * facts.lowest_flow_m3_s:.3g} L/s: the lowest day of "
            f"{MEMORY_YEARS} years has {1e3 * lowest_m3_s:.3g} L/s ({_percent(ratio)}).",
            abs(ratio - 1.0) <= MET_WITHIN,
        )


def doubts_told(facts: OwnerFacts) -> list[str]:
    """Sentences on what the facts cannot tell."""
    doubts = []
    if len(facts.gaugings) < ENOUGH_GAUGINGS:
        doubts.append(
            f"Spot gaugings given: {len(facts.gaugings)}. The weather before them is not known, so gauge at "
            f"least {ENOUGH_GAUGINGS} times, once when the stream is low."
        )
    if facts.lowest_flow_m3_s is None:
        doubts.append("No lowest flow is given, so the dry season is the climate's, not the stream's.")
    return doubts


def _percent(ratio: float) -> str:
    percent = round(100.0 * (ratio - 1.0))
    return "as given" if percent == 0 else f"{abs(percent)} % {'more' if percent > 0 else 'less'}"
