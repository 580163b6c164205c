"""The stream's due: what must always be let past the intake, by month, and the level that lets it past.

What is due is a figure, or a share of the stream, whichever is more; each may differ by month. A slot in the
weir lets it past, so it is kept by keeping a level: the more is due, the higher. A pond takes hours to rise,
so what is due tomorrow counts today. Without a calendar the strictest month counts.

    residual = Residual(settings)
    residual.see(readings.values[YEAR_DAY])
    residual.target_mm(drawn_ml_s)          # the level to hold while the jets take so much
"""

from .compat import const
from .readings import UNKNOWN
from .settings import Settings
from .tables import interpolate

ROUNDS = const(20)  # halvings of a flow below 2**20 mL/s, down to a millilitre
YEAR_DAYS = const(366)
# Last day of each month of a year without 29 February; in a leap year months begin a day early for us, so
# that yesterday's month counts too.
MONTH_ENDS = (31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 366)


def month_of(year_day: int) -> int:
    """The month of a day of the year, 0 for January."""
    month = 0
    while year_day > MONTH_ENDS[month]:
        month += 1
    return month


class Residual:
    """Which day it is, and what is due on it."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.year_day = UNKNOWN
        self.level_mm = 0  # lowest level that lets the month's figure past
        self.share_permille = 0
        self._take(UNKNOWN)

    def see(self, year_day: int) -> bool:
        """Take in the day, 1 to 366; anything else is no calendar. True if what is due has changed."""
        if not 1 <= year_day <= YEAR_DAYS:
            year_day = UNKNOWN
        if year_day == self.year_day:
            return False
        level_mm = self.level_mm
        share_permille = self.share_permille
        self._take(year_day)
        return level_mm != self.level_mm or share_permille != self.share_permille

    def _take(self, year_day: int) -> None:
        levels_mm = self.settings.residual_level_mm
        shares_permille = self.settings.residual_share_permille
        self.year_day = year_day
        if year_day == UNKNOWN:
            self.level_mm = max(levels_mm)
            self.share_permille = max(shares_permille)
        else:
            today = month_of(year_day)
            tomorrow = month_of(year_day + 1) if year_day < YEAR_DAYS - 1 else 0
            yesterday = month_of(year_day - 1) if year_day > 1 else 11  # in a leap year it is still today
            self.level_mm = max(levels_mm[yesterday], levels_mm[today], levels_mm[tomorrow])
            self.share_permille = max(
                shares_permille[yesterday], shares_permille[today], shares_permille[tomorrow]
            )

    def target_mm(self, drawn_ml_s: int) -> int:
        """The level to hold while the jets take so much; at least the owner's or desktop's own target."""
        settings = self.settings
        level_mm = self.level_mm
        if self.share_permille:
            # share of (drawn + let past) = let past
            due_ml_s = drawn_ml_s * self.share_permille // (1000 - self.share_permille)
            level_mm = max(level_mm, interpolate(settings.due_ml_s, settings.due_level_mm, due_ml_s) + 1)
        return max(settings.rules.level_target_mm, level_mm + settings.residual_margin_mm)

    def spared_ml_s(self, level_mm: int, drawn_ml_s: int) -> int:
        """What is let past at this level beyond that at the target; below it, negative."""
        if level_mm == UNKNOWN:
            return 0
        settings = self.settings
        return release_ml_s(settings, level_mm) - release_ml_s(settings, self.target_mm(drawn_ml_s))

    def available_ml_s(self, flow_ml_s: int, drawn_ml_s: int) -> int:
        """The most that the jets may take of a flow so that its due is left at the level then held."""
        settings = self.settings
        if self.share_permille == 0:
            return max(0, flow_ml_s - release_ml_s(settings, self.target_mm(drawn_ml_s)))
        least_ml_s = 0
        most_ml_s = max(0, flow_ml_s)
        for _ in range(ROUNDS):
            middle_ml_s = (least_ml_s + most_ml_s + 1) // 2
            if middle_ml_s + release_ml_s(settings, self.target_mm(middle_ml_s)) <= flow_ml_s:
                least_ml_s = middle_ml_s
            else:
                most_ml_s = max(0, middle_ml_s - 1)
        return least_ml_s


def release_ml_s(settings: Settings, level_mm: int) -> int:
    """What the intake lets past at this level: residual flow and spill [mL/s]."""
    return interpolate(settings.release_level_mm, settings.release_ml_s, level_mm)
