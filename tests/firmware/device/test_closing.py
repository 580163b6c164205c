"""What closes the plant when the engine must not run."""

import pytest

from becklight import reasons
from becklight.alarms import NAMES, code_of
from becklight.device.closing import Closing
from becklight.device.drive import Drive
from becklight.device.wiring import Wiring
from becklight.orders import Orders
from becklight.readings import UNKNOWN, Readings
from becklight.refused import STEP_MS, STEP_PERMILLE
from becklight.settings import Settings
from becklight.settings_reader import Section
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff

START_MS = PERIOD_MS - 65_000


class Rig:
    def __init__(self, settings, wiring, known, said=(UNKNOWN, UNKNOWN, UNKNOWN)):
        self.drive = Drive(wiring, settings)
        self.closing = Closing(self.drive, reasons.KEPT_SHUT, "why", known)
        self.orders = Orders(3)
        self.readings = Readings(3)
        self.said = said
        self.now_ms = 0

    def play(self, length_ms):
        """Ask every second; (instant, openings) of each change."""
        told = []
        for _ in range(0, length_ms, 1_000):
            now_ms = ticks_add(START_MS, self.now_ms)
            for valve, permille in enumerate(self.said):
                self.readings.put_position(valve, permille, now_ms)
            self.closing.step(now_ms, self.readings, self.orders)
            assert ticks_diff(self.orders.next_ms, now_ms) > 0
            openings = list(self.orders.opening_permille)
            if not told or told[-1][1] != openings:
                told.append((self.now_ms, openings))
            self.now_ms += 1_000
        return told


@pytest.fixture
def rig(plant, wiring_of):
    def make(known, with_settings=True, **how):
        settings = Settings(plant(2, 1)) if with_settings else None
        return Rig(settings, Wiring(Section(wiring_of(3), "wiring")), known, **how)

    return make


def test_it_closes_on_from_where_the_drive_knows_the_valves_by_the_slow_ramp(rig):
    rig = rig(known=True)
    rig.drive.ordered[:] = [0, 600, 130]
    rig.drive.owed_ms[1] = 400  # of its last step 20 permille are yet to be made
    told = rig.play(300_000)
    assert told[0] == (0, [0, 580, 130])
    assert rig.orders.anew == 0
    assert rig.closing.shut
    for (before_ms, before), (now_ms, here) in zip(told[1:], told[2:], strict=False):
        moved = [valve for valve in range(3) if here[valve] != before[valve]]
        assert len(moved) == 1
        assert -40 <= here[moved[0]] - before[moved[0]] < 0
        assert now_ms - before_ms >= 2_000
    assert told[1][0] >= 6_000  # nobody knows when the last step was
    assert told[-1][1] == [0, 0, 0]


def test_near_closed_its_steps_take_longer(rig):
    rig = rig(known=True)
    rig.drive.ordered[:] = [280, 0, 0]
    told = rig.play(120_000)
    gaps = [later[0] - sooner[0] for sooner, later in zip(told[1:], told[2:], strict=False)]
    assert gaps == [2_000, 2_000, 6_000, 6_000, 6_000, 6_000]


def test_at_power_up_it_begins_where_feedback_says_else_fully_open(rig):
    rig = rig(known=False, said=(UNKNOWN, 250, 0))
    told = rig.play(1_000)
    assert told == [(0, [1_000, 250, 0])]
    assert rig.orders.anew == 1
    rig.play(1_000)
    assert rig.orders.anew == 0


def test_without_settings_it_goes_by_steps_that_any_pipe_bears(rig):
    rig = rig(known=False, with_settings=False, said=(UNKNOWN, 0, 0))
    told = rig.play(60_000)
    assert told[1] == (STEP_MS, [1_000 - STEP_PERMILLE, 0, 0])
    assert told[2][0] - told[1][0] == STEP_MS


def test_nobody_opens_anything_and_it_says_why(rig):
    rig = rig(known=False, said=(0, 0, 0))
    rig.play(600_000)
    assert rig.orders.opening_permille == [0, 0, 0]
    assert rig.closing.wish(0, 1, 1, 0, 1_000) is False
    assert reasons.NAMES[rig.orders.reason] == "kept_shut"
    alarms = rig.closing.alarms
    raised = [NAMES[code_of(slot)] for slot in range(len(alarms.state)) if alarms.raised(slot)]
    assert raised == ["restarted", "program_failed"]
