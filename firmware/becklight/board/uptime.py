"""The chip's milliseconds as the logic's instants (ticks.py), and short waits."""

from time import sleep_ms as sleep_ms
from time import ticks_ms

from ..compat import const

_MASK = const((1 << 29) - 1)  # ticks.PERIOD_MS - 1; the chip's own period is a multiple of ours


def now_ms() -> int:
    """This instant."""
    return ticks_ms() & _MASK  # type: ignore[operator]  # it is a whole number
