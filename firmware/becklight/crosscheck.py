"""Pressure and wheel against each other: water that flows shows in both.

    pressure lies   above what the water above can give, jets open (closed: drift.py); or as if nothing
                    flowed, while the wheel turns
    bus lies        as if the wheel stood, while the pressure shows that its jets run; or as if it turned,
                    while the pressure shows that nothing flows and every jet is closed

The pressure comes first: the pipe guard would take the same for a frozen pipe after its static_hold_ms.

    check = CrossCheck(settings, static_mbar, settings.rules.bus_jump_mv)       # one for each wheel
    check.judge(now_ms, pressure_mbar, bus_mv, facts, facts.expected_bus_mv)    # UNKNOWN: not believed
    check.pressure_lies, check.bus_lies
"""

from .compat import const
from .facts import Facts
from .orders import HIGHEST, LOWEST
from .readings import UNKNOWN
from .rules import Hold
from .settings import Settings

# All chosen by us.
PRESSURE_LIES_MS = const(30_000)  # a closing valve's surge is over by then
BUS_LIES_MS = const(600_000)
RIGHT_MS = const(600_000)  # so long without contradiction, and it is believed again
ABOVE_PERMILLE = const(50)  # of the static pressure: more than a flood, or a gauge's own error
STILL_SHARE = const(5)  # of bus_jump_mv, which is 1.5 times the best voltage: less, and the wheel stands


class CrossCheck:
    """Whether pressure or bus voltage is contradicted by the other and by what stands open."""

    def __init__(self, settings: Settings, static_mbar: int, bus_jump_mv: int) -> None:
        self.static_mbar = static_mbar
        self.most_mbar = static_mbar + static_mbar * ABOVE_PERMILLE // 1000
        self.least_fall_mbar = max(1, 4 * settings.rules.pressure_doubt_mbar)  # as in pipe_guard.py
        self.still_mv = bus_jump_mv // STILL_SHARE
        self.low_permille = settings.rules.pressure_low_permille
        self.pressure_lies = False
        self.bus_lies = False
        self.pressure_wrong = Hold(PRESSURE_LIES_MS)
        self.pressure_right = Hold(RIGHT_MS)
        self.bus_wrong = Hold(BUS_LIES_MS)
        self.bus_right = Hold(RIGHT_MS)
        # Bands within which nothing changes; that a reading is lost, its witness sees.
        self.low_mbar = LOWEST
        self.high_mbar = HIGHEST
        self.low_mv = LOWEST
        self.high_mv = HIGHEST

    def judge(self, now_ms: int, pressure_mbar: int, bus_mv: int, facts: Facts, expected_mv: int) -> None:
        """Look; `expected_mv` is of this wheel."""
        self.low_mbar = self.low_mv = LOWEST
        self.high_mbar = self.high_mv = HIGHEST
        known = pressure_mbar != UNKNOWN and not facts.moving
        if facts.astray:
            bus_mv = UNKNOWN  # a wheel that turns otherwise than expected proves nothing then
        if known and facts.closed:
            self._judge_closed(now_ms, pressure_mbar, bus_mv, facts.settled)
        elif known and self._above_mbar(pressure_mbar, self.most_mbar):
            self._conclude(now_ms, True, False, False, False)
        elif known and self.static_mbar - facts.expected_mbar >= self.least_fall_mbar:
            self._judge_running(now_ms, pressure_mbar, bus_mv, facts.expected_mbar, expected_mv)
        else:
            self._conclude(now_ms, False, False, False, False)

    def _judge_closed(self, now_ms: int, pressure_mbar: int, bus_mv: int, settled: bool) -> None:
        """Every jet closed: once the wheel has run out, it stands."""
        stands = settled and bus_mv != UNKNOWN and not self._above_mv(bus_mv, self.still_mv)
        turns = settled and bus_mv != UNKNOWN and not stands
        bus_off = turns and self._above_mbar(pressure_mbar, self.static_mbar * 19 // 20)
        self._conclude(now_ms, False, True, bus_off, stands)

    def _judge_running(
        self, now_ms: int, pressure_mbar: int, bus_mv: int, expected_mbar: int, expected_mv: int
    ) -> None:
        """Jets open, and the pressure must have fallen; `dry`: it has not."""
        fall_mbar = self.static_mbar - expected_mbar
        dry = self._above_mbar(pressure_mbar, self.static_mbar - fall_mbar // 4)
        if bus_mv == UNKNOWN or expected_mv == 0:
            self._conclude(now_ms, False, not dry, False, False)
            return
        turns = self._above_mv(bus_mv, expected_mv // 2)
        # Between low and dry the pressure is about what the open jets leave of it.
        low_mbar = expected_mbar * self.low_permille // 1000
        flows = not dry and self._above_mbar(pressure_mbar, low_mbar)
        # A wheel set free runs twice as fast: one that reads more is not seen to be right.
        bus_sound = turns and not self._above_mv(bus_mv, expected_mv * 3 // 2)
        self._conclude(now_ms, turns and dry, not (turns and dry), flows and not turns, bus_sound)

    def _conclude(
        self, now_ms: int, pressure_off: bool, pressure_sound: bool, bus_off: bool, bus_sound: bool
    ) -> None:
        """Time what was seen; what could not be seen is neither off nor sound."""
        if self.pressure_lies:
            self.pressure_lies = not self.pressure_right.lasted(pressure_sound, now_ms)
        else:
            self.pressure_lies = self.pressure_wrong.lasted(pressure_off, now_ms)
        if self.bus_lies:
            self.bus_lies = not self.bus_right.lasted(bus_sound, now_ms)
        else:
            self.bus_lies = self.bus_wrong.lasted(bus_off, now_ms)

    def _above_mbar(self, mbar: int, threshold_mbar: int) -> bool:
        """Whether the pressure is above a threshold, which then also ends its band."""
        if mbar > threshold_mbar:
            self.low_mbar = max(self.low_mbar, threshold_mbar + 1)
            return True
        self.high_mbar = min(self.high_mbar, threshold_mbar)
        return False

    def _above_mv(self, bus_mv: int, threshold_mv: int) -> bool:
        """The same of the bus voltage."""
        if bus_mv > threshold_mv:
            self.low_mv = max(self.low_mv, threshold_mv + 1)
            return True
        self.high_mv = min(self.high_mv, threshold_mv)
        return False

    def left_ms(self, now_ms: int) -> int:
        """How long its answer stands by itself."""
        left_ms = min(self.pressure_wrong.left_ms(now_ms), self.pressure_right.left_ms(now_ms))
        return min(left_ms, min(self.bus_wrong.left_ms(now_ms), self.bus_right.left_ms(now_ms)))
