"""A catchment from the few things an owner knows: area, yearly rain, gaugings, the lowest flow remembered.

Four numbers of a climate's catchment are moved, no further than the facts ask: rain, base flow, the slow
reservoir's stay and the quick share. The search is a grid that narrows; there is no chance in it.
"""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from becksim.errors import UserError
from becksim.hydrology.catchment import Catchment
from becksim.hydrology.climates import CLIMATES, catchment_like
from becksim.hydrology.facts import (
    MEMORY_YEARS,
    OwnerFacts,
    doubts_told,
    gaugings_told,
    lowest_of_memory_m3_s,
    lowest_told,
    rain_told,
    time_of_year,
)
from becksim.hydrology.stores import snow_store, soil_store
from becksim.hydrology.stream import SPIN_UP_DAYS, made_up_weather

__all__ = ["Calibration", "OwnerFacts", "calibrate", "moved"]

Floats = npt.NDArray[np.float64]
# added to the climate's: ln of the factor on rain, ln of that on the slow stay, quick share, ln of that on
# base flow
Move = tuple[float, float, float, float]

MEMORIES = 3  # as many times MEMORY_YEARS are simulated, chosen by us
START_S = 978_307_200  # 1 January 2001; only the season matters
LEAST_SPREAD = 0.25  # of ln flow at a time of year: rating and reading of a gauging add to it, chosen by us
LOWEST_SPREAD = 0.15  # of ln of the lowest flow as remembered, chosen by us
OUTLIER = 2.0  # a miss beyond so many spreads draws no harder (Huber's loss), chosen by us
MOVE_SPREAD: Move = (
    0.12,
    0.4,
    0.12,
    1.5,
)  # a move that costs as much as a gauging's miss by one spread; by us
MOVE_STEP: Move = (0.12, 0.3, 0.12, 0.7)  # of the first grid, chosen by us
MOVE_REACH = ((-2, 2), (-2, 2), (-2, 2), (-5, 2))  # of the first grid, in steps; springs vary most
ROUNDS = 4  # grids, each half as wide as the one before, about the best so far
QUICK_SHARES = (0.05, 0.9)  # bounds, chosen by us


@dataclass(frozen=True)
class Calibration:
    """The catchment found, a sentence on each fact and move, and whether all facts are met."""

    catchment: Catchment
    sentences: tuple[str, ...]
    met: bool


def calibrate(
    facts: OwnerFacts,
    *,
    climate: str,
    southern: bool = False,
    seed: int = 1,
    fixed: Mapping[str, Any] | None = None,
) -> Calibration:
    """Move a climate's catchment to what the owner knows.

    Parameters
    ----------
    facts : OwnerFacts
    climate : str
        One of `CLIMATES`, the one most like the site.
    southern : bool
        Whether January is summer.
    seed : int
        Seed of the 30 years of weather in which the facts are looked for; the same seed, the same answer.
    fixed : mapping, optional
        Numbers of the `Catchment` that the owner knows better than the climate, such as `soil_mm`.

    Returns
    -------
    Calibration

    Raises
    ------
    UserError
        If the climate is not known.

    Examples
    --------
    >>> from datetime import date
    >>> facts = OwnerFacts(1.2, 1500.0, [(date(2031, 8, 14), 0.012), (date(2032, 2, 3), 0.060)], 0.004)
    >>> found = calibrate(facts, climate="maritime upland")
    >>> found.met, found.catchment.area_km2
    (True, 1.2)
    """
    if climate not in CLIMATES:
        raise UserError(f"climate {climate!r} is not known; use one of {', '.join(CLIMATES)}.")
    start = catchment_like(
        climate,
        area_km2=facts.area_km2,
        rain_mm_per_year=facts.rain_mm_per_year,
        southern=southern,
        fixed=fixed,
    )
    years = _Years(start, seed)
    windows = [time_of_year(years.day, day) for day, _ in facts.gaugings]
    best: Move = (0.0, 0.0, 0.0, 0.0)
    for number in range(ROUNDS):
        tried = list(_grid(best, 0.5**number, MOVE_REACH if number == 0 else ((-1, 1),) * 4))
        costs = [_cost(move, years.flow_m3_s(moved(start, move)), facts, windows) for move in tried]
        best = tried[int(np.argmin(costs))]
    found = moved(start, best)
    flow_m3_s = years.flow_m3_s(found)
    told = [
        rain_told(facts, math.exp(best[0])),
        *gaugings_told(facts, flow_m3_s, windows),
        *lowest_told(facts, lowest_of_memory_m3_s(flow_m3_s, MEMORIES)),
    ]
    sentences = [sentence for sentence, _ in told]
    sentences.append(
        f"Moved from the climate {climate!r}: base flow {1e3 * start.base_flow_m3_s:.3g} to "
        f"{1e3 * found.base_flow_m3_s:.3g} L/s, slow reservoir {start.slow_days:.3g} to "
        f"{found.slow_days:.3g} days, quick share {start.quick_share:.2f} to {found.quick_share:.2f}."
    )
    return Calibration(found, (*sentences, *doubts_told(facts)), all(met for _, met in told))


