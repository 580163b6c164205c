"""What is done beside the jets' flow: the storage pond, sparing the valves, exercising the idle ones.

An exercise moves one valve a few small steps from where it stands and back, in a quiet hour: water enough,
nothing pressing. What becomes of it, the valve's guard sees.
"""

from . import reasons
from .facts import Facts
from .orders import Orders
from .pond import PondRule
from .ramps import Ramps
from .readings import BATTERY_MV, LEVEL_MM, POND_MM, UNKNOWN
from .settings import Settings
from .wear import Evenness, ExerciseRule, MovesRule

# While one of these binds, nothing presses.
QUIET = (reasons.STREAM, reasons.ALL_OPEN, reasons.PIPE_CEILING, reasons.BATTERY_FULL, reasons.TURNS)


class Duties:
    """Pond, wear and exercise."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.pond = None if settings.pond is None else PondRule(settings, settings.pond)
        self.moves = MovesRule(settings)
        self.even = Evenness(settings)
        self.exercise = ExerciseRule(settings)
        self.exercising = False  # on the way out
        self.valve = 0  # the one exercised
        self.home_permille = 0
        self.reason = reasons.STARTING  # what bound before, and does again after

    def tend_pond(self, facts: Facts, reason: int, spare_ml_s: int = 0, excess_ml_s: int = 0) -> bool:
        """Let the pond's rule decide and its valve move; True when a stroke has ended.

        `spare_ml_s`: by how much more water comes than the jets could ever take. `excess_ml_s`: what the
        jets, on their way to less, still take too much.
        """
        pond = self.pond
        if pond is None:
            return False
        values = facts.values
        known = values[LEVEL_MM] != UNKNOWN
        own_ml_s = pond.pond.release_ml_s if pond.stroke.goal > 0 else 0
        plentiful = reason in reasons.PLENTY or spare_ml_s > own_ml_s
        return pond.tend(facts.now_ms, values[BATTERY_MV], values[POND_MM], known, plentiful, excess_ml_s)

    def water_less_ml_s(self) -> int:
        """By how much less water is about to come, because the pond's valve has just been ordered shut."""
        if self.pond is None or not self.pond.shutting:
            return 0
        return self.pond.pond.release_ml_s

    def see(self, now_ms: int, position: list[int], mask: int) -> None:
        """Count hours open and hours idle."""
        self.moves.may_move(now_ms)  # asked at every step, so that it forgets its instant before that wraps
        self.even.see(now_ms, mask)
        self.exercise.see(now_ms, position)

    def exercise_due(self, ramps: Ramps, reason: int, water: bool, locked: list[bool]) -> bool:
        """Set off with a valve that has stood too long; False if there is none, or it is no quiet hour."""
        if not water or reason not in QUIET:
            return False
        valve = self.exercise.due_valve()
        if valve < 0:
            return False
        self.exercise.exercised(valve)
        if locked[valve]:  # somebody may be working on it
            return False
        self.valve = valve
        self.home_permille = ramps.position[valve]
        away = self.settings.rules.exercise_permille
        if self.home_permille >= 500:
            away = -away
        ramps.goal[valve] = self.home_permille + away
        ramps.begin()
        self.exercising = True
        self.reason = reason
        return True

    def turn_back(self, ramps: Ramps) -> bool:
        """At the far end of an exercise: set off back. True if so."""
        if not self.exercising:
            return False
        self.exercising = False
        ramps.goal[self.valve] = self.home_permille
        ramps.begin()
        return ramps.moving

    def left_ms(self, now_ms: int) -> int:
        """How long nothing here changes by itself."""
        left_ms = self.exercise.left_ms(now_ms)
        if self.pond is not None:
            left_ms = min(left_ms, self.pond.left_ms(now_ms))
        return left_ms

    def watch(self, orders: Orders) -> None:
        """Write the pond's order, and narrow its bands."""
        pond = self.pond
        if pond is None:
            return
        orders.pond_permille = pond.stroke.position
        orders.pond_reason = pond.reason
        orders.narrow(BATTERY_MV, pond.low_mv, pond.high_mv)
        orders.narrow(POND_MM, pond.low_mm, pond.high_mm)
