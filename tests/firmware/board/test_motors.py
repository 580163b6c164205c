"""Both outputs of a motor are never on, whatever is ordered, and it rests before it turns round."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.board.profiles import PICO

VALVES = [2, 0, 5]  # motors
# Orders: which valve, which way, how long after the last.
ORDERS = st.lists(
    st.tuples(st.integers(-1, 3), st.integers(-2, 2), st.sampled_from([0, 0, 1, 50, 99, 100, 101, 5_000])),
    max_size=40,
)


def motors_of(rig):
    module = rig.load("motors")
    rig.start_over()
    return module, module.Motors(PICO, VALVES)


class Watch:
    """Looks at the pins after every change."""

    def __init__(self, state):
        self.state = state
        self.off_since = {}
        self.last = {}
        self.runs = 0

    def __call__(self, number, level):
        for motor in PICO.motors:
            opens, shuts = (self.state.levels.get(pin, 0) for pin in motor[:2])
            assert not (opens and shuts), f"both outputs of {motor} are on"
        if number in {pin for motor in VALVES for pin in PICO.motors[motor][:2]}:
            self._turn(number, level)

    def _turn(self, number, level):
        motor = next(motor[:2] for motor in PICO.motors if number in motor[:2])
        now_ms = self.state.now_ms
        if level:
            self.runs += 1
            if self.last.get(motor, number) != number:
                assert now_ms - self.off_since[motor] >= 100, "turned round without rest"
            self.last[motor] = number
        elif self.state.levels.get(number) == 0 and self.last.get(motor) == number:
            self.off_since.setdefault(motor, now_ms)
        if level:
            self.off_since.pop(motor, None)


@given(ORDERS)
def test_never_both_and_always_a_rest(rig, orders):
    _, motors = motors_of(rig)
    state = rig.state
    state.watch = Watch(state)
    for valve, direction, wait_ms in orders:
        state.now_ms += wait_ms
        motors.run(valve, direction)
        if 0 <= valve < len(VALVES):
            opens, shuts = (state.levels[pin] for pin in PICO.motors[VALVES[valve]][:2])
            assert (opens, shuts) == (int(direction > 0), int(direction < 0))
    motors.all_off()
    assert not any(state.levels.values())


def test_the_watch_above_would_see_it(rig):
    _, motors = motors_of(rig)
    state = rig.state
    state.watch = Watch(state)
    motors.run(0, 1)
    with pytest.raises(AssertionError, match="both outputs"):
        rig.machine.Pin(PICO.motors[2][1]).value(1)
    state.levels[PICO.motors[2][1]] = 0
    rig.machine.Pin(PICO.motors[2][0]).value(0)
    with pytest.raises(AssertionError, match="without rest"):
        rig.machine.Pin(PICO.motors[2][1]).value(1)


def test_a_motor_that_goes_on_the_same_way_does_not_wait(rig):
    module, motors = motors_of(rig)
    motors.run(0, 1)
    assert rig.state.log == [("sleep", module.DEAD_MS)]  # it may have run before the restart
    motors.run(0, 0)
    motors.run(0, 1)
    motors.run(0, 1)
    assert len(rig.state.log) == 1
    rig.state.now_ms += 60
    motors.run(0, -1)
    assert rig.state.log[1:] == [("sleep", 100)]
    motors.run(0, 0)
    rig.state.now_ms += 60
    motors.run(0, 1)
    assert rig.state.log[2:] == [("sleep", 40)]


@pytest.mark.parametrize("idle_ms", [(1 << 29) - 50, 1 << 28, (1 << 28) + 1, (1 << 29) + 20, 3 << 29])
def test_a_motor_that_has_not_run_for_days_waits_no_longer_than_the_dead_time(rig, idle_ms):
    module, motors = motors_of(rig)
    motors.run(0, 1)
    motors.run(0, 0)
    rig.state.now_ms += idle_ms
    before_ms = rig.state.now_ms
    motors.run(0, -1)
    assert rig.state.now_ms - before_ms <= module.DEAD_MS


def test_at_first_every_pin_that_can_drive_a_motor_is_off(rig):
    module = rig.load("motors")
    rig.start_over()
    rig.state.levels = {pin: 1 for motor in PICO.motors for pin in motor[:2]}  # a restart in mid-move
    module.outputs_off(PICO)
    assert set(rig.state.levels.values()) == {0}
    assert {rig.state.modes[pin] for motor in PICO.motors for pin in motor[:2]} == {rig.machine.Pin.OUT}
