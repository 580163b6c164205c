"""The water that any schedule could have had: what came beyond the stream's due, and what could be kept.

Live water is what may be drawn: that above the level at which slot and crest still let the stream's due
past, a pond stands at its lowest and the pipe's mouth is covered. What lies below is dead: while there is
no live water the jets are shut. There can be no more live water than had collected with the jets always
shut, because a draw only ever lowers the level. What a higher level lets past beyond the due is left out,
and so are screen and frost: that only loosens the bound.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.basin import DAYS_OF_MONTH, Basin
from becksim.hydraulics.jets import FULL_PERMILLE
from becksim.hydraulics.storage_pond import StoragePond
from becksim.inputs import STEP_S, Inputs
from becksim.intake_works import build_storage_pond
from becksim.site import Site
from becksim.times import DAY_S, HOUR_S
from becksim.works import Works

Floats = npt.NDArray[np.float64]

STEPS_OF_HOUR = HOUR_S // STEP_S
# The plant computes what the jets make anew when the level has moved by 5 mm, and its stretches follow a
# flood otherwise than steps of an hour; chosen by us.
LEVEL_MARGIN_M = 0.01
GRID = 4001  # levels in a table, chosen by us; between two the one that gives a schedule more is taken


@dataclass(frozen=True)
class Pond:
    """A storage pond's water above its lowest level.

    Parameters
    ----------
    start_m3, most_m3 : float
        At the start, and at most.
    channel_m3 : float
        The most that can be on its way to the intake.
    takes_m3, rain_m3, gives_m3 : ndarray, shape (n,)
        Of each hour: the most it takes of the stream, that rain brings, and that it lets down.
    keeps_share : float
        Of what is there at an hour's beginning, still there at its end for what seeps away.
    """

    start_m3: float
    most_m3: float
    channel_m3: float
    takes_m3: Floats
    rain_m3: Floats
    gives_m3: Floats
    keeps_share: float


@dataclass(frozen=True)
class Water:
    """Hour by hour.

    Parameters
    ----------
    usable_m3 : ndarray, shape (n,)
        What came beyond the stream's due, while any did, second source included.
    dead_m3 : ndarray, shape (n + 1,)
        The intake's dead water at each hour's beginning and at the end, above its table's lowest level.
    most_live_m3 : ndarray, shape (n + 1,)
        The most live water at these instants; the first is what there was at the start.
    most_level_m : float
        The highest that the intake can have stood. [m]
    pond : Pond or None
        The storage pond.
    """

    usable_m3: Floats
    dead_m3: Floats
    most_live_m3: Floats
    most_level_m: float
    pond: Pond | None


def water_of(site: Site, works: Works, basin: Basin, inputs: Inputs) -> Water:
    """Gather what any schedule could have had.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe and jets.
    basin : Basin
        Its intake.
    inputs : Inputs
        Stream and second source.

    Returns
    -------
    Water

    Examples
    --------
    >>> from becksim.inputs import build_inputs
    >>> from becksim.site import load_site
    >>> from becksim.works import build_basin, build_jets
    >>> site = load_site("upland-hostel")
    >>> inputs = build_inputs(site, flows=None, seed=1, days=2)
    >>> water = water_of(site, Works(site, build_jets(site)), build_basin(site), inputs)
    >>> water.usable_m3.shape, water.most_live_m3.shape
    ((48,), (49,))
    """
    month = np.asarray(inputs.month)
    stream = np.asarray(inputs.inflow_m3_s)
    ends = np.stack([stream[:-1], stream[1:]], axis=1)  # of each step: its beginning and its end
    second = np.asarray(inputs.second_m3_s or [0.0] * stream.size)[: month.size, None]
    residual = np.asarray(site.stream.residual_month_l_s)[month, None] / 1000.0
    share = np.asarray(site.stream.residual_share_month)[month, None]
    due = np.minimum(np.maximum(residual, share * ends), ends)
    storage = build_storage_pond(site, works.most_flow_m3_s)
    pond = None if storage is None else _pond(site, storage, month, ends - due)
    low_m = _low_levels_m(site, basin, due)
    top_m = _most_levels_m(basin, inputs, ends, second, pond)
    besides = np.broadcast_to(second, ends.shape)
    if pond is None:  # what a pond could have taken is more than what is lost: let that be forgiven
        besides = besides - _least_loss_m3_s(basin, low_m, float(top_m.max()), month)
    dead = _volumes_m3(basin, low_m)
    # What exceeds the due is the lesser of two, each straight or bent upwards against the stream.
    beyond = (np.maximum(ends - residual, 0.0), (1.0 - share) * ends)
    surely = besides if pond is not None else ends - due + besides
    usable_m3 = _usable_m3([each + besides for each in beyond], surely, dead)
    # Where the due jumps with the month, the lesser counts.
    opening = dead[::STEPS_OF_HOUR, 0]
    closing = dead[STEPS_OF_HOUR - 1 :: STEPS_OF_HOUR, 1]
    edges = np.minimum(np.append(opening, np.inf), np.append(np.inf, closing))
    live_m3 = np.maximum(_volumes_m3(basin, top_m + LEVEL_MARGIN_M) - edges, 0.0)
    if pond is not None:
        live_m3 += pond.channel_m3
    live_m3[0] = max(0.0, basin.volume_m3(float(top_m[0])) - edges[0])
    return Water(
        usable_m3=_hourly(usable_m3),
        dead_m3=edges,
        most_live_m3=live_m3
        if pond is None
        else live_m3 + np.append(0.0, np.full(live_m3.size - 1, pond.channel_m3)),
        most_level_m=float(top_m.max()) + LEVEL_MARGIN_M,
        pond=pond,
    )


def _hourly(steps: Floats) -> Floats:
    return np.asarray(steps.reshape(-1, STEPS_OF_HOUR).sum(axis=1))


def _volumes_m3(basin: Basin, levels_m: Floats) -> Floats:
    different, places = np.unique(levels_m, return_inverse=True)
    volumes = np.array([basin.volume_m3(level_m) for level_m in different.tolist()])
    return np.asarray(volumes[places].reshape(levels_m.shape))


def _usable_m3(limits: list[Floats], surely: Floats, dead: Floats) -> Floats:
    """Of each step, what comes beyond the due, shape (n,).

    Only what is positive is summed: when less than nothing comes there is live water to make up for it, or
    the jets are shut. Each limit bends upwards on its way through a step, so that the straight line from its
    beginning to its end lies above it. Where the dead water grows with the due, that water is not to be had;
    it does not grow quite evenly, so it counts only where four times as much surely comes besides.
    """
    grows_m3 = dead[:, 1] - dead[:, 0]
    line_m3 = np.min([np.maximum(limit, 0.0).mean(axis=1) for limit in limits], axis=0) * STEP_S
    plenty = surely.min(axis=1) * STEP_S >= 4.0 * np.maximum(grows_m3, 0.0)
    usable_m3 = np.where(plenty, line_m3 - grows_m3, line_m3 + np.maximum(0.0, -grows_m3))
    # From a month's first day on less may be due.
    return np.asarray(usable_m3 + np.append(0.0, np.maximum(0.0, dead[:-1, 1] - dead[1:, 0])))


def _low_levels_m(site: Site, basin: Basin, due: Floats) -> Floats:
    """The level down to which water may be drawn where so much is due."""
    least_m = 0.0 if site.pond is None else site.pond.lowest_level_mm / 1000.0
    high_m = basin.crest_level_m
    while basin.release_m3_s(high_m) <= float(due.max()):
        high_m += 0.1
    levels_m = np.linspace(min(basin.slot_sill_m, basin.crest_level_m), high_m, GRID)
    flows_m3_s = np.array([basin.release_m3_s(level_m) for level_m in levels_m.tolist()])
    below = np.maximum(np.searchsorted(flows_m3_s, due) - 1, 0)
    return np.where(due > 0.0, np.maximum(levels_m[below], least_m), least_m)


def _least_loss_m3_s(basin: Basin, low_m: Floats, top_m: float, month: npt.NDArray[np.int64]) -> Floats:
    """What ground and air take at least of an intake with live water; below 0 where rain brings more."""
    found = np.zeros(low_m.shape)
    if not basin.loses:
        return found
    grid_m = np.linspace(float(low_m.min()), max(top_m + LEVEL_MARGIN_M, float(low_m.max())), GRID)
    below = np.maximum(np.searchsorted(grid_m, low_m) - 1, 0)
    for each in set(month.tolist()):
        loss = np.array([basin.loss_m3_s(level_m, each, float(STEP_S)) for level_m in grid_m.tolist()])
        least = np.minimum.accumulate(loss[::-1])[::-1]  # from each level on up
        rows = month == each
        found[rows] = least[below[rows]]
    return found


def _most_levels_m(basin: Basin, inputs: Inputs, ends: Floats, second: Floats, pond: Pond | None) -> Floats:
    """The level at the hours' edges with the jets always shut, the storage pond's valve always open."""
    comes = (ends.max(axis=1) + second[:, 0]).reshape(-1, STEPS_OF_HOUR).max(axis=1)
    if pond is not None:
        comes = comes + pond.gives_m3 / HOUR_S
    month = inputs.month[::STEPS_OF_HOUR]
    # As the plant begins: as if the jets had been shut for long.
    level_m = basin.step(basin.crest_level_m, 1e9, inputs.inflow_m3_s[0] + float(second[0, 0]), 0.0)
    levels_m = [level_m]
    for hour, comes_m3_s in enumerate(comes.tolist()):
        rain_m3_s = min(0.0, basin.loss_m3_s(level_m, month[hour], HOUR_S))
        ahead_m = basin.step(level_m, HOUR_S, comes_m3_s, 0.0, rain_m3_s)
        if ahead_m > level_m:  # a step of an hour lags behind a rise: where it comes to rest
            ahead_m = basin.step(level_m, 1e9, comes_m3_s - rain_m3_s, 0.0)
        level_m = ahead_m
        levels_m.append(level_m)
    return np.array(levels_m)


def _pond(site: Site, storage: StoragePond, month: npt.NDArray[np.int64], spare: Floats) -> Pond:
    """What the storage pond can take, keep and give. `spare` is the stream less its due, (n, 2)."""
    table = site.storage_pond
    assert table is not None
    crest_m, lowest_m = storage.crest_level_m, table.lowest_level_mm / 1000.0
    lowest_m3 = storage.volume_m3(lowest_m)
    most_m3_s = storage.flow_m3_s(crest_m, FULL_PERMILLE)
    takes_m3_s = np.clip(spare, 0.0, table.fill_l_s / 1000.0)
    rain_m_s = np.array(
        [
            max(0.0, -depth_mm) / 1000.0 / (days * DAY_S)
            for depth_mm, days in zip(table.evaporation_mm or (0.0,) * 12, DAYS_OF_MONTH, strict=True)
        ]
    )
    rain_m3 = _hourly(rain_m_s[month] * storage.area_m2(crest_m) * STEP_S)
    levels_m = np.linspace(lowest_m, crest_m, 101)[1:].tolist()
    seeps_per_s = min(
        (storage.loss_m3_s(level_m, each, 1.0) + rain_m_s[each] * storage.area_m2(level_m))
        / (storage.volume_m3(level_m) - lowest_m3)
        for level_m in levels_m
        for each in range(12)
    )
    return Pond(
        start_m3=max(0.0, storage.stored_m3 - lowest_m3),
        most_m3=storage.volume_m3(crest_m) - lowest_m3,
        channel_m3=table.travel_s * most_m3_s,
        takes_m3=_hourly(takes_m3_s.max(axis=1) * STEP_S),
        rain_m3=rain_m3,
        gives_m3=most_m3_s * HOUR_S + rain_m3,
        keeps_share=math.exp(-max(0.0, seeps_per_s) * HOUR_S),
    )
