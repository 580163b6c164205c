"""What the device orders on the way between two standings, and where the motors then are."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from becklight.ramps import Ramps
from becklight.settings import Settings

PERMILLE = 1000
MOST_SWINGS = 4  # a longer rest is played so many whole swings (4L/a) long, and its remainder; chosen by us


@dataclass(frozen=True)
class Train:
    """The steps of one move, as ordered.

    Attributes
    ----------
    start_permille : tuple of int
        Where each valve stands before. [‰]
    step_s : tuple of float
        When each step is ordered, the first at 0. [s]
    valve : tuple of int
        Which valve each step moves.
    to_permille : tuple of int
        Where to. [‰]
    """

    start_permille: tuple[int, ...]
    step_s: tuple[float, ...]
    valve: tuple[int, ...]
    to_permille: tuple[int, ...]

    @property
    def end_permille(self) -> tuple[int, ...]:
        """Where each valve is ordered to in the end. [‰]"""
        end = list(self.start_permille)
        for valve, there in zip(self.valve, self.to_permille, strict=True):
            end[valve] = there
        return tuple(end)

    def first(self, steps: int) -> "Train":
        """The train cut after so many steps."""
        return Train(self.start_permille, self.step_s[:steps], self.valve[:steps], self.to_permille[:steps])


def engine_train(
    settings: Settings,
    start_permille: Sequence[int],
    goal_permille: Sequence[int],
    turns: Sequence[tuple[int, Sequence[int]]] = (),
) -> Train:
    """What the device orders on the way between two standings, by its own ramps on its own samples.

    Parameters
    ----------
    settings : Settings
        The device's settings.
    start_permille, goal_permille : sequence of int, one a valve
        Openings before and after. [‰]
    turns : sequence of (int, sequence of int)
        After so many steps in all, another goal. [-], [‰]

    Returns
    -------
    Train

    Examples
    --------
    >>> from becksim.compile import compile_site
    >>> from becksim.site import load_site
    >>> settings = Settings(compile_site(load_site("millbrook-smallholding", ["jets.left.close_s=150"])))
    >>> train = engine_train(settings, [1000, 0, 0], [0, 0, 0])
    >>> train.step_s[:3], train.to_permille[:3], train.step_s[-1]
    ((0.0, 4.0, 8.0), (960, 920, 880), 168.0)
    """
    ramps = Ramps(settings)
    ramps.position[:] = start_permille
    ramps.goal[:] = goal_permille
    ramps.begin()
    sample_ms = settings.rules.sample_ms
    now_ms = 0
    step_s: list[float] = []
    valves: list[int] = []
    to_permille: list[int] = []
    waiting = list(turns)
    position = list(ramps.position)
    while ramps.moving or waiting:
        while waiting and (len(step_s) >= waiting[0][0] or not ramps.moving):
            ramps.goal[:] = waiting.pop(0)[1]
            ramps.begin()
        if not ramps.moving:
            continue
        ramps.step(now_ms)
        valve = next(place for place in range(len(position)) if position[place] != ramps.position[place])
        position[valve] = ramps.position[valve]
        step_s.append(now_ms / 1000.0)
        valves.append(valve)
        to_permille.append(position[valve])
        now_ms = -(-ramps.due_ms // sample_ms) * sample_ms
    return Train(tuple(start_permille), tuple(step_s), tuple(valves), tuple(to_permille))


def travel(train: Train, valve: int, stroke_s: float) -> tuple[list[float], list[float]]:
    """Corners of a valve's travel: its motor runs at full speed to where it was last told, then stands.

    Parameters
    ----------
    train : Train
        The orders.
    valve : int
        Which valve.
    stroke_s : float
        Time of a whole stroke without a rest. [s]

    Returns
    -------
    time_s, travel_permille : list of float
        Straight between the corners, level before and after. [s], [‰]

    Examples
    --------
    >>> travel(Train((1000,), (0.0, 4.0), (0, 0), (960, 920)), 0, 30.0)
    ([0.0, 1.2, 4.0, 5.2], [1000.0, 960.0, 960.0, 920.0])
    """
    here = goal = float(train.start_permille[valve])
    corner_s, corner_permille = [], []
    since_s = 0.0

    def run(until_s: float) -> float:
        """Where the motor has got to; notes the corner if it arrives before."""
        way = goal - here
        arrives_s = since_s + abs(way) * stroke_s / PERMILLE
        if arrives_s <= until_s:
            if way:
                corner_s.append(arrives_s)
                corner_permille.append(goal)
            return goal
        return here + math.copysign((until_s - since_s) * PERMILLE / stroke_s, way)

    for order_s, place, there in zip(train.step_s, train.valve, train.to_permille, strict=True):
        if place != valve:
            continue
        here = run(order_s)
        since_s = order_s
        corner_s.append(order_s)
        corner_permille.append(here)
        goal = float(there)
    run(math.inf)
    return corner_s, corner_permille


def length_s(train: Train, motor_stroke_s: Sequence[float]) -> float:
    """Until every motor has come to rest, at most."""
    if not train.step_s:
        return 0.0
    position = list(train.start_permille)
    busy_s = [0.0] * len(position)
    for order_s, valve, there in zip(train.step_s, train.valve, train.to_permille, strict=True):
        run_s = abs(there - position[valve]) * motor_stroke_s[valve] / PERMILLE
        busy_s[valve] = max(order_s, busy_s[valve]) + run_s
        position[valve] = there
    return max(busy_s)


def shortened(train: Train, motor_stroke_s: Sequence[float], swing_s: float) -> tuple[Train, list[float]]:
    """The train with long rests cut by whole swings of the pipe: the same phase, a little less damping.

    The second is by how much each step comes sooner.
    """
    busy_s, still_s = 0.0, (MOST_SWINGS + 1) * swing_s
    sooner_s, cut_s = [], 0.0
    position = list(train.start_permille)
    step_s = []
    for order_s, valve, there in zip(train.step_s, train.valve, train.to_permille, strict=True):
        rest_s = order_s - cut_s - busy_s
        if rest_s > still_s:
            cut_s += swing_s * math.floor((rest_s - MOST_SWINGS * swing_s) / swing_s)
        step_s.append(order_s - cut_s)
        sooner_s.append(cut_s)
        run_s = abs(there - position[valve]) * motor_stroke_s[valve] / PERMILLE
        busy_s = max(busy_s, order_s - cut_s + run_s)
        position[valve] = there
    return Train(train.start_permille, tuple(step_s), train.valve, train.to_permille), sooner_s
