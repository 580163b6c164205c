"""What the lamp shows: a pattern for each state of the device, counted in flashes that a person can count.

    lamp.show(state)
    wait_ms = lamp.step(now_ms, board)

| state | pattern |
| --- | --- |
| RUNS | lit, with a short wink every 3 s: water is taken |
| WAITS | dark, a short flash every 3 s: all closed, all well |
| MOVES | even, slow: a valve moves |
| HELD | lit long, dark long: by the stop, or held by the owner |
| LOOK | two flashes, pause: an alarm that can wait until today |
| COME | three flashes, pause: somebody must come now |
| REFUSED | quick without end: settings refused, kept shut after restarts, or failing |
"""

from ..alarms import ALARMS, COME_NOW, TODAY, code_of
from ..compat import const
from ..owner import FREE
from ..readings import RUN_SWITCH
from ..ticks import ticks_add, ticks_diff

RUNS = const(0)
WAITS = const(1)
MOVES = const(2)
HELD = const(3)
LOOK = const(4)
COME = const(5)
REFUSED = const(6)
STATES = ("runs", "waits", "moves", "held", "look", "come", "refused")

# For each state, in turn lit and dark [ms]. Chosen by us: a flash of 150 ms is seen in daylight.
PATTERNS = (
    (2_800, 200),
    (150, 2_850),
    (500, 500),
    (1_500, 1_500),
    (200, 200, 200, 1_400),
    (200, 200, 200, 200, 200, 1_000),
    (100, 100),
)


class Lamp:
    """One lamp, somewhere in its pattern."""

    def __init__(self) -> None:
        self.state = WAITS
        self.place = 0  # in the pattern; even ones are lit
        self.due_ms = 0
        self.started = False

    def see(self, device) -> None:  # type: ignore[no-untyped-def]
        """Show what the device does."""
        self.show(state_of(device))

    def show(self, state: int) -> None:
        """Show another state, from the pattern's beginning."""
        if state != self.state:
            self.state = state
            self.started = False

    def step(self, now_ms: int, board) -> int:  # type: ignore[no-untyped-def]
        """Switch the lamp if it is time; how long until the next switch."""
        pattern = PATTERNS[self.state]
        if not self.started:
            self.started = True
            self.place = 0
            self.due_ms = ticks_add(now_ms, pattern[0])
            board.lamp(True)
        left_ms = ticks_diff(self.due_ms, now_ms)
        if left_ms > 0:
            return left_ms
        self.place = (self.place + 1) % len(pattern)
        self.due_ms = ticks_add(now_ms, pattern[self.place])
        board.lamp(self.place & 1 == 0)
        return pattern[self.place]


def state_of(device) -> int:  # type: ignore[no-untyped-def]
    """What the lamp should show of a device."""
    engine = device.engine
    if device.failing or device.settings is None or device.kept_shut:
        return REFUSED
    alarms = engine.book.alarms
    highest = alarms.highest()
    if highest >= 0 and not alarms.seen[highest]:
        rank = ALARMS[code_of(highest)][0]
        if rank == COME_NOW:
            return COME
        if rank == TODAY:
            return LOOK
    if engine.owner.mode != FREE or device.readings.values[RUN_SWITCH] != 1:
        return HELD
    if device.drive.busy():
        return MOVES
    for permille in device.orders.opening_permille:
        if permille > 0:
            return RUNS
    return WAITS
