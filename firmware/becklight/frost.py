"""Frost: water that stands in an open-lying pipe freezes, so some is kept moving.

Air below frost_air_decic for frost_hold_ms: the jets shall take at least keep_ml_s, though the battery is
full or the valves should rest. That is a floor under such ceilings (`floor_ml_s`), never under those of
water, floor level or stop. It ends once the air has been more than a degree above for as long.

Where the air is not known, the calendar says: frost from frost_from_day to frost_to_day. Without a calendar
either there is none.

    frost = FrostRule(settings)
    frost.judge(facts)
    ceiling_ml_s = max(battery.ceiling_ml_s, frost.floor_ml_s)
"""

from .compat import const
from .facts import Facts
from .orders import HIGHEST, LOWEST, Orders
from .reach import ceiling_for_ml_s
from .readings import AIR_DECIC, KNOWN, UNKNOWN, YEAR_DAY
from .residual import YEAR_DAYS
from .rules import Hold
from .settings import Settings

THAW_DECIC = const(10)  # above the limit before it is over; chosen by us

COLD = const(-1)
BETWEEN = const(0)
WARM = const(1)


class FrostRule:
    """Whether there is frost, and what to keep flowing."""

    def __init__(self, settings: Settings) -> None:
        rules = settings.rules
        self.settings = settings
        self.floor_ml_s = 0  # raise ceilings for battery and wear to this
        self.keep_ml_s = ceiling_for_ml_s(settings, rules.keep_ml_s)  # under which the jets take that much
        self.frost = False
        self.freezing = Hold(rules.frost_hold_ms)
        self.thawing = Hold(rules.frost_hold_ms)
        # Bands of air and day within which nothing changes.
        self.low_decic = LOWEST
        self.high_decic = HIGHEST
        self.low_day = LOWEST
        self.high_day = HIGHEST

    def judge(self, facts: Facts) -> None:
        """Look, and set the floor."""
        if self.keep_ml_s == 0:
            return
        air_decic = facts.values[AIR_DECIC]
        year_day = facts.values[YEAR_DAY]
        feel = self._feel(air_decic, year_day)
        if not self.frost:
            self.frost = self.freezing.lasted(feel == COLD, facts.now_ms)
        else:
            self.frost = not self.thawing.lasted(feel == WARM, facts.now_ms)
        self.floor_ml_s = self.keep_ml_s if self.frost else 0
        self._set_bands(air_decic, year_day, feel)

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        return min(self.freezing.left_ms(now_ms), self.thawing.left_ms(now_ms))

    def watch(self, orders: Orders) -> None:
        """Narrow the bands of air and day."""
        orders.narrow(AIR_DECIC, self.low_decic, self.high_decic)
        orders.narrow(YEAR_DAY, self.low_day, self.high_day)

    def _feel(self, air_decic: int, year_day: int) -> int:
        rules = self.settings.rules
        if air_decic != UNKNOWN:
            if air_decic < rules.frost_air_decic:
                return COLD
            return WARM if air_decic > rules.frost_air_decic + THAW_DECIC else BETWEEN
        return COLD if 1 <= year_day <= YEAR_DAYS and self.in_season(year_day) else WARM

    def in_season(self, year_day: int) -> bool:
        """Whether frost is to be reckoned with on this day; the season may span the turn of the year."""
        from_day = self.settings.rules.frost_from_day
        to_day = self.settings.rules.frost_to_day
        if from_day <= to_day:
            return from_day <= year_day <= to_day
        return year_day >= from_day or year_day <= to_day

    def _set_bands(self, air_decic: int, year_day: int, feel: int) -> None:
        limit_decic = self.settings.rules.frost_air_decic
        self.low_decic = LOWEST
        self.high_decic = HIGHEST
        self.low_day = LOWEST
        self.high_day = HIGHEST
        if air_decic == UNKNOWN:
            self.high_decic = UNKNOWN  # until it is known again
            self.low_day = self.high_day = year_day
        elif self.frost:
            if feel == WARM:
                self.low_decic = limit_decic + THAW_DECIC + 1
            else:
                self.low_decic = KNOWN
                self.high_decic = limit_decic + THAW_DECIC
        elif feel == COLD:
            self.low_decic = KNOWN
            self.high_decic = limit_decic - 1
        else:
            self.low_decic = limit_decic
