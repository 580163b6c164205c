"""Which sets of fixed jets take turns, for which flows, and how far the intake rises and falls meanwhile.

While two sets take turns the intake stands higher in the mean, by half of the rise, and lets that much more
past. A larger rise lets sets take turns that lie further apart, the more efficient of which make more of the
water; the rise is the one that brings most over all flows.
"""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Chosen by us.
LEAST_GAIN = 0.1  # by so much more power than any set and needle makes, or they take no turns
CYCLE_S = 4800.0  # both turns together last no less: at most 1.5 strokes an hour
RISE_SHARE = 1.0 / 3.0  # of the way from the target to the crest, no further; else the intake is too small
TRIED = 500  # flows


def turn_settings(
    menu: dict[str, Any],
    power_w: list[list[float]],
    *,
    ml_per_mm: int,
    slope_m2_s: float,
    band_mm: int,
    rises_mm: range,
    ceiling_ml_s: int,
) -> tuple[dict[str, list[int]], int]:
    """The pairs of sets that take turns, and how far the level rises while the smaller one runs.

    Parameters
    ----------
    menu : dict
        The jet menu of the device's settings.
    power_w : list of list of float
        Of each set, the power at each of the trims' openings. [W]
    ml_per_mm : int
        What the intake holds. [mL/mm]
    slope_m2_s : float
        By how much more it lets past a little above its target. [m2/s]
    band_mm : int
        How far below its target it may fall. [mm]
    rises_mm : range
        Rises to choose from. [mm]
    ceiling_ml_s : int
        Past this flow more water gives less power. [mL/s]

    Returns
    -------
    turns : dict
        Places in the menu, "lower" and "upper", and the flows from and to which they take turns. [mL/s]
    rise_mm : int
        The rise; 0 if no sets take turns. [mm]
    """
    flows_ml_s = np.array([row["flow_ml_s"] for row in menu["sets"]], dtype=np.float64)
    powers_w = np.array(power_w)
    tried_ml_s = np.linspace(0.0, ceiling_ml_s, TRIED + 1)[1:]
    standing_w = _standing_w(flows_ml_s, powers_w, tried_ml_s)
    best_w, rise_mm, best_pair = float(standing_w.sum()), 0, np.full((2, TRIED), -1)
    for tried_mm in rises_mm:
        # Where the stream lies midway between two sets they change soonest.
        most_step_ml_s = 4.0 * ml_per_mm * tried_mm / CYCLE_S
        lost_ml_s = 1e3 * slope_m2_s * (tried_mm / 2.0 - band_mm)
        made_w, pair = _by_turns(flows_ml_s[:, 0], powers_w[:, 0], tried_ml_s, lost_ml_s, most_step_ml_s)
        better = made_w > (1.0 + LEAST_GAIN) * standing_w
        brought_w = float(np.where(better, made_w, standing_w).sum())
        if brought_w > best_w:
            best_w, rise_mm, best_pair = brought_w, tried_mm, np.where(better, pair, -1)
    return _rows(tried_ml_s, best_pair), rise_mm


def _by_turns(
    flow_ml_s: Floats, power_w: Floats, tried_ml_s: Floats, lost_ml_s: float, most_step_ml_s: float
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """The most power that two sets make by turns of each flow, and which they are, shape (2, n)."""
    best_w = np.zeros(tried_ml_s.size)
    best_pair = np.full((2, tried_ml_s.size), -1)
    for lower in range(flow_ml_s.size):
        for upper in range(flow_ml_s.size):
            step_ml_s = flow_ml_s[upper] - flow_ml_s[lower]
            if not 0.0 < step_ml_s <= most_step_ml_s:
                continue
            share = (tried_ml_s - lost_ml_s - flow_ml_s[lower]) / step_ml_s
            made_w = power_w[lower] + share * (power_w[upper] - power_w[lower])
            better = (share > 0.0) & (tried_ml_s < flow_ml_s[upper]) & (made_w > best_w)
            best_w[better] = made_w[better]
            best_pair[:, better] = [[lower], [upper]]
    return best_w, best_pair


def _rows(tried_ml_s: Floats, pair: npt.NDArray[np.int64]) -> dict[str, list[int]]:
    """Neighbouring flows with the same pair as one row of the device's table."""
    turns: dict[str, list[int]] = {"lower": [], "upper": [], "from_ml_s": [], "to_ml_s": []}
    edges = np.flatnonzero((np.diff(pair, axis=1) != 0).any(axis=0)) + 1
    for part in np.split(np.arange(tried_ml_s.size), edges):
        lower, upper = pair[:, part[0]].tolist()
        if lower >= 0:
            turns["lower"].append(lower)
            turns["upper"].append(upper)
            turns["from_ml_s"].append(math.ceil(tried_ml_s[part[0]] - tried_ml_s[0] / 2.0))
            turns["to_ml_s"].append(math.ceil(tried_ml_s[part[-1]] + tried_ml_s[0] / 2.0) - 1)
    return turns


def _standing_w(flow_ml_s: Floats, power_w: Floats, tried_ml_s: Floats) -> Floats:
    """The most power of a flow with the jets as they stand: any set, any opening of the needles."""
    best_w = np.zeros(tried_ml_s.size)
    for flows, powers in zip(flow_ml_s, power_w, strict=True):
        made_w = np.interp(tried_ml_s, flows, np.maximum.accumulate(powers), left=0.0)
        best_w = np.maximum(best_w, made_w)
    return np.maximum.accumulate(best_w)
