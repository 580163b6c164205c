"""Search for the jets that earn most: climbing over drill sizes from several starts, by a quick estimate.

Fixed jets that are open behave as one area; a trim jet spoils only its own share of the water. So a curve of
power against area, made once, ranks thousands of sets of jets. The best are then computed in full.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from becksim.hydraulics.drills import DRILLS_MM, drills_up_to, nearest_drill
from becksim.hydraulics.jets import NEEDLE_CURVE, Jet, effective_area_m2, nozzle_efficiency
from becksim.site import Site
from becksim.sizing.power import Floats, flow_grid, plan_jet, refit
from becksim.works import Works

Sizes = tuple[int, ...]  # places in `drills_mm`: the fixed jets, rising, then the trim

AREA_POINTS = 32
PROBE_PERMILLE = 200
FLOW_POINTS = 80  # fewer than a plan's curve has, and enough to rank; chosen by us
NEEDLE_STEP_PERMILLE = 50
BATCH = 256  # sets of jets computed at once: keeps the arrays in the processor's cache
# Starts: all jets together have these shares of the area of the pipe's best flow, each fixed jet so many
# times the area of the one before (2: like binary digits), the trim as the smallest or the largest one.
# Chosen by us.
START_SHARES = (0.1, 0.2, 0.4, 0.7, 1.0)
START_AREA_RATIOS = (1.0, 1.5, 2.0)


@dataclass(frozen=True, eq=False)
class Bench:
    """What the quick estimate knows of the works, up to the most flow that pipe and intake bear.

    Parameters
    ----------
    drills_mm : tuple of float, shape (d,)
        Sizes to choose from: the largest is the last that alone does not draw more than that flow.
    fixed_m2, trim_m2 : ndarray, shape (d,)
        Effective area of a jet of each size, fully open.
    flow_m3_s, area_m2, power_w, spoilt_w : ndarray, shape (n,)
        Usable flows, the area that draws each, the power of good round jets of that area, and what a jet
        of no quality would cost of it.
    most_area_m2 : float
        All jets together may have so much: none may draw air; inf if the pipe's best flow is reached first,
        past which the device never goes.
    needle_share, needle_quality : ndarray, shape (k,)
        Share of its full area that a needle leaves open, and the quality of its jet then.
    """

    drills_mm: tuple[float, ...]
    fixed_m2: Floats
    trim_m2: Floats
    flow_m3_s: Floats
    area_m2: Floats
    power_w: Floats
    spoilt_w: Floats
    most_area_m2: float
    needle_share: Floats
    needle_quality: Floats


def set_up_bench(site: Site, works: Works, most_flow_m3_s: float) -> Bench:
    """Tabulate areas and power for the quick estimate.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        From `becksim.sizing.power.planning_works`.
    most_flow_m3_s : float
        The most that pipe and intake bear. [m3/s]

    Returns
    -------
    Bench
    """
    grid_m3_s = flow_grid(most_flow_m3_s, FLOW_POINTS)
    most_m2 = _area_m2(works, most_flow_m3_s)
    example = plan_jet(site, "one", "fixed", DRILLS_MM[0])
    per_mm2 = effective_area_m2(example, 1000) / DRILLS_MM[0] ** 2
    drills_mm = drills_up_to(max(DRILLS_MM[0], math.sqrt(most_m2 / per_mm2)))
    fixed = [plan_jet(site, "one", "fixed", drill_mm) for drill_mm in drills_mm]
    trims = [plan_jet(site, "one", "trim", drill_mm) for drill_mm in drills_mm]
    flows, powers, spoilt = [0.0], [0.0], [0.0]
    for point in range(1, AREA_POINTS + 1):
        # Probes of any diameter: one round jet, and a needle jet of known quality that draws about as much.
        probe_mm = math.sqrt(most_m2 / per_mm2) * point / AREA_POINTS
        needle = plan_jet(site, "one", "trim", probe_mm / math.sqrt(NEEDLE_CURVE[PROBE_PERMILLE // 100]))
        quality = nozzle_efficiency(needle, PROBE_PERMILLE)
        flow_m3_s, power_w = _operate(works, plan_jet(site, "one", "fixed", probe_mm), 1000)
        needle_m3_s, needle_w = _operate(works, needle, PROBE_PERMILLE)
        flows.append(flow_m3_s)
        powers.append(power_w)
        spoilt.append((power_w - needle_w * flow_m3_s / needle_m3_s) / (1.0 - quality))
    steps = range(0, 1001, NEEDLE_STEP_PERMILLE)
    return Bench(
        drills_mm=drills_mm,
        fixed_m2=np.array([effective_area_m2(jet, 1000) for jet in fixed]),
        trim_m2=np.array([effective_area_m2(jet, 1000) for jet in trims]),
        flow_m3_s=grid_m3_s,
        area_m2=np.array([_area_m2(works, flow_m3_s) for flow_m3_s in grid_m3_s.tolist()]),
        power_w=np.interp(grid_m3_s, flows, powers),
        spoilt_w=np.interp(grid_m3_s, flows, spoilt),
        most_area_m2=most_m2 if most_flow_m3_s < works.best_flow_m3_s else math.inf,
        needle_share=np.array([effective_area_m2(trims[-1], step) for step in steps])
        / effective_area_m2(trims[-1], 1000),
        needle_quality=np.array([nozzle_efficiency(trims[-1], step) for step in steps]),
    )


def _operate(works: Works, jet: Jet, opening_permille: int) -> tuple[float, float]:
    fitted = refit(works, [jet])
    fitted.operate([opening_permille], works.crest_level_m)
    return fitted.flow_m3_s, fitted.power_w


def _area_m2(works: Works, flow_m3_s: float) -> float:
    """The effective area at the manifold that draws this flow, Q / sqrt(2 g h)."""
    if flow_m3_s <= 0.0:
        return 0.0
    head_m = works.gross_head_m - works.pipe.loss_m(flow_m3_s)
    return float(flow_m3_s / math.sqrt(2.0 * works.pipe.gravity_m_s2 * head_m))


def estimate_w(bench: Bench, many: Sequence[Sizes]) -> Floats:
    """Power at each usable flow of many sets of jets, at least to rank them.

    Parameters
    ----------
    bench : Bench
    many : sequence of tuple of int
        Sets of jets, all with as many: places in `bench.drills_mm`, the trim last.

    Returns
    -------
    ndarray, shape (len(many), n)
        Power. [W]
    """
    return np.concatenate([_estimate_w(bench, many[at : at + BATCH]) for at in range(0, len(many), BATCH)])


def _estimate_w(bench: Bench, many: Sequence[Sizes]) -> Floats:
    sizes = np.array(many)
    fixed_m2 = bench.fixed_m2[sizes[:, :-1]]
    trim_m2 = bench.trim_m2[sizes[:, -1]][:, None]
    best_w = np.zeros((len(many), bench.flow_m3_s.size))
    for chosen in itertools.product((0.0, 1.0), repeat=fixed_m2.shape[1]):
        set_m2 = (fixed_m2 @ np.array(chosen))[:, None]
        wanted_m2 = bench.area_m2[None, :] - set_m2
        open_m2 = np.clip(wanted_m2, 0.0, trim_m2)
        area_m2 = set_m2 + open_m2
        quality = np.interp(open_m2 / trim_m2, bench.needle_share, bench.needle_quality)
        round_w = np.interp(area_m2, bench.area_m2, bench.power_w)
        spoilt_w = np.interp(area_m2, bench.area_m2, bench.spoilt_w)
        lost = open_m2 * (1.0 - quality) / np.maximum(area_m2, 1e-12)
        best_w = np.maximum(best_w, np.where(wanted_m2 >= 0.0, round_w - lost * spoilt_w, 0.0))
    return best_w


def neighbours(sizes: Sizes, drills: int) -> list[Sizes]:
    """Sets in which one jet is a size smaller or larger, or two jets are.

    Parameters
    ----------
    sizes : tuple of int
        The fixed jets, rising, then the trim.
    drills : int
        Number of sizes to choose from.

    Returns
    -------
    list of tuple of int
        In a settled order, each once, `sizes` itself not among them.

    Examples
    --------
    >>> neighbours((0, 3), 5)
    [(0, 2), (0, 4), (1, 2), (1, 3), (1, 4)]
    """
    found = set()
    for first, second in itertools.product(range(len(sizes)), repeat=2):
        for step, other in itertools.product((-1, 0, 1), repeat=2):
            moved = list(sizes)
            moved[first] += step
            if second != first:
                moved[second] += other
            if all(0 <= size < drills for size in moved):
                found.add((*sorted(moved[:-1]), moved[-1]))
    return sorted(found - {sizes})


def climb(bench: Bench, weights: Floats, starts: Sequence[Sizes]) -> list[Sizes]:
    """Sets of jets by estimated energy, the best first: all that the climbing met.

    Parameters
    ----------
    bench : Bench
    weights : ndarray, shape (n,)
        Time at each usable flow of the bench, in any unit.
    starts : sequence of tuple of int
        Sets to start from, such as from `starts_for`.

    Returns
    -------
    list of tuple of int
        None that the intake does not bear; so maybe none at all.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.sizing.power import planning_works
    >>> site = load_site("millbrook-smallholding")
    >>> works = planning_works(site)
    >>> bench = set_up_bench(site, works, works.best_flow_m3_s)
    >>> best = climb(bench, np.ones(bench.flow_m3_s.size), starts_for(bench, 1))[0]
    >>> len(best)
    2
    """
    scores: dict[Sizes, float] = {}
    score_each(bench, weights, starts, scores)
    for start in sorted(scores):
        here = start
        while True:
            around = neighbours(here, len(bench.drills_mm))
            score_each(bench, weights, around, scores)
            best = max(around, key=lambda sizes: (scores[sizes], sizes), default=here)
            if scores[best] <= scores[here]:
                break
            here = best
    borne = [sizes for sizes in scores if scores[sizes] >= 0.0]
    return sorted(borne, key=lambda sizes: (-scores[sizes], sizes))


def score_each(bench: Bench, weights: Floats, many: Sequence[Sizes], scores: dict[Sizes, float]) -> None:
    """Put the estimated energy of each set that is not there yet into `scores`.

    Jets that together draw more than the intake bears get a score below 0, the lower the more they draw.
    """
    new = sorted(set(many) - scores.keys())
    if new:
        energy = estimate_w(bench, new) @ weights
        over_m2 = all_area_m2(bench, new) - bench.most_area_m2
        scores.update(zip(new, np.where(over_m2 > 0.0, -over_m2, energy).tolist(), strict=True))


def is_borne(bench: Bench, sizes: Sizes) -> bool:
    """Whether the intake bears these jets, all open."""
    return float(all_area_m2(bench, [sizes])[0]) <= bench.most_area_m2


def all_area_m2(bench: Bench, many: Sequence[Sizes]) -> Floats:
    """Effective area of all jets of each set, all fully open [m2]."""
    sizes = np.array(many)
    return np.asarray(bench.fixed_m2[sizes[:, :-1]].sum(axis=1) + bench.trim_m2[sizes[:, -1]])


def starts_for(bench: Bench, fixed: int) -> list[Sizes]:
    """Sets of jets to climb from.

    Parameters
    ----------
    bench : Bench
    fixed : int
        Number of fixed jets, at least 1; there is one trim beside them.

    Returns
    -------
    list of tuple of int
        Some may be the same.
    """
    whole_m2 = float(bench.area_m2[-1])
    per_mm2 = float(bench.fixed_m2[0]) / bench.drills_mm[0] ** 2
    found = []
    for share, ratio, like in itertools.product(START_SHARES, START_AREA_RATIOS, (0, -1)):
        parts = [ratio**place for place in range(fixed)]
        parts.append(parts[like])
        unit_m2 = share * whole_m2 / sum(parts)
        sizes = [nearest_drill(math.sqrt(part * unit_m2 / per_mm2), bench.drills_mm) for part in parts]
        found.append(tuple(sizes))
    return found
