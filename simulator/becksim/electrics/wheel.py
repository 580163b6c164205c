"""Pelton wheel: several jets, one bucket speed; what the shaft gives, and how fast it runs without load.

Each jet has the same parabola of power against speed ratio, so their sum stays a parabola in the bucket
speed u: shaft power = a u - b u^2 - w u^3, where a is the bucket force at standstill [N], b its fall with
speed [kg/s] and w the windage [W s3/m3]. All of it is then closed form.
Speed ratio = bucket speed / jet velocity.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

WATER_DENSITY_KG_M3 = 999.703  # IAPWS R6-95 (IAPWS-95) at 10 degC and 0.1 MPa, a hill stream


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel.

    Parameters
    ----------
    pitch_diameter_m : float
        Diameter of the circle that the jets touch [m].
    best_speed_ratio : float
        Bucket speed / jet velocity at most power [-]; 0.5 after Euler, 0.45-0.48 on real wheels
        (ESHA 2004 guide ch. 6, from memory).
    peak_efficiency : float
        Shaft power / jet power of a good fixed jet at the best speed, windage aside [-].
    windage_w_s3_m3 : float
        Windage power = windage_w_s3_m3 * u^3 [W s3/m3].

    Raises
    ------
    ValueError
        If the diameter or the speed ratio is not positive, or a ratio is outside its range.

    Examples
    --------
    >>> wheel = Wheel(0.20, 0.46, 0.70, 0.02)
    >>> a, b = wheel.coefficients([0.004, 0.004], [27.0, 27.0], [1.0, 1.0])
    >>> round(best_speed_m_s(a, b, wheel.windage_w_s3_m3), 2)
    12.09
    >>> round(wheel.rpm(12.09))
    1155
    """

    pitch_diameter_m: float
    best_speed_ratio: float = 0.46
    peak_efficiency: float = 0.70
    windage_w_s3_m3: float = 0.0

    def __post_init__(self) -> None:
        for name in ("pitch_diameter_m", "best_speed_ratio"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} must be above 0, found {getattr(self, name)}")
        if not 0.0 < self.peak_efficiency <= 1.0:
            raise ValueError(f"peak_efficiency must be above 0 and at most 1, found {self.peak_efficiency}")
        if not self.windage_w_s3_m3 >= 0.0:
            raise ValueError(f"windage_w_s3_m3 must be at least 0, found {self.windage_w_s3_m3}")

    def coefficients(
        self,
        flows_m3_s: Sequence[float],
        velocities_m_s: Sequence[float],
        qualities: Sequence[float],
        density_kg_m3: float = WATER_DENSITY_KG_M3,
    ) -> tuple[float, float]:
        """Sum the jets' parabolas into the a and b of the module's formula.

        A jet that the buckets outrun (speed ratio above twice the best) brakes the wheel.

        Parameters
        ----------
        flows_m3_s, velocities_m_s, qualities : sequence of float, shape (jets,)
            Flow [m3/s], jet velocity [m/s], quality [-]: 1 for a good fixed jet, less for a pinched needle.
        density_kg_m3 : float
            Water density [kg/m3].

        Returns
        -------
        tuple of float
            a [N] and b [kg/s].

        Examples
        --------
        >>> a, b = Wheel(0.20, 0.5, 1.0).coefficients([0.001], [20.0], [1.0], 1000.0)
        >>> a, b  # a u - b u^2 is 200 W, all of the jet's power, at u = 10 m/s
        (40.0, 2.0)
        """
        force_n = 0.0
        slope_kg_s = 0.0
        for flow_m3_s, velocity_m_s, quality in zip(flows_m3_s, velocities_m_s, qualities, strict=True):
            useful_m3_s = flow_m3_s * quality
            slope_kg_s += useful_m3_s
            force_n += useful_m3_s * velocity_m_s
        ratio = self.best_speed_ratio
        scale = density_kg_m3 * self.peak_efficiency / ratio
        return scale * force_n, scale * slope_kg_s / (2.0 * ratio)

    def rpm(self, speed_m_s: float) -> float:
        """Revolutions a minute at a bucket speed [m/s].

        Examples
        --------
        >>> round(Wheel(0.20).rpm(12.0))
        1146
        """
        return 60.0 * speed_m_s / (math.pi * self.pitch_diameter_m)


def shaft_power_w(force_n: float, slope_kg_s: float, windage_w_s3_m3: float, speed_m_s: float) -> float:
    """Shaft power [W] at a bucket speed: a u - b u^2 - w u^3.

    Parameters
    ----------
    force_n, slope_kg_s : float
        a [N] and b [kg/s] of `Wheel.coefficients`.
    windage_w_s3_m3 : float
        w [W s3/m3].
    speed_m_s : float
        Bucket speed u [m/s].

    Examples
    --------
    >>> shaft_power_w(40.0, 2.0, 0.0, 10.0)
    200.0
    """
    return speed_m_s * (force_n - speed_m_s * (slope_kg_s + speed_m_s * windage_w_s3_m3))


def best_speed_m_s(force_n: float, slope_kg_s: float, windage_w_s3_m3: float) -> float:
    """Bucket speed [m/s] of most shaft power: the positive root of a - 2 b u - 3 w u^2 = 0; 0 without jets.

    Parameters as for `shaft_power_w`.

    Examples
    --------
    >>> best_speed_m_s(40.0, 2.0, 0.0)
    10.0
    """
    if force_n <= 0.0:
        return 0.0
    return force_n / (slope_kg_s + math.sqrt(slope_kg_s * slope_kg_s + 3.0 * windage_w_s3_m3 * force_n))


