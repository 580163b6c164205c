"""Bulk, absorption, float: a charger against a battery, and against made-up voltages."""

import math
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.electrics.bank import Bank, BankFlows
from becksim.electrics.battery import conditions_at
from becksim.electrics.charging import (
    ABSORPTION,
    BULK,
    FLOAT,
    REBULK_HOLD_S,
    STAGES,
    TAIL_HOLD_S,
    Charger,
)

LEAD = Bank("lead-acid", 12, 460 * 3600 * 24.0, 0.014, 0.85, 0.95, 0.92, 22.0)
LITHIUM = Bank("lifepo4", 16, 560 * 3600 * 51.2, 0.012, 0.98, 0.95, 0.92, 48.0)
WARM = conditions_at("lead-acid", 12, 0.014, 25.0)


def charger_of(bank: Bank) -> Charger:
    if bank.chemistry == "lead-acid":
        return Charger("lead-acid", 12, 9.2, 7200.0)
    return Charger("lifepo4", 16, 11.2, 1800.0)


def flows_of(terminal_v: float, battery_a: float = 0.0) -> BankFlows:
    flows = BankFlows()
    flows.terminal_v, flows.battery_a = terminal_v, battery_a
    return flows


def run(
    bank: Bank, soc: float, hours: list[tuple[float, float]], temp_c: float = 25.0, most_s: float = 900.0
):
    """Hour after hour of (hydro_w, load_w); rows of (instant, stage before, voltage, current, charge)."""
    charger, conditions, flows = charger_of(bank), bank.conditions(temp_c), BankFlows()
    energy_j, now_s, rows = soc * bank.capacity_j, 0.0, []
    for hour, (hydro_w, load_w) in enumerate(hours, 1):
        while now_s < 3600.0 * hour:
            limit_v = charger.limit_v(conditions)
            bank.solve(energy_j, hydro_w, 0.0, load_w, conditions, limit_v, True, flows)
            length_s = min(
                most_s,
                3600.0 * hour - now_s,
                bank.longest_stretch_s(flows, energy_j, limit_v),
                charger.longest_stretch_s(flows, conditions),
            )
            rows.append((now_s, charger.stage, flows.terminal_v, flows.battery_a, energy_j / bank.capacity_j))
            energy_j += flows.stored_w * length_s
            charger.advance(flows, conditions, length_s)
            now_s += length_s
    return rows


def first(rows: list[tuple], stage: int) -> tuple:
    return next(row for row in rows if row[1] == stage)


def test_every_stage_has_a_name() -> None:
    assert [STAGES[stage] for stage in (BULK, ABSORPTION, FLOAT)] == ["bulk", "absorption", "float"]


@pytest.mark.parametrize("bank", [LEAD, LITHIUM])
@pytest.mark.parametrize("temp_c", [25.0, 5.0])
def test_a_day_of_charging_goes_through_bulk_absorption_and_float(bank: Bank, temp_c: float) -> None:
    rows = run(bank, 0.6, [(4000.0, 0.0)] * 24, temp_c)
    stages = [row[1] for row in rows]
    assert stages == sorted(stages)
    assert set(stages) == {BULK, ABSORPTION, FLOAT}
    conditions = bank.conditions(temp_c)
    bulk = [row for row in rows if row[1] == BULK]
    assert all(later[2] >= sooner[2] for sooner, later in zip(bulk, bulk[1:], strict=False))
    assert {row[2] for row in rows if row[1] == ABSORPTION} == {conditions.absorption_v}
    assert all(row[2] <= max(conditions.float_v, bank.cells * 3.40) for row in rows if row[1] == FLOAT)
    absorbing_a = [row[3] for row in rows if row[1] == ABSORPTION]
    assert all(later < sooner for sooner, later in zip(absorbing_a, absorbing_a[1:], strict=False))
    # Two hours of absorption are too short for a cold battery charged fast; float has to do the rest.
    assert first(rows, FLOAT)[4] > (0.95 if temp_c == 25.0 else 0.80)
    assert rows[-1][4] > 0.96


@pytest.mark.parametrize("most_s", [17.0, 60.0, 900.0])
def test_the_stages_come_when_they_come_however_long_the_stretches(most_s: float) -> None:
    rows = run(LEAD, 0.6, [(2500.0, 200.0)] * 12, most_s=most_s)
    fine = run(LEAD, 0.6, [(2500.0, 200.0)] * 12, most_s=5.0)
    reached_s = [next(row[0] for row in some if row[2] == WARM.absorption_v) for some in (rows, fine)]
    assert reached_s[0] == pytest.approx(reached_s[1], abs=450.0)
    assert first(rows, FLOAT)[0] == pytest.approx(first(fine, FLOAT)[0], abs=400.0)
    assert rows[-1][4] == pytest.approx(fine[-1][4], abs=0.002)


