"""The DC bank: battery, turbine's charge regulator, solar and house, over one stretch of constant inputs.

It answers what the rest of the plant needs: how much of the hydro's power is taken (what is not taken lets
the wheel speed up), what the house gets, and where every watt goes. Solar power is counted at the bank's
terminals, after its own regulator; hydro power at the generator's output, before its regulator; the load on
the AC side.

    hydro_accepted + solar_accepted = load_served + inverter_loss + regulator_loss
                                      + resistive_loss + charge_loss + stored

All losses are >= 0; battery_w, battery_a and stored_w are positive while charging.
"""

import math
from dataclasses import dataclass

from becksim.electrics.battery import Chemistry, cell_limits, open_circuit_v

# A charge this near an edge [-] counts as on it, so that rounding cannot ask for endless tiny stretches
# (chosen by us; 0.04 J of a 10 kWh bank).
_EDGE_SOC = 1e-9
# At absorption voltage the current is the missing charge over this time [s]. Lead-acid: the ampere-hour rule,
# amperes <= ampere-hours missing, so 1 h (from memory). LiFePO4: 0.1 h, so that half the
# capacity an hour starts to taper at 95 % (chosen by us).
_TAPER_S = {"lead-acid": 3600.0, "lifepo4": 360.0}


class BankFlows:
    """What `Bank.solve` found: powers [W], current [A], voltage [V]; made once and filled again and again."""

    __slots__ = (
        "battery_a",
        "battery_w",
        "charge_loss_w",
        "hydro_accepted_w",
        "inverter_loss_w",
        "load_served_w",
        "regulator_loss_w",
        "resistive_loss_w",
        "solar_accepted_w",
        "stored_w",
        "terminal_v",
    )

    def __init__(self) -> None:
        self.hydro_accepted_w = 0.0
        self.solar_accepted_w = 0.0
        self.load_served_w = 0.0
        self.battery_w = 0.0
        self.battery_a = 0.0
        self.terminal_v = 0.0
        self.resistive_loss_w = 0.0
        self.charge_loss_w = 0.0
        self.regulator_loss_w = 0.0
        self.inverter_loss_w = 0.0
        self.stored_w = 0.0


