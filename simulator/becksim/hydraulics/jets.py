"""Jets at the manifold: fixed ones behind a valve, and the trim jet whose needle sets its flow.

A jet has two resistances in series: its valve and its nozzle. Areas here are effective areas: A passes
Q = A·√(2g·h) under the head h, so a discharge coefficient is inside them. Both are tabulated for every
thousandth of opening when a jet is made, so that a replay only looks them up.
"""

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from becksim.hydraulics.water import GRAVITY_M_S2

FULL_PERMILLE = 1000

# Each curve has 11 points, at 0, 100 ... 1000 ‰ of travel, straight between them.

# Effective area of a full-bore valve over that when open: √(K_open/K) from Weisbach's loss coefficients of a
# valve in a round pipe, read between the points of his tables, from memory; points nearer shut than his are
# chosen by us. Ball: his cock (K 0.05 open, 1.56 at 20°, 5.47 at 30°, 31.2 at 45°, 206 at 60°); most of the
# change in flow is in the last fifth of the closing. Gate: by share of the bore closed (open 0.05, 1/8 0.07,
# 1/2 2.06, 7/8 97.8). Butterfly: by angle (open 0.15, 10° 0.52, 45° 18.7, 70° 751).
VALVE_CURVES = {
    "ball": (0.0, 0.0010, 0.0055, 0.0120, 0.0233, 0.0400, 0.0677, 0.1125, 0.204, 0.456, 1.0),
    "gate": (0.0, 0.0165, 0.0382, 0.0679, 0.105, 0.156, 0.226, 0.349, 0.570, 0.874, 1.0),
    "butterfly": (0.0, 0.0045, 0.0115, 0.0283, 0.0536, 0.0896, 0.147, 0.224, 0.348, 0.580, 1.0),
}
VALVE_LOSS_COEFFICIENTS = {"ball": 0.05, "gate": 0.05, "butterfly": 0.15}  # K when open, of the same tables

# Area between a round seat and a cone needle drawn back by s: 2s - s² (geometry of a cone that fills the seat
# when shut; chosen by us as the common shape).
NEEDLE_CURVE = (0.0, 0.19, 0.36, 0.51, 0.64, 0.75, 0.84, 0.91, 0.96, 0.99, 1.0)

# Share of the jet's power that a needle jet still gives the wheel, over that at full opening: a thin jet
# around a needle frays. Chosen by us.
NEEDLE_QUALITY_CURVE = (0.70, 0.82, 0.89, 0.93, 0.955, 0.970, 0.980, 0.988, 0.994, 0.998, 1.0)


@dataclass(frozen=True)
class Jet:
    """One nozzle with the isolating valve in front of it.

    Parameters
    ----------
    name : str
        Name, for reports.
    kind : str
        "fixed": the opening is that of the valve. "trim": the opening is that of the needle, and the
        valve in front stays open.
    diameter_m : float
        Diameter of the nozzle's mouth (for "trim", with the needle drawn back). [m]
    discharge_coefficient : float
        Of the nozzle, above 0 to 1. [-]
    velocity_coefficient : float
        Jet velocity over √(2g·h), above 0 to 1. [-]
    valve_bore_m : float
        Bore of the valve, not below the nozzle's diameter. [m]
    valve_loss_coefficient : float
        K of the fully open valve, in velocity heads of its bore: about 0.05 for a full-bore ball valve
        (`VALVE_LOSS_COEFFICIENTS`). Above 0, or 0 for a trim jet without a valve. [-]
    valve_kind : str
        A key of `VALVE_CURVES`; matters only for "fixed".
    wheel : int
        Place of the wheel that it drives: 0 the main one, 1 the spare.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> jet = Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)
    >>> print(f"{effective_area_m2(jet, 1000):.4g} {effective_area_m2(jet, 500):.4g}")
    0.0001074 8.609e-05
    """

    name: str
    kind: str
    diameter_m: float
    discharge_coefficient: float
    velocity_coefficient: float
    valve_bore_m: float
    valve_loss_coefficient: float = 0.05
    valve_kind: str = "ball"
    wheel: int = 0
    # For each opening 0..1000 ‰: nozzle and valve together; the nozzle alone; jet velocity over √(2g·manifold
    # head); share of the jet's power.
    effective_areas_m2: tuple[float, ...] = field(init=False, repr=False, compare=False)
    nozzle_areas_m2: tuple[float, ...] = field(init=False, repr=False, compare=False)
    velocity_shares: tuple[float, ...] = field(init=False, repr=False, compare=False)
    efficiencies: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        _check(self)
        tables = _tables(
            self.kind == "fixed",
            self.discharge_coefficient * _circle_m2(self.diameter_m),
            self.velocity_coefficient,
            _circle_m2(self.valve_bore_m) / math.sqrt(self.valve_loss_coefficient)
            if self.valve_loss_coefficient > 0.0
            else math.inf,
            self.valve_kind,
        )
        # A frozen dataclass sets its own tables only this way.
        object.__setattr__(self, "effective_areas_m2", tables[0])
        object.__setattr__(self, "nozzle_areas_m2", tables[1])
        object.__setattr__(self, "velocity_shares", tables[2])
        object.__setattr__(self, "efficiencies", tables[3])


