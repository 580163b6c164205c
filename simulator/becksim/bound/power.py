"""The most power that any openings of the jets make of a flow: under this curve every schedule stays."""

import itertools

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.jets import FULL_PERMILLE
from becksim.works import Works

Floats = npt.NDArray[np.float64]

# Of openings tried at one level, about so many at most: then the needle's are not tried one by one but in
# steps, and each step counts with its least flow and its most power. Chosen by us.
MOST_TRIED = 20_000
STEPS_PERMILLE = (1, 2, 4, 5, 8, 10, 20, 40, 50, 100)


# Corners of the curve are left out as long as it moves by no more than this; then it is raised by as much.
# Chosen by us: fewer corners are solved faster.
STRAIGHT_SHARE = 2e-4


def power_curve(works: Works, level_m: float) -> tuple[Floats, Floats]:
    """The least concave curve of power over flow that lies above what any openings give.

    Every set of fixed jets, open or shut, is tried with every opening of the needles. A fixed jet half open
    makes less of its water than an open one, and a lower intake less than a higher one, so that the curve of
    the highest level lies above them too; a test tries that.

    Parameters
    ----------
    works : Works
        The plant's pipe, jets and wheels; left with every jet shut.
    level_m : float
        The highest level of the intake. [m]

    Returns
    -------
    flow_m3_s, power_w : ndarray
        Corners of the curve, from (0, 0) to the flow of most power. [m3/s], [W]

    Examples
    --------
    >>> from becksim.site import load_site
    >>> from becksim.works import build_jets
    >>> site = load_site("upland-hostel")
    >>> works = Works(site, build_jets(site))
    >>> flow_m3_s, power_w = power_curve(works, works.crest_level_m)
    >>> round(float(power_w[-1])), round(1000.0 * float(flow_m3_s[-1]), 2)
    (2347, 8.41)
    """
    points = np.concatenate([np.zeros((1, 2)), *_tried(works, level_m)])
    works.operate([0] * len(works.manifold.jets), works.crest_level_m)
    hull = _upper_hull(points[np.lexsort((-points[:, 1], points[:, 0]))])
    kept = _straightened(hull)
    return kept[:, 0], kept[:, 1] * (1.0 + STRAIGHT_SHARE)


def _straightened(hull: Floats) -> Floats:
    """As few of the corners as keep the curve within `STRAIGHT_SHARE` of what it was."""
    kept, last = [0], len(hull) - 1
    while kept[-1] < last:
        ends = range(last, kept[-1], -1)
        kept.append(next(end for end in ends if _is_straight(hull[kept[-1] : end + 1])))
    return hull[kept]


def _is_straight(part: Floats) -> bool:
    line = np.interp(part[:, 0], part[[0, -1], 0], part[[0, -1], 1])
    return bool((part[:, 1] <= (1.0 + STRAIGHT_SHARE) * line).all())


def _tried(works: Works, level_m: float) -> list[Floats]:
    """Flow and power of every set of fixed jets over the needles' steps, shape (n, 2) each."""
    jets = works.manifold.jets
    fixed = [place for place, jet in enumerate(jets) if jet.kind == "fixed"]
    trims = [place for place, jet in enumerate(jets) if jet.kind == "trim"]
    step = _step_permille(len(fixed), len(trims))
    found = []
    for is_open in itertools.product((0, FULL_PERMILLE), repeat=len(fixed)):
        openings = [0] * len(jets)
        for place, permille in zip(fixed, is_open, strict=True):
            openings[place] = permille
        table = np.empty((FULL_PERMILLE // step + 1,) * len(trims) + (2,))
        for cell in np.ndindex(table.shape[:-1]):
            for place, index in zip(trims, cell, strict=True):
                openings[place] = index * step
            works.operate(openings, level_m)
            table[cell] = works.flow_m3_s, works.power_w
        if (
            step > 1
        ):  # what lies between two steps: no less water than the lesser, no more power than the greater
            for axis in range(len(trims)):
                ahead = np.roll(table, -1, axis)
                last = [slice(None)] * table.ndim
                last[axis] = slice(-1, None)
                ahead[tuple(last)] = table[tuple(last)]
                table[..., 1] = np.maximum(table[..., 1], ahead[..., 1])
        found.append(table.reshape(-1, 2))
    return found


def _step_permille(fixed: int, trims: int) -> int:
    for step in STEPS_PERMILLE:
        if 2**fixed * (FULL_PERMILLE // step + 1) ** trims <= MOST_TRIED:
            return step
    return STEPS_PERMILLE[-1]


def _upper_hull(points: Floats) -> Floats:
    """Corners of the least concave curve above points sorted by flow, up to the most power."""
    hull: list[tuple[float, float]] = []
    for flow, power in points.tolist():
        if hull and power <= hull[-1][1]:  # no more power than less water gives
            continue
        while len(hull) >= 2 and _bends_up(hull[-2], hull[-1], (flow, power)):
            hull.pop()
        hull.append((flow, power))
    return np.array(hull)


def _bends_up(first: tuple[float, float], middle: tuple[float, float], last: tuple[float, float]) -> bool:
    left = (middle[1] - first[1]) * (last[0] - middle[0])
    return left <= (last[1] - middle[1]) * (middle[0] - first[0])
