import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.battery import (
    absorption_v,
    cell_limits,
    cell_practice,
    conditions_at,
    float_v,
    open_circuit_v,
    peukert_hours,
    soc_at_rest_v,
)

CHEMISTRIES = ["lead-acid", "lifepo4"]


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_rest_voltage_rises_all_the_way_and_stays_below_absorption(chemistry: str) -> None:
    rest_v = [open_circuit_v(chemistry, 8, percent / 100) for percent in range(101)]
    assert all(low < high for low, high in zip(rest_v, rest_v[1:], strict=False))
    assert rest_v[-1] < absorption_v(chemistry, 8)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_rest_voltage_is_held_at_the_ends(chemistry: str) -> None:
    assert open_circuit_v(chemistry, 4, -0.1) == open_circuit_v(chemistry, 4, 0.0)
    assert open_circuit_v(chemistry, 4, 1.1) == open_circuit_v(chemistry, 4, 1.0)


@given(st.sampled_from(CHEMISTRIES), st.floats(0.0, 1.0))
@settings(max_examples=60)
def test_rest_voltage_has_no_jumps(chemistry: str, soc: float) -> None:
    # the steepest line is LiFePO4 from 0 to 5 %: 9 V a unit of charge and cell
    step_v = open_circuit_v(chemistry, 1, soc + 1e-6) - open_circuit_v(chemistry, 1, soc)
    assert -1e-12 <= step_v <= 9.1e-6


def test_voltages_scale_with_the_cells() -> None:
    assert open_circuit_v("lead-acid", 24, 0.6) == pytest.approx(4 * open_circuit_v("lead-acid", 6, 0.6))
    assert absorption_v("lifepo4", 16) == pytest.approx(2 * absorption_v("lifepo4", 8))


def test_a_cold_lead_acid_battery_is_charged_higher_and_lifepo4_the_same() -> None:
    assert absorption_v("lead-acid", 12, 0.0) > absorption_v("lead-acid", 12, 25.0)
    assert float_v(12, 0.0) > float_v(12, 25.0)
    assert absorption_v("lifepo4", 8, 0.0) == absorption_v("lifepo4", 8, 25.0)


@pytest.mark.parametrize("temp_c", [-10.0, 25.0, 45.0])
def test_float_is_below_absorption(temp_c: float) -> None:
    assert float_v(12, temp_c) < absorption_v("lead-acid", 12, temp_c)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_limits_are_in_order(chemistry: str) -> None:
    limits = cell_limits(chemistry)
    assert limits.empty_v < limits.nominal_v < limits.absorption_v <= limits.full_v


@given(st.sampled_from(CHEMISTRIES), st.integers(1, 24), st.floats(0.0, 1.0))
@settings(max_examples=100)
def test_the_charge_is_found_again_by_its_rest_voltage(chemistry: str, cells: int, soc: float) -> None:
    assert soc_at_rest_v(chemistry, cells, open_circuit_v(chemistry, cells, soc)) == pytest.approx(
        soc, abs=1e-9
    )


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_beyond_the_table_the_battery_is_empty_or_full(chemistry: str) -> None:
    assert soc_at_rest_v(chemistry, 4, 0.0) == 0.0
    assert soc_at_rest_v(chemistry, 4, 99.0) == 1.0


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_what_owners_do_with_a_cell_is_in_order(chemistry: str) -> None:
    limits, practice = cell_limits(chemistry), cell_practice(chemistry)
    held_v = conditions_at(chemistry, 1, 0.001, 25.0).float_v
    assert limits.empty_v < practice.cutoff_v < practice.reconnect_v < held_v < limits.absorption_v
    assert practice.cutoff_v < practice.rebulk_v < held_v


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_at_25_degrees_a_battery_is_as_rated_and_above_only_its_set_points_change(chemistry: str) -> None:
    rated = conditions_at(chemistry, 12, 0.014, 25.0)
    assert rated.resistance_ohm == 0.014
    assert rated.may_charge
    hot = conditions_at(chemistry, 12, 0.014, 45.0)
    assert (hot.resistance_ohm, hot.taper_s) == (rated.resistance_ohm, rated.taper_s)
    assert hot.absorption_v == absorption_v(chemistry, 12, 45.0)


@given(st.sampled_from(CHEMISTRIES), st.floats(-30.0, 60.0), st.floats(0.0, 30.0))
@settings(max_examples=60)
def test_colder_is_never_better(chemistry: str, temp_c: float, colder_k: float) -> None:
    warm = conditions_at(chemistry, 12, 0.014, temp_c)
    cold = conditions_at(chemistry, 12, 0.014, temp_c - colder_k)
    assert cold.resistance_ohm >= warm.resistance_ohm
    assert cold.taper_s >= warm.taper_s
    assert cold.may_charge <= warm.may_charge
    assert cold.float_v >= warm.float_v
    assert cold.float_v < cold.absorption_v


def test_an_unknown_chemistry_is_refused() -> None:
    with pytest.raises(ValueError, match="lead-acid, lifepo4, found 'wet'"):
        cell_limits("wet")


def test_peukert_keeps_the_rating_and_punishes_haste() -> None:
    assert peukert_hours(100.0, 20.0, 5.0, 1.2) == pytest.approx(20.0)
    assert peukert_hours(100.0, 20.0, 10.0, 1.2) < 10.0
    assert peukert_hours(100.0, 20.0, 10.0, 1.0) == pytest.approx(10.0)


@pytest.mark.parametrize(
    "arguments", [(0.0, 20.0, 5.0, 1.2), (100.0, 20.0, 0.0, 1.2), (100.0, 20.0, 5.0, 0.9)]
)
def test_peukert_refuses_nonsense(arguments: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="exponent at least 1"):
        peukert_hours(*arguments)
