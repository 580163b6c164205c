"""One valve moved by hand, on a whole device with the real rules."""

import pytest

from becklight.device.jog import (
    BLIND,
    BURST,
    FINE,
    HOMING,
    NO_RULES,
    NO_VALVE,
    NOT_HELD,
    OVERSPEED,
    STOP_OPEN,
    TOO_LOW,
    WHY,
    against,
)
from becklight.readings import UNKNOWN

QUIET = {"pressure_doubt_mbar": 2_000, "leak_permille": 0, "burst_permille": 0}


@pytest.fixture
def stopped(desk):
    """A device whose owner has stopped it."""

    def stop(**rules):
        here = desk(**rules)
        here.say("stop")
        return here

    return stop


def _openings(here, play, seconds):
    """The first valve's opening as ordered, second by second."""
    seen = []
    play(
        here.device, here.board, seconds, lambda ms: seen.append((ms, here.device.orders.opening_permille[0]))
    )
    return seen


def test_it_moves_one_valve_by_its_own_slow_ramp(stopped, play):
    here = stopped(**QUIET)
    assert here.confirmed("jog 0 200")["to_permille"] == 200
    seen = [(-1, 0), *_openings(here, play, 60)]
    steps = [
        (ms, permille)
        for (ms, permille), (_, before) in zip(seen[1:], seen, strict=False)
        if permille != before
    ]
    assert [permille for _, permille in steps] == [40, 80, 120, 160, 200]
    gaps = [later - ms for (ms, _), (later, _) in zip(steps, steps[1:], strict=False)]
    assert min(gaps) >= 3_000  # 1 s a step, three times that near closed
    assert here.device.orders.opening_permille[1:] == [0, 0, 0]
    assert abs(here.board.true[0] - 200) < 20


def test_it_may_be_sent_back(stopped, play):
    here = stopped(**QUIET)
    here.confirmed("jog 0 120")
    play(here.device, here.board, 30)
    here.confirmed("jog 0 0")
    play(here.device, here.board, 60)
    assert here.device.orders.opening_permille[0] == 0
    assert here.board.true[0] < 20


def test_it_stays_where_it_was_put_while_held(stopped, play):
    here = stopped(**QUIET)
    here.confirmed("jog 0 120")
    play(here.device, here.board, 120)
    assert here.device.orders.opening_permille[0] == 120


def test_it_goes_back_once_the_owner_lets_go(stopped, play):
    here = stopped(**QUIET)
    here.confirmed("jog 2 120")
    play(here.device, here.board, 30)
    assert here.device.orders.opening_permille[2] == 120
    here.confirmed("resume")
    play(here.device, here.board, 60)
    assert here.device.orders.opening_permille[2] == 0
    assert here.device.jog.valve == NO_VALVE


@pytest.mark.parametrize("order", ["stop", "hold 5"])
def test_a_new_order_of_the_owner_s_sends_it_back_too(stopped, play, order):
    here = stopped(**QUIET)
    here.confirmed("jog 0 120")
    play(here.device, here.board, 30)
    here.say(order)
    play(here.device, here.board, 60)
    assert here.device.orders.opening_permille[0] == 0
    assert here.device.jog.valve == NO_VALVE
    assert here.board.true[0] < 20


def test_one_valve_at_a_time(stopped, play):
    here = stopped(**QUIET)
    here.confirmed("jog 0 120")
    play(here.device, here.board, 5)
    code = here.say("jog 1 40")["confirm"]
    assert "another one is moving" in here.refused("yes " + code)


def test_the_engine_is_told_nothing_of_where_the_jogged_valve_stands(stopped, play):
    here = stopped(**QUIET)
    here.confirmed("jog 0 300")
    play(here.device, here.board, 120)
    assert here.device.readings.position_permille[1] != UNKNOWN
    assert not any(alarm["alarm"].startswith("valve") for alarm in here.say("state")["alarms"])


@pytest.mark.parametrize("danger", ["stop", "floor"])
def test_a_rule_that_speaks_up_sends_it_back_and_not_up(stopped, play, danger):
    here = stopped(**QUIET)
    here.confirmed("jog 0 200")
    play(here.device, here.board, 12)
    opened = here.device.orders.opening_permille[0]
    assert 0 < opened < 200
    if danger == "stop":
        here.board.pressed = True
    else:
        here.show(level_mm=40)
    stood = []
    play(here.device, here.board, 90, lambda ms: stood.append(here.board.true[0]))
    assert max(stood) <= opened + 40 + 1  # at most one more step before the danger has been sampled
    assert here.device.jog.valve == NO_VALVE
    assert here.board.true[0] < 20


# -- what speaks against it ---------------------------------------------------------------------------


def _refused(here):
    return here.refused("jog 0 100")


def test_nothing_speaks_against_it_while_stopped_or_held(stopped, desk):
    assert against(stopped().device) == FINE
    here = desk()
    here.say("hold 5")
    assert against(here.device) == FINE


def test_not_while_the_rules_are_in_charge(desk):
    here = desk()
    assert against(here.device) == NOT_HELD
    assert "the rules are in charge" in _refused(here)


def test_not_while_the_local_stop_is_pressed(stopped):
    here = stopped()
    here.board.pressed = True  # at once, before anything has sampled it
    assert against(here.device) == STOP_OPEN
    assert "local stop" in _refused(here)


def test_not_below_the_floor(stopped, play):
    here = stopped()
    here.show(level_mm=45)
    play(here.device, here.board, 5)
    assert against(here.device) == TOO_LOW
    assert "floor" in _refused(here)


def test_not_while_the_pipe_counts_as_burst(stopped):
    here = stopped()
    here.device.engine.book.pipe.burst = True
    assert against(here.device) == BURST
    assert "clear pipe" in _refused(here)


def test_not_while_the_wheel_runs_too_fast(stopped):
    here = stopped()
    here.device.engine.book.overspeed.fault = True
    assert against(here.device) == OVERSPEED


def test_not_while_the_spare_wheel_runs_too_fast(stopped, monkeypatch):
    here = stopped()
    monkeypatch.setattr(here.device.engine.book, "spare_too_fast", lambda: True)
    assert against(here.device) == OVERSPEED


def test_not_without_level_and_pressure(stopped, play):
    here = stopped()
    here.board.silent = {0}
    play(here.device, here.board, 30)
    assert against(here.device) == FINE  # the pressure still protects the pipe
    here.board.silent = {0, 1}
    play(here.device, here.board, 30)
    assert against(here.device) == BLIND
    assert "nothing protects the pipe" in _refused(here)


def test_not_before_it_is_known_where_the_valves_stand(desk):
    here = desk()
    here.say("stop")
    here.device.engine.homing = True
    assert against(here.device) == HOMING


def test_not_without_rules(desk):
    here = desk()
    here.device.fail("a trial", here.board.now_ms)
    assert against(here.device) == NO_RULES


def test_every_reason_has_its_words():
    assert len(WHY) == 1 + max(FINE, NO_RULES, STOP_OPEN, NOT_HELD, HOMING, BURST, OVERSPEED, TOO_LOW, BLIND)
    assert len(set(WHY)) == len(WHY)
