"""What both the console and the register table show of a device, whatever runs in it.

In the rule engine's place may stand what only closes the plant (settings refused, too many restarts, an
error): it has alarms and a sentence why, but no rules.
"""

from ..alarms import SLOTS, Alarms, code_of
from ..owner import FREE, Owner
from ..readings import UNKNOWN
from ..ticks import ticks_diff


def has_rules(device) -> bool:  # type: ignore[no-untyped-def]
    """Whether the rule engine runs."""
    return device.settings is not None and hasattr(device.engine, "ramps")


def alarms_of(device) -> Alarms:  # type: ignore[no-untyped-def]
    """The alarms, whoever keeps them."""
    alarms: Alarms = device.engine.book.alarms if has_rules(device) else device.engine.alarms
    return alarms


def owner_of(device) -> "Owner | None":  # type: ignore[no-untyped-def]
    """The owner's wishes, None while there is nobody to take them."""
    owner: Owner | None = device.engine.owner if has_rules(device) else None
    return owner


def mode_of(device) -> int:  # type: ignore[no-untyped-def]
    """Whether the owner holds or has stopped it: owner.MODES."""
    owner = owner_of(device)
    return FREE if owner is None else owner.mode


def held_left_s(device, now_ms: int) -> int:  # type: ignore[no-untyped-def]
    """For how long a hold or stop still lasts [s]; UNKNOWN if there is none, or it is for good."""
    owner = owner_of(device)
    if owner is None or owner.mode == FREE or not owner.expires:
        return UNKNOWN
    return max(0, ticks_diff(owner.due_ms, now_ms)) // 1000


def opening(device, valve: int) -> int:  # type: ignore[no-untyped-def]
    """What is ordered of a valve [permille]; the storage pond's is the one after the jets'."""
    openings: list[int] = device.orders.opening_permille
    if valve < len(openings):
        return openings[valve]
    pond: int = device.orders.pond_permille
    return pond


def has_pond(device) -> bool:  # type: ignore[no-untyped-def]
    """Whether a storage pond's valve is fitted."""
    return device.settings is not None and device.settings.pond is not None


def alarm_word(device, word: int, seen: bool) -> int:  # type: ignore[no-untyped-def]
    """Sixteen alarms as bits, those of several valves together: raised, or raised and seen by somebody."""
    alarms = alarms_of(device)
    bits = 0
    for slot in range(SLOTS):
        code = code_of(slot)
        if code >> 4 == word and alarms.raised(slot) and (alarms.seen[slot] or not seen):
            bits |= 1 << (code & 15)
    return bits
