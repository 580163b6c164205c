"""In the engine's place when the settings are refused: closes every valve, opens nothing, says why.

Without settings nothing is known of pipe and valves, so each closes in steps so small and so far apart that
any pipe bears them, one valve at a time, from where its feedback says it is, without feedback as if from
fully open. Then it waits for somebody to load the right settings and start it again.

    engine = Refused("settings, head: format is 1; allowed: a whole number from 2 to 2")
    engine.step(now_ms, readings, orders)       # as RuleEngine's
    engine.alarms, engine.why                   # SETTINGS_REFUSED, and the sentence to show with it

Allocates nothing after the start.
"""

from .alarms import RESTARTED, SETTINGS_REFUSED, Alarms
from .compat import const
from .orders import Orders
from .readings import Readings
from .reasons import POND_RESTS
from .reasons import SETTINGS_REFUSED as REFUSED
from .ticks import ticks_add, ticks_diff

# A stroke of 25 minutes: each step stops a hundredth of the flow, and is over long before the next even in
# kilometres of pipe. Chosen by us.
STEP_PERMILLE = const(10)
STEP_MS = const(15_000)
QUIET_MS = const(60_000)


class Refused:
    """Brings the plant down, and keeps it down."""

    def __init__(self, why: str) -> None:
        self.why = why
        self.alarms = Alarms()
        self.started = False
        self.due_ms = 0  # no step before this instant
        self.resting = False  # due_ms counts

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """Nothing that somebody orders can be done."""
        return False

    def step(self, now_ms: int, readings: Readings, orders: Orders) -> None:
        """Bring the orders up to date."""
        openings = orders.opening_permille
        self.alarms.note(RESTARTED, not self.started, now_ms)
        self.alarms.note(SETTINGS_REFUSED, True, now_ms)
        orders.anew = 0
        if not self.started:
            self.started = True
            self.resting = True  # nobody knows when the last step was
            self.due_ms = ticks_add(now_ms, STEP_MS)
            orders.anew = 1
            for valve in range(len(openings)):
                said = readings.position_permille[valve]
                openings[valve] = said if 0 <= said <= 1000 else 1000
        else:
            self._close_on(now_ms, openings)
        orders.reason = REFUSED
        orders.pond_permille = 0
        orders.pond_reason = POND_RESTS
        orders.widen()
        wait_ms = ticks_diff(self.due_ms, now_ms) if self.resting else QUIET_MS
        orders.next_ms = ticks_add(now_ms, 1 if orders.anew else wait_ms)

    def _close_on(self, now_ms: int, openings: list[int]) -> None:
        """One step of the first valve that is not shut, if one is due."""
        if self.resting and ticks_diff(now_ms, self.due_ms) < 0:
            return
        self.resting = False
        for valve in range(len(openings)):
            if openings[valve] > 0:
                openings[valve] = max(0, openings[valve] - STEP_PERMILLE)
                self.due_ms = ticks_add(now_ms, STEP_MS)
                self.resting = True
                return
