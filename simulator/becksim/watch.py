"""What must hold of every step's orders, whatever has failed."""

from collections.abc import Sequence
from dataclasses import dataclass

from becklight import readings as places
from becklight import reasons
from becklight.readings import UNKNOWN
from becklight.settings import Settings, StrokeSettings
from becklight.ticks import ticks_diff
from becksim.faults import Fault
from becksim.plant import Plant
from becksim.twin import Controller

MOST_TOLD = 20  # of broken rules in one trial; a loop of them helps nobody


@dataclass(frozen=True)
class Broken:
    """A rule that was broken: when [s], which, and which faults were there."""

    time_s: float
    rule: str
    faults: tuple[str, ...]


def step_ms(valve: StrokeSettings, here: int, there: int) -> int:
    """How long a step must take, its rest included [ms]; not the device's own sum, which it judges."""
    length_ms = valve.open_step_ms if there > here else valve.close_step_ms
    return length_ms * (valve.slow_times if min(here, there) < valve.slow_zone_permille else 1)


class Watch:
    """Looks at the orders of each step, and notes what must never be.

    Parameters
    ----------
    settings : Settings
        The device's.
    floor_m : float
        True level below which the pipe draws air. [m]

    Attributes
    ----------
    broken : list of Broken
        By instant.
    """

    def __init__(self, settings: Settings, floor_m: float) -> None:
        self.valves = settings.valves
        self.rules = settings.rules
        self.floor_m = floor_m
        self.broken: list[Broken] = []
        self._before: list[int] | None = [0] * len(settings.valves)
        self._due_ms = 0
        self._flow_m2 = 0.0

    def restarted(self) -> None:
        """The next step is the first of a new engine: where it begins is its own affair."""
        self._before = None

    def look(self, now_ms: int, plant: Plant, controller: Controller, faults: Sequence[Fault]) -> None:
        """After a step."""
        orders = controller.orders
        values = controller.readings.values
        here = list(orders.opening_permille)
        found = self._orders(here, orders.reason, self._wait_ms(now_ms, controller))
        before = here if self._before is None or orders.anew else self._before
        moved = [valve for valve in range(len(here)) if here[valve] != before[valve]]
        found += self._steps(now_ms, before, here, moved)
        if any(here[valve] > before[valve] for valve in moved):
            found += self._openings(plant, values, before, here)
        self._before = here
        for rule in found:
            if len(self.broken) < MOST_TOLD:
                self.broken.append(Broken(now_ms / 1000.0, rule, tuple(str(fault) for fault in faults)))

    def _wait_ms(self, now_ms: int, controller: Controller) -> int:
        taken_ms = controller.readings.taken_ms[places.YEAR_DAY]  # the calendar is read at every step
        return ticks_diff(controller.orders.next_ms, taken_ms)

    def _orders(self, here: list[int], reason: int, wait_ms: int) -> list[str]:
        found = []
        if not all(0 <= opening <= 1000 for opening in here):
            found.append(f"openings {here} are not all within 0 to 1000")
        if not 0 <= reason < len(reasons.NAMES):
            found.append(f"{reason} is no reason")
        if wait_ms <= 0:
            found.append(f"asks to be asked again {-wait_ms} ms ago")
        elif wait_ms > self.rules.quiet_ms:
            found.append(f"asks to be left alone for {wait_ms} ms, longer than quiet_ms")
        return found

    def _steps(self, now_ms: int, before: list[int], here: list[int], moved: list[int]) -> list[str]:
        found = []
        if len(moved) > 1:
            found.append(f"moves {len(moved)} valves at a time")
        for place in moved:
            valve = self.valves[place]
            if abs(here[place] - before[place]) > valve.step_permille:
                found.append(f"moves {valve.name} from {before[place]} to {here[place]} in one step")
            if now_ms < self._due_ms:
                found.append(f"moves {valve.name} {self._due_ms - now_ms} ms too soon")
            self._due_ms = now_ms + step_ms(valve, before[place], here[place])
        return found

    def _openings(self, plant: Plant, values: list[int], before: list[int], here: list[int]) -> list[str]:
        found = []
        if values[places.RUN_SWITCH] == 0:
            found.append("opens under the stop switch")
        level_mm = values[places.LEVEL_MM]
        believed_low = level_mm != UNKNOWN and level_mm < self.rules.level_floor_mm
        if believed_low and plant.water.mouth_level_m < self.floor_m:
            found.append(f"opens at {level_mm} mm, below the floor: {before} to {here}")
        return found
