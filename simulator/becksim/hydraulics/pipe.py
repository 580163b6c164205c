"""Pipe materials and what follows from them: wave speed, pressure rating, how far a surge may go.

Nominal pressures are printed on the pipe in bar, so ratings are in bar; limits for the solver are in Pa.
"""

import math
from dataclasses import dataclass

from becksim.hydraulics.surge_rules import korteweg_wave_speed_m_s
from becksim.hydraulics.water import water_bulk_modulus_pa, water_density_kg_m3

PA_PER_BAR = 1e5
THICK_WALL_BELOW = (
    25.0  # D/e under which the wall counts as thick; Wylie & Streeter (1993) ch. 1, from memory
)
RESTRAINTS = ("upper-end", "all-along", "joints")
ALLOWANCES = ("none", "recurring", "occasional")


@dataclass(frozen=True)
class Material:
    """One row of `MATERIALS`.

    Parameters
    ----------
    youngs_modulus_pa : float
        Young's modulus for quick loads such as waves, not the 50-year creep value. [Pa]
    poisson_ratio : float
        Poisson's ratio. [-]
    roughness_m : float
        Equivalent sand roughness of a clean pipe. [m]
    strength_mpa : float or None
        Minimum required strength (MRS); None if the rating comes only from the pipe's marking. [MPa]
    design_coefficient : float or None
        C that divides the strength. [-]
    temperature_factors : tuple of (float, float)
        Temperature [°C] and share of the nominal pressure left, rising in temperature; straight between,
        the first share below the first temperature.
    recurring_factor, occasional_factor : float
        Highest total pressure over the rated one, for surges that come daily and for rare ones. [-]
    """

    youngs_modulus_pa: float
    poisson_ratio: float
    roughness_m: float
    strength_mpa: float | None
    design_coefficient: float | None
    temperature_factors: tuple[tuple[float, float], ...]
    recurring_factor: float
    occasional_factor: float


_PE_TEMPERATURE = ((20.0, 1.00), (30.0, 0.87), (40.0, 0.74))  # EN 12201-1 annex A, from memory
_PVC_TEMPERATURE = ((25.0, 1.00), (45.0, 0.63))  # ISO 1452-2 annex A, a straight line, from memory

MATERIALS = {
    # Modulus of PE100: middle of published short-term values, 1.0 to 1.4 GPa; a real pipe is ±15 %, since it
    # falls with time and temperature. Strength and C: ISO 4427, ISO 12162. Surge factors 1.5 and 2.0: US
    # practice, AWWA M55. All from memory.
    "pe100": Material(1.1e9, 0.45, 7e-6, 10.0, 1.25, _PE_TEMPERATURE, 1.5, 2.0),
    # PE80: as PE100, about a quarter softer; from memory.
    "pe80": Material(0.8e9, 0.45, 7e-6, 8.0, 1.25, _PE_TEMPERATURE, 1.5, 2.0),
    # PVC-U: modulus 2.8 to 3.3 GPa; C is 2.0 from 110 mm outside, 2.5 below: ISO 1452-2, from memory. Surge
    # factors 1.0 and 1.60: AWWA C900, in Moser & Folkman, Buried Pipe Design, Ex 4.2.
    "pvc-u": Material(3.0e9, 0.40, 7e-6, 25.0, 2.0, _PVC_TEMPERATURE, 1.0, 1.6),
    # Steel: any materials text; roughness of commercial steel, Moody (1944); from memory. No surge credit:
    # chosen by us, since its rating depends on how it was made and joined.
    "steel": Material(207e9, 0.30, 4.6e-5, None, None, ((60.0, 1.00),), 1.0, 1.0),
    # GRP: hoop modulus differs widely with the winding; roughness upper end of practice; factor 1.4 of
    # AWWA M45; all from memory. Above 35 °C ask the maker: common practice, no source.
    "grp": Material(20e9, 0.28, 2.9e-5, None, None, ((35.0, 1.00),), 1.0, 1.4),
}


