"""Slow valve motion: every move is a train of small steps, one valve at a time.

A step is `step_permille` of travel followed by a rest, so the same train serves a motor that can
only run or stop (a pulse, then a pause) and one that follows a position. The rest after a step
opens or closes at the valve's own pace, `slow_times` longer in the slow zone near closed, where a
little travel stops much water. No step of any valve begins before the rest of the last one is over.

A changeover interleaves: while the flow is above its goal the next step is taken by a valve that
closes, otherwise by one that opens. So the flow goes to its goal and stays within one step of it. But where
the spare wheel runs too fast its valves close before anything else moves.

    ramps = Ramps(settings)
    ramps.goal[0] = 1000
    ramps.begin()
    ramps.step(now_ms)                  # at most one step of one valve; again when ramps.due_ms is reached
"""

from .settings import Settings, ValveSettings
from .tables import interpolate
from .ticks import ticks_add, ticks_diff

CURVE_PERMILLE = [0, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000]


class Ramps:
    """Where each valve is and where it goes."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.valves = settings.valves
        self.position = [0] * len(self.valves)  # permille of travel
        self.goal = [0] * len(self.valves)
        self.goal_flow_ml_s = 0
        self.spare_first = False  # its valves close first
        self.due_ms = 0  # no step before this instant
        self.resting = False  # due_ms counts
        self.moving = False

    def flow_ml_s(self, openings: list[int]) -> int:
        """Flow at these openings: that of all effective areas together, by the desktop's table."""
        total_dmm2 = 0
        for place in range(len(self.valves)):
            total_dmm2 += interpolate(CURVE_PERMILLE, self.valves[place].area_dmm2, openings[place])
        return interpolate(self.settings.manifold_area_dmm2, self.settings.manifold_flow_ml_s, total_dmm2)

    def begin(self) -> None:
        """Set off towards `goal`; may be called again midway with another goal."""
        self.goal_flow_ml_s = self.flow_ml_s(self.goal)
        self.moving = self._next_valve() >= 0

    def rest(self, now_ms: int) -> None:
        """End the rest when it is over. To be called now and then: the instant must not wrap."""
        if self.resting and ticks_diff(now_ms, self.due_ms) >= 0:
            self.resting = False

    def hold_off(self, now_ms: int) -> None:
        """Nobody knows when the last step was: rest as after the slowest."""
        longest_ms = 0
        for valve in self.valves:
            longest_ms = max(longest_ms, valve.slow_times * max(valve.open_step_ms, valve.close_step_ms))
        self.due_ms = ticks_add(now_ms, longest_ms)
        self.resting = True

    def step(self, now_ms: int) -> None:
        """Take one step if one is due."""
        self.rest(now_ms)
        if self.resting or not self.moving:
            return
        place = self._next_valve()
        valve = self.valves[place]
        here = self.position[place]
        goal = self.goal[place]
        there = valve.next_permille(here, goal)
        self.position[place] = there
        self.due_ms = ticks_add(now_ms, valve.step_ms(here, there))
        self.resting = True
        self.moving = self._next_valve() >= 0

    def _next_valve(self) -> int:
        """The valve that takes the next step, -1 if all have arrived."""
        opener = -1
        closer = -1
        for place in range(len(self.valves)):
            travel = self.goal[place] - self.position[place]
            if travel < 0 and self.spare_first and self.valves[place].wheel > 0:
                return place
            if travel > 0 and opener < 0:
                opener = place
            elif travel < 0 and closer < 0:
                closer = place
        if opener < 0 or (closer >= 0 and self.flow_ml_s(self.position) > self.goal_flow_ml_s):
            return closer
        return opener


def travel_time_ms(valve: ValveSettings, opening: bool) -> int:
    """How long a whole stroke takes, rests included [ms]."""
    total_ms = 0
    here = 0 if opening else 1000
    goal = 1000 - here
    while here != goal:
        there = valve.next_permille(here, goal)
        total_ms += valve.step_ms(here, there)
        here = there
    return total_ms
