"""The battery: full for long enough, and the jets ease off; recovered for long enough, and they resume."""

from . import reasons
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .readings import BATTERY_MV, BUS_MV, KNOWN, TEMP_DECIC, UNKNOWN
from .rules import NO_LIMIT, Hold, compensated_mv
from .settings import Settings
from .surplus import SurplusRule
from .wear import full_ml_s


class BatteryRule(Rule):
    """Full for long enough: ease off to the smallest set. Recovered for long enough: resume.

    Full is a battery at its charging voltage, or one from which power is turned away (surplus.py) though it
    stands above its resting voltage for resuming.

    While a time runs, the voltage must fall back by battery_slack_mv to stop it, so that noise does not.
    An unknown voltage neither eases nor resumes.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.reason = reasons.BATTERY_FULL
        self.ceiling_ml_s = NO_LIMIT
        self.keep_ml_s = 0  # must flow all the same, for frost
        self.surplus = SurplusRule(settings)
        self.full = False
        self.filling = Hold(settings.rules.full_hold_ms)
        self.recovering = Hold(settings.rules.resume_hold_ms)
        self.low = LOWEST
        self.high = HIGHEST

    def judge(self, facts: Facts) -> None:
        """Look, and set the ceiling."""
        values = facts.values
        # While it is full, or nothing flows, the bus tells nothing that matters.
        was_full = self.full
        turned_away = self.surplus.turned_away(values[BUS_MV], 0 if was_full else facts.expected_bus_mv)
        self.see(facts.now_ms, values[BATTERY_MV], values[TEMP_DECIC], turned_away)
        if was_full and not self.full:
            # From now on the bus matters: at this step, or nobody would look until something else changes.
            turned_away = self.surplus.turned_away(values[BUS_MV], facts.expected_bus_mv)
            self.see(facts.now_ms, values[BATTERY_MV], values[TEMP_DECIC], turned_away)
        self.reason = reasons.BATTERY_FULL
        self.ceiling_ml_s = NO_LIMIT
        if self.full:
            self.ceiling_ml_s = full_ml_s(self.settings, self.keep_ml_s)
            if self.ceiling_ml_s > full_ml_s(self.settings, 0):
                self.reason = reasons.FROST

    def watch(self, orders: Orders) -> None:
        """Narrow the bands of battery and bus."""
        orders.narrow(BATTERY_MV, self.low, self.high)
        orders.narrow(BUS_MV, self.surplus.low, self.surplus.high)

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        return self.running().left_ms(now_ms)

    def see(self, now_ms: int, battery_mv: int, temp_decic: int, turned_away: bool) -> None:
        """Find out whether the battery is full."""
        rules = self.settings.rules
        full_mv = compensated_mv(self.settings, rules.battery_full_mv, temp_decic)
        resume_mv = rules.battery_resume_mv  # a resting voltage, which the cold does not raise
        slack_mv = rules.battery_slack_mv
        if turned_away:
            full_mv = min(full_mv, resume_mv + 2 * slack_mv)
        known = battery_mv != UNKNOWN
        if not self.full:
            threshold_mv = full_mv - (slack_mv if self.filling.timing else 0)
            self.full = self.filling.lasted(known and battery_mv >= threshold_mv, now_ms)
        else:
            threshold_mv = resume_mv + (slack_mv if self.recovering.timing else 0)
            self.full = not self.recovering.lasted(known and battery_mv <= threshold_mv, now_ms)
        if known:
            self._watch(full_mv, resume_mv, slack_mv)
        else:
            self.low = LOWEST
            self.high = UNKNOWN  # until it is known again

    def _watch(self, full_mv: int, resume_mv: int, slack_mv: int) -> None:
        self.low = KNOWN
        self.high = HIGHEST
        if self.full:
            if self.recovering.timing:
                self.high = resume_mv + slack_mv
            else:
                self.low = resume_mv + 1
        elif self.filling.timing:
            self.low = full_mv - slack_mv
        else:
            self.high = full_mv - 1

    def running(self) -> Hold:
        """The hold that may be timing now."""
        return self.recovering if self.full else self.filling
