"""Which wheel a standing drives, and the bus voltage to be expected of it. Most plants have one.

A standing is a row of the menu (a set of fixed jets) and a place on the trims' joint travel.

    wheels = Wheels(settings)
    wheels.main_runs(mask, trim_permille), wheels.spare_runs(mask, trim_permille)
    wheels.main_mv(row, trim_permille), wheels.spare_mv(row, trim_permille)     # 0: it stands, or unknown

Of the main wheel the menu tells it at each standing, for power that is turned away shows in it. Of a spare
one number must do, of all jets open: it tells a wheel that stands from one that runs, and costs no memory.
"""

from .compat import const
from .settings import Settings
from .tables import interpolate

BARE_TRIM_PERMILLE = const(500)  # alone and opened less, a trim turns a wheel as nobody knows; chosen by us


class Wheels:
    """The jets of the main wheel and of a spare."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.spare_bits = 0  # fixed jets of the spare wheel
        self.spare_from_permille = settings.trim_permille[-1]  # past it a trim of the spare's is open
        bit = 1
        for valve in settings.fixed:
            if settings.valves[valve].wheel > 0:
                self.spare_bits |= bit
            bit += bit
        for place in range(len(settings.trims) - 1, -1, -1):
            if settings.valves[settings.trims[place]].wheel > 0:
                self.spare_from_permille = 1000 * place

    def main_runs(self, mask: int, trim_permille: int) -> bool:
        """Whether any jet of the main wheel is open."""
        return mask & ~self.spare_bits != 0 or (trim_permille > 0 and self.spare_from_permille > 0)

    def spare_runs(self, mask: int, trim_permille: int) -> bool:
        """Whether any jet of the spare wheel is open."""
        return mask & self.spare_bits != 0 or trim_permille > self.spare_from_permille

    def main_mv(self, row: int, trim_permille: int) -> int:
        """Bus voltage of the main wheel while all its power is taken [mV]."""
        settings = self.settings
        if not self.main_runs(settings.set_masks[row], trim_permille):
            return 0
        return interpolate(settings.trim_permille, settings.set_bus_mv[row], trim_permille)

    def spare_mv(self, row: int, trim_permille: int) -> int:
        """The same of the spare wheel, about; 0 where there is none."""
        bare_permille = max(0, trim_permille - self.spare_from_permille)
        if self.settings.set_masks[row] & self.spare_bits or bare_permille >= BARE_TRIM_PERMILLE:
            return self.settings.rules.spare_bus_best_mv
        return 0
