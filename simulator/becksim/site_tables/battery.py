"""The battery's table of a site file."""

from collections.abc import Callable
from dataclasses import dataclass

from becksim.electrics.battery import Chemistry, cell_limits, cell_practice, conditions_at
from becksim.schema import choice, number, whole

# Least distance a cell between cut-off and reconnection [V], chosen by us: a battery that is rid of a load of
# a tenth of its capacity an hour recovers by about so much.
LEAST_GAP_CELL_V = 0.05
LEAST_LEFT = 0.2  # of the capacity: an older battery is scrap; chosen by us


@dataclass(frozen=True)
class BatteryTable:
    """[battery] The bank and its charge regulator."""

    chemistry: str = choice("lead-acid", "lifepo4")
    cells: int = whole(1, 400)
    capacity_ah: float = number(1, 20_000)  # when new
    resistance_mohm: float = number(0.1, 2_000)  # of the whole battery when new, full and at 25 degC
    start_percent: float = number(0, 100, default=60)
    # Terminal voltage, under load, at which the inverter switches the house off, and on again. Left out: 11.0
    # and 12.5 V a lead-acid block of six cells, 3.0 and 3.275 V a LiFePO4 cell (common practice, no source).
    cutoff_v: float | None = number(1, 2_000, default=None)
    reconnect_v: float | None = number(1, 2_000, default=None)
    # Longest stay at the absorption voltage. Left out: 2 h lead-acid, 0.5 h LiFePO4 (common practice,
    # no source).
    absorption_h: float | None = number(0.05, 24, default=None)
    # Full when the current at absorption is below this, of the capacity an hour (common practice, no source).
    tail_percent: float = number(0, 20, default=2)
    charge_efficiency_percent: float = number(40, 100, default=90)
    regulator_efficiency_percent: float = number(40, 100, default=95)
    winter_c: float = number(-30, 50, default=8)  # of the battery room, coldest month
    summer_c: float = number(-30, 60, default=20)
    age_years: float = number(0, 40, default=0)
    # Capacity lost and resistance gained a year, of the new battery's. Left out: 4 and 8 % lead-acid, 2 and
    # 4 % LiFePO4 (common practice, no source).
    fade_per_year_percent: float | None = number(0, 30, default=None)
    resistance_growth_per_year_percent: float | None = number(0, 100, default=None)

    @property
    def kind(self) -> Chemistry:
        """The chemistry, as the models name it."""
        return "lifepo4" if self.chemistry == "lifepo4" else "lead-acid"

    @property
    def switch_off_v(self) -> float:
        """Cut-off voltage, given or usual [V]."""
        usual_v = self.cells * cell_practice(self.kind).cutoff_v
        return usual_v if self.cutoff_v is None else self.cutoff_v

    @property
    def switch_on_v(self) -> float:
        """Reconnection voltage, given or usual [V]."""
        usual_v = self.cells * cell_practice(self.kind).reconnect_v
        return usual_v if self.reconnect_v is None else self.reconnect_v

    @property
    def absorption_s(self) -> float:
        """Longest stay at the absorption voltage, given or usual [s]."""
        hours = self.absorption_h
        return cell_practice(self.kind).absorption_s if hours is None else 3600.0 * hours

    @property
    def aged_capacity_ah(self) -> float:
        """What age has left of the capacity [A h]."""
        percent = self.fade_per_year_percent
        fade = cell_practice(self.kind).fade if percent is None else percent / 100.0
        return self.capacity_ah * (1.0 - fade * self.age_years)

    @property
    def aged_resistance_ohm(self) -> float:
        """What age has made of the resistance [ohm]."""
        percent = self.resistance_growth_per_year_percent
        growth = cell_practice(self.kind).growth if percent is None else percent / 100.0
        return self.resistance_mohm / 1000.0 * (1.0 + growth * self.age_years)


def check_battery(
    battery: BatteryTable,
    refuse: Callable[[str, str], None],
    at_most: Callable[[str, str, float, str, float], None],
) -> None:
    """Complain of voltages that do not suit the battery or each other, and of a battery that is scrap."""
    lowest_v = battery.cells * cell_limits(battery.kind).empty_v
    highest_v = battery.cells * conditions_at(battery.kind, 1, 1.0, 25.0).float_v
    if battery.switch_off_v < lowest_v:
        refuse(
            "battery",
            f"cutoff_v is {battery.switch_off_v:g}; allowed: at least {lowest_v:g}, at which "
            f"{battery.cells} cells of {battery.chemistry} are empty.",
        )
    of_cells = f"the float voltage of {battery.cells} cells"
    at_most("battery", "reconnect_v", battery.switch_on_v, of_cells, highest_v)
    gap_v = LEAST_GAP_CELL_V * battery.cells
    limit_v = round(battery.switch_on_v - gap_v, 6)
    at_most("battery", "cutoff_v", battery.switch_off_v, f"reconnect_v - {gap_v:g}", limit_v)
    left = battery.aged_capacity_ah / battery.capacity_ah
    if left < LEAST_LEFT:
        refuse(
            "battery",
            f"age_years is {battery.age_years:g}; allowed: an age that leaves {100 * LEAST_LEFT:g} % of the "
            f"capacity or more, here {100 * max(0.0, left):.0f} %; check fade_per_year_percent.",
        )
