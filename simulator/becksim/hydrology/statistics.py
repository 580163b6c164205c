"""What a flow record looks like in a few numbers: duration, base flow, recession, flashiness.

All take daily means, because that is what published figures are made from; `daily_means_m3_s` gives them. The
base-flow index is a convention: name alpha, passes, padding and clipping with every figure.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from becksim.hydrology.series import FlowSeries

Floats = npt.NDArray[np.float64]

# return period of the m-th largest of n values: (n + a) / (b m + c)
PLOTTING_POSITIONS = {
    "california": (1.0, 0.0, 1.0, 0.0),  # n / m
    "hazen": (2.0, 0.0, 2.0, -1.0),  # 2n / (2m - 1)
    "weibull": (1.0, 1.0, 1.0, 0.0),  # (n + 1) / m
}


FEWEST_DAYS = 60  # below, a quantile or a recession says little of a stream; chosen by us


def stream_statistics(
    flow_m3_s: Floats, due_m3_s: Sequence[float] = ()
) -> dict[str, float | int | str | None]:
    """A stream in a few numbers, for a report.

    Parameters
    ----------
    flow_m3_s : ndarray of float64, shape (days,)
        Daily means [m3/s], at least one.
    due_m3_s : sequence of float, shape (days,), optional
        Residual flow due on each day [m3/s].

    Returns
    -------
    dict
        Rounded: days, mean, flows exceeded 95 to 5 % of the days [l/s], base-flow index [-] and how it was
        found, recession of a dry day [1/d], days below the residual flow. None where there are fewer than
        `FEWEST_DAYS`, or nothing to tell it from.

    Examples
    --------
    >>> found = stream_statistics(0.02 * 0.98 ** np.arange(101), [0.003] * 101)
    >>> found["q95_l_s"], found["q50_l_s"], found["recession_k_per_day"], found["days_below_residual"]
    (2.934, 7.283, 0.98, 7)
    """
    enough = flow_m3_s.size >= FEWEST_DAYS

    def known(value: float, digits: int) -> float | None:
        return round(float(value), digits) if enough and np.isfinite(value) else None

    found: dict[str, float | int | str | None] = {
        "days": int(flow_m3_s.size),
        "mean_l_s": round(1e3 * float(flow_m3_s.mean()), 3),
    }
    for percent in (95, 80, 50, 20, 5):
        found[f"q{percent}_l_s"] = known(1e3 * float(flow_exceeded(flow_m3_s, percent)), 3)
    index = base_flow_index(flow_m3_s) if flow_m3_s.any() else float("nan")
    return {
        **found,
        "base_flow_index": known(index, 3),
        "base_flow_method": "Lyne-Hollick, 0.925, 3 passes",
        "recession_k_per_day": known(recession_constant(flow_m3_s), 3),
        "days_below_residual": sum(
            flow < due for flow, due in zip(flow_m3_s.tolist(), due_m3_s, strict=False)
        ),
    }


def daily_means_m3_s(series: FlowSeries) -> Floats:
    """Mean flow of each whole day from the first instant on, the flow being straight between instants.

    Parameters
    ----------
    series : FlowSeries

    Returns
    -------
    ndarray of float64, shape (whole days,)
        Flow [m3/s].

    Examples
    --------
    >>> daily_means_m3_s(FlowSeries(0, np.array([0, 172800]), np.array([0.0, 0.4]), "example")).tolist()
    [0.1, 0.3]
    """
    bound_s = np.arange(int(series.time_s[-1]) // 86400 + 1, dtype=np.int64) * 86400
    at_s = np.union1d(series.time_s, bound_s)
    flow = np.interp(at_s, series.time_s, series.flow_m3_s)
    volume_m3 = np.concatenate([[0.0], np.cumsum((flow[1:] + flow[:-1]) / 2.0 * np.diff(at_s))])
    return np.asarray(np.diff(volume_m3[np.searchsorted(at_s, bound_s)]) / 86400.0)


def flow_exceeded(flow: Floats, percent: float | Floats) -> Floats:
    """Flow-duration curve: Q95 is the flow exceeded 95 % of the time, a low flow.

    Parameters
    ----------
    flow : ndarray of float64, shape (days,)
        Daily means, in any unit.
    percent : float or ndarray of float64
        Share of the time [%], 0 to 100.

    Returns
    -------
    ndarray of float64, shape of `percent`
        Flow, in the unit given; straight lines between the sorted values.

    Examples
    --------
    >>> float(flow_exceeded(np.arange(101.0), 95.0))
    5.0
    """
    return np.asarray(np.percentile(flow, 100.0 - np.asarray(percent)), dtype=np.float64)


def return_periods(count: int, method: str = "weibull") -> Floats:
    """Plotting positions: return period of the largest, second largest ... of `count` values.

    Parameters
    ----------
    count : int
        Number of values, at least 1 [-].
    method : str
        One of `PLOTTING_POSITIONS`: "weibull" (n + 1) / m, "california" n / m, "hazen" 2n / (2m - 1).

    Returns
    -------
    ndarray of float64, shape (count,)
        Return period in spacings of the values (years, if one a year); its inverse is the share exceeded.

    Raises
    ------
    ValueError
        If the method is not known or `count` is below 1.

    Examples
    --------
    >>> return_periods(4, "california").round(2).tolist()
    [4.0, 2.0, 1.33, 1.0]
    """
    if method not in PLOTTING_POSITIONS or count < 1:
        raise ValueError(f"method must be one of {', '.join(PLOTTING_POSITIONS)} and count at least 1")
    count_factor, count_add, rank_factor, rank_add = PLOTTING_POSITIONS[method]
    rank = np.arange(1, count + 1)
    return np.asarray((count_factor * count + count_add) / (rank_factor * rank + rank_add))


def base_flow_lyne_hollick(
    flow: Floats, *, alpha: float = 0.925, passes: int = 3, pad_days: int = 0, clip: bool = False
) -> Floats:
    """Base flow by the digital filter of Lyne and Hollick, passes forward and backward in turn.

    One pass takes from the flow q the quick flow f(t) = alpha f(t-1) + (1 + alpha)/2 (q(t) - q(t-1)),
    f(0) = 0, wherever it is above 0; the next pass runs the other way over what is left.

    Parameters
    ----------
    flow : ndarray of float64, shape (days,)
        Daily means, in any unit.
    alpha : float
        Filter parameter [-]; 0.925 for daily values (Nathan and McMahon 1990, Water Resources Research
        26(7), from memory).
    passes : int
        Number of passes, at least 1; the first runs forward.
    pad_days : int
        Days mirrored at both ends before the filter and cut off after it, below the number of days [d].
    clip : bool
        Whether a quick flow below 0 is set to 0 before it is carried on to the next day. Both are in use.

    Returns
    -------
    ndarray of float64, shape (days,)
        Base flow, in the unit given; never above the flow.

    Raises
    ------
    ValueError
        If a parameter is out of its range.

    Examples
    --------
    >>> base_flow_lyne_hollick(np.array([1.0, 5.0, 3.0, 2.0]), passes=1).round(3).tolist()
    [1.0, 1.15, 1.364, 1.449]
    """
    if not (0.0 < alpha < 1.0 and passes >= 1 and 0 <= pad_days < flow.size):
        raise ValueError(
            "alpha must be between 0 and 1, passes at least 1, pad_days from 0 to below the days"
        )
    base = np.pad(flow, pad_days, mode="reflect")
    for _ in range(passes):
        quick, carried = [0.0], 0.0
        for rise in np.diff(base).tolist():
            carried = alpha * carried + (1.0 + alpha) / 2.0 * rise
            if clip and carried < 0.0:
                carried = 0.0
            quick.append(carried)
        base = (base - np.maximum(quick, 0.0))[::-1]
    if passes % 2:
        base = base[::-1]
    return np.asarray(base[pad_days : base.size - pad_days])


def base_flow_index(
    flow: Floats, *, alpha: float = 0.925, passes: int = 3, pad_days: int = 0, clip: bool = False
) -> float:
    """Share of the flow that is base flow, by `base_flow_lyne_hollick` with the same parameters.

    Parameters
    ----------
    flow, alpha, passes, pad_days, clip
        As there.

    Returns
    -------
    float
        Index [-], 0 to 1.

    Examples
    --------
    >>> base_flow_index(np.full(10, 3.0))
    1.0
    """
    base = base_flow_lyne_hollick(flow, alpha=alpha, passes=passes, pad_days=pad_days, clip=clip)
    return float(base.sum() / flow.sum())


def recession_constant(flow: Floats, *, from_day: int = 4) -> float:
    """Median of Q(t)/Q(t-1) over the days of falling flow, the first falling days left out.

    Parameters
    ----------
    flow : ndarray of float64, shape (days,)
        Daily means, in any unit.
    from_day : int
        First falling day that counts, 1 is the first after a peak.

    Returns
    -------
    float
        Recession constant [1/d]; nan if there is no such day.

    Examples
    --------
    >>> round(recession_constant(10.0 * 0.9 ** np.arange(8)), 3)
    0.9
    """
    ratios = [
        flow[last] / flow[last - 1]
        for first, end in _recessions(flow)
        for last in range(first + from_day, end)
    ]
    return float(np.median(ratios)) if ratios else float("nan")


def recession_constant_of_long(flow: Floats, *, falls: int = 10, dropped: int = 2) -> float:
    """Median over the long recessions of exp(slope of ln Q against days): k10, if of 10 falls and more.

    Parameters
    ----------
    flow : ndarray of float64, shape (days,)
        Daily means, in any unit.
    falls : int
        Falling days that a recession must have at least.
    dropped : int
        Falling days left out at its beginning, at least 2 fewer than `falls`.

    Returns
    -------
    float
        Recession constant [1/d]; nan if there is no such recession.

    Examples
    --------
    >>> round(recession_constant_of_long(10.0 * 0.9 ** np.arange(12)), 3)
    0.9
    """
    found = []
    for first, end in _recessions(flow):
        tail = flow[first + 1 + dropped : end]
        if end - first - 1 >= falls and tail.min() > 0.0:
            found.append(float(np.exp(np.polyfit(np.arange(tail.size), np.log(tail), 1)[0])))
    return float(np.median(found)) if found else float("nan")


def flashiness(flow: Floats) -> float:
    """Richards-Baker index: sum of |q(t) - q(t-1)| over sum of q(t).

    Baker and others 2004, Journal of the American Water Resources Association 40(2), from memory.

    Parameters
    ----------
    flow : ndarray of float64, shape (days,)
        Daily means, in any unit; the first is only the day before.

    Returns
    -------
    float
        Index [-].

    Examples
    --------
    >>> flashiness(np.array([1.0, 2.0, 2.0]))
    0.25
    """
    return float(np.abs(np.diff(flow)).sum() / flow[1:].sum())


def _recessions(flow: Floats) -> list[tuple[int, int]]:
    """Every run of falling days: index of its peak, and index past its last day."""
    falling = np.concatenate([[False], np.diff(flow) < 0.0, [False]])
    turns = np.flatnonzero(np.diff(falling.astype(np.int64)))
    return [(int(first), int(last) + 1) for first, last in zip(turns[::2], turns[1::2], strict=True)]
