"""Rules of thumb for water hammer: four formulas to check a pipe, and the wave method, by hand.

All give the rise over the static pressure.
For a slow closure: rigid-column mean < exact < Michaud < Joukowsky.
"""

import math


def unconfined_wave_speed_m_s(bulk_modulus_pa: float, density_kg_m3: float) -> float:
    """Wave speed in water with rigid walls or none, √(K/ρ).

    Parameters
    ----------
    bulk_modulus_pa : float
        Bulk modulus of the water, above 0. [Pa]
    density_kg_m3 : float
        Density, above 0. [kg/m³]

    Returns
    -------
    float
        Wave speed. [m/s]

    Raises
    ------
    ValueError
        If an argument is not above 0.

    Examples
    --------
    >>> round(unconfined_wave_speed_m_s(2.22e9, 998.0), 1)
    1491.5
    """
    _above_zero(bulk_modulus_pa=bulk_modulus_pa, density_kg_m3=density_kg_m3)
    return math.sqrt(bulk_modulus_pa / density_kg_m3)


def korteweg_wave_speed_m_s(
    bulk_modulus_pa: float,
    density_kg_m3: float,
    inside_diameter_m: float,
    wall_m: float,
    youngs_modulus_pa: float,
    restraint_coefficient: float = 1.0,
) -> float:
    """Wave speed in an elastic pipe, √(K/ρ)/√(1 + c₁·K·D/(E·e)) (Korteweg 1878).

    Parameters
    ----------
    bulk_modulus_pa : float
        Bulk modulus K of the water, above 0. [Pa]
    density_kg_m3 : float
        Density ρ, above 0. [kg/m³]
    inside_diameter_m : float
        Inside diameter D, above 0. [m]
    wall_m : float
        Wall thickness e, above 0. [m]
    youngs_modulus_pa : float
        Young's modulus E of the wall, for quick loads, above 0. [Pa]
    restraint_coefficient : float
        c₁, how the pipe is held: 1 with expansion joints throughout. [-]

    Returns
    -------
    float
        Wave speed. [m/s]

    Raises
    ------
    ValueError
        If an argument is not above 0.

    Examples
    --------
    >>> round(korteweg_wave_speed_m_s(2.1e9, 998.0, 0.6, 0.012, 210e9), 1)
    1184.4
    """
    _above_zero(
        inside_diameter_m=inside_diameter_m,
        wall_m=wall_m,
        youngs_modulus_pa=youngs_modulus_pa,
        restraint_coefficient=restraint_coefficient,
    )
    softness = restraint_coefficient * bulk_modulus_pa * inside_diameter_m / (youngs_modulus_pa * wall_m)
    return unconfined_wave_speed_m_s(bulk_modulus_pa, density_kg_m3) / math.sqrt(1.0 + softness)


def joukowsky_pa(density_kg_m3: float, wave_speed_m_s: float, velocity_change_m_s: float) -> float:
    """Pressure rise of a change quicker than one return of the wave, ρ·a·ΔV.

    Parameters
    ----------
    density_kg_m3 : float
        Density, above 0. [kg/m³]
    wave_speed_m_s : float
        Wave speed of the pipe, above 0. [m/s]
    velocity_change_m_s : float
        Velocity taken away; below 0 for an opening. [m/s]

    Returns
    -------
    float
        Pressure rise. [Pa]

    Raises
    ------
    ValueError
        If density or wave speed is not above 0.

    Notes
    -----
    N. Joukowsky (1898). Holds while the change takes no longer than 2L/a.

    Examples
    --------
    >>> round(joukowsky_pa(998.0, 1430.0, 0.2546) / 1000.0, 2)
    363.35
    """
    _above_zero(density_kg_m3=density_kg_m3, wave_speed_m_s=wave_speed_m_s)
    return density_kg_m3 * wave_speed_m_s * velocity_change_m_s


def michaud_pa(
    density_kg_m3: float, length_m: float, velocity_change_m_s: float, closing_time_s: float
) -> float:
    """Pressure rise of a slow closure, 2·ρ·L·ΔV/T: velocity taken as falling in a straight line.

    Parameters
    ----------
    density_kg_m3 : float
        Density, above 0. [kg/m³]
    length_m : float
        Length of the pipe, above 0. [m]
    velocity_change_m_s : float
        Velocity taken away; below 0 for an opening. [m/s]
    closing_time_s : float
        Time of the closure, above 0. [s]

    Returns
    -------
    float
        Pressure rise. [Pa]

    Raises
    ------
    ValueError
        If density, length or time is not above 0.

    Notes
    -----
    J. Michaud (1878). Only for closures longer than 2L/a; for a quicker one `joukowsky_pa` is less and right.

    Examples
    --------
    >>> round(michaud_pa(1000.0, 500.0, 2.0, 5.0))
    400000
    """
    return 2.0 * rigid_column_pa(density_kg_m3, length_m, velocity_change_m_s, closing_time_s)


def rigid_column_pa(
    density_kg_m3: float, length_m: float, velocity_change_m_s: float, closing_time_s: float
) -> float:
    """Mean pressure rise that stops a rigid column of water in a time, ρ·L·ΔV/T (Newton's second law).

    Parameters
    ----------
    density_kg_m3 : float
        Density, above 0. [kg/m³]
    length_m : float
        Length of the pipe, above 0. [m]
    velocity_change_m_s : float
        Velocity taken away; below 0 for an opening. [m/s]
    closing_time_s : float
        Time of the closure, above 0. [s]

    Returns
    -------
    float
        Mean pressure rise. [Pa]

    Raises
    ------
    ValueError
        If density, length or time is not above 0.

    Examples
    --------
    >>> round(rigid_column_pa(1000.0, 500.0, 2.0, 5.0))
    200000
    """
    _above_zero(density_kg_m3=density_kg_m3, length_m=length_m, closing_time_s=closing_time_s)
    return density_kg_m3 * length_m * velocity_change_m_s / closing_time_s


def _above_zero(**values: float) -> None:
    for name, value in values.items():
        if not value > 0.0:
            raise ValueError(f"{name} must be above 0, not {value:g}")
