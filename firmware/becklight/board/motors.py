"""Motors that run one way, the other way, or not: two relays or an H-bridge each.

outputs_off(profile)            # first of all, before anything is known
motors = Motors(profile, [0, 2])
motors.run(0, 1)                # the first of these opens
motors.all_off()

However it is called, the two outputs of a motor are never on together, and between one and the other both
have been off for the dead time.
"""

from machine import Pin

from ..compat import const
from ..ticks import ticks_diff
from .profile import Profile
from .uptime import now_ms, sleep_ms

DEAD_MS = const(100)  # a relay lets go within some 10 ms, and its motor coasts; chosen by us


def outputs_off(profile: Profile) -> None:
    """Every pin that can drive a motor is off. A restart without a power cut leaves pins as they were."""
    for motor in profile.motors:
        Pin(motor[0], Pin.OUT, value=0)
        Pin(motor[1], Pin.OUT, value=0)


class Motor:
    """Two outputs, of which at most one is on."""

    def __init__(self, open_pin: int, shut_pin: int) -> None:
        self._open = Pin(open_pin, Pin.OUT, value=0)
        self._shut = Pin(shut_pin, Pin.OUT, value=0)
        self.direction = 0
        self._resting = True  # off since _off_ms, not long ago; it may have run before the restart
        self._last = 0  # which way it ran last; 0: nobody knows
        self._off_ms = now_ms()

    def run(self, direction: int) -> None:
        """1 opens, -1 shuts, 0 stops. Waits out what is left of the dead time if it ran the other way."""
        direction = 1 if direction > 0 else -1 if direction < 0 else 0
        if direction == self.direction:
            return
        if self.direction:
            self.off()
        if direction == 0:
            return
        if self._resting and self._last != direction:
            left_ms = DEAD_MS - ticks_diff(now_ms(), self._off_ms)
            if 0 < left_ms <= DEAD_MS:
                sleep_ms(left_ms)
        self._resting = False
        self._last = direction
        self.direction = direction
        if direction > 0:
            self._shut.value(0)
            self._open.value(1)
        else:
            self._open.value(0)
            self._shut.value(1)

    def off(self) -> None:
        """Both outputs off."""
        self._open.value(0)
        self._shut.value(0)
        if self.direction:
            self.direction = 0
            self._resting = True
            self._off_ms = now_ms()


class Motors:
    """The motors of a plant's valves, in the valves' order."""

    def __init__(self, profile: Profile, numbers: "list[int]") -> None:
        rows = profile.motors
        self._motors = [Motor(rows[number][0], rows[number][1]) for number in numbers]

    def run(self, valve: int, direction: int) -> None:
        """1 opens, -1 shuts, 0 stops; a valve that there is not, does nothing."""
        if 0 <= valve < len(self._motors):
            self._motors[valve].run(direction)

    def all_off(self) -> None:
        """No motor runs."""
        for motor in self._motors:
            motor.off()
