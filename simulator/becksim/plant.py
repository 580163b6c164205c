"""The plant through time: stretches in which nothing is ordered and the world holds still.

A stretch is laid out once (`begin`) and then runs in straight lines to its end, or to where an order
cuts it short (`advance`). Its length depends on the plant alone, never on how often somebody looks,
so a replay that looks at every second sees the same plant as one that skips. Only + - * / and square
roots are used on the way, so it is the same to the last bit on every machine.
"""

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.battery import cell_limits
from becksim.electrics.charging import Charger
from becksim.electrics.load_switch import LoadSwitch
from becksim.headworks import SHORTEST_MS, Headworks
from becksim.hydraulics.basin import Basin
from becksim.inputs import STEP_MS, Inputs
from becksim.site import Site
from becksim.totals import Totals, sum_of
from becksim.works import Works


def build_bank(site: Site) -> Bank:
    """The battery with its regulators and the house inverter."""
    battery = site.battery
    nominal_v = cell_limits(battery.kind).nominal_v * battery.cells
    return Bank(
        chemistry=battery.kind,
        cells=battery.cells,
        capacity_j=battery.aged_capacity_ah * 3600.0 * nominal_v,
        resistance_ohm=battery.aged_resistance_ohm,
        charge_efficiency=battery.charge_efficiency_percent / 100.0,
        hydro_regulator_efficiency=battery.regulator_efficiency_percent / 100.0,
        inverter_efficiency=site.house.inverter_efficiency_percent / 100.0,
        cutoff_v=battery.switch_off_v,
    )


def build_charger(site: Site) -> Charger:
    """The charger, in bulk."""
    battery = site.battery
    tail_a = battery.tail_percent / 100.0 * battery.aged_capacity_ah
    return Charger(battery.kind, battery.cells, tail_a, battery.absorption_s)


def build_switch(site: Site) -> LoadSwitch:
    """The inverter's own cut-off, the house connected."""
    return LoadSwitch(site.battery.switch_on_v)


