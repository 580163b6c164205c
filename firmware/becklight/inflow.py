"""The inflow, inferred from what the level does while the jets stand still.

Two levels are kept to measure a rise from: one old enough, and one to follow it. They are taken anew whenever
a valve has moved.

    meter = InflowMeter(settings)
    meter.start(now_ms, level_mm)
    if meter.left_ms(now_ms, measure_ms) <= 0:
        meter.available_ml_s(now_ms, residual, drawn_ml_s, level_mm)
"""

from .readings import UNKNOWN
from .residual import Residual
from .rules import available_ml_s
from .settings import Settings
from .ticks import ticks_diff


class InflowMeter:
    """The levels from which a rise is measured."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.base_ms = 0
        self.base_mm = 0
        self.next_base_ms = 0
        self.next_base_mm = 0

    def start(self, now_ms: int, level_mm: int) -> None:
        """The jets stand as they will: from here on the level tells the inflow."""
        self.base_ms = now_ms
        self.base_mm = level_mm
        self.next_base_ms = now_ms
        self.next_base_mm = level_mm

    def renew(self, now_ms: int, level_mm: int) -> None:
        """Let go of an old base as soon as the next one is old enough to measure from."""
        if ticks_diff(now_ms, self.next_base_ms) >= self.settings.rules.measure_ms:
            self.base_ms = self.next_base_ms
            self.base_mm = self.next_base_mm
            self.next_base_ms = now_ms
            self.next_base_mm = level_mm

    def left_ms(self, now_ms: int, needed_ms: int) -> int:
        """How long until the base is so old."""
        return needed_ms - ticks_diff(now_ms, self.base_ms)

    def available_ml_s(self, now_ms: int, residual: Residual, drawn_ml_s: int, level_mm: int) -> int:
        """What the jets may take, by what the level did since the base [mL/s]."""
        elapsed_ms = ticks_diff(now_ms, self.base_ms)
        base_mm = level_mm if self.base_mm == UNKNOWN else self.base_mm
        return available_ml_s(self.settings, residual, drawn_ml_s, base_mm, level_mm, elapsed_ms)
