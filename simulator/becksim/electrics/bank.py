"""The DC bank: battery, charge regulators, house and heater, over one stretch of constant inputs.

It answers what the rest of the plant needs: how much of the hydro's power is taken (what is not taken lets
the wheel speed up), what the house gets, and where every watt goes. Solar power is counted at the bank's
terminals, after its own regulator; hydro power at the generator's output, before its regulator; the load on
the AC side; the surplus heater on the DC side, beside the battery.

    hydro_accepted + solar_accepted = load_served + surplus_served + inverter_loss + regulator_loss
                                      + resistive_loss + charge_loss + stored

All losses are >= 0; battery_w, battery_a and stored_w are positive while charging.
"""

import math
from dataclasses import dataclass

from becksim.electrics.battery import (
    Chemistry,
    Conditions,
    cell_limits,
    conditions_at,
    open_circuit_v,
    soc_at_rest_v,
)

# A charge this near empty or full [-] counts as on it, so that rounding cannot ask for endless tiny stretches
# (chosen by us; 0.04 J of a 10 kWh bank).
_EDGE_SOC = 1e-9
# Part of the resistance that grows as the charge runs out, in proportion to 1 / charge: the shape is that of
# Shepherd (1965, from memory), the size chosen by us: lead-acid has 1.4 times it at 20 %
# and sags below any cut-off before it is empty. LiFePO4: its rest voltage falls away by itself.
_POLARIZED_SHARE = {"lead-acid": 0.1, "lifepo4": 0.0}
_STEP_SHARE = 0.1  # of what is missing or left, in one stretch where that matters; chosen by us
_NEAR_SOC = 0.001  # so near to full or empty, one stretch may go all the way; chosen by us


