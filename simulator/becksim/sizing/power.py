"""What a set of jets gives at each flow that the stream can spare: the curve that a plan compares.

The wheel, the pipe and the rectifier stay the site's; only the jets are exchanged.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.drills import valve_bore_mm
from becksim.hydraulics.jets import FULL_PERMILLE, VALVE_LOSS_COEFFICIENTS, Jet
from becksim.hydraulics.penstock import Penstock
from becksim.site import Site
from becksim.works import WATER_TEMP_C, Works, build_jets

Floats = npt.NDArray[np.float64]

GRID_POINTS = 240  # of the flows of a curve, closer together where flows are small; chosen by us
GRID_POWER = 1.5
# Of a trim's travel: half a step of the needle's own table, closer where it gives its first watts.
TRAVEL_PERMILLE = (*(0, 2, 5, 10, 15, 20, 25, 30, 40), *range(50, FULL_PERMILLE, 50))
LEAST_GAP = 0.02  # relative: a smaller gap is below what the level tells of the flow; chosen by us
_OVER = 1e-9  # relative; a flow this little above the most is rounding


@dataclass(frozen=True)
class JetSet:
    """One set of fixed jets, fully open, the trims shut.

    Parameters
    ----------
    names : tuple of str
        The jets that are open.
    flow_m3_s : float
        What they draw. [m3/s]
    full_trim_flow_m3_s : float
        What they draw with the trims fully open. [m3/s]
    power_w : float
        What they give. [W]
    """

    names: tuple[str, ...]
    flow_m3_s: float
    full_trim_flow_m3_s: float
    power_w: float


def planning_works(site: Site) -> Works:
    """The site's works, its pipe tabulated as far as any jets could want.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    Works
        For `refit`.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> works = planning_works(load_site("upland-hostel"))
    >>> works.pipe.most_flow_m3_s > works.best_flow_m3_s
    True
    """
    works = Works(site, build_jets(site))
    if works.pipe.most_flow_m3_s < 1.2 * works.best_flow_m3_s:
        works.pipe = Penstock(
            works.pipe.sections, most_flow_m3_s=2.0 * works.best_flow_m3_s, temp_c=WATER_TEMP_C
        )
    return works


def refit(works: Works, jets: Sequence[Jet]) -> Works:
    """The same pipe and wheel with other jets; for `operate` only, the attributes of full load stay the old.

    Parameters
    ----------
    works : Works
        From `planning_works`.
    jets : sequence of Jet
        The jets.

    Returns
    -------
    Works
        A new one; the old is not changed.
    """
    return works.with_jets(jets)


def plan_jet(site: Site, name: str, kind: str, diameter_mm: float) -> Jet:
    """A jet of a plan: coefficients and kind of valve as those of the site's first jet of its kind.

    Parameters
    ----------
    site : Site
        The site.
    name : str
        Name.
    kind : {"fixed", "trim"}
    diameter_mm : float
        Of the nozzle's mouth. [mm]

    Returns
    -------
    Jet

    Examples
    --------
    >>> from becksim.site import load_site
    >>> plan_jet(load_site("upland-hostel"), "small", "fixed", 7.0).valve_bore_m
    0.02
    """
    like = next(jet for jet in site.jets if jet.kind == kind)
    return Jet(
        name,
        kind,
        diameter_mm / 1000.0,
        like.discharge_coefficient,
        like.velocity_coefficient,
        valve_bore_m=valve_bore_mm(diameter_mm) / 1000.0,
        valve_loss_coefficient=VALVE_LOSS_COEFFICIENTS[like.valve],
        valve_kind=like.valve,
    )


def flow_grid(most_flow_m3_s: float, points: int = GRID_POINTS) -> Floats:
    """Flows at which curves are tabulated, from 0 to the most that pipe and intake bear [m3/s].

    Examples
    --------
    >>> grid = flow_grid(0.01)
    >>> grid.size, float(grid[0]), float(grid[-1])
    (241, 0.0, 0.01)
    """
    return np.asarray(most_flow_m3_s * np.linspace(0.0, 1.0, points + 1) ** GRID_POWER)


def power_curve(works: Works, jets: Sequence[Jet], grid_m3_s: Floats) -> Floats:
    """Power at each usable flow: the best set of fixed jets not above it, the trims filling the rest.

    Parameters
    ----------
    works : Works
        From `planning_works`.
    jets : sequence of Jet
    grid_m3_s : ndarray of float64, shape (n,)
        Usable flows, rising; more than the last is never drawn. [m3/s]

    Returns
    -------
    ndarray of float64, shape (n,)
        Power at the rectifier, never falling: water may be left in the stream. [W]
    """
    fitted = refit(works, jets)
    most_m3_s = float(grid_m3_s[-1]) * (1.0 + _OVER)
    best_w = np.zeros(grid_m3_s.size)
    trims = _count(jets, "trim")
    joint_travel = [FULL_PERMILLE * trim + part for trim in range(trims) for part in TRAVEL_PERMILLE]
    joint_travel.append(FULL_PERMILLE * trims)
    for mask in range(1 << _count(jets, "fixed")):
        flows, powers = [], []
        for travel in joint_travel:
            fitted.operate(set_openings(jets, mask, travel), works.crest_level_m)
            if fitted.flow_m3_s > most_m3_s:
                break
            flows.append(fitted.flow_m3_s)
            powers.append(fitted.power_w)
        if flows:
            best_w = np.maximum(best_w, np.interp(grid_m3_s, flows, powers, left=0.0))
    return np.asarray(np.maximum.accumulate(best_w), dtype=np.float64)


def jet_sets(works: Works, jets: Sequence[Jet]) -> list[JetSet]:
    """Every set of the fixed jets, by flow.

    Parameters
    ----------
    works : Works
        From `planning_works`.
    jets : sequence of Jet

    Returns
    -------
    list of JetSet
        The empty set first; those that pipe or intake do not bear too.
    """
    fitted = refit(works, jets)
    full = FULL_PERMILLE * _count(jets, "trim")
    fixed = [jet.name for jet in jets if jet.kind == "fixed"]
    sets = []
    for mask in range(1 << len(fixed)):
        fitted.operate(set_openings(jets, mask, full), works.crest_level_m)
        most_m3_s = fitted.flow_m3_s
        fitted.operate(set_openings(jets, mask, 0), works.crest_level_m)
        names = tuple(name for place, name in enumerate(fixed) if mask >> place & 1)
        sets.append(JetSet(names, fitted.flow_m3_s, most_m3_s, fitted.power_w))
    return sorted(sets, key=lambda row: (row.flow_m3_s, row.names))


@dataclass(frozen=True)
class Steps:
    """How far the sets lie apart, and what the trims make of it.

    Parameters
    ----------
    largest_m3_s : float
        Largest step from a set to the next, the trims shut; from nothing to the smallest one too. [m3/s]
    trim_m3_s : float
        What the trims draw alone. [m3/s]
    gaps_m3_s : tuple of (float, float)
        Flows between these no set with any opening of the trims draws. [m3/s]
    """

    largest_m3_s: float
    trim_m3_s: float
    gaps_m3_s: tuple[tuple[float, float], ...]


def steps_between(sets: Sequence[JetSet], most_flow_m3_s: float) -> Steps:
    """Find the steps between neighbouring sets.

    Parameters
    ----------
    sets : sequence of JetSet
        From `jet_sets`.
    most_flow_m3_s : float
        The most that pipe and intake bear; beyond it no step matters. [m3/s]

    Returns
    -------
    Steps

    Examples
    --------
    >>> sets = [JetSet((), 0.0, 0.002, 0.0), JetSet(("north",), 0.003, 0.005, 400.0)]
    >>> steps_between(sets, 0.01)
    Steps(largest_m3_s=0.003, trim_m3_s=0.002, gaps_m3_s=((0.002, 0.003),))
    """
    within = [row for row in sets if row.flow_m3_s <= most_flow_m3_s]
    largest_m3_s = 0.0
    reached_m3_s = within[0].full_trim_flow_m3_s
    gaps = []
    for lower, upper in zip(within, within[1:], strict=False):
        largest_m3_s = max(largest_m3_s, upper.flow_m3_s - lower.flow_m3_s)
        if upper.flow_m3_s > reached_m3_s * (1.0 + LEAST_GAP):
            gaps.append((reached_m3_s, upper.flow_m3_s))
        reached_m3_s = max(reached_m3_s, upper.full_trim_flow_m3_s)
    return Steps(largest_m3_s, within[0].full_trim_flow_m3_s, tuple(gaps))


def set_openings(jets: Sequence[Jet], mask: int, travel_permille: int) -> list[int]:
    """Openings of all jets for a set of the fixed ones and a place on the trims' joint travel [permille].

    Examples
    --------
    >>> north = Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)
    >>> trim = Jet("trim", "trim", 0.012, 0.95, 0.97, valve_bore_m=0.032)
    >>> set_openings([north, trim], 1, 250)
    [1000, 250]
    """
    openings = []
    for jet in jets:
        if jet.kind == "fixed":
            openings.append(FULL_PERMILLE if mask & 1 else 0)
            mask >>= 1
        else:
            openings.append(max(0, min(FULL_PERMILLE, travel_permille)))
            travel_permille -= FULL_PERMILLE
    return openings


def _count(jets: Sequence[Jet], kind: str) -> int:
    return sum(jet.kind == kind for jet in jets)
