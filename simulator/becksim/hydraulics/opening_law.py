"""Flow area of a valve against its travel, and its travel against time under a motor that runs or stops.

Together they make the opening areas that the water hammer solver takes.
"""

import math

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.jets import FULL_PERMILLE, NEEDLE_CURVE, VALVE_CURVES

FloatArray = npt.NDArray[np.float64]

# Effective area over that when open, at 0, 100 ... 1000 ‰ of travel, straight between; those of the jets.
FLOW_CURVES = {**VALVE_CURVES, "needle": NEEDLE_CURVE}


def flow_coefficient(kind: str, travel_permille: npt.ArrayLike) -> FloatArray:
    """Effective area of a valve over that when open.

    Parameters
    ----------
    kind : str
        A key of `FLOW_CURVES`.
    travel_permille : array_like
        Travel from shut, 0 to 1000. [‰]

    Returns
    -------
    numpy.ndarray
        Share, 0 to 1, in the shape of the travel. [-]

    Raises
    ------
    ValueError
        If the kind is unknown or a travel outside 0 to 1000.

    Examples
    --------
    >>> flow_coefficient("gate", [0.0, 500.0, 950.0]).tolist()
    [0.0, 0.156, 0.937]
    """
    if kind not in FLOW_CURVES:
        raise ValueError(f"valve kind must be one of {', '.join(FLOW_CURVES)}, not {kind!r}")
    travel = np.asarray(travel_permille, dtype=np.float64)
    if not np.all((travel >= 0.0) & (travel <= FULL_PERMILLE)):
        raise ValueError(f"travel must be 0 to {FULL_PERMILLE} permille")
    curve = FLOW_CURVES[kind]
    return np.asarray(np.interp(travel, np.linspace(0.0, FULL_PERMILLE, len(curve)), curve))


def train(
    step_starts_s: npt.ArrayLike,
    positions_permille: npt.ArrayLike,
    stroke_s: float,
    time_s: npt.ArrayLike,
) -> FloatArray:
    """Travel against time of a motor that only runs, at 1000/stroke_s ‰/s, or stands.

    Parameters
    ----------
    step_starts_s : array_like, shape (steps,)
        When the motor starts each step, rising. [s]
    positions_permille : array_like, shape (steps + 1,)
        Travel before the first step, then where each step ends. [‰]
    stroke_s : float
        Time of the whole stroke without stops, above 0. [s]
    time_s : array_like
        Instants asked for. [s]

    Returns
    -------
    numpy.ndarray
        Travel, in the shape of `time_s`. [‰]

    Raises
    ------
    ValueError
        If the numbers of starts and positions do not match, a position is outside 0 to 1000, the stroke not
        above 0, or a step starts before the last one has ended.

    Examples
    --------
    >>> train([0.0, 10.0], [1000.0, 900.0, 800.0], 20.0, [0.0, 1.0, 5.0, 11.0, 60.0]).tolist()
    [1000.0, 950.0, 900.0, 850.0, 800.0]
    """
    starts = np.asarray(step_starts_s, dtype=np.float64)
    positions = np.asarray(positions_permille, dtype=np.float64)
    if starts.ndim != 1 or positions.shape != (starts.size + 1,):
        raise ValueError("there must be one position before the first step and one for each step")
    if not np.all((positions >= 0.0) & (positions <= FULL_PERMILLE)):
        raise ValueError(f"positions must be 0 to {FULL_PERMILLE} permille")
    if not stroke_s > 0.0:
        raise ValueError(f"stroke_s must be above 0, not {stroke_s:g}")
    instants = np.asarray(time_s, dtype=np.float64)
    if starts.size == 0:
        return np.full(instants.shape, positions[0])
    ends = starts + np.abs(np.diff(positions)) * (stroke_s / FULL_PERMILLE)
    # A step may begin at the very instant the last one ends; allow for the last bits of that sum.
    if np.any(starts[1:] < ends[:-1] - 1e-9 * stroke_s):
        raise ValueError("a step starts before the last one has ended: leave more time between steps")
    corners_s = np.maximum.accumulate(np.column_stack([starts, ends]).ravel())
    travels = np.column_stack([positions[:-1], positions[1:]]).ravel()
    return np.asarray(np.interp(instants, corners_s, travels))


