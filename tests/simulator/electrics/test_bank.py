import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.battery import absorption_v, open_circuit_v

LEAD = Bank("lead-acid", 12, 36e6, 0.010, 0.85, 0.96, 0.90, 0.40, 0.55)
LITHIUM = Bank("lifepo4", 16, 36e6, 0.008, 0.98, 0.95, 0.92, 0.10, 0.20)

banks = st.sampled_from(
    [LEAD, LITHIUM, replace(LEAD, resistance_ohm=0.2), replace(LITHIUM, inverter_efficiency=1.0)]
)
socs = st.one_of(st.floats(0.0, 1.0), st.sampled_from([0.0, 1e-10, 0.4, 0.999999, 1.0 - 1e-10, 1.0]))
powers = st.one_of(st.just(0.0), st.floats(1e-6, 20000.0))
temps = st.floats(-10.0, 45.0)


def solved(
    bank: Bank,
    soc: float,
    hydro_w: float,
    solar_w: float,
    load_w: float,
    temp_c: float = 25.0,
    house: bool = True,
) -> BankFlows:
    flows = BankFlows()
    limit_v = absorption_v(bank.chemistry, bank.cells, temp_c)
    bank.solve(soc * bank.capacity_j, hydro_w, solar_w, load_w, limit_v, house, flows)
    return flows


@given(banks, socs, powers, powers, powers, temps, st.booleans())
@settings(max_examples=400)
def test_every_watt_is_accounted_for(
    bank: Bank, soc: float, hydro_w: float, solar_w: float, load_w: float, temp_c: float, house: bool
) -> None:
    flows = solved(bank, soc, hydro_w, solar_w, load_w, temp_c, house)
    losses = (flows.inverter_loss_w, flows.regulator_loss_w, flows.resistive_loss_w, flows.charge_loss_w)
    taken = (flows.hydro_accepted_w, flows.solar_accepted_w)
    spent = (flows.load_served_w, *losses, flows.stored_w)
    size_w = max(map(abs, taken + spent))
    assert sum(taken) == pytest.approx(sum(spent), rel=0, abs=1e-12 * size_w)
    assert flows.battery_w == pytest.approx(flows.terminal_v * flows.battery_a, rel=0, abs=1e-12 * size_w)
    assert min(losses) >= -1e-12 * size_w
    assert 0.0 <= flows.hydro_accepted_w <= hydro_w
    assert 0.0 <= flows.solar_accepted_w <= solar_w
    assert 0.0 <= flows.load_served_w <= load_w


@given(banks, socs, powers, powers, powers, temps, st.booleans())
@settings(max_examples=300)
def test_power_is_turned_away_only_at_absorption_and_hydro_before_solar(
    bank: Bank, soc: float, hydro_w: float, solar_w: float, load_w: float, temp_c: float, house: bool
) -> None:
    flows = solved(bank, soc, hydro_w, solar_w, load_w, temp_c, house)
    limit_v = absorption_v(bank.chemistry, bank.cells, temp_c)
    if flows.battery_a > 0.0:
        assert flows.terminal_v <= limit_v
    if flows.hydro_accepted_w < hydro_w * (1.0 - 1e-12) or flows.solar_accepted_w < solar_w:
        assert flows.terminal_v >= limit_v
        assert flows.load_served_w == load_w
    if flows.solar_accepted_w < solar_w:
        assert flows.hydro_accepted_w == 0.0


@given(banks, socs, powers, powers, powers, st.floats(0.0, 5000.0))
@settings(max_examples=200)
def test_more_offered_is_never_less_taken(
    bank: Bank, soc: float, hydro_w: float, solar_w: float, load_w: float, more_w: float
) -> None:
    less = solved(bank, soc, hydro_w, solar_w, load_w)
    more = solved(bank, soc, hydro_w + more_w, solar_w, load_w)
    slack_w = 1e-9
    assert more.hydro_accepted_w >= less.hydro_accepted_w - slack_w
    assert more.battery_w >= less.battery_w - slack_w
    assert more.load_served_w >= less.load_served_w - slack_w
    assert more.solar_accepted_w == less.solar_accepted_w


