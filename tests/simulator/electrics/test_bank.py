import math
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.battery import open_circuit_v

LEAD = Bank("lead-acid", 12, 36e6, 0.010, 0.85, 0.96, 0.90, 22.0)
LITHIUM = Bank("lifepo4", 16, 36e6, 0.008, 0.98, 0.95, 0.92, 48.0)

banks = st.one_of(
    st.sampled_from([LEAD, LITHIUM]),
    st.builds(
        replace,
        st.sampled_from([LEAD, LITHIUM]),
        capacity_j=st.floats(1e6, 4e8),
        resistance_ohm=st.floats(0.001, 0.3),
        charge_efficiency=st.floats(0.5, 1.0),
        inverter_efficiency=st.floats(0.5, 1.0),
        cutoff_v=st.sampled_from([21.5, 22.5, 24.1]),  # of 24 V: no cut-off for 48 V
    ),
    st.builds(replace, st.just(LITHIUM), resistance_ohm=st.floats(0.001, 0.3), cutoff_v=st.floats(45, 53)),
)
socs = st.one_of(st.floats(0.0, 1.0), st.sampled_from([0.0, 1e-10, 0.4, 0.97, 0.999999, 1.0 - 1e-10, 1.0]))
powers = st.one_of(st.just(0.0), st.floats(1e-6, 20000.0))
temps = st.floats(-25.0, 45.0)
heaters = st.one_of(st.just(0.0), st.floats(0.0, 5000.0))


@st.composite
def cases(draw: st.DrawFn) -> dict[str, object]:
    """A random bank and all that `solved` takes."""
    return {
        "bank": draw(banks),
        "soc": draw(socs),
        "hydro_w": draw(powers),
        "solar_w": draw(powers),
        "load_w": draw(powers),
        "temp_c": draw(temps),
        "floating": draw(st.booleans()),
        "house": draw(st.booleans()),
        "heater_w": draw(heaters),
    }


def limit_of(bank: Bank, temp_c: float = 25.0, floating: bool = False) -> float:
    conditions = bank.conditions(temp_c)
    return conditions.float_v if floating else conditions.absorption_v


def solved(
    bank: Bank,
    soc: float,
    hydro_w: float,
    solar_w: float,
    load_w: float,
    temp_c: float = 25.0,
    floating: bool = False,
    house: bool = True,
    heater_w: float = 0.0,
) -> BankFlows:
    flows = BankFlows()
    energy_j, limit_v = soc * bank.capacity_j, limit_of(bank, temp_c, floating)
    conditions = bank.conditions(temp_c)
    bank.solve(energy_j, hydro_w, solar_w, load_w, conditions, limit_v, house, flows, heater_w)
    return flows


# -- what must always hold --------------------------------------------------------------------------


@given(cases())
@settings(max_examples=500)
def test_every_watt_is_accounted_for(case: dict) -> None:
    flows = solved(**case)
    losses = (flows.inverter_loss_w, flows.regulator_loss_w, flows.resistive_loss_w, flows.charge_loss_w)
    taken = (flows.hydro_accepted_w, flows.solar_accepted_w)
    spent = (flows.load_served_w, flows.surplus_served_w, *losses, flows.stored_w)
    size_w = max(map(abs, taken + spent))
    assert sum(taken) == pytest.approx(sum(spent), rel=0, abs=1e-12 * size_w)
    assert flows.battery_w == pytest.approx(flows.terminal_v * flows.battery_a, rel=0, abs=1e-12 * size_w)
    assert min(losses) >= -1e-12 * size_w
    assert 0.0 <= flows.hydro_accepted_w <= case["hydro_w"]
    assert 0.0 <= flows.solar_accepted_w <= case["solar_w"]
    assert 0.0 <= flows.surplus_served_w <= case["heater_w"]


