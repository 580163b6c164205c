"""Steady flow of a penstock of sections in series, fast enough to be asked a million times a replay.

The friction is solved once, into a table of K(Q) with loss = K(Q)·Q·|Q|. Its entries are rounded, so that the
last bits of a machine's logarithm do not reach a replay.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from becksim.hydraulics.friction import FloatArray, friction_loss_m
from becksim.hydraulics.water import GRAVITY_M_S2, water_kinematic_viscosity_m2_s

# Chosen by us: steps this fine keep the table within 0.1 % down to 2 % of the greatest flow, even across the
# corners of the friction law at Re 2000 and 4000, which a few hundred points would miss by several percent.
TABLE_STEPS = 32768
_SOLVE_TOLERANCE = 1e-13
_SOLVE_STEPS = 60
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


@dataclass(frozen=True)
class Section:
    """One length of pipe.

    Parameters
    ----------
    length_m : float
        Length along the pipe. [m]
    inside_diameter_m : float
        Inside diameter. [m]
    roughness_m : float
        Equivalent sand roughness. [m]
    minor_loss_coefficient : float
        Sum of K of the fittings, in velocity heads of this section. [-]
    """

    length_m: float
    inside_diameter_m: float
    roughness_m: float
    minor_loss_coefficient: float = 0.0


class Penstock:
    """Sections in series, from the intake to the manifold.

    Parameters
    ----------
    sections : sequence of Section
        At least one. Order does not matter to the steady flow.
    temp_c : float
        Water temperature, 0 to 30. [°C]
    most_flow_m3_s : float
        Greatest flow the table reaches; beyond it K keeps its last value. [m³/s]
    gravity_m_s2 : float
        Gravity. [m/s²]

    Raises
    ------
    ValueError
        If there is no section, the greatest flow is not above 0, the sections lose nothing, or one of them is
        refused by `friction_loss_m`.

    Examples
    --------
    >>> pipe = Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02)
    >>> round(pipe.loss_m(0.006), 2)
    2.11
    >>> round(1000.0 * pipe.steady_flow(40.0, 2.5e-4), 2)  # L/s
    6.77
    """

    __slots__ = (
        "sections",
        "temp_c",
        "most_flow_m3_s",
        "gravity_m_s2",
        "_viscosity_m2_s",
        "_table",
        "_steps_per_m3_s",
    )

    def __init__(
        self,
        sections: Sequence[Section],
        *,
        most_flow_m3_s: float,
        temp_c: float = 10.0,
        gravity_m_s2: float = GRAVITY_M_S2,
    ) -> None:
        if not sections:
            raise ValueError("a penstock needs at least one section")
        if not (most_flow_m3_s > 0.0 and math.isfinite(most_flow_m3_s)):
            raise ValueError(f"most_flow_m3_s must be above 0, not {most_flow_m3_s:g}")
        self.sections = tuple(sections)
        self.temp_c = temp_c
        self.most_flow_m3_s = most_flow_m3_s
        self.gravity_m_s2 = gravity_m_s2
        self._viscosity_m2_s = water_kinematic_viscosity_m2_s(temp_c)
        self._steps_per_m3_s = TABLE_STEPS / most_flow_m3_s
        flows_m3_s = np.arange(1, TABLE_STEPS + 1) / self._steps_per_m3_s
        coefficients = self._losses_m(flows_m3_s) / flows_m3_s**2
        table = [float(f"{k:.10g}") for k in coefficients.tolist()]
        if not min(table) > 0.0:
            raise ValueError("a penstock must lose some head: every section has length and fittings of 0")
        # Laminar K grows without limit towards no flow; below the first step it keeps that step's value.
        self._table = [table[0], *table]

    def loss_coefficient(self, flow_m3_s: float) -> float:
        """K(Q) of loss = K(Q)·Q·|Q|, from the table. Hot.

        Parameters
        ----------
        flow_m3_s : float
            Flow. [m³/s]

        Returns
        -------
        float
            K. [s²/m⁵]

        Examples
        --------
        >>> round(Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02).loss_coefficient(0.006))
        58637
        """
        place = (flow_m3_s if flow_m3_s >= 0.0 else -flow_m3_s) * self._steps_per_m3_s
        table = self._table
        if place >= TABLE_STEPS:
            return table[TABLE_STEPS]
        i = int(place)
        k = table[i]
        return k + (table[i + 1] - k) * (place - i)

    def loss_m(self, flow_m3_s: float) -> float:
        """Head lost between the intake and the manifold, with the sign of the flow. Hot.

        Parameters
        ----------
        flow_m3_s : float
            Flow. [m³/s]

        Returns
        -------
        float
            Head loss. [m]

        Examples
        --------
        >>> Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02).loss_m(0.0)
        0.0
        """
        forward = flow_m3_s if flow_m3_s >= 0.0 else -flow_m3_s
        return self.loss_coefficient(forward) * flow_m3_s * forward

    def exact_loss_m(self, flow_m3_s: float) -> float:
        """Head lost, by the friction law itself; slow.

        Parameters
        ----------
        flow_m3_s : float
            Flow. [m³/s]

        Returns
        -------
        float
            Head loss, with the sign of the flow. [m]

        Examples
        --------
        >>> round(Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02).exact_loss_m(0.006), 3)
        2.111
        """
        return float(self._losses_m(np.asarray(flow_m3_s, dtype=np.float64)))

    def steady_flow(self, gross_head_m: float, effective_area_m2: float) -> float:
        """Flow at which the head is used up: H = K(Q)·Q² + Q²/(2g·A²). Hot.

        Parameters
        ----------
        gross_head_m : float
            Water level above the jets. [m]
        effective_area_m2 : float
            Sum of discharge coefficient times area of all that is open at the manifold. [m²]

        Returns
        -------
        float
            Flow; 0 if nothing is open or the head is not above 0. [m³/s]

        Examples
        --------
        >>> Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02).steady_flow(40.0, 0.0)
        0.0
        """
        if not (gross_head_m > 0.0 and effective_area_m2 > 0.0):
            return 0.0
        table = self._table
        steps_per_m3_s = self._steps_per_m3_s
        jets = 1.0 / (2.0 * self.gravity_m_s2 * effective_area_m2 * effective_area_m2)
        # K is least at the end of the table, so Newton starts above the answer and comes down on it.
        flow = math.sqrt(gross_head_m / (table[TABLE_STEPS] + jets))
        for _ in range(_SOLVE_STEPS):
            place = flow * steps_per_m3_s
            if place >= TABLE_STEPS:
                k = table[TABLE_STEPS]
                slope = 0.0
            else:
                i = int(place)
                k = table[i]
                rise = table[i + 1] - k
                k += rise * (place - i)
                slope = rise * steps_per_m3_s
            whole = k + jets
            change = (whole * flow * flow - gross_head_m) / (flow * (2.0 * whole + slope * flow))
            flow -= change
            if -_SOLVE_TOLERANCE * flow < change < _SOLVE_TOLERANCE * flow:
                break
        return flow

    def best_power(self, gross_head_m: float) -> tuple[float, float]:
        """Flow that brings the most hydraulic power ρ·g·Q·(H - loss) to the manifold.

        Parameters
        ----------
        gross_head_m : float
            Water level above the jets, above 0. [m]

        Returns
        -------
        flow_m3_s : float
            The flow; may be beyond `most_flow_m3_s`. [m³/s]
        net_head_m : float
            Head left at the manifold. [m]

        Raises
        ------
        ValueError
            If the head is not above 0.

        Examples
        --------
        >>> pipe = Penstock([Section(300.0, 0.0968, 1.5e-6)], most_flow_m3_s=0.02)
        >>> flow_m3_s, net_head_m = pipe.best_power(40.0)
        >>> round(1000.0 * flow_m3_s, 1), round(net_head_m, 1)  # a smooth pipe: more than 1/3 of 40 m is lost
        (17.4, 25.8)
        """
        flow_m3_s = best_power_flow_m3_s(gross_head_m, self.exact_loss_m, self.most_flow_m3_s)
        return flow_m3_s, gross_head_m - self.exact_loss_m(flow_m3_s)

    def _losses_m(self, flows_m3_s: FloatArray) -> FloatArray:
        total = np.zeros_like(flows_m3_s)
        for section in self.sections:
            total = total + friction_loss_m(
                flows_m3_s,
                section.length_m,
                section.inside_diameter_m,
                section.roughness_m,
                self._viscosity_m2_s,
                minor_loss_coefficient=section.minor_loss_coefficient,
                gravity_m_s2=self.gravity_m_s2,
            )
        return total


def best_power_flow_m3_s(
    gross_head_m: float, loss_m: Callable[[float], float], guess_m3_s: float = 0.01
) -> float:
    """Flow of greatest Q·(H - loss(Q)) for any rising loss law: a scan, then a golden-section search.

    Parameters
    ----------
    gross_head_m : float
        Gross head, above 0. [m]
    loss_m : callable
        Head loss [m] of a flow [m³/s], rising from 0 without limit.
    guess_m3_s : float
        Any flow of about the right size; only the speed depends on it. [m³/s]

    Returns
    -------
    float
        The flow. [m³/s]

    Raises
    ------
    ValueError
        If the head or the guess is not above 0.

    Notes
    -----
    With loss = k·Qⁿ the answer is where H/(n + 1) is lost (calculus); real pipes have no single n.

    Examples
    --------
    >>> round(best_power_flow_m3_s(30.0, lambda flow_m3_s: 1e5 * flow_m3_s**2), 6)  # where 10 m is lost
    0.01
    """
    if not (gross_head_m > 0.0 and guess_m3_s > 0.0):
        raise ValueError("gross head and guess must be above 0")

    def power(flow_m3_s: float) -> float:
        return flow_m3_s * (gross_head_m - loss_m(flow_m3_s))

    end = guess_m3_s  # becomes a flow that uses up all the head, at most twice too large
    while loss_m(end) < gross_head_m:
        end *= 2.0
    while loss_m(end / 2.0) >= gross_head_m:
        end /= 2.0
    scan = 64  # chosen by us: steps over the corners that the friction law has at small flow
    best = max(range(1, scan), key=lambda i: power(end * i / scan))
    low, high = end * (best - 1) / scan, end * (best + 1) / scan
    while high - low > 1e-9 * high:
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if power(left) < power(right):
            low = left
        else:
            high = right
    return (low + high) / 2.0
