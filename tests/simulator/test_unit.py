"""Two wheels on one manifold: they share water and battery, and nothing else."""

import pytest

from becklight import readings as places
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.hazards import hazards
from becksim.site import load_site
from becksim.works import Works, build_jets

HOSTEL = "upland-hostel"
SPARE = [
    "jets.large.wheel=spare",
    "spare.wheel.pitch_diameter_mm=200",
    "spare.wheel.voltage_v_per_rpm=0.05",
    "spare.wheel.most_bus_v=150",
    "spare.regulator.least_input_v=30",
]
LARGE = 2  # its place


def works_of(*changes):
    site = load_site(HOSTEL, changes)
    return Works(site, build_jets(site))


ONE, TWO = works_of(), works_of(*SPARE)


def run(works, openings):
    works.operate(openings, works.crest_level_m)
    return works


def test_a_wheel_gets_what_its_own_jets_give_and_the_plant_has_the_sum():
    main = run(TWO, [1000, 1000, 0, 400]).power_w
    assert (TWO.main.power_w, TWO.units[1].power_w) == (main, 0.0)
    spare = run(TWO, [0, 0, 1000, 0]).power_w
    assert (TWO.main.power_w, TWO.units[1].power_w) == (0.0, spare)
    both = run(TWO, [1000, 1000, 1000, 400]).power_w
    assert both == TWO.main.power_w + TWO.units[1].power_w
    # They share the pipe, and so its loss.
    assert 0.5 * (main + spare) < both < main + spare


def test_the_water_does_not_know_of_wheels():
    for openings in ([1000, 1000, 1000, 400], [0, 0, 1000, 0], [0, 0, 0, 0]):
        run(ONE, openings)
        run(TWO, openings)
        assert (ONE.flow_m3_s, ONE.net_head_m) == (TWO.flow_m3_s, TWO.net_head_m)


def test_a_spare_that_is_the_same_machine_makes_the_same_of_one_jet():
    site = load_site(HOSTEL)
    same = [
        f"spare.wheel.{key}={getattr(site.wheel, key)}" for key in ("pitch_diameter_mm", "voltage_v_per_rpm")
    ]
    # A generator is rated with all its own jets open: give the loss that does not hang on that, and no other.
    losses = ["resistance_mohm=300", "iron_loss_w=0"]
    alike = works_of(
        "jets.large.wheel=spare",
        "spare.wheel.most_bus_v=180",
        "spare.wheel.windage_percent=0",
        "wheel.windage_percent=0",
        *same,
        *(f"{table}.{loss}" for table in ("generator", "spare.generator") for loss in losses),
        "spare.cable.length_m=60",
        "spare.cable.section_mm2=35",
        "spare.regulator.least_input_v=60",
    )
    alone = works_of("wheel.windage_percent=0", *(f"generator.{loss}" for loss in losses))
    openings = [0, 0, 1000, 0]
    assert run(alike, openings).units[1].power_w == pytest.approx(run(alone, openings).power_w, rel=1e-9)


def test_what_the_battery_refuses_both_regulators_leave_in_the_same_part():
    whole_w = run(TWO, [1000, 1000, 1000, 0]).power_w
    assert TWO.units_bus_v(whole_w) == [unit.bus_v for unit in TWO.units]
    halves = [unit.bus_v_at(0.5 * unit.power_w) for unit in TWO.units]
    assert TWO.units_bus_v(0.5 * whole_w) == pytest.approx(halves)
    free = TWO.units_bus_v(0.0)
    assert all(fast > half > unit.bus_v for fast, half, unit in zip(free, halves, TWO.units, strict=True))
    for volts, unit in zip(free, TWO.units, strict=True):
        assert volts <= unit.free_run_bus_v * (1.0 + 1e-9)


def test_each_jet_alone_has_the_voltage_of_its_wheel():
    for place, volts in enumerate(TWO.alone_bus_v):
        run(TWO, [1000 if jet == place else 0 for jet in range(4)])
        assert volts == TWO.units[1 if place == LARGE else 0].bus_v


