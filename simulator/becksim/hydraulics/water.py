"""Properties of fresh water against temperature: a hill stream is colder than the 20 °C of most tables.

Every other hydraulics module takes its gravity from here. Pressure is taken as atmospheric: at the heads of
a small penstock the density changes by less than 0.05 %.
"""

import math

GRAVITY_M_S2 = 9.80665  # standard gravity, ISO 80000-3
COLDEST_C = 0.0
WARMEST_C = 30.0


def water_density_kg_m3(temp_c: float) -> float:
    """Density of pure water at atmospheric pressure.

    Parameters
    ----------
    temp_c : float
        Water temperature, 0 to 30. [°C]

    Returns
    -------
    float
        Density. [kg/m³]

    Raises
    ------
    ValueError
        If the temperature is outside 0 to 30 °C.

    Notes
    -----
    Formula of G. S. Kell (1975), J. Chem. Eng. Data 20, 97; its coefficients are from memory.

    Examples
    --------
    >>> round(water_density_kg_m3(10.0), 2)
    999.7
    """
    t = _checked_temp_c(temp_c)
    top = _polynomial(t, (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12))
    return top / (1.0 + 16.879850e-3 * t)


def water_kinematic_viscosity_m2_s(temp_c: float) -> float:
    """Kinematic viscosity of pure water at atmospheric pressure.

    Parameters
    ----------
    temp_c : float
        Water temperature, 0 to 30. [°C]

    Returns
    -------
    float
        Kinematic viscosity. [m²/s]

    Raises
    ------
    ValueError
        If the temperature is outside 0 to 30 °C.

    Notes
    -----
    Dynamic viscosity by the four-term formula of IAPWS SR6-08 (2011) for liquid water at 0.1 MPa; its
    coefficients are from memory.

    Examples
    --------
    >>> print(f"{water_kinematic_viscosity_m2_s(10.0):.3e}")
    1.306e-06
    """
    density_kg_m3 = water_density_kg_m3(temp_c)
    relative_temp = (temp_c + 273.15) / 300.0
    terms = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
    dynamic_viscosity_pa_s = 1e-6 * sum(a * math.pow(relative_temp, b) for a, b in terms)
    return dynamic_viscosity_pa_s / density_kg_m3


def water_sound_speed_m_s(temp_c: float) -> float:
    """Speed of sound in unconfined pure water at atmospheric pressure.

    Parameters
    ----------
    temp_c : float
        Water temperature, 0 to 30. [°C]

    Returns
    -------
    float
        Speed of sound. [m/s]

    Raises
    ------
    ValueError
        If the temperature is outside 0 to 30 °C.

    Notes
    -----
    Fifth-order polynomial of W. Marczak (1997), J. Acoust. Soc. Am. 102, 2776; its coefficients are from
    memory.

    Examples
    --------
    >>> round(water_sound_speed_m_s(10.0), 1)
    1447.3
    """
    t = _checked_temp_c(temp_c)
    return _polynomial(t, (1402.385, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9))


def water_bulk_modulus_pa(temp_c: float) -> float:
    """Adiabatic bulk modulus of pure water, K = ρ·w², which the wave speed of a pipe starts from.

    Parameters
    ----------
    temp_c : float
        Water temperature, 0 to 30. [°C]

    Returns
    -------
    float
        Bulk modulus. [Pa]

    Raises
    ------
    ValueError
        If the temperature is outside 0 to 30 °C.

    Examples
    --------
    >>> round(water_bulk_modulus_pa(10.0) / 1e9, 3)
    2.094
    """
    sound_speed_m_s = water_sound_speed_m_s(temp_c)
    return water_density_kg_m3(temp_c) * sound_speed_m_s * sound_speed_m_s


def _checked_temp_c(temp_c: float) -> float:
    if not COLDEST_C <= temp_c <= WARMEST_C:
        raise ValueError(f"water temperature must be {COLDEST_C:g} to {WARMEST_C:g} °C, not {temp_c:g}")
    return temp_c


def _polynomial(x: float, coefficients: tuple[float, ...]) -> float:
    """Sum of coefficients[n]·xⁿ, lowest power first (Horner)."""
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
