"""The storage pond: its release valve opens while the battery is low and the pond stands high enough.

The valve runs to one opening or to shut, by its own slow train of steps; its water comes to the intake, where
the level rule takes it like the stream's. The pond is never drawn below lowest_mm, and once it has been there
it is left alone until it has refilled to again_mm. Nor is more drawn than a night and a week allow
(allowance.py), nor while the reading stands still though the valve is open.

    pond = PondRule(settings)
    pond.tend(now_ms, battery_mv, pond_mm, level_known)
    pond.stroke.position, pond.reason
"""

from . import reasons
from .allowance import Allowance
from .orders import HIGHEST, LOWEST
from .readings import KNOWN, UNKNOWN
from .rules import NO_LIMIT, Hold
from .settings import PondSettings, Settings, StrokeSettings
from .ticks import ticks_add, ticks_diff


class Stroke:
    """One valve by itself: where it is, where it goes, and when it may take its next step."""

    def __init__(self, valve: StrokeSettings) -> None:
        self.valve = valve
        self.position = 0  # permille of travel
        self.goal = 0
        self.due_ms = 0  # no step before this instant
        self.resting = False  # due_ms counts

    def step(self, now_ms: int, held: bool = False) -> bool:
        """Take one step if one is due, and not held; True when a stroke's last one has been taken."""
        if self.resting and ticks_diff(now_ms, self.due_ms) >= 0:
            self.resting = False
        if self.resting or held or self.position == self.goal:
            return False
        valve = self.valve
        here = self.position
        there = valve.next_permille(here, self.goal)
        self.position = there
        self.due_ms = ticks_add(now_ms, valve.step_ms(here, there))
        self.resting = True
        return there == self.goal

    def left_ms(self, now_ms: int) -> int:
        """How long until it wants to be asked again; NO_LIMIT if it rests for good."""
        return ticks_diff(self.due_ms, now_ms) if self.resting else NO_LIMIT


class Stillness:
    """A reading that stays the same to the last digit for still_ms while the valve lets water out: frozen.

    It is believed again as soon as it shows something else.
    """

    def __init__(self, still_ms: int) -> None:
        self.hold = Hold(still_ms)  # one of 0 is over as it begins: then the reading may stand still
        self.anchor_mm = UNKNOWN  # what it has shown ever since the hold began; UNKNOWN once it has moved
        self.frozen = False

    def see(self, now_ms: int, pond_mm: int) -> None:
        """Take in a reading."""
        if pond_mm != self.anchor_mm:
            self.anchor_mm = UNKNOWN
            self.frozen = False
        if self.hold.timing and self.hold.lasted(True, now_ms):
            self.frozen = self.anchor_mm != UNKNOWN

    def follow(self, now_ms: int, pond_mm: int, is_open: bool) -> None:
        """Begin to watch, or end, by what has been decided for the valve; while frozen, it is shut."""
        if not is_open or pond_mm == UNKNOWN:
            self.hold.timing = False
        elif not self.hold.timing:
            self.anchor_mm = pond_mm
            self.hold.lasted(True, now_ms)

    def watching(self) -> bool:
        """Whether any other reading would change something."""
        return self.frozen or (self.hold.timing and self.anchor_mm != UNKNOWN)


