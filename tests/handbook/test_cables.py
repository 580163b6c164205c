"""DC cables: resistance table, drop, copper temperature."""

import pytest

from becksim.electrics.cable import cable_drop_v, conductor_ohm_km, copper_temp_c


@pytest.mark.parametrize(
    ("area_mm2", "conductor_class", "ohm_km"), [(16, 5, 1.21), (16, 2, 1.15), (25, 2, 0.727), (25, 5, 0.780)]
)
def test_elec_01_resistance(area_mm2: float, conductor_class: int, ohm_km: float) -> None:
    """ELEC-01: IEC 60228, highest resistance at 20 degC, as copied by two makers; 0.1 %."""
    assert conductor_ohm_km(area_mm2, conductor_class) == pytest.approx(ohm_km, rel=0.001)


def test_elec_01_drop() -> None:
    """ELEC-01: 24 V, 40 A, 20 m one way, 16 mm2 class 5: 1.936 V, 8.07 %; 0.1 %."""
    drop_v = cable_drop_v(40.0, 20.0, 16)
    assert drop_v == pytest.approx(1.936, rel=0.001)
    assert drop_v / 24.0 == pytest.approx(0.0807, rel=0.001)


def test_elec_03_copper_temperature() -> None:
    """ELEC-03: Basic Electrical Engineering companion, Ex 2.18 p.32; rise 59.59 K; 0.1 %."""
    rise_k = copper_temp_c(4.22, 3.42, 20.0, 0.00426) - 20.0
    assert rise_k == pytest.approx(59.59, rel=0.001)