@given(cases())
@settings(max_examples=400)
def test_no_charge_above_the_limit_and_no_current_beyond_what_is_accepted(case: dict) -> None:
    bank, soc = case["bank"], case["soc"]
    flows = solved(**case)
    conditions = bank.conditions(case["temp_c"])
    limit_v = limit_of(bank, case["temp_c"], case["floating"])
    rest_v = open_circuit_v(bank.chemistry, bank.cells, soc)
    # Only a battery that rests above the limit stands above it, and is not charged then.
    assert flows.terminal_v <= max(limit_v, rest_v)
    if flows.battery_a > 0.0:
        assert rest_v <= flows.terminal_v <= limit_v
        assert conditions.may_charge
        missing_c = (1.0 - soc) * bank.capacity_j / rest_v
        assert flows.battery_a <= missing_c / conditions.taper_s * (1.0 + 1e-9)
        assert flows.battery_a <= (limit_v - rest_v) / conditions.resistance_ohm * (1.0 + 1e-9)


@given(cases())
@settings(max_examples=400)
def test_the_house_gets_all_or_nothing_and_nothing_once_cut_off(case: dict) -> None:
    bank = case["bank"]
    flows = solved(**case)
    if flows.house_on:
        assert case["house"]
        assert flows.load_served_w == case["load_w"]
        assert flows.terminal_v >= bank.cutoff_v
    else:
        assert flows.load_served_w == flows.inverter_loss_w == 0.0
        assert flows.stored_w >= 0.0  # all that is made goes to the battery


@given(cases())
@settings(max_examples=400)
def test_power_is_turned_away_only_at_the_limit_and_hydro_before_solar(case: dict) -> None:
    bank = case["bank"]
    flows = solved(**case)
    limit_v = limit_of(bank, case["temp_c"], case["floating"])
    hydro_w, solar_w = case["hydro_w"], case["solar_w"]
    rounded = 1.0 - 1e-12
    if flows.hydro_accepted_w < hydro_w * rounded or flows.solar_accepted_w < solar_w * rounded:
        assert flows.terminal_v >= limit_v or not bank.conditions(case["temp_c"]).may_charge
        assert flows.surplus_served_w == pytest.approx(case["heater_w"], rel=1e-9)  # it has had its fill
        assert flows.stored_w >= 0.0
    if flows.solar_accepted_w < solar_w:
        assert flows.hydro_accepted_w == 0.0


@given(cases())
@settings(max_examples=300)
def test_a_surplus_heater_changes_nothing_but_what_is_turned_away(case: dict) -> None:
    without = solved(**(case | {"heater_w": 0.0}))
    flows = solved(**case)
    for name in ("load_served_w", "battery_a", "battery_w", "stored_w", "terminal_v", "house_on"):
        assert getattr(flows, name) == getattr(without, name)
    bank = case["bank"]
    more_w = (flows.hydro_accepted_w - without.hydro_accepted_w) * bank.hydro_regulator_efficiency + (
        flows.solar_accepted_w - without.solar_accepted_w
    )
    size_w = case["hydro_w"] + case["solar_w"]
    assert flows.surplus_served_w == pytest.approx(more_w, rel=0, abs=1e-12 * size_w)


@given(cases(), st.floats(0.0, 5000.0))
@settings(max_examples=300)
def test_more_load_is_never_more_stored_unless_it_switches_the_house_off(case: dict, more_w: float) -> None:
    less = solved(**case)
    more = solved(**(case | {"load_w": case["load_w"] + more_w}))
    assume(less.house_on == more.house_on)
    assert more.stored_w <= less.stored_w + 1e-9 * (1.0 + abs(less.stored_w))
    assert more.surplus_served_w <= less.surplus_served_w + 1e-9
    assert not (more.house_on and not less.house_on)


@given(cases(), st.floats(0.0, 5000.0))
@settings(max_examples=300)
def test_more_offered_is_never_less_taken(case: dict, more_w: float) -> None:
    less = solved(**case)
    more = solved(**(case | {"hydro_w": case["hydro_w"] + more_w}))
    assert more.load_served_w >= less.load_served_w
    if less.house_on == more.house_on:  # a house that trips leaves all to battery and heater
        assert more.surplus_served_w >= less.surplus_served_w - 1e-9
        assert more.hydro_accepted_w >= less.hydro_accepted_w - 1e-9
        assert more.battery_w >= less.battery_w - 1e-9
        assert more.solar_accepted_w >= less.solar_accepted_w - 1e-9


