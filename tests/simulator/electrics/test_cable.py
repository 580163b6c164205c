import pytest

from becksim.electrics.cable import (
    cable_drop_v,
    cable_ohm,
    conductor_ohm_km,
    copper_temp_c,
    standard_sizes_mm2,
)

SIZES_MM2 = [1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120]


@pytest.mark.parametrize("conductor_class", [2, 5])
def test_table_follows_the_resistivity_of_copper(conductor_class: int) -> None:
    # 0.017241 ohm mm2/m at 20 degC (IEC 60028, from memory); the standard's sizes are nominal
    for size_mm2 in SIZES_MM2:
        assert conductor_ohm_km(size_mm2, conductor_class) * size_mm2 == pytest.approx(
            17.241 * 1.09, rel=0.08
        )


@pytest.mark.parametrize("conductor_class", [2, 5])
def test_every_listed_size_has_a_resistance(conductor_class: int) -> None:
    assert standard_sizes_mm2(conductor_class) == SIZES_MM2
    assert all(conductor_ohm_km(size_mm2, conductor_class) > 0.0 for size_mm2 in SIZES_MM2)


@pytest.mark.parametrize("conductor_class", [2, 5])
def test_thicker_is_better(conductor_class: int) -> None:
    column = [conductor_ohm_km(size_mm2, conductor_class) for size_mm2 in SIZES_MM2]
    assert column == sorted(column, reverse=True)
    assert len(set(column)) == len(column)


def test_drop_is_proportional_to_length_and_current() -> None:
    assert cable_drop_v(20.0, 60.0, 25) == pytest.approx(6.0 * cable_drop_v(10.0, 20.0, 25))


def test_warm_cable_loses_more_and_tells_its_temperature() -> None:
    cold_ohm, warm_ohm = cable_ohm(50.0, 16), cable_ohm(50.0, 16, temp_c=70.0)
    assert warm_ohm == pytest.approx(cold_ohm * 1.197, rel=0.002)  # IEC 60228 annex: 254.5 / (234.5 + T)
    assert copper_temp_c(warm_ohm, cold_ohm, 20.0) == pytest.approx(70.0)


def test_other_sizes_and_classes_are_refused() -> None:
    with pytest.raises(ValueError, match="95, 120, found 17"):
        conductor_ohm_km(17)
    with pytest.raises(ValueError, match="2 or 5, found 1"):
        conductor_ohm_km(16, 1)
    with pytest.raises(ValueError, match="above 0"):
        copper_temp_c(1.0, 0.0, 20.0)
