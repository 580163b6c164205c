"""Wrapping millisecond time, ours, the same everywhere. Only this file subtracts instants.

An instant is 0 .. PERIOD_MS - 1 and wraps every 6.2 days. Two instants can be told apart while they
are less than half a period (3.1 days) from one another, so no stored instant may be kept longer.
The period is 2**29 so that every sum here stays a small integer on a 32-bit board, where the
clock's own period of 2**30 would not.

    due_ms = ticks_add(now_ms, 60_000)
    if ticks_diff(now_ms, due_ms) >= 0: ...   # due
"""

from .compat import const

PERIOD_MS = const(1 << 29)
LONGEST_MS = const((1 << 28) - 1)  # the longest length of time that two instants can hold apart
_MASK = const((1 << 29) - 1)
_HALF = const(1 << 28)


def ticks_add(instant_ms: int, length_ms: int) -> int:
    """The instant that lies `length_ms` after (before, if negative) another."""
    return (instant_ms + length_ms) & _MASK


def ticks_diff(later_ms: int, earlier_ms: int) -> int:
    """How many milliseconds `later_ms` lies after `earlier_ms`; negative if it lies before."""
    return ((later_ms - earlier_ms + _HALF) & _MASK) - _HALF
