"""From orders to pressures: what the pipe feels in many trains at once.

train = engine_train(settings, [1000, 0, 500], [0, 0, 0])
outcome = play(PipeModel(site, works), [train], [30.0, 30.0, 30.0])[0]
"""

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.pipe import PA_PER_BAR
from becksim.hydraulics.transient import simulate
from becksim.hydraulics.transient_march import TransientResult
from becksim.pipemodel import PipeModel
from becksim.trains import PERMILLE, Train, length_s, shortened, travel

FloatArray = npt.NDArray[np.float64]

REACHES = (
    8  # with PHASES, peaks lie within 0.5 % of the rise of those on a grid four times finer; chosen by us
)
PHASES = 2
RUN_ON_RETURNS = 4.0  # how long to look after the last step, in 2L/a: two whole swings; chosen by us
NODES_AT_ONCE = 5_000  # cases times nodes of one run, so that its arrays stay in the cache; chosen by us
VALUES_AT_ONCE = 4_000_000  # cases times steps of one run, so that its histories stay in memory; chosen by us


@dataclass(frozen=True)
class Outcome:
    """What the pipe felt in one train; pressures are gauge.

    Attributes
    ----------
    peak_bar, valve_trough_bar : float
        Highest and lowest at the manifold. [bar]
    trough_bar : float
        Lowest anywhere in the pipe. [bar]
    margin_bar : float
        Least room left to the limit, anywhere. [bar]
    room_used : float
        Share used of the room that was there: between static pressure and limit, or between the lower of
        the two steady states (before and after) and the atmosphere, at the worst place. [-]
    ok : bool
        Nowhere above the limit, nowhere below the atmosphere where both steady states are above it, not
        parted.
    place_m : float
        Where the most room was used, from the pipe's mouth. [m]
    peak_s, trough_s : float
        When the manifold's pressure was highest and lowest, from the first step. [s]
    parted : bool
        Whether the water column parted; what follows, and the blow when it joins again, is not in here.
    steady_below : bool
        Whether a steady state itself, before or after, lies below the atmosphere somewhere.
    """

    peak_bar: float
    trough_bar: float
    valve_trough_bar: float
    margin_bar: float
    room_used: float
    ok: bool
    place_m: float
    peak_s: float
    trough_s: float
    parted: bool
    steady_below: bool


