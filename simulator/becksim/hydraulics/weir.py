"""Overflow and orifice laws: what leaves the intake box over its crest, a gauge notch, or a hole.

The hot laws use only a square root, so that a replay is the same to the last bit on every machine.
"""

import math

from becksim.hydraulics.water import GRAVITY_M_S2

RECTANGULAR_COEFFICIENT = 0.62  # sharp crest, common practice (Rehbock and others give 0.60 to 0.67)


def rectangular_weir_flow_m3_s(
    head_m: float,
    width_m: float,
    coefficient: float = RECTANGULAR_COEFFICIENT,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Flow over a level crest: Cd·(2/3)·√(2g)·b·h^1.5 (Poleni). Hot.

    Parameters
    ----------
    head_m : float
        Level above the crest; no flow at or below 0. [m]
    width_m : float
        Width of the crest. [m]
    coefficient : float
        Discharge coefficient. [-]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Flow. [m³/s]

    Examples
    --------
    >>> round(rectangular_weir_flow_m3_s(0.1, 0.4), 4)
    0.0232
    """
    if head_m <= 0.0:
        return 0.0
    return coefficient * (2.0 / 3.0) * math.sqrt(2.0 * gravity_m_s2 * head_m) * width_m * head_m


def rectangular_weir_law(head_m: float, width_m: float) -> tuple[float, float]:
    """`rectangular_weir_flow_m3_s` and its derivative by head, Cd·√(2g·h)·b, for Newton's method. Hot.

    Parameters
    ----------
    head_m : float
        Level above the crest. [m]
    width_m : float
        Width of the crest. [m]

    Returns
    -------
    flow_m3_s : float
        Flow. [m³/s]
    slope_m2_s : float
        Change of flow with head; 0 at or below the crest. [m²/s]

    Examples
    --------
    >>> [round(value, 4) for value in rectangular_weir_law(0.1, 0.4)]
    [0.0232, 0.3473]
    """
    if head_m <= 0.0:
        return 0.0, 0.0
    velocity_m_s = math.sqrt(2.0 * GRAVITY_M_S2 * head_m)
    flow_m3_s = RECTANGULAR_COEFFICIENT * (2.0 / 3.0) * velocity_m_s * width_m * head_m
    return flow_m3_s, RECTANGULAR_COEFFICIENT * velocity_m_s * width_m


def rectangular_weir_head_m(
    flow_m3_s: float,
    width_m: float,
    coefficient: float = RECTANGULAR_COEFFICIENT,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Head above the crest that passes a flow: the inverse of `rectangular_weir_flow_m3_s`.

    Parameters
    ----------
    flow_m3_s : float
        Flow, not below 0. [m³/s]
    width_m : float
        Width of the crest, above 0. [m]
    coefficient : float
        Discharge coefficient, above 0. [-]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Head. [m]

    Raises
    ------
    ValueError
        If the flow is below 0, or the width or coefficient not above 0.

    Examples
    --------
    >>> round(rectangular_weir_head_m(0.0232, 0.4), 3)
    0.1
    """
    if not (flow_m3_s >= 0.0 and width_m > 0.0 and coefficient > 0.0):
        raise ValueError("flow must not be below 0; width and coefficient must be above 0")
    per_head = coefficient * (2.0 / 3.0) * math.sqrt(2.0 * gravity_m_s2) * width_m
    return math.pow(flow_m3_s / per_head, 2.0 / 3.0)


def v_notch_flow_m3_s(
    head_m: float,
    notch_angle_deg: float,
    coefficient: float = 0.578,
    head_correction_m: float = 0.00088,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Flow through a triangular notch: Cd·(8/15)·√(2g)·tan(θ/2)·(h + k_h)^2.5.

    Parameters
    ----------
    head_m : float
        Level above the point of the notch; no flow at or below 0. [m]
    notch_angle_deg : float
        Full angle of the notch, between 0 and 180. [°]
    coefficient : float
        Discharge coefficient. [-]
    head_correction_m : float
        Kindsvater-Shen head correction; 0 gives the plain formula. [m]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Flow. [m³/s]

    Raises
    ------
    ValueError
        If the angle is not between 0 and 180°.

    Notes
    -----
    Method: USBR, Water Measurement Manual, ch. 7 §7. The defaults are its constants for a 90° notch.

    Examples
    --------
    >>> round(1000.0 * v_notch_flow_m3_s(0.1, 90.0), 2)  # L/s
    4.41
    """
    if not 0.0 < notch_angle_deg < 180.0:
        raise ValueError(f"notch angle must be between 0 and 180°, not {notch_angle_deg:g}")
    if head_m <= 0.0:
        return 0.0
    head = head_m + head_correction_m
    shape = math.tan(math.radians(notch_angle_deg) / 2.0)
    return coefficient * (8.0 / 15.0) * math.sqrt(2.0 * gravity_m_s2 * head) * shape * head * head


def orifice_flow_m3_s(
    head_m: float, area_m2: float, coefficient: float = 0.6, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """Free flow through a hole: Cd·A·√(2g·h) (Torricelli). Hot.

    Parameters
    ----------
    head_m : float
        Level above the middle of the hole; no flow at or below 0. [m]
    area_m2 : float
        Area of the hole. [m²]
    coefficient : float
        Discharge coefficient; 0.6 is common for a sharp edge. [-]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Flow. [m³/s]

    Examples
    --------
    >>> round(orifice_flow_m3_s(1.0, 0.01), 4)
    0.0266
    """
    if head_m <= 0.0:
        return 0.0
    return coefficient * area_m2 * math.sqrt(2.0 * gravity_m_s2 * head_m)