# -- charging ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("bank", [LEAD, LITHIUM])
def test_a_full_battery_takes_nothing_and_holds_absorption_voltage(bank: Bank) -> None:
    flows = solved(bank, 1.0, 3000.0, 500.0, 0.0)
    assert flows.stored_w == flows.battery_a == flows.hydro_accepted_w == flows.solar_accepted_w == 0.0
    assert flows.terminal_v == limit_of(bank)


def test_a_full_battery_lets_hydro_fill_what_solar_leaves_of_the_load() -> None:
    flows = solved(LEAD, 1.0, 3000.0, 100.0, 900.0)  # 1000 W at the bank
    assert flows.solar_accepted_w == 100.0
    assert flows.hydro_accepted_w == pytest.approx(900.0 / 0.96)
    assert flows.load_served_w == 900.0


@pytest.mark.parametrize(
    ("hydro_w", "solar_w", "heater_w", "served_w"),
    [
        (3000.0, 100.0, 700.0, 700.0),  # less than what would be turned away
        (3000.0, 100.0, 5000.0, 3000.0 * 0.96 + 100.0 - 1000.0),  # all of it
        (800.0, 0.0, 700.0, 0.0),  # the house takes more than is made
        (0.0, 2500.0, 700.0, 700.0),  # of the sun as well
    ],
)
def test_a_surplus_heater_takes_what_a_full_battery_and_the_house_leave(
    hydro_w: float, solar_w: float, heater_w: float, served_w: float
) -> None:
    flows = solved(LEAD, 1.0, hydro_w, solar_w, 900.0, heater_w=heater_w)
    assert flows.surplus_served_w == pytest.approx(served_w)
    assert flows.load_served_w == 900.0
    assert flows.stored_w <= 0.0


@pytest.mark.parametrize(("bank", "hours"), [(LEAD, 1.0), (LITHIUM, 0.1)])
def test_current_at_absorption_is_the_missing_charge_over_the_taper_time(bank: Bank, hours: float) -> None:
    flows = solved(bank, 0.97, 20000.0, 0.0, 0.0)
    rest_v = open_circuit_v(bank.chemistry, bank.cells, 0.97)
    assert flows.battery_a == pytest.approx(0.03 * bank.capacity_j / rest_v / (3600.0 * hours))
    assert flows.terminal_v == limit_of(bank)


def test_the_cold_halves_what_a_lead_acid_battery_accepts() -> None:
    warm, freezing = (solved(LEAD, 0.9, 20000.0, 0.0, 0.0, temp_c=temp_c) for temp_c in (25.0, 0.0))
    assert freezing.battery_a == pytest.approx(0.5 * warm.battery_a)
    assert freezing.terminal_v == pytest.approx(12 * 2.50)


def test_the_cold_shows_in_the_voltage_under_load() -> None:
    warm, cold = (solved(LITHIUM, 0.5, 0.0, 0.0, 2000.0, temp_c=temp_c) for temp_c in (25.0, -20.0))
    rest_v = open_circuit_v("lifepo4", 16, 0.5)
    sags_ohm = [(rest_v - flows.terminal_v) / -flows.battery_a for flows in (warm, cold)]
    assert sags_ohm == pytest.approx([0.008, 0.008 * 2.8])


def test_float_accepts_less_than_absorption_by_the_share_of_headroom() -> None:
    absorbing = solved(LEAD, 0.95, 20000.0, 0.0, 0.0)
    floating = solved(LEAD, 0.95, 20000.0, 0.0, 0.0, floating=True)
    rest_v = open_circuit_v("lead-acid", 12, 0.95)
    assert floating.battery_a / absorbing.battery_a == pytest.approx((27.0 - rest_v) / (28.8 - rest_v))
    assert floating.terminal_v == 27.0


def test_lithium_in_float_ends_its_charge_a_little_below_full_and_the_charger_carries_the_house() -> None:
    low, full = (solved(LITHIUM, soc, 5000.0, 0.0, 920.0, floating=True) for soc in (0.90, 0.99))
    assert low.battery_a > 0.0
    assert full.battery_a == 0.0
    assert full.hydro_accepted_w == pytest.approx(1000.0 / 0.95)


