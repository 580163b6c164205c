"""Rules for the intake: how deep the pipe must lie so that it draws no air, and what the screen costs.

Velocities are the user's: of the pipe for submergence, of the approach on the whole screen for the loss.
"""

import math

from becksim.hydraulics.water import GRAVITY_M_S2

# Gordon (1970), Water Power, in SI; from memory. Other rules ask for about twice as much.
GORDON_COEFFICIENTS = {"straight": 0.54, "skewed": 0.72}  # [s/√m] by the way the water comes to the pipe

# Kirschmer (1926) by the section of the bar; from memory.
SCREEN_BAR_COEFFICIENTS = {"rectangular": 2.42, "rounded nose": 1.83, "round": 1.79}


def gordon_submergence_m(velocity_m_s: float, diameter_m: float, approach: str = "straight") -> float:
    """Least water over the crown of the pipe's mouth against drawing air, S = c·V·√D.

    Parameters
    ----------
    velocity_m_s : float
        Velocity in the pipe, not below 0. [m/s]
    diameter_m : float
        Inside diameter at the mouth, above 0. [m]
    approach : str
        "straight" or "skewed": how the water comes to the mouth.

    Returns
    -------
    float
        Submergence over the crown. [m]

    Raises
    ------
    ValueError
        If the velocity is below 0, the diameter not above 0, or the approach unknown.

    Notes
    -----
    J. L. Gordon (1970), Water Power; from memory.

    Examples
    --------
    >>> round(gordon_submergence_m(1.0, 0.1, "skewed"), 3)
    0.228
    """
    if not (velocity_m_s >= 0.0 and diameter_m > 0.0):
        raise ValueError("velocity must not be below 0 and diameter must be above 0")
    if approach not in GORDON_COEFFICIENTS:
        raise ValueError(f"approach must be one of {', '.join(GORDON_COEFFICIENTS)}, not {approach!r}")
    return GORDON_COEFFICIENTS[approach] * velocity_m_s * math.sqrt(diameter_m)


def screen_loss_m(
    velocity_m_s: float,
    bar_thickness_m: float,
    bar_gap_m: float,
    screen_angle_deg: float,
    bar_section: str = "rectangular",
    *,
    blocked_share: float = 0.0,
    gravity_m_s2: float = GRAVITY_M_S2,
) -> float:
    """Head lost in a bar screen, K·(t/b)^(4/3)·V²/(2g)·sin α.

    Parameters
    ----------
    velocity_m_s : float
        Approach velocity on the gross area of the clean screen. [m/s]
    bar_thickness_m : float
        Bar thickness t across the flow. [m]
    bar_gap_m : float
        Clear gap b between bars. [m]
    screen_angle_deg : float
        Slope α of the screen, from the horizontal, above 0 to 90. [°]
    bar_section : str
        A key of `SCREEN_BAR_COEFFICIENTS`.
    blocked_share : float
        Share of the area that leaves have closed, 0 to below 1; the rest carries the flow faster. [-]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Head loss. [m]

    Raises
    ------
    ValueError
        If an argument is outside its range or the bar section is unknown.

    Notes
    -----
    Formula of O. Kirschmer (1926), as used in small-hydro guides; the bar coefficients are from memory.

    Examples
    --------
    >>> round(1000.0 * screen_loss_m(0.3, 0.003, 0.006, 60.0), 2)  # mm
    3.82
    """
    if not (bar_thickness_m > 0.0 and bar_gap_m > 0.0 and 0.0 < screen_angle_deg <= 90.0):
        raise ValueError("bar thickness and gap must be above 0 and the angle above 0 and at most 90°")
    if not 0.0 <= blocked_share < 1.0:
        raise ValueError(f"blocked share must be 0 to below 1, not {blocked_share:g}")
    if bar_section not in SCREEN_BAR_COEFFICIENTS:
        raise ValueError(
            f"bar section must be one of {', '.join(SCREEN_BAR_COEFFICIENTS)}, not {bar_section!r}"
        )
    shape = SCREEN_BAR_COEFFICIENTS[bar_section] * math.pow(bar_thickness_m / bar_gap_m, 4.0 / 3.0)
    velocity_head_m = (velocity_m_s / (1.0 - blocked_share)) ** 2 / (2.0 * gravity_m_s2)
    return shape * velocity_head_m * math.sin(math.radians(screen_angle_deg))