@functools.lru_cache(maxsize=1024)  # they take some ms, and planning asks for the same few sizes
def _tables(
    fixed: bool, nozzle_full_m2: float, velocity_coefficient: float, valve_full_m2: float, valve_kind: str
) -> tuple[tuple[float, ...], ...]:
    """For each opening: area of nozzle and valve together, of the nozzle, share of velocity, of power."""
    steps = range(FULL_PERMILLE + 1)
    nozzles_m2 = [nozzle_full_m2 * (1.0 if fixed else _curve(NEEDLE_CURVE, s)) for s in steps]
    curve = VALVE_CURVES[valve_kind]
    valves_m2 = [valve_full_m2 * _curve(curve, s) if fixed else valve_full_m2 for s in steps]
    areas_m2 = [_in_series_m2(a, b) for a, b in zip(nozzles_m2, valves_m2, strict=True)]
    shares = [
        velocity_coefficient * area_m2 / nozzle_m2 if area_m2 > 0.0 else 0.0
        for area_m2, nozzle_m2 in zip(areas_m2, nozzles_m2, strict=True)
    ]
    qualities = [1.0 if fixed else _curve(NEEDLE_QUALITY_CURVE, s) for s in steps]
    return _rounded(areas_m2), _rounded(nozzles_m2), _rounded(shares), _rounded(qualities)


def effective_area_m2(jet: Jet, opening_permille: int) -> float:
    """Effective area of valve and nozzle together, A of Q = A·√(2g·H) under the manifold head H. Hot.

    Parameters
    ----------
    jet : Jet
        The jet.
    opening_permille : int
        Opening, 0 to 1000. [‰]

    Returns
    -------
    float
        Effective area; rises with opening from 0. [m²]

    Raises
    ------
    ValueError
        If the opening is outside 0 to 1000.

    Examples
    --------
    >>> effective_area_m2(Jet("trim", "trim", 0.012, 0.95, 0.97, valve_bore_m=0.032), 0)
    0.0
    """
    if not 0 <= opening_permille <= FULL_PERMILLE:
        raise _bad_opening(opening_permille)
    return jet.effective_areas_m2[opening_permille]