@dataclass(frozen=True)
class PipeSection:
    """One length of one pipe, as bought and laid.

    Parameters
    ----------
    length_m : float
        Length along the pipe. [m]
    outside_diameter_m : float
        Outside diameter. [m]
    wall_m : float
        Wall thickness. [m]
    material : str
        A key of `MATERIALS`.
    roughness_m : float
        Equivalent sand roughness. [m]
    restraint : str
        How the pipe is held: "upper-end", "all-along" (buried, anchored) or "joints" (free in length).
    nominal_pressure_bar : float
        PN, as marked on the pipe. [bar]
    youngs_modulus_pa : float or None
        For quick loads; None takes the material's. [Pa]

    Raises
    ------
    ValueError
        If a size is not above 0, the wall fills the pipe, or the material or restraint is unknown.

    Examples
    --------
    >>> pipe = PipeSection(300.0, 0.110, 0.0066, "pe100", 7e-6, "all-along", 10.0)
    >>> round(1000.0 * pipe.inside_diameter_m, 1), round(pipe.wave_speed_m_s(10.0))
    (96.8, 277)
    """

    length_m: float
    outside_diameter_m: float
    wall_m: float
    material: str
    roughness_m: float
    restraint: str
    nominal_pressure_bar: float
    youngs_modulus_pa: float | None = None

    def __post_init__(self) -> None:
        _material(self.material)
        _check_restraint(self.restraint)
        if not (self.length_m > 0.0 and self.nominal_pressure_bar > 0.0 and self.roughness_m >= 0.0):
            raise ValueError("length and nominal pressure must be above 0, roughness not below 0")
        if not 0.0 < 2.0 * self.wall_m < self.outside_diameter_m:
            raise ValueError("the wall must be above 0 and below half the outside diameter")
        if self.youngs_modulus_pa is not None and not self.youngs_modulus_pa > 0.0:
            raise ValueError(f"youngs_modulus_pa must be above 0, not {self.youngs_modulus_pa:g}")

    @property
    def inside_diameter_m(self) -> float:
        """Inside diameter. [m]"""
        return self.outside_diameter_m - 2.0 * self.wall_m

    @property
    def area_m2(self) -> float:
        """Flow area. [m²]"""
        return math.pi / 4.0 * self.inside_diameter_m**2

    def wave_speed_m_s(self, temp_c: float) -> float:
        """Wave speed with water of a temperature, by Korteweg with the restraint of this pipe.

        Parameters
        ----------
        temp_c : float
            Water temperature, 0 to 30; it changes the water, not the wall's modulus. [°C]

        Returns
        -------
        float
            Wave speed. [m/s]

        Raises
        ------
        ValueError
            If the temperature is outside 0 to 30 °C.

        Notes
        -----
        Wylie & Streeter, Fluid Transients in Systems (1993) ch. 1, from memory.

        Examples
        --------
        >>> round(PipeSection(300.0, 0.110, 0.0066, "pvc-u", 7e-6, "joints", 16.0).wave_speed_m_s(10.0))
        409
        """
        material = MATERIALS[self.material]
        return korteweg_wave_speed_m_s(
            water_bulk_modulus_pa(temp_c),
            water_density_kg_m3(temp_c),
            self.inside_diameter_m,
            self.wall_m,
            self.youngs_modulus_pa if self.youngs_modulus_pa is not None else material.youngs_modulus_pa,
            restraint_coefficient(
                self.restraint, material.poisson_ratio, self.inside_diameter_m / self.wall_m
            ),
        )


def restraint_coefficient(
    restraint: str, poisson_ratio: float, diameter_over_wall: float, *, thick_wall: bool | None = None
) -> float:
    """c₁ of the Korteweg formula: how much of the wall's stretch the way it is held lets through.

    Parameters
    ----------
    restraint : str
        "upper-end", "all-along" or "joints".
    poisson_ratio : float
        Poisson's ratio μ, 0 to 0.5. [-]
    diameter_over_wall : float
        Inside diameter over wall, D/e, above 0. [-]
    thick_wall : bool or None
        Whether to use the thick-wall formula; None: if D/e is below 25.

    Returns
    -------
    float
        c₁. [-]

    Raises
    ------
    ValueError
        If the restraint is unknown or a number outside its range.

    Notes
    -----
    Thin: 1 - μ/2, 1 - μ², 1. Thick: 2(e/D)(1 + μ) + D/(D + e)·thin. Wylie & Streeter (1993) ch. 1, from
    memory; for "upper-end" other books have 5/4 - μ.

    Examples
    --------
    >>> restraint_coefficient("joints", 0.45, 30.0)
    1.0
    """
    _check_restraint(restraint)
    if not (0.0 <= poisson_ratio <= 0.5 and diameter_over_wall > 0.0):
        raise ValueError("Poisson's ratio must be 0 to 0.5 and diameter over wall above 0")
    thin = {"upper-end": 1.0 - poisson_ratio / 2.0, "all-along": 1.0 - poisson_ratio**2, "joints": 1.0}[
        restraint
    ]
    if thick_wall is None:
        thick_wall = diameter_over_wall < THICK_WALL_BELOW
    if not thick_wall:
        return thin
    return (
        2.0 / diameter_over_wall * (1.0 + poisson_ratio)
        + diameter_over_wall / (diameter_over_wall + 1.0) * thin
    )


