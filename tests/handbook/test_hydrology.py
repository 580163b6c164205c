import numpy as np
import pytest

from becksim.hydrology.catchment import Catchment
from becksim.hydrology.estimate import mean_flow_m3_s, mean_power_w
from becksim.hydrology.statistics import return_periods
from becksim.hydrology.stores import linear_reservoir_step
from becksim.hydrology.weather import daily_rain_mm, wet_chain_statistics


def test_hydro_02_rain_to_mean_power_and_rating():
    """HYDRO-02: Mehta, Principles of Power System, Ex 2.9 p.23, g = 9.81; 0.1 % (it rounds to 3 digits)."""
    flow_m3_s = mean_flow_m3_s(area_m2=5e9, rain_m_per_year=1.25, yield_share=0.80)
    mean_w = mean_power_w(flow_m3_s, head_m=30.0, efficiency=0.70, gravity_m_s2=9.81)
    assert mean_w / 1000.0 == pytest.approx(32_648.0, rel=1e-3)
    assert mean_w / 1000.0 / 0.40 == pytest.approx(81_621.0, rel=1e-3)


@pytest.mark.parametrize(
    ("method", "periods"),
    [("california", [15.0, 7.5, 5.0, 3.75, 3.0]), ("hazen", [30.0, 10.0, 6.0, 4.29, 3.33])],
)
def test_hydro_03_plotting_positions(method, periods):
    """HYDRO-03: Punmia & Lal, Irrigation and Water Power Engineering, Ex 4.32 p.210, N = 15; 0.01."""
    assert return_periods(15, method)[:5] == pytest.approx(periods, abs=0.01)


def test_hydro_04_linear_reservoir_recession():
    """HYDRO-04: Maillet's recession, Q0 = 12 L/s, k = 0.97 a day; 0.1 %, and the water balance closes."""
    stay_days = 1.0 / -np.log(0.97)
    start_m3 = 0.012 * 86400.0 * stay_days
    storage_m3, released_m3 = linear_reservoir_step(start_m3, 0.0, stay_days=stay_days, step_days=30.0)
    assert stay_days == pytest.approx(32.83, rel=1e-3)
    assert start_m3 == pytest.approx(34039.0, rel=1e-3)
    assert storage_m3 / stay_days / 86.4 == pytest.approx(4.812, rel=1e-3)
    assert released_m3 == pytest.approx(20389.0, rel=1e-3)
    assert storage_m3 + released_m3 == pytest.approx(start_m3, rel=1e-12)
    half_m3, _ = linear_reservoir_step(start_m3, 0.0, stay_days=stay_days, step_days=22.76)
    assert half_m3 == pytest.approx(start_m3 / 2.0, rel=1e-3)


def test_hydro_04_the_hourly_step_follows_the_same_recession():
    """HYDRO-04 in the steps that the stream takes."""
    stay_days = 1.0 / -np.log(0.97)
    storage_m3, released_m3 = 34039.0, 0.0
    for _ in range(30 * 24):
        storage_m3, out_m3 = linear_reservoir_step(storage_m3, 0.0, stay_days=stay_days, step_days=1.0 / 24.0)
        released_m3 += out_m3
    assert storage_m3 / stay_days / 86.4 == pytest.approx(4.812, rel=1e-3)
    assert released_m3 == pytest.approx(20389.0, rel=1e-3)


def test_hydro_05_theory_of_the_wet_dry_chain():
    """HYDRO-05: Richardson (1981), P(W|D) = 0.25, P(W|W) = 0.60, gamma shape 0.7, scale 10 mm; exact."""
    chain = wet_chain_statistics(wet_after_dry=0.25, wet_after_wet=0.60, wet_day_mm=0.7 * 10.0)
    assert chain.wet_share == pytest.approx(0.3846, abs=5e-5)
    assert chain.wet_spell_days == pytest.approx(2.5, rel=1e-12)
    assert chain.dry_spell_days == pytest.approx(4.0, rel=1e-12)
    assert chain.wet_days_per_year == pytest.approx(140.5, abs=0.05)
    assert chain.rain_mm_per_year == pytest.approx(983.0, abs=0.5)


@pytest.mark.parametrize("seed", [1, 2])
def test_hydro_05_a_thousand_simulated_years(seed):
    """HYDRO-05: the same chain simulated for 1000 years, within 2 %."""
    hill = Catchment(
        area_km2=1.0,
        wet_after_dry=(0.25,) * 12,
        wet_after_wet=(0.60,) * 12,
        wet_day_mm=(7.0,) * 12,
        gamma_shape=0.7,
        evaporation_mm=(0.0,) * 12,
        quick_share=0.5,
        quick_days=1.0,
        slow_days=30.0,
        soil_mm=100.0,
        base_flow_m3_s=0.0,
    )
    years = 1000
    rain_mm = daily_rain_mm(hill, np.arange(round(years * 365.25)) // 30 % 12, seed)
    wet = rain_mm > 0.0
    turns = np.count_nonzero(wet[1:] != wet[:-1]) / 2.0  # wet spells, and dry ones
    assert wet.sum() / years == pytest.approx(140.5, rel=0.02)
    assert rain_mm.sum() / years == pytest.approx(983.0, rel=0.02)
    assert wet.sum() / turns == pytest.approx(2.5, rel=0.02)
    assert (~wet).sum() / turns == pytest.approx(4.0, rel=0.02)
    assert rain_mm[wet].std() == pytest.approx(10.0 * 0.7**0.5, rel=0.02)  # a gamma's: scale * sqrt(shape)