class Plant:
    """Headworks, pipe, jets, wheel, battery and house.

    Parameters
    ----------
    site : Site
        The site.
    works : Works
        Its pipe, jets and wheel.
    basin : Basin
        Its intake.
    inputs : Inputs
        Stream, house and sun.
    floor_m : float
        Level below which the pipe draws air. [m]
    """

    def __init__(self, site: Site, works: Works, basin: Basin, inputs: Inputs, floor_m: float) -> None:
        self.works = works
        self._units = range(len(works.units))
        self.water = Headworks(site, works, basin, inputs, floor_m)
        self.bank = build_bank(site)
        self.inputs = inputs
        self.openings = [0] * len(works.manifold.jets)
        self.months = [Totals() for _ in range(12)]
        self.flows = BankFlows()
        # State.
        self.energy_j = site.battery.start_percent / 100.0 * self.bank.capacity_j
        self.charger = build_charger(site)
        self.switch = build_switch(site)
        # The stretch that runs now.
        self.begin_ms = 0
        self.end_ms = 0
        self.load_w = 0.0
        self.conditions = self.bank.conditions(inputs.battery_temp_c[0])
        self._conditions_at = {temp_c: self.bank.conditions(temp_c) for temp_c in set(inputs.battery_temp_c)}
        self._surplus_w = inputs.surplus_w or [0.0] * len(inputs.load_w)  # none given: no heater
        # Records.
        self.start_energy_j = self.energy_j
        self.most_bus_v = [0.0] * len(works.units)  # of each
        self.over_bus_s = [0.0] * len(works.units)  # how long each stood over what its regulator survives
        self.unit_generated_j = [0.0] * len(works.units)  # what each could give at its best speed

    def order(self, openings_permille: list[int], pond_permille: int = 0) -> bool:
        """Move the valves; True if any moves. Call between `advance` and `begin`."""
        if openings_permille == self.openings and pond_permille == self.water.pond_permille:
            return False
        self.openings[:] = openings_permille
        self.water.pond_permille = pond_permille
        self.water.disturb()
        return True

    def begin(self, now_ms: int) -> None:
        """Lay out the next stretch."""
        step = now_ms // STEP_MS
        self.begin_ms = now_ms
        self.water.operate(self.openings)
        self.load_w = self.inputs.load_w[step]
        edge_s = self._share_power(step)
        most_ms = (step + 1) * STEP_MS - now_ms
        if edge_s * 1000.0 < most_ms:
            most_ms = max(SHORTEST_MS, int(edge_s) * 1000)
        self.end_ms = now_ms + self.water.lay_out(now_ms, most_ms)

    def _share_power(self, step: int) -> float:
        """Solve battery, house and heater; how long that holds [s]."""
        flows, charger = self.flows, self.charger
        self.conditions = conditions = self._conditions_at[self.inputs.battery_temp_c[step]]
        limit_v = charger.limit_v(conditions)
        self.bank.solve(
            self.energy_j,
            self.works.power_w,
            self.inputs.solar_w[step],
            self.load_w,
            conditions,
            limit_v,
            self.switch.connected,
            flows,
            self._surplus_w[step],
        )
        return min(
            self.bank.longest_stretch_s(flows, self.energy_j, limit_v),
            charger.longest_stretch_s(flows, conditions),
            self.switch.longest_stretch_s(flows),
        )

    def advance(self, now_ms: int) -> None:
        """End the stretch at this instant, which lies within it or at its end; count what flowed."""
        length_ms = now_ms - self.begin_ms
        if length_ms == 0:
            return
        length_s = length_ms / 1000.0
        share = length_ms / (self.end_ms - self.begin_ms)
        totals = self.months[self.inputs.month[self.begin_ms // STEP_MS]]
        self.water.advance(totals, length_s, share)
        self._count_energy(totals, length_s)
        self.charger.advance(self.flows, self.conditions, length_s)
        self.switch.advance(self.flows, length_s)

    def _count_energy(self, totals: Totals, length_s: float) -> None:
        flows = self.flows
        works = self.works
        self.energy_j += flows.stored_w * length_s
        totals.generated_j += works.power_w * length_s
        for unit in self._units:
            self.unit_generated_j[unit] += works.units[unit].power_w * length_s
        totals.accepted_j += flows.hydro_accepted_w * length_s
        curtailed_w = works.power_w - flows.hydro_accepted_w
        if curtailed_w > 0.0:
            totals.curtailed_j += curtailed_w * length_s
            self._watch_bus(length_s)
        elif any(unit.let_go for unit in works.units):
            self._watch_bus(length_s)
        totals.solar_j += flows.solar_accepted_w * length_s
        totals.heater_j += flows.surplus_served_w * length_s
        totals.load_j += self.load_w * length_s
        unserved_w = self.load_w - flows.load_served_w
        if unserved_w > 0.0:
            totals.unserved_j += unserved_w * length_s
            totals.unserved_s += length_s
        totals.losses_j += length_s * (
            flows.regulator_loss_w + flows.inverter_loss_w + flows.resistive_loss_w + flows.charge_loss_w
        )
        totals.stored_j += flows.stored_w * length_s

    def _watch_bus(self, length_s: float) -> None:
        """A wheel that is not fully loaded runs faster: keep the highest bus voltages of the replay."""
        for unit, bus_v in enumerate(self.units_bus_v()):
            if bus_v > self.most_bus_v[unit]:
                self.most_bus_v[unit] = bus_v
            if bus_v > self.works.units[unit].most_bus_v:
                self.over_bus_s[unit] += length_s

    def units_bus_v(self) -> list[float]:
        """Rectified voltage of each wheel while its regulator takes what it does [V]."""
        return self.works.units_bus_v(self.flows.hydro_accepted_w)

    def water_error_m3(self) -> float:
        """What came in, less what went out, less what is stored more: 0 but for rounding."""
        return self.water.error_m3(sum_of(self.months))

    def energy_error_j(self) -> float:
        """What was accepted, less what was used, lost and stored: 0 but for rounding."""
        used_j = sum(
            month.accepted_j
            + month.solar_j
            - (month.load_j - month.unserved_j)
            - month.heater_j
            - month.losses_j
            for month in self.months
        )
        return used_j - (self.energy_j - self.start_energy_j)