def test_freezing_lithium_is_not_charged_but_still_carries_the_house() -> None:
    day = solved(LITHIUM, 0.5, 1000.0, 500.0, 920.0, temp_c=-0.01)
    assert day.battery_a == day.stored_w == 0.0
    assert (day.solar_accepted_w, day.load_served_w) == (500.0, 920.0)
    assert day.hydro_accepted_w == pytest.approx(500.0 / 0.95)
    night = solved(LITHIUM, 0.5, 0.0, 0.0, 920.0, temp_c=-0.01)
    assert night.battery_w == pytest.approx(-1000.0)
    assert solved(LITHIUM, 0.5, 1000.0, 500.0, 920.0, temp_c=0.0).battery_a > 0.0


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
    LEAD.solve(0.9 * LEAD.capacity_j, 1000.0, 0.0, 0.0, LEAD.conditions(25.0), 24.0, True, flows)
    assert flows.battery_a == flows.hydro_accepted_w == 0.0
    assert flows.terminal_v == open_circuit_v("lead-acid", 12, 0.9)


@pytest.mark.parametrize("bank", [LEAD, LITHIUM])
@pytest.mark.parametrize("temp_c", [25.0, 5.0])
def test_acceptance_falls_steadily_towards_full(bank: Bank, temp_c: float) -> None:
    currents_a = [
        solved(bank, percent / 1000, 1e6, 0.0, 0.0, temp_c).battery_a for percent in range(900, 1001, 5)
    ]
    assert all(later < sooner for sooner, later in zip(currents_a, currents_a[1:], strict=False))
    assert currents_a[-1] == 0.0


# -- discharging, and the house ---------------------------------------------------------------------


def test_discharge_takes_the_stable_root() -> None:
    flows = solved(LEAD, 0.5, 0.0, 0.0, 900.0)
    current_a = -flows.battery_a
    assert current_a * (24.4 - 1.1 * 0.010 * current_a) == pytest.approx(1000.0)
    assert flows.terminal_v > 24.4 / 2
    assert flows.stored_w == pytest.approx(-24.4 * current_a)


def test_a_lead_acid_battery_sags_more_the_emptier_it_is() -> None:
    sags_v = []
    for soc in (1.0, 0.5, 0.2, 0.1):
        flows = solved(LEAD, soc, 0.0, 0.0, 90.0)
        sags_v.append((open_circuit_v("lead-acid", 12, soc) - flows.terminal_v) / -flows.battery_a)
    assert sags_v == pytest.approx([0.010, 0.011, 0.014, 0.019])


@pytest.mark.parametrize(
    ("soc", "load_w", "on"),
    [
        (0.5, 2000.0, True),
        (0.5, 5000.0, False),  # the voltage under load falls below 22 V
        (0.5, 50000.0, False),  # more than the battery can give at all
        (0.02, 90.0, True),
        (0.01, 900.0, False),
        (0.0, 9.0, False),
        (0.0, 0.0, True),  # nothing is asked of it
    ],
)
def test_the_house_is_on_while_the_voltage_under_load_holds(soc: float, load_w: float, on: bool) -> None:
    flows = solved(LEAD, soc, 0.0, 0.0, load_w)
    assert flows.house_on is on
    assert flows.load_served_w == (load_w if on else 0.0)
    if not on:
        assert flows.terminal_v == open_circuit_v("lead-acid", 12, soc)  # it recovers at once


def test_a_cut_off_house_gets_nothing_even_while_the_wheel_runs() -> None:
    flows = solved(LEAD, 0.3, 1000.0, 200.0, 90.0, house=False)
    assert flows.load_served_w == flows.inverter_loss_w == 0.0
    assert flows.battery_w == pytest.approx(960.0 + 200.0)


