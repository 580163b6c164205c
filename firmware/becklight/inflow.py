"""The inflow, inferred from what the level does while the jets stand still.

Two levels are kept to measure a rise from: one old enough, and one to follow it. They are taken anew whenever
a valve has moved.

    meter = InflowMeter(settings, look.doubt_dmm)
    meter.start(now_ms, level_dmm)
    if meter.left_ms(now_ms, measure_ms) <= 0:
        meter.available_ml_s(now_ms, residual, drawn_ml_s, level_dmm)
"""

from .residual import Residual
from .rules import available_ml_s
from .settings import Settings
from .ticks import ticks_diff


class InflowMeter:
    """The levels from which a rise is measured, in tenths of a millimetre."""

    def __init__(self, settings: Settings, doubt_dmm: int) -> None:
        self.settings = settings
        self.doubt_dmm = doubt_dmm
        self.based = False
        self.base_ms = 0
        self.base_dmm = 0
        self.next_base_ms = 0
        self.next_base_dmm = 0

    def forget(self) -> None:
        """What the level did until now tells nothing."""
        self.based = False

    def start(self, now_ms: int, level_dmm: int) -> None:
        """The jets stand as they will: from here on the level tells the inflow."""
        self.based = True
        self.base_ms = now_ms
        self.base_dmm = level_dmm
        self.next_base_ms = now_ms
        self.next_base_dmm = level_dmm

    def renewal_due(self, now_ms: int) -> bool:
        """Whether the next base is old enough to measure from."""
        return ticks_diff(now_ms, self.next_base_ms) >= self.settings.rules.measure_ms

    def renew(self, now_ms: int, level_dmm: int) -> None:
        """Let go of an old base as soon as the next one is old enough to measure from."""
        if self.renewal_due(now_ms):
            self.base_ms = self.next_base_ms
            self.base_dmm = self.next_base_dmm
            self.next_base_ms = now_ms
            self.next_base_dmm = level_dmm

    def left_ms(self, now_ms: int, needed_ms: int) -> int:
        """How long until the base is so old."""
        return needed_ms - ticks_diff(now_ms, self.base_ms) if self.based else needed_ms

    def fallen_dmm(self, level_dmm: int) -> int:
        """By how much the level has fallen since the base."""
        return self.base_dmm - level_dmm if self.based else 0

    def available_ml_s(self, now_ms: int, residual: Residual, drawn_ml_s: int, level_dmm: int) -> int:
        """What the jets may take, by what the level did since the base [mL/s]; without one it stood still."""
        elapsed_ms = ticks_diff(now_ms, self.base_ms) if self.based else 0
        base_dmm = self.base_dmm if self.based else level_dmm
        return available_ml_s(
            self.settings, residual, drawn_ml_s, base_dmm, level_dmm, elapsed_ms, self.doubt_dmm
        )
