"""Two sets of fixed jets take turns, where a needle would make little of the water that comes between them.

A needle little open wastes much of its water. Where the intake holds enough, the sets on either side of the
stream run by turns instead: the larger one until the level has fallen below its band, the smaller one (it may
be none) until it has risen by turns_rise_mm from there. Which pairs, and for which flows, the desktop has
computed: where the mean of the two makes more power of the same water than any set and needle.

    turns = Turns(settings)
    turns.see(level_mm, low_mm)         # whenever the stream has been measured
    if turns.find(menu, wanted_ml_s, most_ml_s, running):
        menu.take(turns.set, 0)
"""

from .menu import Menu
from .settings import Settings


class Turns:
    """The pair that takes turns, and whose turn it is."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.rise_mm = settings.rules.turns_rise_mm
        self.row = -1  # of the table: the pair that takes turns; none
        self.lower = 0  # places of its sets
        self.upper = 0
        self.above_mm = -1  # where the level was seen, above the low end of its band
        self.upper_runs = False
        self.set = 0  # whose turn it is
        closed = settings.set_masks.index(0)
        # Whether, with every jet shut, there is a set to take turns with.
        self.from_none = self.rise_mm > 0 and closed in settings.turns_lower

    def see(self, level_mm: int, low_mm: int) -> None:
        """Take in the level, and the low end of its band."""
        self.above_mm = level_mm - low_mm

    def stop(self) -> None:
        """Water is lacking, whatever was seen: the smaller set's turn."""
        self.above_mm = -1
        self.upper_runs = False

    def find(self, menu: Menu, wanted_ml_s: int, most_ml_s: int, running: bool) -> bool:
        """Find the pair for what the stream gives, and whose turn it is; False if there is none.

        `most_ml_s`: what everything but the stream allows; `running`: no set with every jet shut. A pair that
        takes turns already goes on for a deadband beyond its flows, but for a stream that gives nothing.
        """
        settings = self.settings
        deadband_ml_s = settings.rules.flow_deadband_ml_s
        row = self.row
        if row < 0 or not self._fits(row, deadband_ml_s, menu, wanted_ml_s, most_ml_s, running):
            row = len(settings.turns_lower) - 1
            while row >= 0 and not self._fits(row, 0, menu, wanted_ml_s, most_ml_s, running):
                row -= 1
        self.row = row
        if row < 0:
            return False
        self.lower = settings.turns_lower[row]
        self.upper = settings.turns_upper[row]
        if self.above_mm < 0:
            self.upper_runs = False
        elif self.above_mm >= self.rise_mm:
            self.upper_runs = True
        self.set = self.upper if self.upper_runs else self.lower
        return True

    def _fits(
        self, row: int, beyond_ml_s: int, menu: Menu, wanted_ml_s: int, most_ml_s: int, running: bool
    ) -> bool:
        settings = self.settings
        if wanted_ml_s > settings.turns_to_ml_s[row] + beyond_ml_s:
            return False
        lower = settings.turns_lower[row]
        upper = settings.turns_upper[row]
        if wanted_ml_s < settings.turns_from_ml_s[row] - (0 if lower == menu.closed else beyond_ml_s):
            return False
        if menu.locked(lower) or menu.locked(upper) or menu.least_of(upper) > most_ml_s:
            return False
        return not (running and lower == menu.closed)
