"""The battery's table of a site file."""

from dataclasses import dataclass

from becksim.schema import choice, number, whole


@dataclass(frozen=True)
class BatteryTable:
    """[battery] The bank and its charge regulator."""

    chemistry: str = choice("lead-acid", "lifepo4")
    cells: int = whole(1, 400)
    capacity_ah: float = number(1, 20_000)
    resistance_mohm: float = number(0.1, 2_000)
    start_percent: float = number(0, 100, default=60)
    cutoff_percent: float = number(0, 60, default=20)
    reconnect_percent: float = number(1, 90, default=30)
    charge_efficiency_percent: float = number(40, 100, default=90)
    regulator_efficiency_percent: float = number(40, 100, default=95)
    winter_c: float = number(-30, 50, default=8)  # of the battery room, coldest month
    summer_c: float = number(-30, 60, default=20)
