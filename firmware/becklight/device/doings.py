"""What somebody orders by hand, from wherever: done, and written into the journal for a replay."""

from ..wishes import HOLD, STOP
from . import records


def wish(device, now_ms: int, code: int, first: int, second: int, third: int) -> bool:  # type: ignore[no-untyped-def]
    """Order something, as wishes.py tells; whether it was granted."""
    granted: bool = device.engine.wish(now_ms, code, first, second, third)
    device.diary.event(
        device.uptime_s, records.WISH if granted else records.WISH_REFUSED, code, first, second, third
    )
    if granted and code in (HOLD, STOP):
        device.jog.back()  # what is held or stopped from here on are all valves
    return granted
