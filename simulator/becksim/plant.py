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
from becksim.hydraulics.basin import Basin, draw_share
from becksim.inputs import STEP_MS, Inputs
from becksim.site import Site
from becksim.totals import Totals
from becksim.works import Works

SHORTEST_MS = 1_000  # every stretch is a whole number of seconds
MOST_CHANGE_M = 0.003  # of the level in one stretch longer than the shortest; chosen by us
LITTLE_CHANGE_M = 0.001  # below this the next stretch may be twice as long
SAME_LEVEL_M = 0.005  # the jets' flow is computed anew when the level has moved this far


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
    """Intake, pipe, jets, wheel, battery and house.

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
        self.basin = basin
        self.bank = build_bank(site)
        self.inputs = inputs
        self.floor_m = floor_m
        self.residual_m3_s = site.stream.residual_flow_l_s / 1000.0
        self.pond_low_m = site.pond.lowest_level_mm / 1000.0 if site.pond is not None else None
        self.openings = [0] * len(works.manifold.jets)
        self.months = [Totals() for _ in range(12)]
        self.flows = BankFlows()
        # State.
        crest_m = site.intake.crest_level_mm / 1000.0
        self.level_m = basin.step(crest_m, 1e9, inputs.inflow_m3_s[0], 0.0)  # as if closed for long
        self.energy_j = site.battery.start_percent / 100.0 * self.bank.capacity_j
        self.charger = build_charger(site)
        self.switch = build_switch(site)
        self.owing = False  # the jets have drawn, and the stream has not had its due since
        # The stretch that runs now.
        self.begin_ms = 0
        self.end_ms = 0
        self.end_level_m = self.level_m
        self.inflow_m3_s = 0.0
        self.draw_m3_s = 0.0
        self.release_m3_s = 0.0
        self.load_w = 0.0
        self.conditions = self.bank.conditions(inputs.battery_temp_c[0])
        # Memory between stretches.
        self._length_ms = SHORTEST_MS
        self._solved_level_m = -1.0
        self._conditions_at = {temp_c: self.bank.conditions(temp_c) for temp_c in set(inputs.battery_temp_c)}
        self._surplus_w = inputs.surplus_w or [0.0] * len(inputs.load_w)  # none given: no heater
        # Records.
        self.start_volume_m3 = basin.volume_m3(self.level_m)
        self.start_energy_j = self.energy_j
        self.least_level_m = self.level_m
        self.most_bus_v = 0.0

    def order(self, openings_permille: list[int]) -> bool:
        """Move the valves; True if any moves. Call between `advance` and `begin`."""
        if openings_permille == self.openings:
            return False
        self.openings[:] = openings_permille
        self._solved_level_m = -1.0
        self._length_ms = SHORTEST_MS
        return True

    def begin(self, now_ms: int) -> None:
        """Lay out the next stretch."""
        inputs = self.inputs
        step = now_ms // STEP_MS
        self.begin_ms = now_ms
        left_ms = (step + 1) * STEP_MS - now_ms
        self._operate()
        self.load_w = inputs.load_w[step]
        edge_s = self._share_power(step)
        length_ms = min(self._length_ms, left_ms)
        if edge_s * 1000.0 < length_ms:
            length_ms = max(SHORTEST_MS, int(edge_s) * 1000)
        from_m3_s = inputs.inflow_m3_s[step]
        slope_m3_s_ms = (inputs.inflow_m3_s[step + 1] - from_m3_s) / STEP_MS
        into_ms = now_ms - step * STEP_MS
        while True:
            inflow_m3_s = from_m3_s + slope_m3_s_ms * (into_ms + 0.5 * length_ms)
            end_m = self.basin.step(self.level_m, length_ms / 1000.0, inflow_m3_s, self.draw_m3_s)
            change_m = abs(end_m - self.level_m)
            if change_m <= MOST_CHANGE_M or length_ms == SHORTEST_MS:
                break
            length_ms = max(SHORTEST_MS, length_ms // 2000 * 1000)
        self._length_ms = min(2 * length_ms, STEP_MS) if change_m < LITTLE_CHANGE_M else length_ms
        self.end_ms = now_ms + length_ms
        self.end_level_m = end_m
        self.inflow_m3_s = inflow_m3_s
        self.draw_m3_s *= draw_share(end_m)
        self.release_m3_s = self.basin.release_m3_s(end_m)

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

    def _operate(self) -> None:
        share = draw_share(self.level_m)
        if share < 1.0 or abs(self.level_m - self._solved_level_m) > SAME_LEVEL_M:
            self.works.operate(self.openings, self.level_m, share)
            self._solved_level_m = self.level_m if share == 1.0 else -1.0
        # The wanted draw; `Basin.step` takes its own share of it at the level at the stretch's end.
        self.draw_m3_s = self.works.covered_flow_m3_s

    def advance(self, now_ms: int) -> None:
        """End the stretch at this instant, which lies within it or at its end; count what flowed."""
        length_ms = now_ms - self.begin_ms
        if length_ms == 0:
            return
        length_s = length_ms / 1000.0
        share = length_ms / (self.end_ms - self.begin_ms)
        totals = self.months[self.inputs.month[self.begin_ms // STEP_MS]]
        before_m = self.level_m
        self.level_m = self._level_after(share)
        self._count_water(totals, length_s, before_m)
        self._count_energy(totals, length_s)
        self.charger.advance(self.flows, self.conditions, length_s)
        self.switch.advance(self.flows, length_s)

    def _level_after(self, share: float) -> float:
        """The level after a share of the stretch: that of the volume, which runs in a straight line."""
        if share == 1.0:
            return self.end_level_m
        basin = self.basin
        from_m3 = basin.volume_m3(self.level_m)
        goal_m3 = from_m3 + share * (basin.volume_m3(self.end_level_m) - from_m3)
        level_m = self.level_m + share * (self.end_level_m - self.level_m)
        for _ in range(3):
            level_m -= (basin.volume_m3(level_m) - goal_m3) / basin.area_m2(level_m)
        return level_m

    def _count_water(self, totals: Totals, length_s: float, before_m: float) -> None:
        totals.seconds += length_s
        totals.inflow_m3 += self.inflow_m3_s * length_s
        totals.turbined_m3 += self.draw_m3_s * length_s
        totals.spilled_m3 += self.release_m3_s * length_s
        after_m = self.level_m
        if after_m < self.least_level_m:
            self.least_level_m = after_m
        # Low levels, and too little let past, count while the jets draw, or have drawn the level down: what a
        # drought does to closed valves is nobody's doing.
        if self.draw_m3_s > 0.0:
            totals.below_floor_s += length_s * _share_below(before_m, after_m, self.floor_m)
        if self.pond_low_m is not None and (self.draw_m3_s > 0.0 or self.owing):
            totals.pond_low_s += length_s * _share_below(before_m, after_m, self.pond_low_m)
        due_m3_s = min(self.residual_m3_s, self.inflow_m3_s)
        short = self.release_m3_s < due_m3_s
        if self.draw_m3_s > 0.0:
            self.owing = True
        elif not short:
            self.owing = False
        if short and self.owing:
            totals.residual_short_s += length_s

    def _count_energy(self, totals: Totals, length_s: float) -> None:
        flows = self.flows
        works = self.works
        self.energy_j += flows.stored_w * length_s
        totals.generated_j += works.power_w * length_s
        totals.accepted_j += flows.hydro_accepted_w * length_s
        curtailed_w = works.power_w - flows.hydro_accepted_w
        if curtailed_w > 0.0:
            totals.curtailed_j += curtailed_w * length_s
            self._watch_bus()
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

    def _watch_bus(self) -> None:
        """A wheel that is not fully loaded runs faster: keep the highest bus voltage of the replay."""
        self.most_bus_v = max(self.most_bus_v, self.works.bus_v_at(self.flows.hydro_accepted_w))

    def water_error_m3(self) -> float:
        """What came in, less what went out, less what is stored more: 0 but for rounding."""
        stored_m3 = self.basin.volume_m3(self.level_m) - self.start_volume_m3
        flowed_m3 = sum(month.inflow_m3 - month.turbined_m3 - month.spilled_m3 for month in self.months)
        return flowed_m3 - stored_m3

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


def _share_below(from_m: float, to_m: float, limit_m: float) -> float:
    """Share of a straight run between two levels that lies below a limit."""
    if from_m >= limit_m and to_m >= limit_m:
        return 0.0
    if from_m < limit_m and to_m < limit_m:
        return 1.0
    low_m, high_m = (from_m, to_m) if from_m < to_m else (to_m, from_m)
    return (limit_m - low_m) / (high_m - low_m)
