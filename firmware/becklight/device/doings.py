"""What somebody orders by hand, from wherever: done, and written into the journal for a replay."""

from .. import owner
from ..wishes import HOLD, STOP
from . import records, views


def wish(device, now_ms: int, code: int, first: int, second: int, third: int) -> bool:  # type: ignore[no-untyped-def]
    """Order something, as wishes.py tells; whether it was granted."""
    granted: bool = device.engine.wish(now_ms, code, first, second, third)
    device.diary.event(
        device.uptime_s, records.WISH if granted else records.WISH_REFUSED, code, first, second, third
    )
    if granted and code in (HOLD, STOP):
        device.jog.back()  # what is held or stopped from here on are all valves
    return granted


def restart_if_shut(console) -> None:  # type: ignore[no-untyped-def]
    """Start anew once all is shut and no motor runs; an owner who has let go does not want it any more."""
    device = console.device
    if views.has_rules(device) and device.engine.owner.mode != owner.STOP:
        console.restarting = False
        return
    for permille in device.orders.opening_permille:
        if permille > 0:
            return
    if device.drive.busy() or (views.has_rules(device) and device.engine.ramps.moving):
        return
    console.restarting = False
    device.diary.event(device.uptime_s, records.RESTARTING, records.BY_CONSOLE)
    device.board.reset()
