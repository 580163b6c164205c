"""What the engine orders, why, and until when it stands. Made once, filled in place."""

from . import readings
from .compat import const
from .reasons import POND_RESTS, STARTING

LOWEST = const(-(1 << 29))  # as readings.UNKNOWN: a band from here to HIGHEST is never left
HIGHEST = const(1 << 29)


class Orders:
    """An opening for every valve, the reason that binds, and when the engine must be asked again.

    Ask again at `next_ms`, or as soon as a reading leaves its band `low[i] .. high[i]` (places as in
    readings.py). Until then asking changes nothing: the engine answers with what stands here.
    """

    def __init__(self, valves: int) -> None:
        self.opening_permille = [0] * valves
        self.reason = STARTING
        # 1: the openings say where the valves are taken to stand; nothing moves for it, only from here on.
        self.anew = 0
        self.out_bits = 0  # bit i: valve i is left out, as rulebook.py tells
        self.pond_permille = 0  # of the storage pond's release valve, where there is one
        self.pond_reason = POND_RESTS
        self.next_ms = 0
        self.low = [LOWEST] * readings.COUNT
        self.high = [HIGHEST] * readings.COUNT

    def widen(self) -> None:
        """Forget all bands: nothing is watched."""
        for place in range(readings.COUNT):
            self.low[place] = LOWEST
            self.high[place] = HIGHEST

    def narrow(self, place: int, low: int, high: int) -> None:
        """Watch a reading also by this band: the engine is asked as soon as it leaves it."""
        if low > self.low[place]:
            self.low[place] = low
        if high < self.high[place]:
            self.high[place] = high

    def within(self, values: list[int]) -> bool:
        """Whether every reading is still inside its band."""
        for place in range(readings.COUNT):
            if not self.low[place] <= values[place] <= self.high[place]:
                return False
        return True