def nominal_pressure_bar(material: str, sdr: float, *, design_coefficient: float | None = None) -> float:
    """Nominal pressure of a plastic pipe, 20·MRS/(C·(SDR - 1)).

    Parameters
    ----------
    material : str
        "pe100", "pe80" or "pvc-u".
    sdr : float
        Nominal outside diameter over wall, above 1. [-]
    design_coefficient : float or None
        C; None takes the material's (PVC-U under 110 mm outside: give 2.5). [-]

    Returns
    -------
    float
        PN; the size sold may be the next rounder number below. [bar]

    Raises
    ------
    ValueError
        If the material is unknown or has no strength class, or a number is outside its range.

    Notes
    -----
    ISO 4427 and ISO 12162 (PE), ISO 1452-2 (PVC-U); from memory.

    Examples
    --------
    >>> nominal_pressure_bar("pe100", 17.0), nominal_pressure_bar("pvc-u", 26.0)
    (10.0, 10.0)
    """
    row = _material(material)
    if row.strength_mpa is None or row.design_coefficient is None:
        raise ValueError(f"{material} has no strength class; use the pressure marked on the pipe")
    coefficient = row.design_coefficient if design_coefficient is None else design_coefficient
    if not (sdr > 1.0 and coefficient >= 1.0):
        raise ValueError("SDR must be above 1 and the design coefficient at least 1")
    return 20.0 * row.strength_mpa / (coefficient * (sdr - 1.0))


def rated_pressure_bar(nominal_bar: float, material: str, temp_c: float) -> float:
    """Pressure a pipe may carry for its lifetime at a temperature of its wall.

    Parameters
    ----------
    nominal_bar : float
        PN, above 0. [bar]
    material : str
        A key of `MATERIALS`.
    temp_c : float
        Temperature; no credit for cold, refused above the material's table. [°C]

    Returns
    -------
    float
        Rated pressure. [bar]

    Raises
    ------
    ValueError
        If the material is unknown, the pressure not above 0, or the temperature above the table.

    Examples
    --------
    >>> rated_pressure_bar(10.0, "pe100", 30.0)
    8.7
    """
    factors = _material(material).temperature_factors
    if not nominal_bar > 0.0:
        raise ValueError(f"nominal pressure must be above 0 bar, not {nominal_bar:g}")
    if not temp_c <= factors[-1][0]:
        raise ValueError(f"{material} is rated to {factors[-1][0]:g} °C, not {temp_c:g}")
    share = factors[0][1]
    for (low_c, low), (high_c, high) in zip(factors, factors[1:], strict=False):
        if temp_c > low_c:
            share = low + (high - low) * min(1.0, (temp_c - low_c) / (high_c - low_c))
    return nominal_bar * share


def surge_limit_pa(nominal_bar: float, material: str, temp_c: float, allowance: str = "none") -> float:
    """Highest total pressure, static and surge together, that a pipe may see.

    Parameters
    ----------
    nominal_bar : float
        PN, above 0. [bar]
    material : str
        A key of `MATERIALS`.
    temp_c : float
        Temperature of the wall. [°C]
    allowance : str
        "none" (nothing above the rated pressure: chosen by us as the default), "recurring" (surges that come
        daily) or "occasional" (a rare emergency).

    Returns
    -------
    float
        Limit, gauge. [Pa]

    Raises
    ------
    ValueError
        If the material or the allowance is unknown, or `rated_pressure_bar` refuses the rest.

    Examples
    --------
    >>> round(surge_limit_pa(10.0, "pe100", 10.0)), round(surge_limit_pa(10.0, "pe100", 10.0, "recurring"))
    (1000000, 1500000)
    """
    row = _material(material)
    if allowance not in ALLOWANCES:
        raise ValueError(f"allowance must be one of {', '.join(ALLOWANCES)}, not {allowance!r}")
    factor = {"none": 1.0, "recurring": row.recurring_factor, "occasional": row.occasional_factor}[allowance]
    return factor * PA_PER_BAR * rated_pressure_bar(nominal_bar, material, temp_c)


def site_test_pressure_bar(design_pressure_bar: float, *, surge_calculated: bool) -> float:
    """Pressure of the acceptance test of a laid pipe.

    Parameters
    ----------
    design_pressure_bar : float
        Maximum design pressure, surge included, above 0. [bar]
    surge_calculated : bool
        Whether the surge in it was calculated; if not, it is a fixed allowance and the test is harder.

    Returns
    -------
    float
        Test pressure. [bar]

    Raises
    ------
    ValueError
        If the pressure is not above 0.

    Notes
    -----
    EN 805:2000 §11, from memory.

    Examples
    --------
    >>> site_test_pressure_bar(7.0, surge_calculated=True)
    8.0
    """
    if not design_pressure_bar > 0.0:
        raise ValueError(f"design pressure must be above 0 bar, not {design_pressure_bar:g}")
    if surge_calculated:
        return design_pressure_bar + 1.0
    return min(1.5 * design_pressure_bar, design_pressure_bar + 5.0)


def _material(name: str) -> Material:
    if name not in MATERIALS:
        raise ValueError(f"material must be one of {', '.join(MATERIALS)}, not {name!r}")
    return MATERIALS[name]


def _check_restraint(restraint: str) -> None:
    if restraint not in RESTRAINTS:
        raise ValueError(f"restraint must be one of {', '.join(RESTRAINTS)}, not {restraint!r}")