def moved(start: Catchment, move: Move) -> Catchment:
    """A catchment with rain, slow stay and base flow multiplied and quick share shifted.

    Parameters
    ----------
    start : Catchment
    move : tuple of 4 floats
        Natural logarithms of the factors on rain and on slow stay, shift of the quick share, logarithm of the
        factor on base flow [-].

    Returns
    -------
    Catchment

    Examples
    --------
    >>> upland = catchment_like("maritime upland", area_km2=1.0)
    >>> round(moved(upland, (0.0, math.log(2.0), -0.1, 0.0)).slow_days / upland.slow_days, 6)
    2.0
    """
    rain, slow, share, base = move
    return replace(
        start,
        wet_day_mm=tuple(mm * math.exp(rain) for mm in start.wet_day_mm),
        slow_days=start.slow_days * math.exp(slow),
        quick_share=min(max(start.quick_share + share, QUICK_SHARES[0]), QUICK_SHARES[1]),
        base_flow_m3_s=start.base_flow_m3_s * math.exp(base),
    )


class _Years:
    """Daily flow of a catchment in ever the same weather; what a move leaves alone is not computed again."""

    def __init__(self, start: Catchment, seed: int) -> None:
        days = round(365.25 * MEMORY_YEARS * MEMORIES)
        self._start = start
        self._rain_mm, self._demand_mm, self._temperature_c = made_up_weather(
            start, days=days, seed=seed, start_s=START_S
        )
        self.day = np.datetime64(START_S, "s").astype("datetime64[D]") + np.arange(days)
        self._runoff: dict[float, Floats] = {}
        self._outflow: dict[tuple[float, float], Floats] = {}

    def flow_m3_s(self, catchment: Catchment) -> Floats:
        """Mean flow of each day, spin-up left out."""
        rain = catchment.wet_day_mm[0] / self._start.wet_day_mm[0]
        quick = self._outflow_mm(rain, catchment.quick_days)
        slow = self._outflow_mm(rain, catchment.slow_days)
        outflow_mm = catchment.quick_share * quick + (1.0 - catchment.quick_share) * slow
        return catchment.base_flow_m3_s + outflow_mm * (catchment.area_km2 * 1e3 / 86400.0)

    def _runoff_mm(self, rain: float) -> Floats:
        if rain not in self._runoff:
            water_mm = self._rain_mm * rain
            if self._temperature_c is not None:
                water_mm = snow_store(self._start, water_mm, self._temperature_c)[0]
            self._runoff[rain] = soil_store(self._start, water_mm, self._demand_mm)[0]
        return self._runoff[rain]

    def _outflow_mm(self, rain: float, stay_days: float) -> Floats:
        """Outflow of each day [mm], were all runoff to go by one reservoir."""
        key = (rain, stay_days)
        if key not in self._outflow:
            runoff_mm = self._runoff_mm(rain).reshape(-1, 24)
            # the hourly steps of a linear reservoir, a day at a time: what of each hour is left at midnight
            kept = math.exp(-1.0 / 24.0 / stay_days)
            left_mm = (runoff_mm * (24.0 * stay_days * (1.0 - kept) * kept ** np.arange(23, -1, -1))).sum(
                axis=1
            )
            kept_of_day, stored = kept**24, 0.0
            stored_mm = [stored]
            for left in left_mm.tolist():
                stored = stored * kept_of_day + left
                stored_mm.append(stored)
            daily_mm = runoff_mm.sum(axis=1) - np.diff(stored_mm)
            self._outflow[key] = daily_mm[SPIN_UP_DAYS:]
        return self._outflow[key]


def _grid(centre: Move, shrink: float, reach: Sequence[tuple[int, int]]) -> Iterator[Move]:
    axes = [
        [at + step * shrink * number for number in range(first, last + 1)]
        for at, step, (first, last) in zip(centre, MOVE_STEP, reach, strict=True)
    ]
    yield from itertools.product(*axes)


def _cost(
    move: Move, flow_m3_s: Floats, facts: OwnerFacts, windows: Sequence[npt.NDArray[np.bool_]]
) -> float:
    """How far all is missed, each in its own spread: by the moves, at the gaugings, at the lowest flow."""
    cost = sum((by / spread) ** 2 for by, spread in zip(move, MOVE_SPREAD, strict=True)) / 2.0
    for (_, gauged_m3_s), window in zip(facts.gaugings, windows, strict=True):
        ln_flow = np.log(flow_m3_s[window])
        spread = max(float(ln_flow.std()), LEAST_SPREAD)
        cost += _loss((math.log(gauged_m3_s) - float(ln_flow.mean())) / spread) + math.log(spread)
    if facts.lowest_flow_m3_s is not None:
        lowest_m3_s = lowest_of_memory_m3_s(flow_m3_s, MEMORIES)
        cost += _loss(math.log(lowest_m3_s / facts.lowest_flow_m3_s) / LOWEST_SPREAD)
    return float(cost)


def _loss(miss: float) -> float:
    size = abs(miss)
    return size * size / 2.0 if size <= OUTLIER else OUTLIER * (size - OUTLIER / 2.0)
