"""Limit cycles: strokes that come again and again at even intervals and lead back to where they began.

A controller must not swing by itself. Moves that follow the stream lead on from one standing to the next, and
those of a household come at odd times; a swing comes back to the same standing after the same time.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from becksim.orderbook import STILL_MS

WINDOW_H = 24.0  # looked at in one piece, every half of it; chosen by us
LEAST_REPEATS = 4  # the longest period is this part of the window: what comes but thrice may be chance
LEAST_MOVES = 6  # in a window
BIN_S = 30.0
NEAR_PERIOD_SHARE = 0.1  # so even must the intervals be, but
NEAR_INTERVAL_SHARE = 0.25  # of the moves' mean interval at most: else any long time would fit by chance
BACK_SHARE = 0.25  # of the travel since: so near must the valves come back
PERIODIC_SHARE = 0.75  # of the moves have one that follows in its period and leads back
STILL_S = STILL_MS / 1000.0


@dataclass(frozen=True)
class Cycle:
    """A spell of periodic strokes.

    Attributes
    ----------
    start_s, end_s : float
        The windows in which it was found: from, to. [s]
    period_s : float
        Time after which the valves stand as before. [s]
    moves : int
        Moves in the first of these windows.
    """

    start_s: float
    end_s: float
    period_s: float
    moves: int


@dataclass(frozen=True)
class Moves:
    """Moves from one standing of the valves to the next.

    Attributes
    ----------
    start_s : shape (n,)
        When each was begun. [s]
    standing : shape (n + 1, valves)
        Where the valves stood before the first move and after each. [permille]
    travel : shape (n + 1,)
        What all valves have travelled by then, together. [permille]
    """

    start_s: npt.NDArray[np.float64]
    standing: npt.NDArray[np.float64]
    travel: npt.NDArray[np.float64]


def moves_of(changes: Sequence[tuple[float, tuple[int, ...]]]) -> Moves:
    """Put together the steps that follow each other closely: they are one move.

    Parameters
    ----------
    changes : sequence of (float, tuple of int), not empty
        `OrderBook.changes`; the first is where the valves stood. [s], [permille]

    Returns
    -------
    Moves

    Examples
    --------
    >>> moves_of([(0.0, (0,)), (500.0, (40,)), (506.0, (80,)), (900.0, (0,))]).start_s.tolist()
    [500.0, 900.0]
    """
    starts_s: list[float] = []
    standings = [changes[0][1]]
    travels = [0]
    for (last_s, last), (instant_s, openings) in zip(changes, changes[1:], strict=False):
        travel = travels[-1] + sum(abs(there - here) for here, there in zip(last, openings, strict=True))
        if starts_s and instant_s - last_s <= STILL_S:
            standings[-1], travels[-1] = openings, travel
        else:
            starts_s.append(instant_s)
            standings.append(openings)
            travels.append(travel)
    return Moves(np.array(starts_s), np.array(standings, float), np.array(travels, float))


def stroke_periods(
    changes: Sequence[tuple[float, tuple[int, ...]]], days: float, window_h: float = WINDOW_H
) -> list[Cycle]:
    """Look for periodic strokes by the autocorrelation of the moves' instants.

    Of each window, the time between any two moves is sorted into bins if the valves stand nearly alike after
    both, compared with how far they travelled between. A time after which most of the moves have their like
    is a period.

    Parameters
    ----------
    changes : sequence of (float, tuple of int)
        `OrderBook.changes`: instants at which valves were ordered to move, and where to. [s], [permille]
    days : float
        How long that took. [d]
    window_h : float
        Length of the windows; a quarter of it is the longest period found. [h]

    Returns
    -------
    list of Cycle
        In order of time; windows that follow each other with nearly the same period are one.

    Examples
    --------
    >>> swing = [(600.0 * place, (1000 * (place % 2),)) for place in range(60)]
    >>> [round(cycle.period_s) for cycle in stroke_periods(swing, days=1)]
    [1200]
    >>> stroke_periods([(600.0 * place, (10 * place,)) for place in range(60)], days=1)
    []
    """
    if not changes:
        return []
    moves = moves_of(changes)
    window_s = 3600.0 * window_h
    found: list[Cycle] = []
    begin_s = 0.0
    while True:
        end_s = begin_s + window_s
        inside = (moves.start_s >= begin_s) & (moves.start_s < end_s)
        period_s = _period_s(moves, inside, begin_s, end_s)
        if period_s is not None:
            last = found[-1] if found else None
            if last is not None and last.end_s >= begin_s and abs(period_s / last.period_s - 1.0) < 0.2:
                found[-1] = Cycle(last.start_s, end_s, last.period_s, last.moves)
            else:
                found.append(Cycle(begin_s, end_s, period_s, int(inside.sum())))
        if end_s >= 86_400.0 * days:
            return found
        begin_s += window_s / 2.0


def _period_s(moves: Moves, inside: npt.NDArray[np.bool_], begin_s: float, end_s: float) -> float | None:
    """The period that most moves of a window keep, of equals the shortest; None if too few keep one."""
    start_s = moves.start_s[inside]
    if start_s.size < LEAST_MOVES:
        return None
    standing, travel = moves.standing[1:][inside], moves.travel[1:][inside]
    first, second = np.triu_indices(start_s.size, 1)
    apart = np.abs(standing[second] - standing[first]).sum(axis=1)
    back = apart <= BACK_SHARE * (travel[second] - travel[first])
    first, second = first[back], second[back]
    lag_s = start_s[second] - start_s[first]
    most_near_s = max(BIN_S, NEAR_INTERVAL_SHARE * (start_s[-1] - start_s[0]) / (start_s.size - 1))
    bins = np.bincount((lag_s / BIN_S).astype(int), minlength=1)
    reach = int(most_near_s / BIN_S) + 1
    pairs = np.convolve(bins, np.ones(2 * reach + 1), mode="same")
    longest_s = (end_s - begin_s) / LEAST_REPEATS
    best_share, best_s = 0.0, None
    for bin_s in BIN_S * (np.flatnonzero(bins) + 0.5):
        near_s = min(most_near_s, max(BIN_S, NEAR_PERIOD_SHARE * bin_s))
        # Moves whose successor, a period later, would still be in the window.
        could = int(np.searchsorted(start_s, end_s - bin_s - near_s))
        needed = PERIODIC_SHARE * could
        if not near_s < bin_s <= longest_s or could < LEAST_MOVES - 1 or pairs[int(bin_s / BIN_S)] < needed:
            continue
        fits = np.abs(lag_s - bin_s) <= near_s
        # Two moves that follow each other closely have one successor between them.
        followed = min(np.unique(first[fits]).size, np.unique(second[fits]).size)
        share = min(1.0, followed / could)  # a few more than could are followed; of equals the shortest stays
        if followed >= needed and share > best_share:
            best_share, best_s = share, float(lag_s[fits].mean())
    return best_s
