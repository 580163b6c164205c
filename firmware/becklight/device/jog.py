"""One valve moved by hand, over what the engine orders: by its own slow ramp, and only while the owner holds.

    why = against(device)                   # FINE, or the rule that speaks against it: WHY[why]
    jog.start(device, valve, permille)
    jog.before(readings)                    # before each step of the engine
    jog.lay_over(device, now_ms)            # after each
    jog.back()                              # let it go back
    jog.drop()                              # forget it

The engine knows nothing of it: it goes on judging the plant by what it has ordered itself. So a jet jogged
open by more than the pipe guard bears looks like a leak, and all is closed; to see a jet run, hold a set with
it. Once the owner lets go, or a rule speaks against it, the valve goes back to where the engine wants it, by
the same ramp, never upwards while a rule speaks against it. No step is taken within the rest of another's.
"""

from ..compat import const
from ..owner import FREE
from ..pond import Stroke
from ..readings import LEVEL_MM, PRESSURE_MBAR, UNKNOWN, Readings
from ..ticks import ticks_diff
from .views import has_rules

NO_VALVE = const(-1)

FINE = const(0)
NO_RULES = const(1)
STOP_OPEN = const(2)
NOT_HELD = const(3)
HOMING = const(4)
BURST = const(5)
OVERSPEED = const(6)
TOO_LOW = const(7)
BLIND = const(8)
WHY = (
    "",
    "the rules do not run; every valve is being closed, or is",
    "the local stop is pressed, or its wire is broken",
    "the rules are in charge; `stop` or `hold` first",
    "all valves are still being closed, to know where they stand",
    "the pipe counts as burst; walk it, then `clear pipe`",
    "a wheel runs too fast",
    "the level is below the intake's floor, and the pipe would draw air",
    "neither level nor pressure is believed, so nothing protects the pipe",
)


def against(device) -> int:  # type: ignore[no-untyped-def]
    """The first thing that speaks against it; FINE if nothing does."""
    engine = device.engine
    if not has_rules(device):
        return NO_RULES
    if device.board.stop_open() or engine.owner.stopped:
        return STOP_OPEN
    if engine.owner.mode == FREE:
        return NOT_HELD
    if not engine.started or engine.homing or engine.anew:
        return HOMING
    if engine.book.pipe.burst:
        return BURST
    if engine.book.overspeed.fault or engine.book.spare_too_fast():
        return OVERSPEED
    believed = engine.facts.values  # since the last step that was not skipped
    level_mm = device.readings.values[LEVEL_MM]
    if believed[LEVEL_MM] == UNKNOWN or level_mm == UNKNOWN:
        pressure_mbar = device.readings.values[PRESSURE_MBAR]
        blind = believed[PRESSURE_MBAR] == UNKNOWN or pressure_mbar == UNKNOWN
        return BLIND if blind else FINE
    return TOO_LOW if level_mm < device.settings.rules.level_floor_mm else FINE


class Jog:
    """At most one valve at a time."""

    def __init__(self) -> None:
        self.valve = NO_VALVE
        self.stroke: Stroke | None = None
        self.returning = False  # on its way back for good

    def start(self, device, valve: int, permille: int) -> bool:  # type: ignore[no-untyped-def]
        """Set off; False, and nothing changes, if another valve is jogged or the engine moves one."""
        if device.engine.ramps.moving or self.valve not in (NO_VALVE, valve):
            return False
        if self.stroke is None:
            jets = device.settings.valves
            self.stroke = Stroke(jets[valve] if valve < len(jets) else device.settings.pond.valve)
            self.stroke.position = _ordered(device.engine, valve)
            self.valve = valve
        self.stroke.goal = permille
        self.returning = False
        return True

    def back(self) -> None:
        """Let the valve go back to where the engine wants it."""
        self.returning = True

    def drop(self) -> None:
        """Forget it: the valve counts as standing where the engine has ordered it."""
        self.valve = NO_VALVE
        self.stroke = None

    def before(self, readings: Readings) -> None:
        """Where the jogged valve says it stands is no answer to what the engine ordered: tell it nothing."""
        if 0 <= self.valve < len(readings.position_permille):
            readings.position_permille[self.valve] = UNKNOWN

    def lay_over(self, device, now_ms: int) -> None:  # type: ignore[no-untyped-def]
        """Take a step if one is due, and put it over what the engine has ordered."""
        stroke = self.stroke
        if stroke is None:
            return
        orders = device.orders
        if orders.anew:  # all valves are taken to stand elsewhere from here on, and closed: this one too
            self.drop()
            return
        ramps = device.engine.ramps
        ordered = _ordered(device.engine, self.valve)
        why = against(device)
        if why not in (FINE, NOT_HELD):
            stroke.goal = min(ordered, stroke.position)
        elif why == NOT_HELD or self.returning:
            self.returning = True
            stroke.goal = ordered
        before = stroke.position
        rests = ramps.resting and ticks_diff(now_ms, ramps.due_ms) < 0
        stroke.step(now_ms, ramps.moving or rests)
        if stroke.position != before:  # nor does the engine take one within this one's rest
            ramps.due_ms = stroke.due_ms
            ramps.resting = True
        if self.valve < len(orders.opening_permille):
            orders.opening_permille[self.valve] = stroke.position
        else:
            orders.pond_permille = stroke.position
        if (why != FINE or self.returning) and stroke.position == ordered:
            self.drop()


def _ordered(engine, valve: int) -> int:  # type: ignore[no-untyped-def]
    """Where the engine wants a valve now."""
    position: list[int] = engine.ramps.position
    if valve < len(position):
        return position[valve]
    pond: int = engine.duties.pond.stroke.position
    return pond
