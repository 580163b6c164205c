"""Quality of control: is the water used, how soon is a change followed, and do the valves leave well alone.

The figures of a replay (`control`) are counted while the plant runs. Beside them, `step_response` and
`steady_run` play the site's own settings against an inflow that is made up, to find what no year shows apart
from everything else in it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

import numpy as np

from becklight.engine import RuleEngine
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.inputs import STEP_MS, STEP_S, Inputs
from becksim.orderbook import OrderBook
from becksim.periods import moves_of, stroke_periods
from becksim.plant import Plant
from becksim.play import build_book, build_plant, play
from becksim.site import Site
from becksim.times import DAY_S, HOUR_S
from becksim.totals import sum_of
from becksim.twin import Controller, build_instruments
from becksim.watched import WatchedDriver
from becksim.works import Works, build_jets

Changes = Sequence[tuple[float, tuple[int, ...]]]

NEAR = 0.05  # a change is followed when the jets' flow is, for good, so near to its new value
# A hill stream's rise is played as a doubling up to these shares of the jets' most flow, and back.
TYPICAL_SHARES = (0.3, 0.6, 0.9)
SETTLE_H = 12  # before the first step, and each flow held for HOLD_H; chosen by us: a pond answers in hours
HOLD_H = 24
STEPS_OF_HOUR = HOUR_S // STEP_S
ENDLESS = 1000.0  # so many of the site's batteries side by side are never full


class _Noting(WatchedDriver):
    """Notes what the jets draw: (begin [s], draw [m3/s]) of each stretch."""

    def __init__(self, controller: Controller) -> None:
        super().__init__(controller)
        self.draws: list[tuple[float, float]] = []

    def advance(self, plant: Plant, now_ms: int) -> None:
        super().advance(plant, now_ms)
        self.draws.append((plant.begin_ms / 1000.0, plant.water.draw_m3_s))


@dataclass(frozen=True)
class Loop:
    """The controller with the site's own settings, ready to be played against any inflow.

    Parameters
    ----------
    site : Site
        The site.
    settings : Settings
        The site's, compiled.
    works : Works
        The site's pipe, jets and wheel.
    seed : int
        For the instruments' noise.
    """

    site: Site
    settings: Settings
    works: Works
    seed: int = 1

    @classmethod
    def of(cls, site: Site, compiled: dict[str, Any] | None = None, seed: int = 1) -> "Loop":
        """The loop of a site; give its compiled settings if they are at hand, for compiling takes long."""
        settings = Settings(compile_site(site) if compiled is None else compiled)
        return cls(site, settings, Works(site, build_jets(site)), seed)

    def inflow_l_s(self, share: float) -> float:
        """The stream [L/s] that, its due let past in January, gives the jets a share of their most flow."""
        wanted_l_s = 1000.0 * share * self.works.most_flow_m3_s
        stream = self.site.stream
        of_share_l_s = wanted_l_s / (1.0 - stream.residual_share_month[0])
        return max(wanted_l_s + stream.residual_month_l_s[0], of_share_l_s)


@dataclass(frozen=True)
class Run:
    """What a loop did: `draws` holds the begin of each stretch [s] and what the jets took in it [m3/s]."""

    plant: Plant
    book: OrderBook
    draws: list[tuple[float, float]]

    @property
    def used_share(self) -> float:
        """What the jets took, of what they could have taken."""
        whole = sum_of(self.plant.months)
        return whole.turbined_m3 / whole.usable_m3 if whole.usable_m3 > 0.0 else math.nan


def steady_run(loop: Loop, flow_l_s: float, days: int, above_l_s: Sequence[float] = ()) -> Run:
    """Play the loop against a steady stream and, if given, a second source that comes and goes.

    The battery always wants power and never runs low, the house sleeps, screen and pipe stay free.

    Parameters
    ----------
    loop : Loop
        Controller and plant.
    flow_l_s : float
        The stream. [L/s]
    days : int
        For how long. [d]
    above_l_s : sequence of float, 96 a day, or none
        What runs into the intake besides, in each quarter of an hour. [L/s]

    Returns
    -------
    Run

    Examples
    --------
    >>> from becksim.site import load_site
    >>> loop = Loop.of(load_site("millbrook-smallholding"))
    >>> run = steady_run(loop, loop.inflow_l_s(0.5), days=1)
    >>> 0.85 < run.used_share < 1.0, sum(run.book.strokes) < 10
    (True, True)
    """
    steps = days * DAY_S // STEP_S
    battery = loop.site.battery
    # Half full: neither to be eased off for, nor to be helped by a storage pond, which is full and rests.
    endless = replace(
        battery,
        capacity_ah=ENDLESS * battery.capacity_ah,
        resistance_mohm=battery.resistance_mohm / ENDLESS,
        start_percent=50.0,
    )
    pond = loop.site.storage_pond
    full = None if pond is None else replace(pond, start_percent=100.0)
    site = replace(loop.site, battery=endless, storage_pond=full, screen=None, frost=None)
    inputs = Inputs(
        start_s=0,
        days=days,
        inflow_m3_s=[flow_l_s / 1000.0] * (steps + 1),
        load_w=[0.0] * steps,
        solar_w=[0.0] * steps,
        month=[0] * steps,
        battery_temp_c=[15.0] * steps,
        source="made up",
        notes=(),
        second_m3_s=[each_l_s / 1000.0 for each_l_s in above_l_s],
    )
    plant, book = build_plant(site, inputs, loop.works), build_book(loop.settings)
    engine, instruments = RuleEngine(loop.settings), build_instruments(site, loop.seed)
    driver = _Noting(Controller(loop.settings, engine, instruments, book, inputs))
    end_ms = steps * STEP_MS
    play(plant, driver, end_ms)
    book.finish(end_ms)
    return Run(plant, book, driver.draws)


def step_response(loop: Loop, from_l_s: float, to_l_s: float) -> tuple[float, float]:
    """How long until the jets have followed a sudden rise of the inflow, and its end.

    The rise comes through the intake as a second source does, at once; each flow is held for a day.

    Parameters
    ----------
    loop : Loop
        Controller and plant.
    from_l_s, to_l_s : float
        Inflow before and after, the stream's due included. [L/s]

    Returns
    -------
    up_s, down_s : float
        Until the jets' flow stays within 5 % of what they come to in the last quarter of that day; inf if
        they are still on the way then. [s]

    Raises
    ------
    ValueError
        If it is no rise.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> up_s, down_s = step_response(Loop.of(load_site("millbrook-smallholding")), 2.0, 4.0)
    >>> 60.0 < up_s < 1800.0, 60.0 < down_s < 1800.0
    (True, True)
    """
    if not 0.0 <= from_l_s < to_l_s:
        raise ValueError("from_l_s must be at least 0 and less than to_l_s")
    before, held = SETTLE_H * STEPS_OF_HOUR, HOLD_H * STEPS_OF_HOUR
    after = 2 * held - before  # whole days in all
    above_l_s = [0.0] * before + [to_l_s - from_l_s] * held + [0.0] * after
    days = len(above_l_s) * STEP_S // DAY_S
    draws = steady_run(loop, from_l_s, days, above_l_s).draws
    rise_s, fall_s, hold_s = 3600.0 * SETTLE_H, 3600.0 * (SETTLE_H + HOLD_H), 3600.0 * HOLD_H
    return followed_s(draws, rise_s, rise_s + hold_s), followed_s(draws, fall_s, fall_s + hold_s)


def followed_s(draws: Sequence[tuple[float, float]], from_s: float, to_s: float) -> float:
    """From an instant until the flow stays within 5 % of its mean in the last quarter of the time.

    Parameters
    ----------
    draws : sequence of (float, float)
        Instants from which on a flow holds, rising; the last one holds to the end. [s], [m3/s]
    from_s, to_s : float
        When to begin, and when to stop. [s]

    Returns
    -------
    float
        inf if it does not stay there for the whole last quarter. [s]

    Examples
    --------
    >>> followed_s([(0.0, 1.0), (110.0, 1.5), (130.0, 1.96), (150.0, 2.0)], 100.0, 500.0)
    30.0
    >>> followed_s([(0.0, 1.0), (110.0, 1.5), (480.0, 2.0)], 100.0, 500.0)
    inf
    """
    instants_s = np.array([instant_s for instant_s, _ in draws])
    flows_m3_s = np.array([flow_m3_s for _, flow_m3_s in draws])
    ends_s = np.append(instants_s[1:], math.inf)
    late_s = to_s - (to_s - from_s) / 4.0
    lengths_s = np.clip(np.minimum(ends_s, to_s) - np.maximum(instants_s, late_s), 0.0, None)
    new_m3_s = float((lengths_s * flows_m3_s).sum() / lengths_s.sum())
    inside = (ends_s > from_s) & (instants_s < to_s)
    off = inside & (np.abs(flows_m3_s - new_m3_s) > NEAR * new_m3_s)
    if not off.any():
        return 0.0
    followed = float(ends_s[off].max())
    return followed - from_s if followed <= late_s else math.inf


def typical_responses_s(loop: Loop) -> list[float]:
    """Up and down, of inflows that double and halve: three small to large ones. [s]"""
    found_s: list[float] = []
    for share in TYPICAL_SHARES:
        found_s += step_response(loop, loop.inflow_l_s(share / 2.0), loop.inflow_l_s(share))
    return found_s


def set_changes(changes: Changes, fixed: Sequence[int]) -> int:
    """How often the set of open fixed jets was changed; sets passed through on the way do not count.

    Parameters
    ----------
    changes : sequence of (float, tuple of int)
        `OrderBook.changes`. [s], [permille]
    fixed : sequence of int
        Places of the fixed jets' valves.

    Examples
    --------
    >>> swap = [(0.0, (1000, 0)), (500.0, (1000, 500)), (510.0, (1000, 1000)), (520.0, (0, 1000))]
    >>> set_changes(swap, fixed=[0, 1])
    1
    """
    if not changes:
        return 0
    is_open = moves_of(changes).standing[:, list(fixed)] > 0.0
    return int((is_open[1:] != is_open[:-1]).any(axis=1).sum())


def control(plant: Plant, book: OrderBook, loop: Loop) -> dict[str, Any]:
    """The quality of control of a replay, as `becklight replay --json` prints it.

    Parameters
    ----------
    plant : Plant
        The controlled plant, played to its end.
    book : OrderBook
        What was ordered.
    loop : Loop
        For the step response, which is played here.

    Returns
    -------
    dict
        usable_m3: what the jets could have drawn. used_share: what they drew of it;
        used_share_when_wanted: the same while the battery was not full; None if there was nothing to use.
        strokes_per_day: of all valves together. set_changes_per_day. median_step_response_s: of
        `typical_responses_s`; None if half of them take longer than 18 hours. limit_cycles: spells of
        periodic strokes, see `becksim.periods`; sets that take turns do not count.
    """
    whole = sum_of(plant.months)
    days = plant.inputs.days
    response_s = median(typical_responses_s(loop))
    return {
        "usable_m3": round(whole.usable_m3, 3),
        "used_share": _share(whole.turbined_m3, whole.usable_m3),
        "used_share_when_wanted": _share(whole.wanted_turbined_m3, whole.wanted_usable_m3),
        "strokes_per_day": round(sum(book.strokes) / days, 2),
        "set_changes_per_day": round(set_changes(book.changes, loop.settings.fixed) / days, 2),
        "median_step_response_s": round(response_s) if math.isfinite(response_s) else None,
        "limit_cycles": len(stroke_periods(book.steered, days)),
    }


def _share(part: float, whole: float) -> float | None:
    return round(part / whole, 4) if whole > 0.0 else None