def test_the_hazards_of_both_wheels_are_told_by_name():
    text = " ".join(hazards(works_of(*SPARE, "spare.wheel.most_bus_v=50", "wheel.most_bus_v=100")))
    assert "The main wheel that runs free makes" in text
    assert "The spare wheel that runs free makes" in text
    assert "50 V. It runs free" in text
    assert "100 V. It runs free" in text


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            ["jets.large.wheel=spare"],
            '[jets] "large" has wheel "spare"; there is no [spare]: describe it, or leave wheel out.',
        ),
        (SPARE[1:], '[jets] none has wheel "spare"; allowed with a [spare]: at least one jet for each.'),
        (
            [*SPARE, "jets.small.wheel=spare", "jets.middle.wheel=spare", "jets.trim.wheel=spare"],
            '[jets] none has wheel "main"; allowed with a [spare]: at least one jet for each.',
        ),
        (["jets.large.wheel=old"], 'wheel is "old"; allowed: "main" or "spare".'),
        (
            [*SPARE, "spare.regulator.least_input_v=160"],
            "[spare.regulator] least_input_v is 160; allowed: less than the wheel's most_bus_v, 150.",
        ),
    ],
)
def test_jets_and_wheels_that_do_not_fit_are_refused_in_a_sentence(changes, says):
    with pytest.raises(UserError) as refused:
        load_site(HOSTEL, changes)
    assert says in str(refused.value)


def test_a_regulator_that_lets_go_leaves_its_wheel_free_and_the_other_as_it_was():
    works = works_of(*SPARE)
    main, spare = works.units
    whole_w = run(works, [1000, 1000, 1000, 400]).power_w
    loaded_v, main_v, main_w = spare.bus_v, main.bus_v, main.power_w
    free_v = spare.bus_v_at(0.0)
    spare.let_go = True
    assert run(works, [1000, 1000, 1000, 400]).power_w == main_w < whole_w
    assert spare.power_w == 0.0
    assert works.units_bus_v(main_w) == [main_v, free_v]
    assert works.units_bus_v(0.5 * main_w)[1] == free_v > 1.5 * loaded_v
    spare.let_go = False
    assert run(works, [1000, 1000, 1000, 400]).power_w == whole_w


def test_the_spares_limits_are_those_of_its_own_regulator_and_reading():
    noisy = compile_site(load_site(HOSTEL, [*SPARE, "instruments.spare_bus.noise_mv=2000"]))["rules"]
    rules, without = compile_site(load_site(HOSTEL, SPARE))["rules"], compile_site(load_site(HOSTEL))["rules"]
    assert (rules["spare_bus_most_mv"], rules["bus_most_mv"]) == (150_000, 180_000)
    target_m = rules["level_target_mm"] / 1000.0
    TWO.operate([1000] * 4, target_m)
    assert rules["spare_bus_best_mv"] == round(1000.0 * TWO.units[1].bus_v)
    assert rules["spare_bus_jump_mv"] == pytest.approx(1_500.0 * TWO.units[1].best_bus_v, abs=2)
    assert noisy["spare_bus_noise_mv"] > rules["spare_bus_noise_mv"]
    assert noisy["bus_noise_mv"] == rules["bus_noise_mv"]
    blind = compile_site(load_site(HOSTEL, [*SPARE, "instruments.spare_bus.fitted=false"]))["rules"]
    fitted = [each["fitted_bits"] >> places.SPARE_BUS_MV & 1 for each in (rules, blind, without)]
    assert fitted == [1, 0, 0]


@pytest.mark.parametrize(("fitted", "told"), [("true", False), ("false", True)])
def test_a_free_run_that_the_controller_does_not_see_is_told(fitted, told):
    text = " ".join(
        hazards(works_of(*SPARE, "spare.wheel.most_bus_v=50", f"instruments.spare_bus.fitted={fitted}"))
    )
    assert ("it reads no bus voltage of the spare wheel" in text) == told
