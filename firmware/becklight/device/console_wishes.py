"""Commands by which the owner orders something: all but `jog` as wishes, so that a log can replay them.

Each is run(console, words, now_ms, act): with `act` False it is only looked at whether it could be done.
"""

from .. import owner
from ..alarms import NAMES as ALARM_NAMES
from ..alarms import VALVE_END_LIES, VALVE_STUCK, VALVES
from ..settings import WHEELS
from ..wishes import CLEAR, HERE, HOLD, LOCK, LOCK_WHEEL, RESUME, SEEN, STOP
from . import records, views
from .console_words import Refusal, alarm, choice, needs_rules, valve, whole
from .doings import wish
from .jog import FINE, WHY, against
from .jsontext import Answer

_MINUTE_MS = 60_000
LONGEST_MIN = owner.LONGEST_HOLD_MS // _MINUTE_MS
LOOKED_AT = ("pipe", "screen", "valves")


def hold(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """The jets as they stand, or a set, for so many minutes."""
    device = console.device
    needs_rules(device)
    if len(words) == 3:
        raise Refusal("hold has 2 numbers; allowed: hold MINUTES, or hold SET TRIM MINUTES")
    minutes = whole(words[-1], "MINUTES", 1, LONGEST_MIN)
    first = HERE
    second = 0
    if len(words) == 4:
        first = whole(words[1], "SET", 0, len(device.settings.set_masks) - 1)
        second = whole(words[2], "TRIM", 0, device.settings.trim_permille[-1])
    answer = Answer()
    if act:
        _grant(device, now_ms, HOLD, first, second, minutes * _MINUTE_MS)
        answer.number("held_s", minutes * 60)
        answer.number("set", device.engine.owner.set)
        answer.number("trim_permille", device.engine.owner.trim_permille)
    return answer


def stop(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Close everything, for so many minutes or until resumed."""
    needs_rules(console.device)
    minutes = whole(words[1], "MINUTES", 0, LONGEST_MIN) if len(words) > 1 else 0
    answer = Answer()
    if act:
        _grant(console.device, now_ms, STOP, minutes * _MINUTE_MS, 0, 0)
        answer.raw("stopped_s", str(minutes * 60) if minutes else "null")
    return answer


def resume(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Leave it to the rules again; let them start again, where they had failed too often."""
    device = console.device
    if device.kept_shut:
        if act:
            device.forgive()
        return Answer()
    needs_rules(device)
    if act:
        _grant(device, now_ms, RESUME, 0, 0, 0)
    return Answer()


def lock(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """A jet taken out, or given back: lock, unlock."""
    device = console.device
    needs_rules(device)
    place = valve(words[1], device, False)
    answer = Answer()
    if act:
        _grant(device, now_ms, LOCK, place, _out(words), 0)
        answer.text("valve", device.settings.valves[place].name)
    return answer


def lock_wheel(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """A wheel with its jets taken out, or given back: lock-wheel, unlock-wheel."""
    device = console.device
    needs_rules(device)
    highest = WHEELS - 1 if device.settings.has_spare else 0
    wheel = whole(words[1], "WHEEL", 0, highest)
    if act:
        _grant(device, now_ms, LOCK_WHEEL, wheel, _out(words), 0)
    return Answer()


def clear(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Somebody has looked at the pipe, the screen or the valves, and it is well."""
    needs_rules(console.device)
    bit = (owner.PIPE, owner.SCREEN, owner.VALVES)[choice(words[1], "WHAT", LOOKED_AT)]
    if act:
        _grant(console.device, now_ms, CLEAR, bit, 0, 0)
    return Answer()


def seen(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Somebody has seen an alarm."""
    device = console.device
    needs_rules(device)
    code = alarm(words[1])
    place = 0
    if VALVE_STUCK <= code <= VALVE_END_LIES:
        if len(words) < 3:
            raise Refusal("{} is of one valve; say which: seen ALARM VALVE".format(ALARM_NAMES[code]))
        place = whole(words[2], "VALVE", 0, VALVES - 1)
    elif len(words) > 2:
        raise Refusal("{} is of no valve; leave VALVE out".format(ALARM_NAMES[code]))
    if act:
        _grant(device, now_ms, SEEN, code, place, 0)
    return Answer()


def jog(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """One valve by hand, by its own slow ramp, while the owner holds and no rule speaks against it."""
    device = console.device
    needs_rules(device)
    place = valve(words[1], device, True)
    permille = whole(words[2], "PERMILLE", 0, 1000)
    why = against(device)
    if why != FINE:
        raise Refusal("the valve stays: {}".format(WHY[why]))
    answer = Answer()
    if act:
        here = views.opening(device, place)
        if not device.jog.start(device, place, permille):
            raise Refusal(
                "the valve stays: another one is moving, or on its way back; try again when all rest"
            )
        device.diary.event(device.uptime_s, records.JOG, place, here, permille)
        answer.number("valve", place)
        answer.number("to_permille", permille)
    return answer


def _out(words: list[str]) -> int:
    return 0 if words[0].startswith("un") else 1


def _grant(device, now_ms: int, code: int, first: int, second: int, third: int) -> None:  # type: ignore[no-untyped-def]
    if not wish(device, now_ms, code, first, second, third):
        raise Refusal("the controller does not grant that; `state` shows what it does and why")
