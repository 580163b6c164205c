"""What the engine believes at one step: filled in place, handed to every rule.

A rule is an object with

    reason                      why, when its ceiling binds (reasons.py)
    ceiling_ml_s                the flow it allows; NO_LIMIT when it has nothing to say
    judge(facts)                look, and set the ceiling
    watch(orders)               narrow the bands of what it looks at: inside them nothing changes for it
    left_ms(now_ms)             how long its answer stands by itself; NO_LIMIT if for good

`judge` is called only at steps that the engine does not skip: at `orders.next_ms`, or when a reading leaves
its band. So a rule sees the same steps whether it is asked every second or seldom, and may keep what it saw.
"""

from .orders import Orders
from .readings import COUNT, UNKNOWN


class Facts:
    """One step's view of the plant."""

    def __init__(self) -> None:
        self.now_ms = 0
        self.values = [UNKNOWN] * COUNT  # places as in readings.py; what is not trusted is UNKNOWN
        self.drawn_ml_s = 0  # by the jets, by the menu
        self.closed = True  # every jet is closed, or being closed
        self.moving = False  # a valve is on its way
        self.astray = False  # a valve is known to stand elsewhere than ordered: what is expected may not come
        self.settled = False  # the intake has answered the last move
        self.expected_mbar = UNKNOWN  # at the manifold, while what stands open tells it
        self.expected_bus_mv = 0  # while all power is taken; 0 while that cannot be told
        self.spare_runs = False  # a jet of the spare wheel is open, or being opened
        self.expected_spare_bus_mv = 0  # as of the main wheel


class Rule:
    """What every rule offers."""

    reason = 0
    ceiling_ml_s = 0

    def judge(self, facts: Facts) -> None:
        """Look, and set the ceiling."""

    def watch(self, orders: Orders) -> None:
        """Narrow the bands of what it looks at."""

    def left_ms(self, now_ms: int) -> int:
        """How long its answer stands by itself."""
        return 0