class BankFlows:
    """What `Bank.solve` found: powers [W], current [A], voltage [V]; made once and filled again and again.

    accept_w : most charging power at this limit; house_on : whether the house is supplied.
    """

    __slots__ = (
        "accept_w",
        "battery_a",
        "battery_w",
        "charge_loss_w",
        "house_on",
        "hydro_accepted_w",
        "inverter_loss_w",
        "load_served_w",
        "regulator_loss_w",
        "resistive_loss_w",
        "solar_accepted_w",
        "stored_w",
        "surplus_served_w",
        "terminal_v",
    )

    def __init__(self) -> None:
        self.hydro_accepted_w = 0.0
        self.solar_accepted_w = 0.0
        self.load_served_w = 0.0
        self.surplus_served_w = 0.0
        self.accept_w = 0.0
        self.battery_w = 0.0
        self.battery_a = 0.0
        self.terminal_v = 0.0
        self.resistive_loss_w = 0.0
        self.charge_loss_w = 0.0
        self.regulator_loss_w = 0.0
        self.inverter_loss_w = 0.0
        self.stored_w = 0.0
        self.house_on = True


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
        Of the whole battery, full and at 25 degC [ohm].
    charge_efficiency : float
        Energy stored / energy into the cells beyond the resistive loss [-]; about 0.85 lead-acid,
        0.98 LiFePO4 (common practice, no source).
    hydro_regulator_efficiency, inverter_efficiency : float
        Out / in [-].
    cutoff_v : float
        The inverter switches off when its terminals stand below this [V].

    Raises
    ------
    ValueError
        If the chemistry is unknown, a size is not positive or a ratio is outside its range.

    Examples
    --------
    A full battery takes none of the 500 W offered beyond what the house draws.

    >>> bank = Bank("lead-acid", 12, 36e6, 0.01, 0.85, 0.96, 0.90, 22.0)
    >>> warm, flows = bank.conditions(25.0), BankFlows()
    >>> bank.solve(36e6, 500.0, 0.0, 216.0, warm, 28.8, True, flows)
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
    cutoff_v: float

    def __post_init__(self) -> None:
        cell_limits(self.chemistry)
        for name in ("cells", "capacity_j", "resistance_ohm", "cutoff_v"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be above 0, found {getattr(self, name)}")
        for name in ("charge_efficiency", "hydro_regulator_efficiency", "inverter_efficiency"):
            if not 0.0 < getattr(self, name) <= 1.0:
                raise ValueError(f"{name} must be above 0 and at most 1, found {getattr(self, name)}")

    def conditions(self, temp_c: float) -> Conditions:
        """What the battery's temperature [degC] makes of it; not hot, so keep one a temperature."""
        return conditions_at(self.chemistry, self.cells, self.resistance_ohm, temp_c)

    def solve(
        self,
        energy_j: float,
        hydro_available_w: float,
        solar_available_w: float,
        load_w: float,
        conditions: Conditions,
        limit_v: float,
        house_connected: bool,
        flows: BankFlows,
        surplus_w: float = 0.0,
    ) -> None:
        """Share the power out at this instant; fills flows.

        The terminals are never charged above limit_v, and nothing is turned away while they are below it,
        unless the battery may not be charged at all: then its rest voltage stands and what the house does not
        draw is turned away. Solar is taken first, so the hydro is curtailed first (chosen by us: the solar
        regulator is the quicker). What would be turned away goes to the surplus heater first.
        Charging raises the voltage by more than the plain resistance does (polarization), so that at
        absorption voltage the current is just what the battery accepts; resistive_loss_w counts that too.
        The house is off if it was, or if the terminals would stand below cutoff_v with it, or if the
        battery has nothing left to give; then all that is made goes to the battery.
        The answer holds while the charge hardly moves: step at most `longest_stretch_s`.

        Parameters
        ----------
        energy_j : float
            Stored energy [J], held within 0..capacity_j.
        hydro_available_w, solar_available_w, load_w : float
            At generator output, at the bank's terminals, on the AC side [W], >= 0.
        conditions : Conditions
            From `conditions`, at the battery's temperature.
        limit_v : float
            Highest charging voltage [V], see `becksim.electrics.charging.Charger.limit_v`; at most
            conditions.absorption_v.
        house_connected : bool
            False: the inverter is off, the house gets nothing.
        flows : BankFlows
            Overwritten.
        surplus_w : float
            The most that a heater on the battery's DC bus takes of what would be turned away [W], >= 0.

        Raises
        ------
        ValueError
            If a power is negative.

        Examples
        --------
        >>> bank = Bank("lifepo4", 16, 36e6, 0.01, 0.98, 0.96, 0.90, 48.0)
        >>> warm, flows = bank.conditions(25.0), BankFlows()
        >>> bank.solve(18e6, 0.0, 0.0, 450.0, warm, 55.2, True, flows)
        >>> round(flows.battery_w, 6), round(flows.terminal_v, 2), flows.load_served_w
        (-500.0, 52.54, 450.0)
        """
        if hydro_available_w < 0.0 or solar_available_w < 0.0 or load_w < 0.0 or surplus_w < 0.0:
            raise ValueError("hydro_available_w, solar_available_w, load_w and surplus_w must be at least 0")
        soc = energy_j / self.capacity_j
        rest_v = open_circuit_v(self.chemistry, self.cells, soc)
        regulator = self.hydro_regulator_efficiency
        made_w = hydro_available_w * regulator + solar_available_w
        hydro_w = hydro_available_w
        solar_w = solar_available_w
        house_w = load_w / self.inverter_efficiency if house_connected else 0.0
        house_on = house_connected
        drawing = False
        accept_w = heater_w = current_a = battery_w = resistive_w = stored_w = charge_loss_w = 0.0
        terminal_v = rest_v

        if house_w > made_w:
            house_on = False
            draw_w = house_w - made_w
            if soc > _EDGE_SOC:
                share = _POLARIZED_SHARE[self.chemistry]
                ohm = conditions.resistance_ohm * (1.0 - share + share / soc)
                root = rest_v * rest_v - 4.0 * ohm * draw_w
                if root >= 0.0:  # else more than the battery can give at all
                    current_a = -2.0 * draw_w / (rest_v + math.sqrt(root))
                    terminal_v = rest_v + ohm * current_a
                    house_on = drawing = terminal_v >= self.cutoff_v
        if drawing:
            battery_w = -draw_w
            resistive_w = ohm * current_a * current_a
            stored_w = rest_v * current_a
            house_w = made_w + draw_w
        else:
            if not house_on:
                house_w = 0.0
            accept_w, battery_w, current_a, terminal_v = self._charge(
                energy_j, rest_v, made_w - house_w, conditions, limit_v
            )
            if house_on and terminal_v < self.cutoff_v:
                house_on = False
                house_w = 0.0
                accept_w, battery_w, current_a, terminal_v = self._charge(
                    energy_j, rest_v, made_w, conditions, limit_v
                )
            used_w = house_w + battery_w
            if used_w < made_w:
                heater_w = made_w - used_w
                if heater_w > surplus_w:
                    heater_w = surplus_w
                used_w += heater_w
                if solar_w >= used_w:
                    solar_w = used_w
                    hydro_w = 0.0
                elif used_w < made_w:
                    hydro_w = (used_w - solar_w) / regulator
                    if hydro_w > hydro_available_w:  # by rounding only
                        hydro_w = hydro_available_w
            resistive_w = (terminal_v - rest_v) * current_a
            cell_w = rest_v * current_a
            stored_w = cell_w * self.charge_efficiency
            charge_loss_w = cell_w - stored_w

        served_w = load_w if house_on else 0.0
        flows.hydro_accepted_w = hydro_w
        flows.solar_accepted_w = solar_w
        flows.load_served_w = served_w
        flows.surplus_served_w = heater_w
        flows.accept_w = accept_w
        flows.battery_w = battery_w
        flows.battery_a = current_a
        flows.terminal_v = terminal_v
        flows.resistive_loss_w = resistive_w
        flows.charge_loss_w = charge_loss_w
        flows.regulator_loss_w = hydro_w - hydro_w * regulator
        flows.inverter_loss_w = house_w - served_w
        flows.stored_w = stored_w
        flows.house_on = house_on

    def _charge(
        self, energy_j: float, rest_v: float, surplus_w: float, conditions: Conditions, limit_v: float
    ) -> tuple[float, float, float, float]:
        """What the battery accepts and what it takes of a surplus [W], the current [A], the voltage [V]."""
        headroom_v = limit_v - rest_v
        missing_j = self.capacity_j - energy_j
        if not conditions.may_charge or headroom_v <= 0.0:
            return 0.0, 0.0, 0.0, rest_v
        if missing_j <= _EDGE_SOC * self.capacity_j:
            return 0.0, 0.0, 0.0, rest_v if surplus_w <= 0.0 else limit_v
        ohm = (conditions.absorption_v - rest_v) * rest_v * conditions.taper_s / missing_j
        if ohm < conditions.resistance_ohm:
            ohm = conditions.resistance_ohm
        current_a = headroom_v / ohm
        accept_w = limit_v * current_a
        if surplus_w >= accept_w:
            return accept_w, accept_w, current_a, limit_v
        current_a = 2.0 * surplus_w / (rest_v + math.sqrt(rest_v * rest_v + 4.0 * ohm * surplus_w))
        terminal_v = rest_v + ohm * current_a
        if terminal_v > limit_v:  # by rounding only
            terminal_v = limit_v
        return accept_w, surplus_w, current_a, terminal_v

    def longest_stretch_s(self, flows: BankFlows, energy_j: float, limit_v: float) -> float:
        """Seconds for which these flows hold well enough; inf if the charge stands.

        Up to where the battery, at this rate, would no longer accept all it gets; a tenth of the way to full
        while it tapers; a tenth of the way to empty while it is drawn on.

        Parameters
        ----------
        flows : BankFlows
            From `solve`.
        energy_j : float
            Stored energy [J].
        limit_v : float
            As given to `solve` [V].

        Examples
        --------
        >>> bank = Bank("lifepo4", 16, 36e6, 0.01, 0.98, 0.96, 0.90, 48.0)
        >>> flows = BankFlows()
        >>> flows.stored_w, flows.battery_w, flows.accept_w = 720.0, 800.0, 1600.0
        >>> bank.longest_stretch_s(flows, 7.2e6, 55.2)
        20000.0
        """
        stored_w = flows.stored_w
        near_j = _NEAR_SOC * self.capacity_j
        if stored_w > 0.0:
            # A limit below the rest voltage of a full battery ends the charge earlier.
            missing_j = soc_at_rest_v(self.chemistry, self.cells, limit_v) * self.capacity_j - energy_j
            if missing_j <= near_j:
                return max(0.0, missing_j) / stored_w
            share = 1.0 - flows.battery_w / flows.accept_w
            return max(_STEP_SHARE, share) * missing_j / stored_w
        if stored_w < 0.0:
            share = _STEP_SHARE if energy_j > near_j else 1.0
            return share * max(0.0, energy_j) / -stored_w
        return math.inf
