import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.hydraulics import surge_rules


@settings(max_examples=40)
@given(st.floats(200.0, 1400.0), st.floats(10.0, 2000.0), st.floats(0.1, 4.0), st.floats(1.01, 50.0))
def test_slow_closure_orders_the_rules_as_the_books_do(wave_speed_m_s, length_m, velocity_m_s, returns):
    closing_time_s = returns * 2.0 * length_m / wave_speed_m_s
    mean = surge_rules.rigid_column_pa(1000.0, length_m, velocity_m_s, closing_time_s)
    michaud = surge_rules.michaud_pa(1000.0, length_m, velocity_m_s, closing_time_s)
    assert mean < michaud < surge_rules.joukowsky_pa(1000.0, wave_speed_m_s, velocity_m_s)


def test_michaud_meets_joukowsky_at_one_return_of_the_wave():
    michaud = surge_rules.michaud_pa(1000.0, 300.0, 1.2, 2.0 * 300.0 / 400.0)
    assert michaud == pytest.approx(surge_rules.joukowsky_pa(1000.0, 400.0, 1.2))


def test_a_stiff_wall_tends_to_unconfined_water_and_a_soft_one_slows_the_wave():
    free_m_s = surge_rules.unconfined_wave_speed_m_s(2.1e9, 1000.0)
    stiff, steel, plastic = (
        surge_rules.korteweg_wave_speed_m_s(2.1e9, 1000.0, 0.1, 0.006, modulus_pa)
        for modulus_pa in (1e18, 210e9, 1.1e9)
    )
    assert stiff == pytest.approx(free_m_s, rel=1e-6)
    assert free_m_s > steel > 4.0 * plastic


def test_restraint_speeds_the_wave_as_a_thicker_wall_would():
    held = surge_rules.korteweg_wave_speed_m_s(2.1e9, 1000.0, 0.1, 0.008, 1.1e9, restraint_coefficient=0.8)
    thick = surge_rules.korteweg_wave_speed_m_s(2.1e9, 1000.0, 0.1, 0.010, 1.1e9)
    assert held == pytest.approx(thick)


def test_an_opening_lowers_the_pressure():
    assert surge_rules.joukowsky_pa(1000.0, 400.0, -1.0) == -400_000.0


@pytest.mark.parametrize(
    ("rule", "arguments"),
    [
        (surge_rules.unconfined_wave_speed_m_s, (0.0, 1000.0)),
        (surge_rules.korteweg_wave_speed_m_s, (2e9, 1000.0, 0.1, 0.0, 1e9)),
        (surge_rules.joukowsky_pa, (1000.0, -1.0, 1.0)),
        (surge_rules.michaud_pa, (1000.0, 100.0, 1.0, 0.0)),
        (surge_rules.rigid_column_pa, (1000.0, float("nan"), 1.0, 1.0)),
    ],
)
def test_what_must_be_above_0_is_refused_otherwise(rule, arguments):
    with pytest.raises(ValueError, match="must be above 0"):
        rule(*arguments)
