"""Batteries: rest voltage, charge set points, Peukert, LiFePO4 limits."""

import pytest

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.battery import (
    absorption_v,
    cell_limits,
    conditions_at,
    float_v,
    open_circuit_v,
    peukert_hours,
)
from becksim.electrics.charging import Charger


@pytest.mark.parametrize(
    ("soc", "table_v", "specific_gravity", "rule_v", "tolerance_v"),
    [
        (1.00, 12.70, 1.265, 12.66, 0.06),
        (0.75, 12.40, 1.225, 12.42, 0.06),
        (0.50, 12.20, 1.190, 12.21, 0.06),
        (0.25, 12.00, 1.155, 12.00, 0.06),
        (0.00, 11.90, 1.120, 11.79, 0.12),
    ],
)
def test_batt_01_rest_voltage(
    soc: float, table_v: float, specific_gravity: float, rule_v: float, tolerance_v: float
) -> None:
    """BATT-01: flooded lead-acid, 12 V block; an owners' forum table, and V = 6 (SG + 0.845), from memory."""
    block_v = open_circuit_v("lead-acid", 6, soc)
    assert block_v == pytest.approx(table_v, abs=1e-9)
    assert block_v == pytest.approx(rule_v, abs=tolerance_v)
    assert block_v == pytest.approx(6.0 * (specific_gravity + 0.845), abs=tolerance_v)


def test_batt_02_set_points() -> None:
    """BATT-02: lead-acid practice, from memory; 10 mV."""
    assert absorption_v("lead-acid", 12, 25.0) == pytest.approx(28.80, abs=0.010)
    assert absorption_v("lead-acid", 12, 35.0) == pytest.approx(28.32, abs=0.010)
    assert float_v(12, 25.0) == pytest.approx(27.00, abs=0.010)
    assert float_v(12, 5.0) == pytest.approx(27.72, abs=0.010)
    for temp_c, held_v in ((25.0, 27.00), (5.0, 27.72)):  # and so the charger holds them
        assert conditions_at("lead-acid", 12, 0.01, temp_c).float_v == pytest.approx(held_v, abs=0.010)
    assert conditions_at("lead-acid", 12, 0.01, 35.0).absorption_v == pytest.approx(28.32, abs=0.010)


def test_a_24_v_bank_is_charged_to_about_28_8_v() -> None:
    """Common practice, no source: 28.8 V for 24 V of lead-acid; 0.3 V.

    By hours of charging, not by the set point alone: the voltage that the terminals come to.
    """
    bank = Bank("lead-acid", 12, 40e6, 0.014, 0.85, 0.95, 0.92, 22.0)
    warm, flows, energy_j = bank.conditions(25.0), BankFlows(), 20e6
    charger = Charger("lead-acid", 12, 0.02 * 460.0, 7200.0)
    seen_v = []
    for _ in range(24 * 60):
        bank.solve(energy_j, 1500.0, 0.0, 100.0, warm, charger.limit_v(warm), True, flows)
        energy_j += 60.0 * flows.stored_w
        charger.advance(flows, warm, 60.0)
        seen_v.append(flows.terminal_v)
    assert max(seen_v) == pytest.approx(28.8, abs=0.3)
    assert seen_v[-1] == pytest.approx(27.0, abs=0.3)  # floats at the end of the day
    assert energy_j > 0.99 * bank.capacity_j


@pytest.mark.parametrize(
    ("capacity_ah", "current_a", "exponent", "hours", "usable_ah"),
    [
        (100.0, 20.0, 1.20, 3.789, 75.8),  # BATT-04
        (200.0, 50.0, 1.15, 3.142, 157.1),  # BATT-05
    ],
)
def test_batt_04_05_peukert(
    capacity_ah: float, current_a: float, exponent: float, hours: float, usable_ah: float
) -> None:
    """BATT-04, BATT-05: Peukert 1897, from memory; 0.1 %; both rated at 20 h."""
    found_h = peukert_hours(capacity_ah, 20.0, current_a, exponent)
    assert found_h == pytest.approx(hours, rel=0.001)
    assert found_h * current_a == pytest.approx(usable_ah, rel=0.001)


@pytest.mark.parametrize(
    ("cells", "nominal_v", "full_v", "practice_v", "empty_v"),
    [(8, 25.6, 29.2, 27.6, 20.0), (16, 51.2, 58.4, 55.2, 40.0)],
)
def test_batt_06_lifepo4_limits(
    cells: int, nominal_v: float, full_v: float, practice_v: float, empty_v: float
) -> None:
    """BATT-06: cell data-sheet practice, from memory; exact arithmetic."""
    limits = cell_limits("lifepo4")
    found_v = [cells * cell_v for cell_v in limits]
    assert found_v == pytest.approx([nominal_v, full_v, practice_v, empty_v], rel=1e-12)
    assert absorption_v("lifepo4", cells) == pytest.approx(practice_v, rel=1e-12)


@pytest.mark.parametrize("percent", range(20, 91, 5))
def test_batt_06_lifepo4_plateau(percent: int) -> None:
    """BATT-06: about 3.25-3.35 V between 20 and 90 %, from memory; 30 mV."""
    assert 3.25 - 0.030 <= open_circuit_v("lifepo4", 1, percent / 100) <= 3.35 + 0.030