def play(model: PipeModel, trains: Sequence[Train], motor_stroke_s: Sequence[float]) -> list[Outcome]:
    """What the pipe feels in each of many trains; the intake stays at its crest.

    Near the pipe's mouth there is little static head. Judged against the atmosphere is every station whose
    steady pressure, before and after, lies above it; one where it does not is `Outcome.steady_below`.

    Parameters
    ----------
    model : PipeModel
        The pipe.
    trains : sequence of Train
        The moves.
    motor_stroke_s : sequence of float, one a valve
        Time of a whole stroke without a rest. [s]

    Returns
    -------
    list of Outcome
        In the order of the trains.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import Works, build_jets
    >>> site = load_site("upland-hostel")
    >>> model = PipeModel(site, Works(site, build_jets(site)))
    >>> slam = Train((1000, 1000, 1000, 1000), (0.0, 0.0), (2, 3), (0, 0))
    >>> [outcome.ok for outcome in play(model, [slam, slam.first(0)], [1.0] * 4)]
    [False, True]
    """
    outcomes: dict[int, Outcome] = {}
    short = [shortened(train, motor_stroke_s, 2.0 * model.return_s) for train in trains]
    times_s = [length_s(train, motor_stroke_s) for train, _ in short]
    order = sorted(range(len(trains)), key=lambda place: times_s[place])
    nodes = model.grid.distance_m.size * model.phases
    while order:
        steps = model.phases * (times_s[order[-1]] + RUN_ON_RETURNS * model.return_s) / model.grid.time_step_s
        at_once = max(1, min(NODES_AT_ONCE // nodes, int(VALUES_AT_ONCE / steps)))
        places, order = order[-at_once:], order[:-at_once]
        found = _judge(model, [short[place][0] for place in places], motor_stroke_s)
        for place, outcome in zip(places, found, strict=True):
            outcomes[place] = replace(
                outcome,
                peak_s=_unshortened_s(outcome.peak_s, *short[place]),
                trough_s=_unshortened_s(outcome.trough_s, *short[place]),
            )
    return [outcomes[place] for place in range(len(trains))]


def _unshortened_s(time_s: float, train: Train, sooner_s: Sequence[float]) -> float:
    """An instant of a shortened train as it is in the whole one."""
    step = bisect.bisect_right(train.step_s, time_s) - 1
    return time_s + (sooner_s[step] if step >= 0 else 0.0)


def play_one(
    model: PipeModel, train: Train, motor_stroke_s: Sequence[float]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Instants from the first step [s], manifold pressure then, and its extremes along the pipe [Pa].

    Returns
    -------
    time_s, valve_pa : numpy.ndarray, shape (instants,)
        NaN after a parting.
    highest_pa, lowest_pa : numpy.ndarray, shape (stations,)
    """
    time_s, run = _run(model, [train], motor_stroke_s)
    valve_pa = model.weight_n_m3 * _interleaved(run.valve_head_m, 1, model.phases)[0]
    highest_m, lowest_m = _envelopes(model, run, 1)
    lowest_pa = np.maximum(model.gauge_pa(lowest_m)[0], model.vapour_pa)
    return time_s, np.maximum(valve_pa, model.vapour_pa), model.gauge_pa(highest_m)[0], lowest_pa


def _run(
    model: PipeModel, trains: Sequence[Train], motor_stroke_s: Sequence[float]
) -> tuple[FloatArray, TransientResult]:
    """March all trains, each as `phases` cases.

    At Courant number 1 the values at k and k + ½ travel times of a reach never meet: each phase is a march of
    its own. So many coarse marches give the instants of a fine one at a fraction of its work.
    """
    step_s = model.grid.time_step_s
    longest_s = max(length_s(train, motor_stroke_s) for train in trains)
    steps = math.ceil((longest_s + RUN_ON_RETURNS * model.return_s) / step_s) + 2
    # One step of lead, so that every phase starts from rest.
    time_s = np.arange(steps * model.phases, dtype=np.float64) * (step_s / model.phases) - step_s
    areas_m2 = np.stack([_areas_m2(model, train, motor_stroke_s, time_s) for train in trains])
    cases = areas_m2.reshape(len(trains), steps, model.phases).transpose(0, 2, 1)
    run = simulate(
        model.grid,
        reservoir_head_m=model.reservoir_head_m,
        opening_areas_m2=cases.reshape(-1, steps, 1),
        duration_s=(steps - 1) * step_s,
        parting_gauge_pa=model.vapour_pa,
        temp_c=model.temp_c,
    )
    return time_s, run


def _areas_m2(
    model: PipeModel, train: Train, motor_stroke_s: Sequence[float], time_s: FloatArray
) -> FloatArray:
    """Effective area of all jets at each instant, by each jet's own table."""
    moved = set(train.valve)
    total_m2 = np.zeros(time_s.size)
    for valve, opening in enumerate(train.start_permille):
        table = model.areas_m2[valve]
        if valve not in moved:
            total_m2 += table[opening]
            continue
        corner_s, corner_permille = travel(train, valve, motor_stroke_s[valve])
        here = np.interp(time_s, corner_s, corner_permille)
        low = np.minimum(here.astype(np.intp), PERMILLE - 1)
        total_m2 += table[low] + (here - low) * (table[low + 1] - table[low])
    return np.maximum(total_m2, 0.0)


def _interleaved(values: FloatArray, trains: int, phases: int) -> FloatArray:
    """Histories of the phases, shape (trains * phases, steps), woven into one for each train."""
    return np.asarray(values.reshape(trains, phases, -1).transpose(0, 2, 1).reshape(trains, -1))


def _envelopes(model: PipeModel, run: TransientResult, trains: int) -> tuple[FloatArray, FloatArray]:
    """Highest and lowest head at the stations, shape (trains, stations)."""
    shape = (trains, model.phases, -1)
    highest_m = run.highest_head_m.reshape(shape).max(axis=1)
    lowest_m = run.lowest_head_m.reshape(shape).min(axis=1)
    return model.at_stations(highest_m), model.at_stations(lowest_m)


def _judge(model: PipeModel, trains: Sequence[Train], motor_stroke_s: Sequence[float]) -> list[Outcome]:
    count = len(trains)
    time_s, run = _run(model, trains, motor_stroke_s)
    highest_m, lowest_m = _envelopes(model, run, count)
    highest_pa, lowest_pa = model.gauge_pa(highest_m), model.gauge_pa(lowest_m)
    ends = [openings for train in trains for openings in (train.start_permille, train.end_permille)]
    steady_m = model.steady_head_m(np.array([model.open_area_m2(openings) for openings in ends]))
    steady_pa = model.gauge_pa(steady_m).reshape(count, 2, -1).min(axis=1)
    wet = steady_pa > 0.0
    parted = np.atleast_1d(np.isfinite(run.parting_time_s).reshape(count, -1).any(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        high_used = (highest_pa - model.static_pa) / (model.limit_pa - model.static_pa)
        high_used = np.where(model.limit_pa > model.static_pa, high_used, np.inf)
        low_used = np.where(wet, (steady_pa - lowest_pa) / steady_pa, 0.0)
    used = np.maximum(high_used, low_used)
    place = used.argmax(axis=1)
    valve_m = _interleaved(run.valve_head_m, count, model.phases)
    # An instant without a value (after a parting) is never the extreme.
    peak_at = np.where(np.isnan(valve_m), -np.inf, valve_m).argmax(axis=1)
    trough_at = np.where(np.isnan(valve_m), np.inf, valve_m).argmin(axis=1)
    bar = model.weight_n_m3 / PA_PER_BAR
    vapour_bar = model.vapour_pa / PA_PER_BAR  # no lower: the water parts
    ok = np.atleast_1d(~parted & (used.max(axis=1) <= 1.0))
    return [
        Outcome(
            peak_bar=bar * float(valve_m[i, peak_at[i]]),
            trough_bar=max(vapour_bar, float(lowest_pa[i].min()) / PA_PER_BAR),
            valve_trough_bar=max(vapour_bar, bar * float(valve_m[i, trough_at[i]])),
            margin_bar=float((model.limit_pa - highest_pa[i]).min()) / PA_PER_BAR,
            room_used=math.inf if parted[i] else float(used[i, place[i]]),
            ok=bool(ok[i]),
            place_m=float(model.distance_m[place[i]]),
            peak_s=float(time_s[peak_at[i]]),
            trough_s=float(time_s[trough_at[i]]),
            parted=bool(parted[i]),
            steady_below=bool(not wet[i].all()),
        )
        for i in range(count)
    ]
