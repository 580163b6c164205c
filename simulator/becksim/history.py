"""The hours of a replay, for pictures: what flowed, how full things were, which jets stood open."""

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any

import simpy

from becksim.plant import Plant
from becksim.times import HOUR_MS


@dataclass
class History:
    """One value an hour in each list; flows are those that ran as the hour ended."""

    hour: list[int] = field(default_factory=list)
    inflow_m3_s: list[float] = field(default_factory=list)
    draw_m3_s: list[float] = field(default_factory=list)
    release_m3_s: list[float] = field(default_factory=list)
    level_m: list[float] = field(default_factory=list)
    charge: list[float] = field(default_factory=list)  # state of charge, 0 to 1
    power_w: list[float] = field(default_factory=list)  # offered by the wheel
    accepted_w: list[float] = field(default_factory=list)
    openings_permille: list[list[int]] = field(default_factory=list)
    reason: list[int] = field(default_factory=list)

    def note(self, hour: int, plant: Plant, reason: int) -> None:
        """Take in one hour."""
        self.hour.append(hour)
        self.inflow_m3_s.append(plant.water.inflow_m3_s)
        self.draw_m3_s.append(plant.water.draw_m3_s)
        self.release_m3_s.append(plant.water.release_m3_s)
        self.level_m.append(plant.water.level_m)
        self.charge.append(plant.energy_j / plant.bank.capacity_j)
        self.power_w.append(plant.works.power_w)
        self.accepted_w.append(plant.flows.hydro_accepted_w)
        self.openings_permille.append(list(plant.openings))
        self.reason.append(reason)


def keep_history(
    env: simpy.Environment, plant: Plant, history: History, orders: Any
) -> Generator[Any, Any, None]:
    """Process: note the plant and the reason that binds at the end of each hour."""
    hour = 0
    while True:
        yield env.timeout(HOUR_MS)
        hour += 1
        history.note(hour, plant, orders.reason)