def jet_head_m(
    jet: Jet, opening_permille: int, flow_m3_s: float, gravity_m_s2: float = GRAVITY_M_S2
) -> float:
    """Head left at the nozzle's mouth, after its valve: (Q/A_nozzle)²/(2g). Hot.

    Parameters
    ----------
    jet : Jet
        The jet.
    opening_permille : int
        Opening, 0 to 1000. [‰]
    flow_m3_s : float
        Flow of this jet. [m³/s]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Head; 0 for a shut jet. [m]

    Raises
    ------
    ValueError
        If the opening is outside 0 to 1000.

    Examples
    --------
    >>> round(jet_head_m(Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032), 1000, 0.003), 1)
    39.8
    """
    if not 0 <= opening_permille <= FULL_PERMILLE:
        raise _bad_opening(opening_permille)
    area_m2 = jet.nozzle_areas_m2[opening_permille]
    if area_m2 == 0.0:
        return 0.0
    velocity_m_s = flow_m3_s / area_m2
    return velocity_m_s * velocity_m_s / (2.0 * gravity_m_s2)


def jet_velocity_m_s(jet: Jet, head_m: float, gravity_m_s2: float = GRAVITY_M_S2) -> float:
    """Velocity of the free jet, Cv·√(2g·h). Hot.

    Parameters
    ----------
    jet : Jet
        The jet.
    head_m : float
        Head at the nozzle's mouth, as from `jet_head_m`. [m]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Returns
    -------
    float
        Jet velocity; 0 if the head is not above 0. [m/s]

    Examples
    --------
    >>> round(jet_velocity_m_s(Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032), 40.0), 2)
    27.17
    """
    if head_m <= 0.0:
        return 0.0
    return jet.velocity_coefficient * math.sqrt(2.0 * gravity_m_s2 * head_m)


def nozzle_efficiency(jet: Jet, opening_permille: int) -> float:
    """Share of the jet's power that its shape lets the wheel have, over that at full opening. Hot.

    Parameters
    ----------
    jet : Jet
        The jet.
    opening_permille : int
        Opening, 0 to 1000. [‰]

    Returns
    -------
    float
        1 for a fixed jet (what its half-open valve takes is in the head instead); for a needle less at small
        openings. [-]

    Raises
    ------
    ValueError
        If the opening is outside 0 to 1000.

    Examples
    --------
    >>> nozzle_efficiency(Jet("trim", "trim", 0.012, 0.95, 0.97, valve_bore_m=0.032), 200)
    0.89
    """
    if not 0 <= opening_permille <= FULL_PERMILLE:
        raise _bad_opening(opening_permille)
    return jet.efficiencies[opening_permille]


