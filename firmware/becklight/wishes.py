"""What somebody orders, as four whole numbers: the same for a console, a log and a replay.

    grant(engine, now_ms, HOLD, HERE, 0, 3_600_000)         # the jets as they stand, for an hour
    grant(engine, now_ms, LOCK, valve, 1, 0)

    code          first                   second            third
    HOLD          set, or HERE            trim [permille]   for how long [ms]
    STOP          for how long [ms]; 0: until RESUME
    RESUME
    LOCK          valve                   1 out, 0 back
    LOCK_WHEEL    wheel                   1 out, 0 back
    CLEAR         what has been looked at: owner.PIPE, SCREEN, VALVES or their sum
    SEEN          alarm                   its valve

A wish that cannot be granted changes nothing. None of them opens anything that the rules do not allow.
"""

from .alarms import NAMES as ALARM_NAMES
from .alarms import VALVES as ALARM_VALVES
from .compat import MYPY, const
from .owner import PIPE, SCREEN, VALVES, Owner

if MYPY:
    from .engine import RuleEngine

NO_WISH = const(0)
HOLD = const(1)
STOP = const(2)
RESUME = const(3)
LOCK = const(4)
LOCK_WHEEL = const(5)
CLEAR = const(6)
SEEN = const(7)
WISHES = ("none", "hold", "stop", "resume", "lock", "lock_wheel", "clear", "seen")

HERE = const(-1)  # the set and trim opening that stand, or are being moved to


def grant(engine: "RuleEngine", now_ms: int, code: int, first: int, second: int, third: int) -> bool:
    """Do what is wished; False, and nothing changes, if that cannot be."""
    owner: Owner = engine.owner
    if code == HOLD:
        if first == HERE:
            return owner.hold(now_ms, engine.set, engine.trim_permille, third)
        return owner.hold(now_ms, first, second, third)
    if code == STOP:
        return owner.stop(now_ms, first)
    if code == RESUME:
        owner.resume()
        return True
    if code in (LOCK, LOCK_WHEEL):
        if second != 0 and second != 1:
            return False
        if code == LOCK:
            return owner.lock(first, second == 1)
        return owner.lock_wheel(first, second == 1)
    if code == CLEAR:
        if not 0 < first <= PIPE + SCREEN + VALVES:
            return False
        if first & PIPE:
            owner.clear_pipe()
        if first & SCREEN:
            owner.clear_screen()
        if first & VALVES:
            owner.clear_valves()
        return True
    if code == SEEN and 0 <= first < len(ALARM_NAMES) and 0 <= second < ALARM_VALVES:
        engine.book.alarms.acknowledge(first, second)
        return True
    return False