def test_an_inverter_that_stands_below_its_cut_off_is_off_even_while_the_battery_charges() -> None:
    deep = replace(LEAD, cutoff_v=24.1)
    flows = solved(deep, 0.05, 200.0, 0.0, 90.0)
    assert not flows.house_on
    assert flows.battery_w == pytest.approx(192.0)
    assert flows.terminal_v < 24.1
    assert solved(deep, 0.05, 1500.0, 0.0, 90.0).house_on  # so much charge lifts the terminals


# -- how long it holds ------------------------------------------------------------------------------


@given(cases())
@settings(max_examples=100)
def test_walking_stretch_by_stretch_stays_inside_and_comes_to_rest_or_slow_steps(case: dict) -> None:
    bank, floating = case["bank"], case["floating"]
    limit_v = limit_of(bank, case["temp_c"], floating)
    conditions = bank.conditions(case["temp_c"])
    energy_j, flows = case["soc"] * bank.capacity_j, BankFlows()
    house = case["house"]
    for _ in range(400):
        bank.solve(
            energy_j, case["hydro_w"], case["solar_w"], case["load_w"], conditions, limit_v, house, flows
        )
        house = flows.house_on
        stretch_s = bank.longest_stretch_s(flows, energy_j, limit_v)
        if math.isinf(stretch_s) or stretch_s > 1e6:
            break
        # Never much faster than the charge itself moves, so never a flood of tiny stretches.
        assert stretch_s * abs(flows.stored_w) >= min(0.099 * energy_j, 1e-4 * bank.capacity_j) - 1e-3 or (
            stretch_s >= 0.09 * conditions.taper_s
        )
        energy_j += flows.stored_w * stretch_s
        assert -1e-6 * bank.capacity_j <= energy_j <= bank.capacity_j * (1.0 + 1e-9)


def test_a_stretch_ends_a_tenth_of_the_way_to_empty_and_near_it_all_the_way() -> None:
    flows = BankFlows()
    flows.stored_w = -100.0
    assert LEAD.longest_stretch_s(flows, 18e6, 28.8) == pytest.approx(0.1 * 18e6 / 100)
    assert LEAD.longest_stretch_s(flows, 18e3, 28.8) == pytest.approx(18e3 / 100)


@pytest.mark.parametrize(("share", "expected"), [(0.25, 0.75), (0.9, 0.1), (0.97, 0.1), (1.0, 0.1)])
def test_a_charging_stretch_ends_where_the_battery_begins_to_refuse(share: float, expected: float) -> None:
    flows = BankFlows()
    flows.stored_w, flows.battery_w, flows.accept_w = 100.0, 120.0, 120.0 / share
    assert LEAD.longest_stretch_s(flows, 18e6, 28.8) == pytest.approx(expected * 18e6 / 100)
    assert LEAD.longest_stretch_s(flows, 36e6 - 18e3, 28.8) == pytest.approx(18e3 / 100)


def test_lithium_in_float_is_full_where_it_rests_at_the_float_voltage() -> None:
    flows = BankFlows()
    flows.stored_w, flows.battery_w, flows.accept_w = 100.0, 110.0, 110.0
    full_j = 0.96875 * 36e6  # 3.375 V lies between 3.36 V at 95 % and 3.40 V at 100 %
    assert LITHIUM.longest_stretch_s(flows, full_j - 1e4, 54.0) == pytest.approx(100.0)


def test_nothing_moving_may_go_on_for_ever() -> None:
    assert LEAD.longest_stretch_s(BankFlows(), 18e6, 28.8) == math.inf


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"chemistry": "wet"}, "chemistry"),
        ({"capacity_j": 0.0}, "capacity_j"),
        ({"resistance_ohm": math.nan}, "resistance_ohm"),
        ({"charge_efficiency": 1.2}, "charge_efficiency"),
        ({"cutoff_v": 0.0}, "cutoff_v"),
    ],
)
def test_impossible_banks_are_refused(wrong: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        replace(LEAD, **wrong)


@pytest.mark.parametrize("place", range(4))
def test_negative_power_is_refused(place: int) -> None:
    powers_w = [0.0, 0.0, 0.0, 0.0]
    powers_w[place] = -1.0
    with pytest.raises(ValueError, match="at least 0"):
        solved(LEAD, 0.5, *powers_w[:3], heater_w=powers_w[3])