@dataclass(frozen=True, slots=True)
class Bank:
    """A battery with its regulators and the house inverter.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    capacity_j : float
        Energy held at 100 %, as it comes out before I2R loss [J].
    resistance_ohm : float
        Of the whole battery [ohm].
    charge_efficiency : float
        Energy stored / energy into the cells beyond the resistive loss [-]; about 0.85 lead-acid,
        0.98 LiFePO4 (common practice, no source).
    hydro_regulator_efficiency, inverter_efficiency : float
        Out / in [-].
    cutoff_soc, reconnect_soc : float
        The house is cut from the battery at the first, joined again at the second [-].

    Raises
    ------
    ValueError
        If the chemistry is unknown, a size is not positive or a ratio is outside its range.

    Examples
    --------
    A full battery takes none of the 500 W offered beyond what the house draws.

    >>> bank = Bank("lead-acid", 12, 36e6, 0.01, 0.85, 0.96, 0.90, 0.40, 0.55)
    >>> flows = BankFlows()
    >>> bank.solve(36e6, 500.0, 0.0, 216.0, 28.8, True, flows)
    >>> round(flows.hydro_accepted_w, 6), flows.stored_w, flows.terminal_v
    (250.0, 0.0, 28.8)
    """

    chemistry: Chemistry
    cells: int
    capacity_j: float
    resistance_ohm: float
    charge_efficiency: float
    hydro_regulator_efficiency: float
    inverter_efficiency: float
    cutoff_soc: float
    reconnect_soc: float

    def __post_init__(self) -> None:
        cell_limits(self.chemistry)
        for name in ("cells", "capacity_j", "resistance_ohm"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be above 0, found {getattr(self, name)}")
        for name in ("charge_efficiency", "hydro_regulator_efficiency", "inverter_efficiency"):
            if not 0.0 < getattr(self, name) <= 1.0:
                raise ValueError(f"{name} must be above 0 and at most 1, found {getattr(self, name)}")
        if not 0.0 <= self.cutoff_soc < self.reconnect_soc <= 1.0:
            raise ValueError(
                "cutoff_soc must be below reconnect_soc, both within 0..1, "
                f"found {self.cutoff_soc} and {self.reconnect_soc}"
            )

    def solve(
        self,
        energy_j: float,
        hydro_available_w: float,
        solar_available_w: float,
        load_w: float,
        absorption_v: float,
        house_connected: bool,
        flows: BankFlows,
    ) -> None:
        """Share the power out at this instant; fills flows.

        The terminals stay at or below absorption_v; nothing is turned away while they are below it. Solar is
        taken first, so the hydro is curtailed first (chosen by us: the solar regulator is the quicker).
        Charging raises the voltage by more than the plain resistance does (polarization), so that it stands
        at absorption_v just when the current is all the battery accepts; resistive_loss_w counts that too.
        The answer holds while the charge hardly moves: step at most `longest_stretch_s`, and while curtailed
        below full at most about a tenth of the taper time (360 s lead-acid, 36 s LiFePO4).

        Parameters
        ----------
        energy_j : float
            Stored energy [J], held within 0..capacity_j.
        hydro_available_w, solar_available_w, load_w : float
            At generator output, at the bank's terminals, on the AC side [W], >= 0.
        absorption_v : float
            Highest charging voltage [V], see `becksim.electrics.battery.absorption_v`.
        house_connected : bool
            False: the house may not draw on the battery, only on what hydro and solar make just now.
        flows : BankFlows
            Overwritten.

        Raises
        ------
        ValueError
            If a power is negative.

        Examples
        --------
        >>> bank = Bank("lifepo4", 16, 36e6, 0.01, 0.98, 0.96, 0.90, 0.10, 0.20)
        >>> flows = BankFlows()
        >>> bank.solve(18e6, 0.0, 0.0, 450.0, 55.2, True, flows)
        >>> round(flows.battery_w, 6), round(flows.terminal_v, 2), flows.load_served_w
        (-500.0, 52.54, 450.0)
        """
        if hydro_available_w < 0.0 or solar_available_w < 0.0 or load_w < 0.0:
            raise ValueError("hydro_available_w, solar_available_w and load_w must be at least 0")
        soc = energy_j / self.capacity_j
        rest_v = open_circuit_v(self.chemistry, self.cells, soc)
        regulator = self.hydro_regulator_efficiency
        house_w = load_w / self.inverter_efficiency
        made_w = hydro_available_w * regulator + solar_available_w
        surplus_w = made_w - house_w
        hydro_w = hydro_available_w
        solar_w = solar_available_w
        served_w = load_w
        battery_w = current_a = cell_w = resistive_w = stored_w = 0.0
        terminal_v = rest_v

        if surplus_w > 0.0:
            headroom_v = absorption_v - rest_v
            accept_w = accept_a = charge_ohm = 0.0
            if headroom_v > 0.0 and soc < 1.0 - _EDGE_SOC:
                charge_ohm = headroom_v * rest_v * _TAPER_S[self.chemistry] / (self.capacity_j - energy_j)
                if charge_ohm < self.resistance_ohm:
                    charge_ohm = self.resistance_ohm
                accept_a = headroom_v / charge_ohm
                accept_w = absorption_v * accept_a
            if surplus_w < accept_w:
                battery_w = surplus_w
                current_a = (
                    2.0 * surplus_w / (rest_v + math.sqrt(rest_v * rest_v + 4.0 * charge_ohm * surplus_w))
                )
                terminal_v = rest_v + charge_ohm * current_a
                if terminal_v > absorption_v:  # by rounding only
                    terminal_v = absorption_v
                resistive_w = charge_ohm * current_a * current_a
            else:
                battery_w = accept_w
                current_a = accept_a
                if headroom_v > 0.0:
                    terminal_v = absorption_v
                    resistive_w = headroom_v * accept_a
                used_w = house_w + accept_w
                if solar_w >= used_w:
                    solar_w = used_w
                    hydro_w = 0.0
                else:
                    hydro_w = (used_w - solar_w) / regulator
                    if hydro_w > hydro_available_w:  # by rounding only
                        hydro_w = hydro_available_w
            cell_w = rest_v * current_a
            stored_w = cell_w * self.charge_efficiency
        elif surplus_w < 0.0:
            if house_connected and soc > _EDGE_SOC:
                draw_w = -surplus_w
                ohm = self.resistance_ohm
                root = rest_v * rest_v - 4.0 * ohm * draw_w
                if root < 0.0:  # more than the battery can give at all
                    draw_w = rest_v * rest_v / (4.0 * ohm)
                    served_w = (made_w + draw_w) * self.inverter_efficiency
                    root = 0.0
                current_a = -2.0 * draw_w / (rest_v + math.sqrt(root))
                battery_w = -draw_w
                terminal_v = rest_v + ohm * current_a
                resistive_w = ohm * current_a * current_a
                cell_w = stored_w = rest_v * current_a
            else:
                served_w = made_w * self.inverter_efficiency
            if served_w > load_w:  # by rounding only
                served_w = load_w
            house_w = made_w - battery_w

        flows.hydro_accepted_w = hydro_w
        flows.solar_accepted_w = solar_w
        flows.load_served_w = served_w
        flows.battery_w = battery_w
        flows.battery_a = current_a
        flows.terminal_v = terminal_v
        flows.resistive_loss_w = resistive_w
        flows.charge_loss_w = cell_w - stored_w
        flows.regulator_loss_w = hydro_w - hydro_w * regulator
        flows.inverter_loss_w = house_w - served_w
        flows.stored_w = stored_w

    def longest_stretch_s(self, flows: BankFlows, energy_j: float) -> float:
        """Seconds at this rate until the charge meets empty, full, cut-off or reconnection; inf if it stands.

        An edge on which the charge already is (within rounding) does not count.

        Parameters
        ----------
        flows : BankFlows
            From `solve`.
        energy_j : float
            Stored energy [J].

        Examples
        --------
        >>> bank = Bank("lifepo4", 16, 36e6, 0.01, 0.98, 0.96, 0.90, 0.10, 0.20)
        >>> flows = BankFlows()
        >>> flows.stored_w = 720.0
        >>> bank.longest_stretch_s(flows, 3.6e6), bank.longest_stretch_s(flows, 7.2e6)
        (5000.0, 40000.0)
        """
        stored_w = flows.stored_w
        edge_j = _EDGE_SOC * self.capacity_j
        if stored_w > 0.0:
            reconnect_j = self.reconnect_soc * self.capacity_j
            target_j = reconnect_j if energy_j < reconnect_j - edge_j else self.capacity_j
            return max(0.0, target_j - energy_j) / stored_w
        if stored_w < 0.0:
            cutoff_j = self.cutoff_soc * self.capacity_j
            target_j = cutoff_j if energy_j > cutoff_j + edge_j else 0.0
            return max(0.0, energy_j - target_j) / -stored_w
        return math.inf

    def next_house_connected(self, energy_j: float, house_connected: bool) -> bool:
        """Whether the house may draw on the battery from now on: off at cut-off, on again at reconnection.

        Parameters
        ----------
        energy_j : float
            Stored energy [J].
        house_connected : bool
            As it was until now.

        Examples
        --------
        >>> bank = Bank("lifepo4", 16, 36e6, 0.01, 0.98, 0.96, 0.90, 0.10, 0.20)
        >>> bank.next_house_connected(5.4e6, True), bank.next_house_connected(5.4e6, False)
        (True, False)
        """
        soc = energy_j / self.capacity_j
        if house_connected:
            return soc > self.cutoff_soc + _EDGE_SOC
        return soc >= self.reconnect_soc - _EDGE_SOC
