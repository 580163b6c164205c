"""Which settings matter at this site: each one's share of what makes candidates differ, with its spread.

A straight line and a bend are fitted to the ranks of every setting at once, against the ranks of the figure
(standardised rank regression: Saltelli and others 2008, "Global sensitivity analysis: the primer", 1.2; the
bend, for settings that are best in their middle, and the damping are ours). Ranks do not mind what scale a
setting has, and all settings at once keep one from borrowing the effect of another that the search has turned
along with it. It is done again and again for candidates drawn, with replacement, from those that were tried
(bootstrap): shares are the means of the draws, their spread shows what chance has to do with it, and what is
explained is measured on the candidates that a draw has left out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.tuning.knobs import Knob
from becksim.tuning.score import Figures
from becksim.tuning.study import Candidate

DRAWS = 200  # chosen by us
LEAST_CANDIDATES = 48  # twice as many as there are slopes to be found, about; chosen by us
FOR_BENDS = 5  # candidates for each setting, before bends are fitted too; chosen by us
DAMPING = 0.02  # of the number of candidates; chosen by us, lest settings turned alike share out huge effects
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Weight:
    """How much a setting matters.

    Parameters
    ----------
    name : str
        The setting.
    share : float
        Of all settings' effects, mean of the draws.
    low, high : float
        Between these it lies in eight draws of ten.
    rises : bool
        Whether the figure is larger where the setting is, by and large.
    """

    name: str
    share: float
    low: float
    high: float
    rises: bool


@dataclass(frozen=True)
class Ranking:
    """The settings, what matters most first, and what share of the differences all together foretell."""

    weights: tuple[Weight, ...]
    explained: float

    @property
    def few(self) -> tuple[Weight, ...]:
        """Those, at most three, that matter for sure: more than an even share, chance against them."""
        even = 1.0 / max(1, len(self.weights))
        return tuple(weight for weight in self.weights[:3] if weight.low > even)


def rank_settings(
    candidates: Sequence[Candidate], knobs: Sequence[Knob], figure: Callable[[Figures], float], seed: int
) -> Ranking | None:
    """Rank the settings by what they do to one figure.

    Parameters
    ----------
    candidates : sequence of Candidate
        All that were tried.
    knobs : sequence of Knob
        What was turned.
    figure : callable
        Which figure.
    seed : int
        Of the draws.

    Returns
    -------
    Ranking or None
        None if too few were tried, or all have the same figure.
    """
    tried = [one for one in candidates if one.figures.refused == 0.0]
    values = np.array([figure(one.figures) for one in tried])
    if len(tried) < LEAST_CANDIDATES or np.ptp(values) <= 1e-9 * np.abs(values).max():
        return None
    settings = np.array([[float(one.settings[knob.name]) for knob in knobs] for one in tried])
    lines = np.column_stack([_scaled(_ranks(column)) for column in settings.T])
    terms = lines
    if len(tried) >= FOR_BENDS * len(knobs):
        terms = np.hstack([lines, np.column_stack([_scaled(line**2) for line in lines.T])])
    goal = _scaled(_ranks(values))
    rng = np.random.default_rng(seed)
    shares, slopes, explained = [], [], []
    for _ in range(DRAWS):
        places = rng.integers(0, len(tried), len(tried))
        found = _fit(terms[places], goal[places])
        effects = (found**2).reshape(-1, len(knobs)).sum(axis=0)
        shares.append(effects / max(1e-12, float(effects.sum())))
        slopes.append(found[: len(knobs)])
        left_out = np.setdiff1d(np.arange(len(tried)), places)
        explained.append(1.0 - np.mean((goal[left_out] - terms[left_out] @ found) ** 2))
    low, high = np.quantile(np.array(shares), [0.1, 0.9], axis=0)
    mean, slope = np.mean(shares, axis=0), np.mean(slopes, axis=0)
    weights = [
        Weight(knob.name, float(mean[place]), float(low[place]), float(high[place]), bool(slope[place] > 0.0))
        for place, knob in enumerate(knobs)
    ]
    ranked = tuple(sorted(weights, key=lambda weight: -weight.share))
    return Ranking(ranked, max(0.0, float(np.median(explained))))


def _fit(terms: Floats, goal: Floats) -> Floats:
    """Weights of the terms, by damped least squares."""
    damping = DAMPING * len(goal) * np.eye(terms.shape[1])
    return np.asarray(np.linalg.solve(terms.T @ terms + damping, terms.T @ goal), np.float64)


def _ranks(column: Floats) -> Floats:
    """Ranks; equal values share their mean rank."""
    _, place, count = np.unique(column, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    mean: Floats = (last - (count - 1) / 2.0)[place]
    return mean


def _scaled(column: Floats) -> Floats:
    """With mean 0 and deviation 1; all 0 if it does not vary."""
    spread = column.std()
    scaled: Floats = (column - column.mean()) / spread if spread > 0.0 else np.zeros_like(column)
    return scaled
