"""Which candidates are worth a look, and which one to take.

The Pareto set holds every candidate that no other one beats in all objectives. Of it the knee is taken: each
objective is scaled to 0 at the set's best and 1 at its worst, and the candidate with the least sum is it. For
two objectives that is the point farthest from the straight line between the two extremes (Das 1999, "On
characterizing the 'knee' of the Pareto curve based on normal-boundary intersection", Structural Optimization
18); for more the same sum is our choice.
"""

from collections.abc import Sequence

from becksim.tuning.score import Figures
from becksim.tuning.study import Candidate, Objective

MOST_STROKES_PER_DAY = 12.0  # a valve's gear lasts some years at that; chosen by us
GIVEN_UP = 0.01  # of the best candidate's useful kWh, at most, for fewer strokes and the like; chosen by us
MOST_SHOWN = 12  # of the Pareto set: judged and shown; chosen by us


def losses(figures: Figures, objectives: Sequence[Objective]) -> tuple[float, ...]:
    """The objectives, less being better."""
    return tuple(one.loss(figures) for one in objectives)


def beats(one: Sequence[float], other: Sequence[float]) -> bool:
    """Whether one is nowhere worse and somewhere better.

    Examples
    --------
    >>> beats((1.0, 2.0), (1.0, 3.0)), beats((1.0, 2.0), (1.0, 2.0))
    (True, False)
    """
    return all(a <= b for a, b in zip(one, other, strict=True)) and any(
        a < b for a, b in zip(one, other, strict=True)
    )


def pareto_set(candidates: Sequence[Candidate], objectives: Sequence[Objective]) -> list[Candidate]:
    """Those that break nothing and that no other beats, each once, most useful energy first.

    Parameters
    ----------
    candidates : sequence of Candidate
        All that were tried.
    objectives : sequence of Objective
        What they are wanted for.
    """
    sound: dict[tuple[float, ...], Candidate] = {}
    for candidate in candidates:
        if not candidate.figures.broken:
            sound.setdefault(losses(candidate.figures, objectives), candidate)
    kept = [row for row in sound if not any(beats(other, row) for other in sound)]
    return [sound[row] for row in sorted(kept)]


def by_knee(candidates: Sequence[Candidate], objectives: Sequence[Objective]) -> list[Candidate]:
    """A Pareto set in the order in which to take one: the knee first.

    Parameters
    ----------
    candidates : sequence of Candidate
        The set.
    objectives : sequence of Objective
        What they are wanted for.

    Returns
    -------
    list of Candidate
        First those at no more than MOST_STROKES_PER_DAY that give up at most GIVEN_UP of the most useful kWh
        among them; if none keeps to the strokes, those with the fewest first.
    """
    calm = [one for one in candidates if one.figures.strokes_per_day <= MOST_STROKES_PER_DAY]
    if not calm:
        return sorted(candidates, key=lambda one: one.figures.strokes_per_day)
    most_kwh = max(one.figures.useful_kwh for one in calm)
    near = [one for one in calm if one.figures.useful_kwh >= (1.0 - GIVEN_UP) * most_kwh]
    sums = scaled_sums([one.figures for one in near], objectives)
    order = sorted(range(len(near)), key=lambda place: (sums[place], -near[place].figures.useful_kwh))
    return [near[place] for place in order]


def scaled_sums(figures: Sequence[Figures], objectives: Sequence[Objective]) -> list[float]:
    """For each the sum of its objectives, every one scaled to 0 at the best of them and 1 at the worst.

    Examples
    --------
    >>> from becksim.tuning.study import OBJECTIVES
    >>> rows = [Figures(useful_kwh=kwh, strokes_per_day=n) for kwh, n in ((100, 12), (99, 4), (90, 2))]
    >>> [round(total, 2) for total in scaled_sums(rows, OBJECTIVES[:3])]
    [1.0, 0.3, 1.0]
    """
    rows = [losses(one, objectives) for one in figures]
    best = [min(column) for column in zip(*rows, strict=True)]
    span = [max(column) - low for column, low in zip(zip(*rows, strict=True), best, strict=True)]
    return [
        sum((value - low) / width for value, low, width in zip(row, best, span, strict=True) if width > 0.0)
        for row in rows
    ]


def thinned(candidates: Sequence[Candidate], must: Sequence[Candidate]) -> list[Candidate]:
    """At most MOST_SHOWN of a sorted set, evenly spread, and among them those that must be there."""
    if len(candidates) <= MOST_SHOWN:
        return list(candidates)
    step = (len(candidates) - 1) / (MOST_SHOWN - 1)
    spread = {round(place * step) for place in range(MOST_SHOWN)}
    wanted = [candidates.index(one) for one in must if one in candidates]
    for place in wanted:
        if place not in spread:  # instead of its nearest neighbour, but not of another that must be there
            spread.discard(min(spread - set(wanted), key=lambda other: (abs(other - place), other)))
            spread.add(place)
    return [candidates[place] for place in sorted(spread)]