def free_run_speed_m_s(force_n: float, slope_kg_s: float, windage_w_s3_m3: float) -> float:
    """Bucket speed [m/s] of a wheel without load: the positive root of a - b u - w u^2 = 0; 0 without jets.

    Parameters as for `shaft_power_w`.

    Examples
    --------
    >>> free_run_speed_m_s(40.0, 2.0, 0.0)
    20.0
    """
    if force_n <= 0.0:
        return 0.0
    return 2.0 * force_n / (slope_kg_s + math.sqrt(slope_kg_s * slope_kg_s + 4.0 * windage_w_s3_m3 * force_n))


def relative_efficiency(speed_ratio: float, best_speed_ratio: float = 0.5) -> float:
    """Efficiency / peak efficiency of one jet against speed ratio: x (x0 - x) / xb^2 with x0 = 2 xb.

    Source: Euler's 4 x (1 - x), stretched so that its peak is where real wheels have it.

    Parameters
    ----------
    speed_ratio, best_speed_ratio : float
        x and xb, bucket speed / jet velocity [-].

    Examples
    --------
    >>> relative_efficiency(0.5), relative_efficiency(1.0)
    (1.0, 0.0)
    """
    return speed_ratio * (2.0 * best_speed_ratio - speed_ratio) / (best_speed_ratio * best_speed_ratio)


def euler_power_w(
    flow_m3_s: float,
    velocity_m_s: float,
    speed_m_s: float,
    deflection_deg: float,
    bucket_friction: float = 1.0,
    density_kg_m3: float = WATER_DENSITY_KG_M3,
) -> float:
    """Runner power [W] after Euler: rho Q (V - u) u (1 - k cos beta).

    Source: Nag, Power Plant Engineering, ch. 10; any hydraulic machines text.

    Parameters
    ----------
    flow_m3_s, velocity_m_s, speed_m_s : float
        Flow of all jets Q [m3/s], jet velocity V [m/s], bucket speed u [m/s].
    deflection_deg : float
        Angle beta by which the bucket turns the water [deg], 160-170 on real ones.
    bucket_friction : float
        k, relative velocity leaving / entering the bucket [-]; 1 is no loss.
    density_kg_m3 : float
        Water density [kg/m3].

    Examples
    --------
    >>> euler_power_w(0.001, 20.0, 10.0, 180.0, density_kg_m3=1000.0)
    200.0
    """
    turn = 1.0 - bucket_friction * math.cos(math.radians(deflection_deg))
    return density_kg_m3 * flow_m3_s * (velocity_m_s - speed_m_s) * speed_m_s * turn


def euler_hydraulic_efficiency(
    speed_ratio: float, deflection_deg: float, bucket_friction: float = 1.0, velocity_coefficient: float = 1.0
) -> float:
    """Runner power / power of the net head [-]: 2 Cv^2 x (1 - x) (1 - k cos beta).

    With the default coefficient of 1 the base is the jet's own power. Source: as `euler_power_w`.

    Parameters
    ----------
    speed_ratio : float
        x, bucket speed / jet velocity [-].
    deflection_deg, bucket_friction : float
        As for `euler_power_w`.
    velocity_coefficient : float
        Cv of the nozzle, jet velocity / sqrt(2 g H) [-].

    Examples
    --------
    >>> round(euler_hydraulic_efficiency(0.46, 165.0), 3)
    0.977
    """
    turn = 1.0 - bucket_friction * math.cos(math.radians(deflection_deg))
    return 2.0 * velocity_coefficient**2 * speed_ratio * (1.0 - speed_ratio) * turn


class EulerLosses(NamedTuple):
    """Where the rest of the net head goes, as shares of it [-]; with the efficiency they add to 1."""

    bucket: float
    nozzle: float
    discharge: float


def euler_losses(
    speed_ratio: float, deflection_deg: float, bucket_friction: float = 1.0, velocity_coefficient: float = 1.0
) -> EulerLosses:
    """Split what `euler_hydraulic_efficiency` leaves into bucket friction, nozzle and discharge loss.

    Source: Daugherty and Franzini, Fluid Mechanics with Engineering Applications, ch. 15. A text that gives
    the bucket loss as K v2^2/2g has bucket_friction = 1/sqrt(1 + K).
    Parameters as for `euler_hydraulic_efficiency`.

    Examples
    --------
    >>> losses = euler_losses(0.46, 165.0, 0.95, 0.97)
    >>> round(sum(losses) + euler_hydraulic_efficiency(0.46, 165.0, 0.95, 0.97), 12)
    1.0
    """
    angle_rad = math.radians(deflection_deg)
    jet_head = velocity_coefficient**2  # of the net head
    entering = 1.0 - speed_ratio  # relative to the bucket, in jet velocities
    leaving = bucket_friction * entering
    swirl = speed_ratio + leaving * math.cos(angle_rad)
    axial = leaving * math.sin(angle_rad)
    return EulerLosses(
        bucket=jet_head * (entering**2 - leaving**2),
        nozzle=1.0 - jet_head,
        discharge=jet_head * (swirl**2 + axial**2),
    )