class PondRule:
    """Whether the pond helps, why, and its valve."""

    def __init__(self, settings: Settings, pond: PondSettings) -> None:
        self.settings = settings
        self.pond = pond
        self.stroke = Stroke(pond.valve)
        self.reason = reasons.POND_RESTS
        self.battery_low = False
        self.falling = Hold(settings.rules.low_hold_ms)
        self.recovering = Hold(settings.rules.low_hold_ms)
        self.spilling = Hold(settings.rules.low_hold_ms)  # open, though the stream alone is plenty
        self.shutting = False  # at this step the valve has been ordered shut: less water is to come
        self.allowance = Allowance(pond)
        self.still = Stillness(pond.still_ms)
        self.held = False  # nobody knows where the valve stands: it is being closed, and not to be opened
        self.drawn_down = False  # has been at its lowest and not refilled since
        # Bands of the battery's voltage and the pond's level within which nothing changes.
        self.low_mv = LOWEST
        self.high_mv = HIGHEST
        self.low_mm = LOWEST
        self.high_mm = HIGHEST

    def tend(
        self,
        now_ms: int,
        battery_mv: int,
        pond_mm: int,
        level_known: bool,
        plentiful: bool = False,
        excess_ml_s: int = 0,
    ) -> bool:
        """Decide, and let the valve take a step; True when a stroke has ended.

        `plentiful`: the stream gives the jets all they can take or want, so that the pond could only spill.
        `excess_ml_s`: what the jets, on their way to less, still take too much; so much the valve lets out.
        """
        self._judge_battery(now_ms, battery_mv)
        self.still.see(now_ms, pond_mm)
        self.allowance.see(now_ms, pond_mm)
        self._judge_pond(pond_mm)
        was_open = self.stroke.goal > 0
        spilling = self.spilling.lasted(plentiful and was_open, now_ms)
        wasted = spilling or (plentiful and not was_open)
        if self.held or not self.battery_low or not level_known or wasted:
            self.reason = reasons.POND_RESTS
        elif self.drawn_down or pond_mm == UNKNOWN or self.still.frozen:
            self.reason = reasons.POND_LOW
        elif self.allowance.drawn:
            self.reason = reasons.POND_ALLOWANCE
        else:
            self.reason = reasons.BATTERY_LOW
        self.stroke.goal = self.pond.opening_permille if self.reason == reasons.BATTERY_LOW else 0
        self.shutting = was_open and self.stroke.goal == 0
        self.still.follow(now_ms, pond_mm, self.stroke.goal > 0)
        if self.still.watching():
            self.low_mm = pond_mm
            self.high_mm = pond_mm
        stroke = self.stroke
        let_ml_s = self.pond.release_ml_s * stroke.position // self.pond.opening_permille
        return stroke.step(now_ms, held=stroke.goal < stroke.position and let_ml_s < excess_ml_s)

    def _judge_battery(self, now_ms: int, battery_mv: int) -> None:
        """Low for long enough, fair again for long enough; an unknown voltage changes nothing."""
        rules = self.settings.rules
        known = battery_mv != UNKNOWN
        slack_mv = rules.battery_slack_mv
        self.low_mv = KNOWN
        self.high_mv = HIGHEST
        if not self.battery_low:
            threshold_mv = rules.battery_low_mv + (slack_mv if self.falling.timing else 0)
            self.battery_low = self.falling.lasted(known and battery_mv <= threshold_mv, now_ms)
        else:
            threshold_mv = rules.battery_fair_mv - (slack_mv if self.recovering.timing else 0)
            self.battery_low = not self.recovering.lasted(known and battery_mv >= threshold_mv, now_ms)
        if not known:
            self.low_mv = LOWEST
            self.high_mv = UNKNOWN  # until it is known again
        elif self.battery_low:
            if self.recovering.timing:
                self.low_mv = rules.battery_fair_mv - slack_mv
            else:
                self.high_mv = rules.battery_fair_mv - 1
        elif self.falling.timing:
            self.high_mv = rules.battery_low_mv + slack_mv
        else:
            self.low_mv = rules.battery_low_mv + 1

    def _judge_pond(self, pond_mm: int) -> None:
        self.low_mm = KNOWN
        self.high_mm = HIGHEST
        if pond_mm == UNKNOWN:
            self.low_mm = LOWEST
            self.high_mm = UNKNOWN
            return
        if self.drawn_down:
            self.drawn_down = pond_mm < self.pond.again_mm
        else:
            self.drawn_down = pond_mm <= self.pond.lowest_mm
        if self.drawn_down:
            self.high_mm = self.pond.again_mm - 1
        else:
            self.low_mm = self.pond.lowest_mm + 1
        self.low_mm = max(self.low_mm, self.allowance.low_mm)
        self.high_mm = min(self.high_mm, self.allowance.high_mm)

    def left_ms(self, now_ms: int) -> int:
        """How long nothing here changes by itself."""
        timing = self.recovering if self.battery_low else self.falling
        left_ms = min(self.stroke.left_ms(now_ms), timing.left_ms(now_ms))
        left_ms = min(left_ms, self.spilling.left_ms(now_ms))
        left_ms = min(left_ms, self.still.hold.left_ms(now_ms))
        return min(left_ms, self.allowance.left_ms(now_ms))
