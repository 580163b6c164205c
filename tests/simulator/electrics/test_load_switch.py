"""The inverter's cut-off: off at once, on again after minutes at the reconnection voltage, no chatter."""

import math

import pytest

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.load_switch import LOOK_S, RECONNECT_HOLD_S, LoadSwitch


def off_at(terminal_v: float, stored_w: float = 0.0) -> BankFlows:
    flows = BankFlows()
    flows.house_on, flows.terminal_v, flows.stored_w = False, terminal_v, stored_w
    return flows


def test_a_house_that_is_on_stays_on_at_any_length() -> None:
    switch = LoadSwitch(25.0)
    switch.advance(BankFlows(), 1e9)
    assert switch.connected
    assert switch.longest_stretch_s(BankFlows()) == math.inf


def test_it_comes_back_after_minutes_in_one_piece_at_the_reconnection_voltage() -> None:
    switch = LoadSwitch(25.0)
    switch.advance(off_at(25.0), RECONNECT_HOLD_S - 1.0)
    switch.advance(off_at(24.9), 1.0)  # a cloud
    switch.advance(off_at(25.0), RECONNECT_HOLD_S - 1.0)
    assert not switch.connected
    assert switch.longest_stretch_s(off_at(25.0)) == 1.0
    switch.advance(off_at(25.0), 1.0)
    assert switch.connected


def test_while_it_waits_it_is_looked_at_often_only_if_something_charges() -> None:
    switch = LoadSwitch(25.0)
    assert switch.longest_stretch_s(off_at(24.0, 100.0)) == LOOK_S
    assert switch.longest_stretch_s(off_at(24.0)) == math.inf


@pytest.mark.parametrize(
    ("bank", "reconnect_v", "load_w", "made_w"),
    [
        # The two examples' batteries, at a light and at a heavy load, and hydro that carries half of it.
        (Bank("lead-acid", 12, 460 * 3600 * 24.0, 0.014, 0.85, 0.95, 0.92, 22.5), 25.2, 300.0, 160.0),
        (Bank("lead-acid", 12, 460 * 3600 * 24.0, 0.014, 0.85, 0.95, 0.92, 22.5), 25.2, 2000.0, 1000.0),
        (Bank("lifepo4", 16, 560 * 3600 * 51.2, 0.012, 0.98, 0.95, 0.92, 48.0), 52.4, 900.0, 450.0),
        (Bank("lifepo4", 16, 560 * 3600 * 51.2, 0.012, 0.98, 0.95, 0.92, 48.0), 52.4, 6000.0, 3000.0),
    ],
)
def test_the_rebound_does_not_switch_the_house_on_only_real_charge_does(
    bank: Bank, reconnect_v: float, load_w: float, made_w: float
) -> None:
    warm, flows, switch = bank.conditions(25.0), BankFlows(), LoadSwitch(reconnect_v)
    energy_j = 0.6 * bank.capacity_j
    off, rested_v, gained_soc, waited_min = None, [], [], []
    for minute in range(14 * 24 * 60):
        hydro_w = made_w if off is None or minute - off[0] > 12 * 60 or gained_soc else 0.0
        bank.solve(energy_j, hydro_w, 0.0, load_w, warm, warm.absorption_v, switch.connected, flows)
        soc = energy_j / bank.capacity_j
        if off is None and not flows.house_on:
            off = (minute, soc)
        elif off is not None and flows.house_on:
            gained_soc.append(soc - off[1])
            waited_min.append(minute - off[0])
            off = None
        if not flows.house_on and hydro_w == 0.0:
            rested_v.append(flows.terminal_v)
        energy_j += 60.0 * flows.stored_w
        switch.advance(flows, 60.0)
    assert len(rested_v) > 700  # twelve hours without a load: it has rebounded, and stays off
    assert bank.cutoff_v + 0.1 < min(rested_v)
    assert max(rested_v) < reconnect_v - 0.2
    assert min(gained_soc) > 0.05
    assert min(waited_min) > 30