def pulsed_steps(
    start_permille: float,
    goal_permille: float,
    *,
    step_permille: float,
    step_period_s: float,
    slow_below_permille: float = 0.0,
    slow_times: float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Starts and positions of a slow ramp made of equal short runs of the motor.

    A step whose end nearer to shut lies in the slow zone takes `slow_times` periods, since the last of a
    closing takes away the most flow.

    Parameters
    ----------
    start_permille, goal_permille : float
        Travel before and after, 0 to 1000. [‰]
    step_permille : float
        Travel of one step; the last may be shorter. Above 0. [‰]
    step_period_s : float
        Time from the start of one step to that of the next, above 0. [s]
    slow_below_permille : float
        Upper end of the slow zone. [‰]
    slow_times : float
        Periods that a step in the slow zone takes, at least 1. [-]

    Returns
    -------
    step_starts_s : numpy.ndarray, shape (steps,)
        When each step starts; the first at 0. [s]
    positions_permille : numpy.ndarray, shape (steps + 1,)
        `start_permille`, then where each step ends. [‰]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> starts_s, positions = pulsed_steps(
    ...     400, 0, step_permille=150, step_period_s=10, slow_below_permille=200, slow_times=2
    ... )
    >>> starts_s.tolist(), positions.tolist()
    ([0.0, 10.0, 30.0], [400.0, 250.0, 100.0, 0.0])
    """
    if not (0.0 <= start_permille <= FULL_PERMILLE and 0.0 <= goal_permille <= FULL_PERMILLE):
        raise ValueError(f"start and goal must be 0 to {FULL_PERMILLE} permille")
    if not (step_permille > 0.0 and step_period_s > 0.0 and slow_times >= 1.0):
        raise ValueError("step and period must be above 0 and slow_times at least 1")
    way = abs(goal_permille - start_permille)
    steps = math.ceil(way / step_permille - 1e-9)
    along = np.minimum(np.arange(steps + 1) * step_permille, way)
    positions = start_permille + math.copysign(1.0, goal_permille - start_permille) * along
    if steps:
        positions[-1] = goal_permille
    slow = np.minimum(positions[:-1], positions[1:]) < slow_below_permille
    periods_s = np.where(slow, slow_times * step_period_s, step_period_s)
    return np.concatenate([[0.0], np.cumsum(periods_s)])[:steps], positions


def pulsed_travel(
    start_permille: float,
    goal_permille: float,
    time_s: npt.ArrayLike,
    *,
    step_permille: float,
    step_period_s: float,
    stroke_s: float,
    slow_below_permille: float = 0.0,
    slow_times: float = 1.0,
) -> FloatArray:
    """Travel against time of a pulsed ramp: `train` on `pulsed_steps`, which explain the arguments.

    Parameters
    ----------
    start_permille, goal_permille, step_permille : float
        Travel before and after, and of one step. [‰]
    time_s : array_like
        Instants asked for; the first step starts at 0. [s]
    step_period_s, stroke_s : float
        Period of the steps, and time of the whole stroke without stops. [s]
    slow_below_permille : float
        Upper end of the slow zone. [‰]
    slow_times : float
        Periods that a step in the slow zone takes. [-]

    Returns
    -------
    numpy.ndarray
        Travel, in the shape of `time_s`. [‰]

    Raises
    ------
    ValueError
        If an argument is outside its range, or a step runs longer than its period.

    Examples
    --------
    >>> pulsed_travel(
    ...     1000, 0, [0.0, 1.0, 9.0, 11.0, 99.0], step_permille=100, step_period_s=10, stroke_s=20
    ... ).tolist()
    [1000.0, 950.0, 900.0, 850.0, 0.0]
    """
    starts_s, positions = pulsed_steps(
        start_permille,
        goal_permille,
        step_permille=step_permille,
        step_period_s=step_period_s,
        slow_below_permille=slow_below_permille,
        slow_times=slow_times,
    )
    return train(starts_s, positions, stroke_s, time_s)
