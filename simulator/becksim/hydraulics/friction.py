"""Friction of one pipe: Darcy factor and head loss, for arrays, so that a whole table is one call.

The Darcy factor is 4 times the Fanning factor of some books.
"""

import math

import numpy as np
import numpy.typing as npt

from becksim.hydraulics.water import GRAVITY_M_S2

FloatArray = npt.NDArray[np.float64]

LAMINAR_REYNOLDS = 2000.0
TURBULENT_REYNOLDS = 4000.0
ROUGHEST = 0.05  # end of Moody's chart (1944)
HAZEN_WILLIAMS_SI = 10.67  # SI form with D^4.8704; the common US constants give 1.3 % more
_NEWTON_TOLERANCE = 1e-12
_NEWTON_STEPS = 30


def darcy_friction_factor(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike) -> FloatArray:
    """Darcy friction factor of a round pipe.

    Laminar 64/Re up to Re 2000, Colebrook-White from Re 4000, a straight line between the two ends (chosen by
    us: the loss stays continuous and always rises with flow).

    Parameters
    ----------
    reynolds : array_like
        Reynolds number, above 0. [-]
    relative_roughness : array_like
        Roughness over inside diameter, 0 to 0.05; broadcast against `reynolds`. [-]

    Returns
    -------
    numpy.ndarray
        Darcy factor, in the broadcast shape (0-d for two scalars). [-]

    Raises
    ------
    ValueError
        If a Reynolds number is not above 0 or a roughness is outside 0 to 0.05.

    Notes
    -----
    C. F. Colebrook (1939), J. Inst. Civ. Eng. 11, 133.

    Examples
    --------
    >>> float(darcy_friction_factor(1000.0, 0.0))
    0.064
    >>> darcy_friction_factor([1e5, 1e6], 1e-4).round(4).tolist()
    [0.0185, 0.0134]
    """
    re, roughness = np.broadcast_arrays(
        np.asarray(reynolds, dtype=np.float64), np.asarray(relative_roughness, dtype=np.float64)
    )
    if not np.all(re > 0.0):
        raise ValueError("Reynolds number must be above 0")
    if not np.all((roughness >= 0.0) & (roughness <= ROUGHEST)):
        raise ValueError(f"relative roughness must be 0 to {ROUGHEST}")
    # Held at their ends, the two laws are the end points of the straight line.
    laminar = 64.0 / np.minimum(re, LAMINAR_REYNOLDS)
    turbulent = _colebrook(np.maximum(re, TURBULENT_REYNOLDS), roughness)
    share = np.clip((re - LAMINAR_REYNOLDS) / (TURBULENT_REYNOLDS - LAMINAR_REYNOLDS), 0.0, 1.0)
    return np.asarray(laminar + share * (turbulent - laminar), dtype=np.float64)


def friction_loss_m(
    flow_m3_s: npt.ArrayLike,
    length_m: float,
    inside_diameter_m: float,
    roughness_m: float,
    kinematic_viscosity_m2_s: float,
    *,
    minor_loss_coefficient: float = 0.0,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> FloatArray:
    """Head lost in one pipe, by Darcy-Weisbach, with the sign of the flow.

    Parameters
    ----------
    flow_m3_s : array_like
        Flow; below 0 is backwards. [m³/s]
    length_m : float
        Length. [m]
    inside_diameter_m : float
        Inside diameter. [m]
    roughness_m : float
        Equivalent sand roughness. [m]
    kinematic_viscosity_m2_s : float
        Kinematic viscosity. [m²/s]
    minor_loss_coefficient : float
        Sum of the fittings' K, in velocity heads of this pipe. [-]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    numpy.ndarray
        Head loss in the shape of the flow (0-d for a scalar). [m]

    Raises
    ------
    ValueError
        If the diameter or the viscosity is not above 0, the length or a loss is below 0, or the relative
        roughness is outside 0 to 0.05.

    Notes
    -----
    h = (f·L/D + K)·V²/(2g), any hydraulics text.

    Examples
    --------
    >>> round(float(friction_loss_m(0.006, 100.0, 0.0968, 1.5e-6, 1.307e-6)), 3)
    0.704
    """
    if not (inside_diameter_m > 0.0 and kinematic_viscosity_m2_s > 0.0):
        raise ValueError("inside diameter and viscosity must be above 0")
    if not (length_m >= 0.0 and minor_loss_coefficient >= 0.0):
        raise ValueError("length and minor loss coefficient must not be below 0")
    velocity_m_s = np.asarray(flow_m3_s, dtype=np.float64) / (math.pi / 4.0 * inside_diameter_m**2)
    reynolds = np.abs(velocity_m_s) * inside_diameter_m / kinematic_viscosity_m2_s
    # Still water has no Reynolds number; any factor does there, since the loss is 0.
    factor = darcy_friction_factor(np.where(reynolds > 0.0, reynolds, 1.0), roughness_m / inside_diameter_m)
    velocity_heads = factor * length_m / inside_diameter_m + minor_loss_coefficient
    return np.asarray(velocity_heads * velocity_m_s * np.abs(velocity_m_s) / (2.0 * gravity_m_s2))


def hazen_williams_loss_m(
    flow_m3_s: float, length_m: float, inside_diameter_m: float, coefficient: float = 150.0
) -> float:
    """Head lost in one pipe by Hazen-Williams, for comparison with printed tables only.

    Parameters
    ----------
    flow_m3_s : float
        Flow, not below 0. [m³/s]
    length_m : float
        Length. [m]
    inside_diameter_m : float
        Inside diameter. [m]
    coefficient : float
        Hazen-Williams C; 150 is for new plastic pipe. [-]

    Returns
    -------
    float
        Head loss. [m]

    Raises
    ------
    ValueError
        If the flow or length is below 0, or the diameter or coefficient not above 0.

    Notes
    -----
    h = 10.67·L·Q^1.852/(C^1.852·D^4.8704), SI. On small plastic pipe C = 150 reads 4 to 10 % below Colebrook.

    Examples
    --------
    >>> round(hazen_williams_loss_m(0.006309, 100.0, 0.077927), 2)
    2.1
    """
    if not (flow_m3_s >= 0.0 and length_m >= 0.0 and inside_diameter_m > 0.0 and coefficient > 0.0):
        raise ValueError("flow and length must not be below 0; diameter and coefficient must be above 0")
    return (
        HAZEN_WILLIAMS_SI * length_m * float((flow_m3_s / coefficient) ** 1.852 / inside_diameter_m**4.8704)
    )


def _colebrook(reynolds: FloatArray, roughness: FloatArray) -> FloatArray:
    """Solve x + 2·log10(ε/3.7D + 2.51·x/Re) = 0 for x = 1/√f by Newton; return f."""
    rough_part = roughness / 3.7
    smooth_part = 2.51 / reynolds
    x = -1.8 * np.log10(rough_part**1.11 + 6.9 / reynolds)  # Haaland (1983): within 2 % of the root
    for _ in range(_NEWTON_STEPS):
        inside = rough_part + smooth_part * x
        step = (x + 2.0 * np.log10(inside)) / (1.0 + 2.0 / math.log(10.0) * smooth_part / inside)
        x = x - step
        if np.all(np.abs(step) <= _NEWTON_TOLERANCE * x):
            break
    return np.asarray(1.0 / (x * x))