def test_absorption_ends_by_time_if_the_current_will_not_fall() -> None:
    charger, flows = Charger("lead-acid", 12, 9.2, 7200.0), flows_of(WARM.absorption_v, 50.0)
    charger.advance(flows, WARM, 600.0)
    assert charger.stage == ABSORPTION
    assert charger.longest_stretch_s(flows, WARM) == 6600.0
    charger.advance(flows, WARM, 6599.0)
    assert charger.stage == ABSORPTION
    charger.advance(flows, WARM, 1.0)
    assert charger.stage == FLOAT
    assert charger.limit_v(WARM) == WARM.float_v
    assert charger.longest_stretch_s(flows_of(WARM.float_v), WARM) == math.inf


def test_absorption_ends_early_once_the_current_has_stayed_small() -> None:
    charger = Charger("lead-acid", 12, 9.2, 7200.0)
    charger.advance(flows_of(WARM.absorption_v, 9.1), WARM, TAIL_HOLD_S - 1.0)
    charger.advance(flows_of(WARM.absorption_v, 9.3), WARM, 1.0)  # a kettle is off: again from the start
    charger.advance(flows_of(WARM.absorption_v, 9.1), WARM, TAIL_HOLD_S - 1.0)
    assert charger.stage == ABSORPTION
    charger.advance(flows_of(WARM.absorption_v, 9.1), WARM, 1.0)
    assert charger.stage == FLOAT


def test_a_small_current_below_absorption_voltage_is_a_weak_source_not_a_full_battery() -> None:
    charger, flows = Charger("lead-acid", 12, 9.2, 7200.0), flows_of(26.0, 2.0)
    charger.advance(flows, WARM, 86_400.0)
    assert charger.stage == BULK
    assert charger.longest_stretch_s(flows, WARM) == math.inf


def test_time_below_absorption_voltage_does_not_count_as_absorption() -> None:
    charger = Charger("lead-acid", 12, 9.2, 7200.0)
    charger.advance(flows_of(WARM.absorption_v, 50.0), WARM, 1000.0)
    charger.advance(flows_of(27.0, -5.0), WARM, 9000.0)
    assert (charger.stage, charger.absorbed_s) == (ABSORPTION, 1000.0)


@pytest.mark.parametrize("stage", [ABSORPTION, FLOAT])
def test_a_voltage_low_for_long_enough_starts_bulk_again(stage: int) -> None:
    charger = Charger("lead-acid", 12, 9.2, 7200.0)
    charger.stage, charger.absorbed_s = stage, 3600.0
    low = flows_of(25.19, -30.0)
    charger.advance(low, WARM, REBULK_HOLD_S - 1.0)
    assert charger.longest_stretch_s(low, WARM) == 1.0
    charger.advance(flows_of(25.21), WARM, 1.0)  # the kettle is off
    charger.advance(low, WARM, REBULK_HOLD_S - 1.0)
    assert charger.stage == stage
    charger.advance(low, WARM, 1.0)
    assert (charger.stage, charger.absorbed_s) == (BULK, 0.0)
    assert charger.limit_v(WARM) == WARM.absorption_v


def test_a_night_on_the_battery_is_made_good_the_next_day() -> None:
    night = [(0.0, 500.0)] * 12
    rows = run(LEAD, 0.95, [(2500.0, 0.0)] * 6 + night + [(2500.0, 0.0)] * 12)
    stages = [stage for stage, _ in groupby(row[1] for row in rows)]
    assert stages == [BULK, ABSORPTION, FLOAT, BULK, ABSORPTION, FLOAT]


@given(
    st.sampled_from([LEAD, LITHIUM]),
    st.floats(0.0, 1.0),
    st.lists(st.tuples(st.floats(0.0, 6000.0), st.floats(0.0, 4000.0)), min_size=8, max_size=8),
    st.floats(-15.0, 40.0),
)
@settings(max_examples=40, deadline=None)
def test_whatever_comes_the_stage_voltage_is_kept(
    bank: Bank, soc: float, hours: list[tuple[float, float]], temp_c: float
) -> None:
    conditions = bank.conditions(temp_c)
    for _, stage, terminal_v, battery_a, charge in run(bank, soc, hours, temp_c):
        assert -1e-6 <= charge <= 1.0 + 1e-6
        limit_v = conditions.float_v if stage == FLOAT else conditions.absorption_v
        if battery_a > 0.0:
            assert terminal_v <= limit_v


@pytest.mark.parametrize(("tail_a", "absorption_s"), [(-1.0, 7200.0), (9.2, 0.0)])
def test_an_impossible_charger_is_refused(tail_a: float, absorption_s: float) -> None:
    with pytest.raises(ValueError, match="tail_a must be at least 0 and absorption_s above 0"):
        Charger("lead-acid", 12, tail_a, absorption_s)
