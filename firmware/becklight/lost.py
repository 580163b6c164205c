"""No level to go by: carry on with little if the pressure still protects the pipe, else come down.

One bad sample is nothing. After lost_hold_ms without a level the jets may take no more than blind_flow_ml_s,
a flow that the stream has nearly always; air drawn into the pipe would show in the pressure. Without that
too, nothing protects the pipe, and everything closes by the slow ramps.
"""

from . import reasons
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .readings import KNOWN, LEVEL_MM, PRESSURE_MBAR, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings


class LostLevel(Rule):
    """Whether the level is lost, and what may flow then; a rule as facts.py tells."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.reason = reasons.LEVEL_UNKNOWN
        self.ceiling_ml_s = NO_LIMIT
        self.lost = False
        self.losing = Hold(settings.rules.lost_hold_ms)
        self.level_known = False
        self.pressure_known = False

    def judge(self, facts: Facts) -> None:
        """Look, and set the ceiling."""
        self.level_known = facts.values[LEVEL_MM] != UNKNOWN
        self.pressure_known = facts.values[PRESSURE_MBAR] != UNKNOWN
        if self.level_known:
            self.lost = False
        if self.losing.lasted(not self.level_known and not self.lost, facts.now_ms):
            self.lost = True
        if not self.lost:
            self.ceiling_ml_s = NO_LIMIT
        elif self.pressure_known:
            self.ceiling_ml_s = self.settings.rules.blind_flow_ml_s
        else:
            self.ceiling_ml_s = 0

    def watch(self, orders: Orders) -> None:
        """Seen at once: a reading that comes or goes."""
        if self.level_known:
            orders.narrow(LEVEL_MM, KNOWN, HIGHEST)
        else:
            orders.narrow(LEVEL_MM, LOWEST, UNKNOWN)
            if self.pressure_known:
                orders.narrow(PRESSURE_MBAR, KNOWN, HIGHEST)
            else:
                orders.narrow(PRESSURE_MBAR, LOWEST, UNKNOWN)

    def left_ms(self, now_ms: int) -> int:
        """How long until the level counts as lost."""
        return self.losing.left_ms(now_ms)