class Manifold:
    """All jets, side by side under one head.

    Parameters
    ----------
    jets : sequence of Jet
        At least one.
    gravity_m_s2 : float
        Gravity. [m/s²]

    Attributes
    ----------
    flows_m3_s, velocities_m_s : list of float
        Flow and jet velocity of each jet, in the order of `jets`, as the last `split` left them.

    Raises
    ------
    ValueError
        If there is no jet.

    Examples
    --------
    >>> north = Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)
    >>> south = Jet("south", "fixed", 0.010, 0.95, 0.97, valve_bore_m=0.032)
    >>> manifold = Manifold([north, south])
    >>> manifold.split([1000, 0], 40.0)
    >>> [round(1000.0 * flow_m3_s, 2) for flow_m3_s in manifold.flows_m3_s]  # L/s
    [3.01, 0.0]
    """

    __slots__ = ("jets", "flows_m3_s", "velocities_m_s", "_double_gravity")

    def __init__(self, jets: Sequence[Jet], gravity_m_s2: float = GRAVITY_M_S2) -> None:
        if not jets:
            raise ValueError("a manifold needs at least one jet")
        self.jets = tuple(jets)
        self.flows_m3_s = [0.0] * len(self.jets)
        self.velocities_m_s = [0.0] * len(self.jets)
        self._double_gravity = 2.0 * gravity_m_s2

    def effective_area_m2(self, openings_permille: Sequence[int]) -> float:
        """Sum of the jets' effective areas. Hot.

        Parameters
        ----------
        openings_permille : sequence of int, one a jet
            Openings, 0 to 1000. [‰]

        Returns
        -------
        float
            Effective area. [m²]

        Raises
        ------
        ValueError
            If an opening is outside 0 to 1000, or there is not one for each jet.

        Examples
        --------
        >>> Manifold([Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)]).effective_area_m2([0])
        0.0
        """
        total_m2 = 0.0
        for jet, opening in zip(self.jets, openings_permille, strict=True):
            if not 0 <= opening <= FULL_PERMILLE:
                raise _bad_opening(opening)
            total_m2 += jet.effective_areas_m2[opening]
        return total_m2

    def split(self, openings_permille: Sequence[int], manifold_head_m: float) -> None:
        """Share the manifold's flow among the jets, into `flows_m3_s` and `velocities_m_s`. Hot.

        Parameters
        ----------
        openings_permille : sequence of int, one a jet
            Openings, 0 to 1000. [‰]
        manifold_head_m : float
            Head in the manifold; at or below 0 nothing flows. [m]

        Raises
        ------
        ValueError
            If an opening is outside 0 to 1000, or there is not one for each jet.

        Examples
        --------
        >>> manifold = Manifold([Jet("north", "fixed", 0.012, 0.95, 0.97, valve_bore_m=0.032)])
        >>> manifold.split([1000], 40.0)
        >>> round(manifold.velocities_m_s[0], 2)
        27.16
        """
        free_m_s = math.sqrt(self._double_gravity * manifold_head_m) if manifold_head_m > 0.0 else 0.0
        flows_m3_s = self.flows_m3_s
        velocities_m_s = self.velocities_m_s
        for i, (jet, opening) in enumerate(zip(self.jets, openings_permille, strict=True)):
            if not 0 <= opening <= FULL_PERMILLE:
                raise _bad_opening(opening)
            flows_m3_s[i] = jet.effective_areas_m2[opening] * free_m_s
            velocities_m_s[i] = jet.velocity_shares[opening] * free_m_s


def _check(jet: Jet) -> None:
    if jet.kind not in ("fixed", "trim"):
        raise ValueError(f"jet {jet.name}: kind must be fixed or trim, not {jet.kind!r}")
    if jet.valve_kind not in VALVE_CURVES:
        kinds = ", ".join(VALVE_CURVES)
        raise ValueError(f"jet {jet.name}: valve kind must be one of {kinds}, not {jet.valve_kind!r}")
    if not 0.0 < jet.diameter_m <= jet.valve_bore_m:
        raise ValueError(f"jet {jet.name}: diameter must be above 0 and not above the valve's bore")
    if not (0.0 < jet.discharge_coefficient <= 1.0 and 0.0 < jet.velocity_coefficient <= 1.0):
        raise ValueError(f"jet {jet.name}: coefficients must be above 0 and at most 1")
    if jet.valve_loss_coefficient < 0.0 or (jet.kind == "fixed" and jet.valve_loss_coefficient == 0.0):
        raise ValueError(
            f"jet {jet.name}: valve loss coefficient must be above 0 (or 0 for a trim jet without valve)"
        )


def _bad_opening(opening_permille: int) -> ValueError:
    return ValueError(f"opening must be 0 to {FULL_PERMILLE} permille, not {opening_permille}")


def _circle_m2(diameter_m: float) -> float:
    return math.pi / 4.0 * diameter_m * diameter_m


def _curve(points: tuple[float, ...], opening_permille: int) -> float:
    i, rest = divmod(opening_permille, 100)
    if rest == 0:
        return points[i]
    return points[i] + (points[i + 1] - points[i]) * rest / 100.0


def _in_series_m2(first_m2: float, second_m2: float) -> float:
    """Effective area of two in series: 1/A² = 1/a² + 1/b²."""
    if first_m2 == 0.0 or second_m2 == 0.0:
        return 0.0
    return 1.0 / math.sqrt(1.0 / (first_m2 * first_m2) + 1.0 / (second_m2 * second_m2))


def _rounded(values: list[float]) -> tuple[float, ...]:
    return tuple(float(f"{value:.12g}") for value in values)