@pytest.mark.parametrize("bank", [LEAD, LITHIUM])
def test_a_full_battery_takes_nothing_and_holds_absorption_voltage(bank: Bank) -> None:
    flows = solved(bank, 1.0, 3000.0, 500.0, 0.0)
    assert flows.stored_w == flows.battery_a == flows.hydro_accepted_w == flows.solar_accepted_w == 0.0
    assert flows.terminal_v == absorption_v(bank.chemistry, bank.cells)


def test_a_full_battery_lets_hydro_fill_what_solar_leaves_of_the_load() -> None:
    flows = solved(LEAD, 1.0, 3000.0, 100.0, 900.0)  # 1000 W at the bank
    assert flows.solar_accepted_w == 100.0
    assert flows.hydro_accepted_w == pytest.approx(900.0 / 0.96)
    assert flows.load_served_w == 900.0


@pytest.mark.parametrize(("bank", "hours"), [(LEAD, 1.0), (LITHIUM, 0.1)])
def test_current_at_absorption_is_the_missing_charge_over_the_taper_time(bank: Bank, hours: float) -> None:
    flows = solved(bank, 0.97, 20000.0, 0.0, 0.0)
    rest_v = open_circuit_v(bank.chemistry, bank.cells, 0.97)
    assert flows.battery_a == pytest.approx(0.03 * bank.capacity_j / rest_v / (3600.0 * hours))
    assert flows.terminal_v == absorption_v(bank.chemistry, bank.cells)


@pytest.mark.parametrize(("soc", "hydro_w"), [(0.5, 1000.0), (0.97, 20000.0)])
def test_the_cells_keep_their_charge_efficiency_of_what_resistance_leaves(soc: float, hydro_w: float) -> None:
    flows = solved(LEAD, soc, hydro_w, 0.0, 0.0)
    cell_w = open_circuit_v("lead-acid", 12, soc) * flows.battery_a
    assert flows.stored_w == pytest.approx(0.85 * cell_w)
    assert flows.charge_loss_w == pytest.approx(0.15 * cell_w)
    assert flows.resistive_loss_w == pytest.approx(flows.battery_w - cell_w)


def test_current_never_passes_headroom_over_resistance() -> None:
    weak = replace(LITHIUM, resistance_ohm=0.1)
    flows = solved(weak, 0.5, 20000.0, 0.0, 0.0)
    assert flows.battery_a == pytest.approx((16 * 3.45 - 16 * 3.29) / 0.1)


def test_a_battery_resting_above_the_set_point_is_not_charged() -> None:
    flows = BankFlows()
    LEAD.solve(0.9 * LEAD.capacity_j, 1000.0, 0.0, 0.0, 24.0, True, flows)
    assert flows.battery_a == flows.hydro_accepted_w == 0.0
    assert flows.terminal_v == open_circuit_v("lead-acid", 12, 0.9)


def test_discharge_takes_the_stable_root() -> None:
    flows = solved(LEAD, 0.5, 0.0, 0.0, 900.0)
    current_a = -flows.battery_a
    assert current_a * (24.4 - 0.010 * current_a) == pytest.approx(1000.0)
    assert flows.terminal_v > 24.4 / 2
    assert flows.stored_w == pytest.approx(-24.4 * current_a)


def test_load_beyond_the_most_power_of_the_battery_is_unserved() -> None:
    weak = replace(LEAD, resistance_ohm=0.2)
    flows = solved(weak, 0.5, 0.0, 100.0, 5000.0)
    most_w = 24.4**2 / 0.8
    assert flows.battery_w == pytest.approx(-most_w)
    assert flows.terminal_v == pytest.approx(12.2)
    assert flows.load_served_w == pytest.approx((100.0 + most_w) * 0.90)


