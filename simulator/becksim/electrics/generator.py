"""Permanent-magnet generator behind a rectifier, as it is seen on the DC side.

The unloaded voltage grows with speed; the current takes its share of it in the winding and in the
rectifier; iron and bearings brake whether there is current or not. What an owner knows is one figure, the
efficiency at the best power; `fit_generator` parts its losses.

    emf = volts_per_rpm * rpm
    current = (shaft power - iron loss) / emf
    voltage = emf - current * resistance - rectifier drop
"""

import math
from dataclasses import dataclass

RECTIFIER_DROP_V = 1.4  # two silicon junctions of a bridge; common practice, no source
# Of what the rectifier leaves of the loss at the best power, iron and bearings have this share and the
# winding the rest: a small machine is wound with thin wire. Chosen by us.
IRON_SHARE = 0.25
# Of the iron and bearing loss at the rated speed, this share grows with the speed (bearings and hysteresis: a
# steady torque), the rest with its square (eddy currents). Chosen by us.
STEADY_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Generator:
    """A generator with its rectifier.

    Parameters
    ----------
    volts_per_rpm : float
        Rectified voltage, unloaded, per revolution a minute [V min].
    resistance_ohm : float
        Of the winding, as the rectified current meets it: of a bridge's two leads in series [ohm].
    rectifier_drop_v : float
        Lost in the rectifier at any current [V].
    steady_w_per_rpm : float
        Loss in bearings and iron that grows with the speed [W min].
    eddy_w_per_rpm2 : float
        Loss in the iron that grows with its square [W min2].

    Raises
    ------
    ValueError
        If volts_per_rpm is not above 0, or another figure is below 0.

    Examples
    --------
    >>> machine = Generator(0.05, resistance_ohm=0.2, rectifier_drop_v=1.4, steady_w_per_rpm=0.02)
    >>> machine.emf_v(1000.0), machine.iron_w(1000.0)
    (50.0, 20.0)
    >>> machine.current_a(520.0, 1000.0), round(machine.bus_v(520.0, 1000.0), 1)
    (10.0, 46.6)
    """

    volts_per_rpm: float
    resistance_ohm: float = 0.0
    rectifier_drop_v: float = RECTIFIER_DROP_V
    steady_w_per_rpm: float = 0.0
    eddy_w_per_rpm2: float = 0.0

    def __post_init__(self) -> None:
        if not self.volts_per_rpm > 0.0:
            raise ValueError(f"volts_per_rpm must be above 0, found {self.volts_per_rpm}")
        for name in ("resistance_ohm", "rectifier_drop_v", "steady_w_per_rpm", "eddy_w_per_rpm2"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"{name} must be at least 0, found {getattr(self, name)}")

    def emf_v(self, rpm: float) -> float:
        """Rectified voltage without current [V]."""
        return self.volts_per_rpm * rpm

    def iron_w(self, rpm: float) -> float:
        """Loss in iron and bearings [W]."""
        return rpm * (self.steady_w_per_rpm + rpm * self.eddy_w_per_rpm2)

    def current_a(self, shaft_w: float, rpm: float) -> float:
        """Direct current [A] of a shaft power [W] at a speed above 0; none while the iron takes it all."""
        return max(0.0, shaft_w - self.iron_w(rpm)) / self.emf_v(rpm)

    def bus_v(self, shaft_w: float, rpm: float) -> float:
        """Voltage behind the rectifier [V]."""
        drop_v = self.current_a(shaft_w, rpm) * self.resistance_ohm + self.rectifier_drop_v
        return self.emf_v(rpm) - drop_v

    def bus_w(self, shaft_w: float, rpm: float) -> float:
        """Power behind the rectifier [W]."""
        return self.current_a(shaft_w, rpm) * self.bus_v(shaft_w, rpm)


def fit_generator(
    volts_per_rpm: float,
    shaft_w: float,
    rpm: float,
    efficiency: float,
    *,
    rectifier_drop_v: float = RECTIFIER_DROP_V,
    resistance_ohm: float | None = None,
    iron_loss_w: float | None = None,
) -> Generator:
    """The generator that has a known efficiency at one shaft power and speed.

    What is known of the winding or the iron is taken as it is; the other then has the rest of the loss, and
    if neither is known they share it (`IRON_SHARE`). If both are known, the efficiency is not used.

    Parameters
    ----------
    volts_per_rpm : float
        As for `Generator`.
    shaft_w, rpm : float
        Shaft power [W] and speed [1/min] at which the efficiency was found.
    efficiency : float
        DC power / shaft power there [-].
    rectifier_drop_v, resistance_ohm : float
        As for `Generator`.
    iron_loss_w : float
        Loss in iron and bearings at that speed [W].

    Returns
    -------
    Generator

    Raises
    ------
    ValueError
        If the known losses alone are more than the efficiency leaves.

    Examples
    --------
    >>> machine = fit_generator(0.05, 600.0, 1000.0, 0.82)
    >>> round(machine.bus_w(600.0, 1000.0) / 600.0, 9)
    0.82
    >>> round(machine.iron_w(1000.0), 1), round(machine.resistance_ohm, 3)
    (23.0, 0.517)
    """
    emf_v = volts_per_rpm * rpm
    known = resistance_ohm, iron_loss_w
    if resistance_ohm is None and iron_loss_w is None:
        # loss = drop * I + rest, iron = share * rest and I = (shaft - iron) / emf, solved for the iron
        lost_w = (1.0 - efficiency) * shaft_w - rectifier_drop_v * shaft_w / emf_v
        iron_loss_w = IRON_SHARE * lost_w / (1.0 - IRON_SHARE * rectifier_drop_v / emf_v)
    elif iron_loss_w is None:
        assert resistance_ohm is not None
        # R I^2 - (emf - drop) I + DC power = 0; of the two currents the smaller
        free_v = emf_v - rectifier_drop_v
        root_v2 = free_v * free_v - 4.0 * resistance_ohm * efficiency * shaft_w
        if free_v <= 0.0 or root_v2 < 0.0:
            raise _too_lossy(efficiency, rectifier_drop_v, known)
        iron_loss_w = shaft_w - emf_v * 2.0 * efficiency * shaft_w / (free_v + math.sqrt(root_v2))
    if not 0.0 <= iron_loss_w < shaft_w:
        raise _too_lossy(efficiency, rectifier_drop_v, known)
    if resistance_ohm is None:
        current_a = (shaft_w - iron_loss_w) / emf_v
        resistance_ohm = (emf_v - rectifier_drop_v - efficiency * shaft_w / current_a) / current_a
        if resistance_ohm < 0.0:
            raise _too_lossy(efficiency, rectifier_drop_v, known)
    return Generator(
        volts_per_rpm,
        resistance_ohm,
        rectifier_drop_v,
        STEADY_SHARE * iron_loss_w / rpm,
        (1.0 - STEADY_SHARE) * iron_loss_w / (rpm * rpm),
    )


def _too_lossy(
    efficiency: float, rectifier_drop_v: float, known: tuple[float | None, float | None]
) -> ValueError:
    resistance_ohm, iron_loss_w = known
    parts = [f"a rectifier that loses {rectifier_drop_v:g} V"]
    if resistance_ohm is not None:
        parts.append(f"a winding of {resistance_ohm:g} ohm")
    if iron_loss_w is not None:
        parts.append(f"{iron_loss_w:g} W lost in the iron")
    return ValueError(f"an efficiency of {efficiency:.3g} is not possible with {' and '.join(parts)}")
