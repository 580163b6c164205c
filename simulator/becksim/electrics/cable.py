"""DC cable: conductor resistance by standard size, drop there and back, copper against temperature."""

# Highest conductor resistance at 20 degC [ohm/km], plain copper, by cross-section [mm2]: IEC 60228, class 2
# (stranded) and class 5 (flexible). 16 and 25 mm2 as ELEC-01; the other sizes from memory.
_RESISTANCE_OHM_KM: dict[int, dict[float, float]] = {
    2: {
        **{1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83, 16.0: 1.15},
        **{25.0: 0.727, 35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193, 120.0: 0.153},
    },
    5: {
        **{1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21},
        **{25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161},
    },
}
_TABLE_C = 20.0
COPPER_PER_K_AT_0C = 0.00426  # copper's temperature coefficient referred to 0 degC [1/K], as ELEC-03


def standard_sizes_mm2(conductor_class: int = 5) -> list[float]:
    """Cross-sections that the table has [mm2], rising.

    Examples
    --------
    >>> standard_sizes_mm2()[:3]
    [1.5, 2.5, 4.0]
    """
    return list(_RESISTANCE_OHM_KM[conductor_class])


def conductor_ohm_km(area_mm2: float, conductor_class: int = 5, temp_c: float = _TABLE_C) -> float:
    """Resistance of one conductor [ohm/km].

    Parameters
    ----------
    area_mm2 : float
        Cross-section, a standard size [mm2].
    conductor_class : {2, 5}
        Stranded or flexible.
    temp_c : float
        Conductor temperature [degC].

    Returns
    -------
    float
        Resistance [ohm/km]. Source: IEC 60228 at 20 degC, then R proportional to 1 + alpha0 T.

    Raises
    ------
    ValueError
        If the class or the size is not in the table.

    Examples
    --------
    >>> conductor_ohm_km(16)
    1.21
    """
    if conductor_class not in _RESISTANCE_OHM_KM:
        raise ValueError(f"conductor_class must be 2 or 5, found {conductor_class}")
    sizes = _RESISTANCE_OHM_KM[conductor_class]
    if area_mm2 not in sizes:
        allowed = ", ".join(f"{size_mm2:g}" for size_mm2 in sizes)
        raise ValueError(f"area_mm2 must be one of {allowed}, found {area_mm2:g}")
    warming = (1.0 + COPPER_PER_K_AT_0C * temp_c) / (1.0 + COPPER_PER_K_AT_0C * _TABLE_C)
    return sizes[area_mm2] * warming


def cable_ohm(length_m: float, area_mm2: float, conductor_class: int = 5, temp_c: float = _TABLE_C) -> float:
    """Resistance there and back [ohm].

    Parameters
    ----------
    length_m : float
        One way [m].
    area_mm2, conductor_class, temp_c
        As for `conductor_ohm_km`.

    Examples
    --------
    >>> round(cable_ohm(20.0, 16), 4)
    0.0484
    """
    return 2.0 * length_m / 1000.0 * conductor_ohm_km(area_mm2, conductor_class, temp_c)


def cable_drop_v(
    current_a: float, length_m: float, area_mm2: float, conductor_class: int = 5, temp_c: float = _TABLE_C
) -> float:
    """Voltage lost there and back [V]: 2 l R I.

    Parameters
    ----------
    current_a : float
        Direct current [A].
    length_m, area_mm2, conductor_class, temp_c
        As for `cable_ohm`.

    Examples
    --------
    >>> round(cable_drop_v(40.0, 20.0, 16), 3)
    1.936
    """
    return current_a * cable_ohm(length_m, area_mm2, conductor_class, temp_c)


def copper_temp_c(
    resistance_ohm: float,
    known_resistance_ohm: float,
    known_temp_c: float,
    per_k_at_0c: float = COPPER_PER_K_AT_0C,
) -> float:
    """Temperature of a copper winding or conductor [degC] from its resistance now and once before.

    Parameters
    ----------
    resistance_ohm, known_resistance_ohm : float
        Resistance now, and at known_temp_c [ohm].
    known_temp_c : float
        [degC].
    per_k_at_0c : float
        Temperature coefficient referred to 0 degC, alpha0 [1/K].

    Returns
    -------
    float
        [R2 (1 + alpha0 T1) / R1 - 1] / alpha0 [degC]. Source: basic electrical engineering texts, ELEC-03.

    Raises
    ------
    ValueError
        If known_resistance_ohm or per_k_at_0c is not positive.

    Examples
    --------
    >>> round(copper_temp_c(4.22, 3.42, 20.0), 2)
    79.59
    """
    if not (known_resistance_ohm > 0.0 and per_k_at_0c > 0.0):
        raise ValueError("known_resistance_ohm and per_k_at_0c must be above 0")
    return (resistance_ohm * (1.0 + per_k_at_0c * known_temp_c) / known_resistance_ohm - 1.0) / per_k_at_0c
