import numpy as np
import pytest

from becksim.electrics.sun import clear_sky_w_m2, declination_deg


@pytest.mark.parametrize(("day_of_year", "published_deg"), [(170, 23.43), (335, -22.11)])
def test_pv_01_declination(day_of_year, published_deg):
    """PV-01: Cooper's formula; Rai, Non-conventional Energy Sources, Ex 2.4.1-2.4.2 p.59; 0.01 deg."""
    assert float(declination_deg(day_of_year)) == pytest.approx(published_deg, abs=0.01)


@pytest.mark.parametrize(
    ("day_of_year", "published_kwh_m2"),
    [(172, 8.756), (355, 1.588), (79, 5.033)],  # 2023-06-21, 2023-12-21, 2023-03-20
)
def test_pv_02_clear_sky_energy_of_a_day(day_of_year, published_kwh_m2):
    """PV-02: Haurwitz on the flat at latitude 46.8 deg, against pvlib 0.16.1 `clearsky.haurwitz`; 1 %."""
    light_w_m2 = clear_sky_w_m2(day_of_year, np.arange(1440) / 60.0, 46.8)
    assert light_w_m2.sum() / 60.0 / 1000.0 == pytest.approx(published_kwh_m2, rel=0.01)


@pytest.mark.parametrize(("day_of_year", "published_deg"), [(172, 66.6), (355, 19.8), (79, 43.1)])
def test_pv_02_noon_height(day_of_year, published_deg):
    """PV-02: noon height of the sun at latitude 46.8 deg, by the light that it gives; 1 % of it."""
    up = np.sin(np.radians(published_deg))
    expected_w_m2 = 1098.0 * up * np.exp(-0.057 / up)
    assert float(clear_sky_w_m2(day_of_year, 12.0, 46.8)) == pytest.approx(expected_w_m2, rel=0.01)
