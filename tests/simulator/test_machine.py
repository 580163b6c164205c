import pytest

from becksim.errors import UserError
from becksim.machine import build_machine
from becksim.site import load_site

JETS = [0.004, 0.004], [20.0, 19.0], [1.0, 0.9]


def machine(*changes, site="upland-hostel"):
    return build_machine(load_site(site, changes), f"{site}.toml", *JETS)


def test_what_the_owner_measured_is_taken_as_it_is():
    _, generator, _ = machine("generator.resistance_mohm=250", "generator.rectifier_drop_v=1.1")
    assert (generator.resistance_ohm, generator.rectifier_drop_v) == (0.25, 1.1)
    generous = machine("generator.resistance_mohm=250", "generator.iron_loss_w=10")[1]
    frugal = machine("generator.resistance_mohm=250", "generator.iron_loss_w=20")[1]
    assert frugal.iron_w(900.0) == pytest.approx(2.0 * generous.iron_w(900.0))


def test_windage_is_the_share_of_the_best_power_that_the_site_gives():
    still, usual = machine("wheel.windage_percent=0")[0], machine("wheel.windage_percent=4")[0]
    assert still.windage_w_s3_m3 == 0.0
    assert usual.windage_w_s3_m3 == pytest.approx(2.0 * machine("wheel.windage_percent=2")[0].windage_w_s3_m3)


def test_the_cable_is_in_series_with_the_winding():
    _, generator, line = machine("cable.length_m=100", "cable.section_mm2=16", "cable.conductor_class=5")
    assert line.resistance_ohm - generator.resistance_ohm == pytest.approx(0.2 * 1.21)


def test_the_line_has_the_generators_voltage_per_bucket_speed():
    wheel, generator, line = machine()
    assert line.emf_v_s_m * 15.0 == pytest.approx(generator.emf_v(wheel.rpm(15.0)))
    drag_w = 15.0 * (line.drag_n + 15.0 * line.drag_kg_s)
    assert drag_w == pytest.approx(generator.iron_w(wheel.rpm(15.0)))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("generator.resistance_mohm=2000", "a winding of 2 ohm"),
        ("generator.iron_loss_w=900", "900 W lost in the iron"),
        ("generator.rectifier_drop_v=10", "a rectifier that loses 10 V"),
    ],
)
def test_losses_that_the_efficiency_does_not_leave_are_told_with_where_and_what_to_do(change, says):
    with pytest.raises(UserError) as refused:
        machine(change, site="millbrook-smallholding")
    assert str(refused.value).startswith(
        "millbrook-smallholding.toml: [wheel] generator_efficiency_percent is "
    )
    assert says in str(refused.value)
    assert str(refused.value).endswith("Give a lower efficiency, or other figures in [generator].")
