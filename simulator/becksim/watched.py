"""A controller whose doings somebody watches as they happen, without changing any.

It holds the controller rather than inherits from it, because that may be compiled.
"""

from becksim.plant import Plant
from becksim.twin import Controller


class WatchedDriver:
    """Driver: passes all on to a controller; who watches overrides what they want to see.

    Parameters
    ----------
    controller : Controller
        Who sets the valves.
    """

    def __init__(self, controller: Controller) -> None:
        self.controller = controller

    @property
    def openings(self) -> list[int]:
        """Where the valves are to stand."""
        return self.controller.openings

    @openings.setter
    def openings(self, openings: list[int]) -> None:
        self.controller.openings = openings

    @property
    def pond_permille(self) -> int:
        """Where a storage pond's release valve is to stand."""
        return self.controller.pond_permille

    @pond_permille.setter
    def pond_permille(self, permille: int) -> None:
        self.controller.pond_permille = permille

    def begin(self, plant: Plant) -> None:
        """A new stretch has been laid out."""
        self.controller.begin(plant)

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """The controller's next instant."""
        return self.controller.wake_ms(plant, now_ms)

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Let the controller act."""
        return self.controller.act(plant, now_ms)

    def advance(self, plant: Plant, now_ms: int) -> None:
        """The stretch ends; the plant has not been advanced yet."""
        self.controller.advance(plant, now_ms)
