"""Water as a rigid column: the limit of the elastic solver for slow changes, and the swing of a shaft."""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.water import GRAVITY_M_S2

FloatArray = npt.NDArray[np.float64]


def rigid_column_flow(
    time_s: npt.ArrayLike,
    *,
    length_m: float,
    area_m2: float,
    accelerating_head_m: Callable[[float, float], float],
    initial_flow_m3_s: float = 0.0,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> FloatArray:
    """Flow of a rigid column of water, (L/gA)·dQ/dt = head left to accelerate it.

    Parameters
    ----------
    time_s : array_like, shape (steps,)
        Instants, rising; also the steps of the integration (fourth-order Runge-Kutta). [s]
    length_m, area_m2 : float
        Length and flow area of the pipe, above 0. [m], [m²]
    accelerating_head_m : callable
        Head [m] left at an instant [s] and flow [m³/s], once losses and the far end have had theirs.
    initial_flow_m3_s : float
        Flow at the first instant. [m³/s]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    numpy.ndarray, shape (steps,)
        Flow. [m³/s]

    Raises
    ------
    ValueError
        If length or area is not above 0, or time does not rise.

    Examples
    --------
    >>> flow = rigid_column_flow([0.0, 1.0], length_m=10.0, area_m2=0.5, accelerating_head_m=lambda t, q: 2.0)
    >>> round(float(flow[-1]), 4)  # V = g·(H/L)·t = 1.9613 m/s
    0.9807
    """
    instants = np.asarray(time_s, dtype=np.float64)
    if not (length_m > 0.0 and area_m2 > 0.0):
        raise ValueError("length and area must be above 0")
    if instants.ndim != 1 or not np.all(np.diff(instants) > 0.0):
        raise ValueError("time must be one row that rises")
    gain = gravity_m_s2 * area_m2 / length_m
    flows = np.empty(instants.size)
    flow = initial_flow_m3_s
    for i, now in enumerate(instants.tolist()):
        if i:
            before = float(instants[i - 1])
            step = now - before
            k1 = gain * accelerating_head_m(before, flow)
            k2 = gain * accelerating_head_m(before + step / 2.0, flow + step / 2.0 * k1)
            k3 = gain * accelerating_head_m(before + step / 2.0, flow + step / 2.0 * k2)
            k4 = gain * accelerating_head_m(now, flow + step * k3)
            flow += step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        flows[i] = flow
    return flows


def mass_oscillation(
    flow_m3_s: float,
    pipe_area_m2: float,
    shaft_area_m2: float,
    length_m: float,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> tuple[float, float]:
    """Swing of the level in a shaft or forebay above a long pipe whose flow stops, without friction.

    Parameters
    ----------
    flow_m3_s : float
        Flow stopped. [m³/s]
    pipe_area_m2, shaft_area_m2 : float
        Flow area of the pipe and water surface of the shaft, above 0. [m²]
    length_m : float
        Length of the pipe, above 0. [m]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    amplitude_m : float
        Rise of the first swing, (Q/A_s)·√(A_s·L/(A_t·g)). [m]
    period_s : float
        Time of one whole swing, 2π·√(A_s·L/(A_t·g)). [s]

    Raises
    ------
    ValueError
        If an area or the length is not above 0.

    Notes
    -----
    Any hydraulics text, for instance Douglas et al., Fluid Mechanics, ch. 20.

    Examples
    --------
    >>> [round(value, 2) for value in mass_oscillation(2.0, 1.227, 12.57, 200.0, 9.81)]
    [2.3, 90.8]
    """
    if not (pipe_area_m2 > 0.0 and shaft_area_m2 > 0.0 and length_m > 0.0):
        raise ValueError("areas and length must be above 0")
    radian_s = math.sqrt(shaft_area_m2 * length_m / (pipe_area_m2 * gravity_m_s2))
    return flow_m3_s / shaft_area_m2 * radian_s, 2.0 * math.pi * radian_s