@pytest.mark.parametrize(("soc", "house"), [(0.0, True), (0.35, False)])
def test_empty_or_cut_off_the_house_gets_only_what_is_made(soc: float, house: bool) -> None:
    flows = solved(LEAD, soc, 100.0, 50.0, 900.0, house=house)
    assert flows.load_served_w == pytest.approx((96.0 + 50.0) * 0.90)
    assert flows.battery_w == flows.battery_a == flows.stored_w == 0.0


def test_a_cut_off_house_still_leaves_the_surplus_to_the_battery() -> None:
    flows = solved(LEAD, 0.3, 1000.0, 0.0, 90.0, house=False)
    assert flows.load_served_w == 90.0
    assert flows.battery_w == pytest.approx(960.0 - 100.0)


@given(banks, st.floats(0.0, 1.0), powers, powers, st.booleans())
@settings(max_examples=100)
def test_walking_edge_to_edge_stays_inside_and_makes_no_tiny_steps(
    bank: Bank, soc: float, hydro_w: float, load_w: float, house: bool
) -> None:
    energy_j, flows = soc * bank.capacity_j, BankFlows()
    limit_v = absorption_v(bank.chemistry, bank.cells)
    for _ in range(12):
        house = bank.next_house_connected(energy_j, house)
        bank.solve(energy_j, hydro_w, 0.0, load_w, limit_v, house, flows)
        stretch_s = bank.longest_stretch_s(flows, energy_j)
        if math.isinf(stretch_s):
            break
        energy_j += flows.stored_w * stretch_s
        assert -1e-6 <= energy_j <= bank.capacity_j + 1e-6
    else:
        pytest.fail(f"still moving after 12 edges, at {energy_j / bank.capacity_j}")
    assert flows.stored_w == 0.0


def test_a_stretch_ends_at_the_next_edge() -> None:
    flows = BankFlows()
    flows.stored_w = -100.0
    assert LEAD.longest_stretch_s(flows, 0.5 * 36e6) == pytest.approx(0.1 * 36e6 / 100)
    assert LEAD.longest_stretch_s(flows, 0.4 * 36e6) == pytest.approx(0.4 * 36e6 / 100)
    flows.stored_w = 100.0
    assert LEAD.longest_stretch_s(flows, 0.5 * 36e6) == pytest.approx(0.05 * 36e6 / 100)
    assert LEAD.longest_stretch_s(flows, 0.55 * 36e6) == pytest.approx(0.45 * 36e6 / 100)
    flows.stored_w = 0.0
    assert LEAD.longest_stretch_s(flows, 0.5 * 36e6) == math.inf


def test_a_charge_on_an_edge_within_rounding_counts_as_on_it() -> None:
    flows = BankFlows()
    flows.stored_w = -100.0
    just_above_j = (0.4 + 1e-10) * 36e6
    assert LEAD.next_house_connected(just_above_j, True) is False
    assert LEAD.longest_stretch_s(flows, just_above_j) == pytest.approx(0.4 * 36e6 / 100)
    flows.stored_w = 100.0
    just_below_j = (0.55 - 1e-10) * 36e6
    assert LEAD.next_house_connected(just_below_j, False) is True
    assert LEAD.longest_stretch_s(flows, just_below_j) == pytest.approx(0.45 * 36e6 / 100)


@pytest.mark.parametrize(
    ("soc", "before", "after"),
    [(0.39, True, False), (0.41, True, True), (0.54, False, False), (0.56, False, True), (0.40, True, False)],
)
def test_the_house_is_cut_low_and_joined_again_higher(soc: float, before: bool, after: bool) -> None:
    assert LEAD.next_house_connected(soc * 36e6, before) is after


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"chemistry": "wet"}, "chemistry"),
        ({"capacity_j": 0.0}, "capacity_j"),
        ({"resistance_ohm": math.nan}, "resistance_ohm"),
        ({"charge_efficiency": 1.2}, "charge_efficiency"),
        ({"cutoff_soc": 0.55}, "cutoff_soc"),
    ],
)
def test_impossible_banks_are_refused(wrong: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        replace(LEAD, **wrong)


def test_negative_power_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 0"):
        solved(LEAD, 0.5, -1.0, 0.0, 0.0)
