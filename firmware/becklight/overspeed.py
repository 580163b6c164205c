"""Does a wheel run so fast that its regulator's input is in danger?

The rectified voltage follows the wheel's speed. Near the most that the regulator's input bears the flow is
eased to the smallest set; if that does not help, everything closes. It opens again once the voltage has been
calm for long enough. Where the wheel's free run stays below the limit, as it should by choice of wheel and
windings, this never happens: it is there for a wheel, a limit or an instrument that is not as the site file
says. An unknown voltage neither trips nor resumes. Slow valves are no overspeed protection: a fast transient
is over before they have moved, and the hard-wired one stays.

A spare wheel has a generator and a regulator of its own, and a voltage. Where it runs too fast it sets no
ceiling: all of its jets are shut at once (rulebook.py locks them), by the slow ramps, and the main wheel
carries on. Nobody waits for the spare, so each time that it runs away anew it stays shut twice as long.

    rule = OverspeedRule(settings)
    rule.judge(facts)
    rule.fault, rule.ceiling_ml_s

Allocates nothing after the start.
"""

from . import reasons
from .compat import const
from .facts import Facts, Rule
from .orders import HIGHEST, LOWEST, Orders
from .readings import BUS_MV, KNOWN, SPARE_BUS_MV, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import Settings

CALM = const(0)
EASED = const(1)
CLOSED = const(2)
MODES = ("calm", "eased", "closed")

LONGEST_CALM_MS = const(86_400_000)  # so long the spare stays shut at most; chosen by us


class OverspeedRule(Rule):
    """Calm, eased or closed, by the bus voltage."""

    def __init__(self, settings: Settings) -> None:
        self._begin(settings, BUS_MV, settings.rules.bus_most_mv)
        self.ease_flow_ml_s = settings.rules.ease_flow_ml_s

    def _begin(self, settings: Settings, place: int, most_mv: int) -> None:
        rules = settings.rules
        self.place = place  # of the wheel's voltage in the readings
        self.reason = reasons.OVERSPEED
        self.ceiling_ml_s = NO_LIMIT
        self.mode = CALM
        self.fault = False
        # Divided first: the product of the largest settings is no small integer.
        self.trip_mv = most_mv // 1000 * rules.bus_trip_permille
        self.calm_mv = most_mv // 1000 * rules.bus_calm_permille
        self.tripping = Hold(rules.bus_trip_hold_ms)
        self.waiting = Hold(rules.bus_trip_wait_ms)
        self.calming = Hold(rules.bus_calm_hold_ms)
        self.low_mv = LOWEST
        self.high_mv = HIGHEST

    def judge(self, facts: Facts) -> None:
        """Compare the bus voltage with what the regulator's input bears."""
        now_ms = facts.now_ms
        bus_mv = facts.values[self.place]
        known = bus_mv != UNKNOWN
        over = known and bus_mv > self.trip_mv
        calm = known and bus_mv < self.calm_mv
        if self.tripping.lasted(self.mode == CALM and over, now_ms):
            self.mode = EASED
        if self.waiting.lasted(self.mode == EASED and over, now_ms):
            self.mode = CLOSED
        if self.calming.lasted(self.mode != CALM and calm, now_ms):
            self.mode = CALM
        self.fault = self.mode != CALM
        if self.mode == CALM:
            self.ceiling_ml_s = NO_LIMIT
        else:
            self.ceiling_ml_s = self.ease_flow_ml_s if self.mode == EASED else 0
        self._band(known, over, calm)

    def _band(self, known: bool, over: bool, calm: bool) -> None:
        """The voltages that are the same to the mode."""
        self.low_mv = KNOWN
        self.high_mv = HIGHEST
        if not known:
            self.low_mv = LOWEST
            self.high_mv = UNKNOWN  # until it is known again
            return
        if self.mode != CLOSED:
            if over:
                self.low_mv = self.trip_mv + 1
            else:
                self.high_mv = self.trip_mv
        if self.mode != CALM:
            if calm:
                self.high_mv = self.calm_mv - 1
            else:
                self.low_mv = max(self.low_mv, self.calm_mv)

    def watch(self, orders: Orders) -> None:
        """Narrow the band of the bus voltage."""
        orders.narrow(self.place, self.low_mv, self.high_mv)

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        left_ms = min(self.tripping.left_ms(now_ms), self.waiting.left_ms(now_ms))
        return min(left_ms, self.calming.left_ms(now_ms))


class SpareOverspeed(OverspeedRule):
    """Calm or closed, by the spare wheel's bus voltage; sets no ceiling."""

    def __init__(self, settings: Settings) -> None:
        self._begin(settings, SPARE_BUS_MV, settings.rules.spare_bus_most_mv)
        self.shortest_ms = self.calming.hold_ms
        self.next_ms = self.shortest_ms  # how long it is to be calm after the next time
        self.mending = Hold(settings.rules.restart_good_ms)

    def judge(self, facts: Facts) -> None:
        """Compare the bus voltage with what the regulator's input bears."""
        now_ms = facts.now_ms
        bus_mv = facts.values[self.place]
        known = bus_mv != UNKNOWN
        over = known and bus_mv > self.trip_mv
        calm = known and bus_mv < self.calm_mv
        if self.tripping.lasted(self.mode == CALM and over, now_ms):
            self.mode = CLOSED
            self.calming.hold_ms = self.next_ms
            self.next_ms = min(LONGEST_CALM_MS, 2 * self.next_ms)
        if self.calming.lasted(self.mode != CALM and calm, now_ms):
            self.mode = CALM
        self.fault = self.mode != CALM
        mends = self.mode == CALM and self.next_ms > self.shortest_ms and facts.spare_runs
        if self.mending.lasted(mends and known and not over, now_ms):
            self.next_ms = self.shortest_ms
        self._band(known, over, calm)

    def watch(self, orders: Orders) -> None:
        """Narrow the band of the bus voltage."""
        super().watch(orders)

    def left_ms(self, now_ms: int) -> int:
        """How long the answer stands by itself."""
        return min(super().left_ms(now_ms), self.mending.left_ms(now_ms))
