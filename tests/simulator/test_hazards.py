import pytest

from becksim.hazards import hazards
from becksim.site import load_site
from becksim.works import Works, build_jets

HOSTEL, MILLBROOK = "upland-hostel", "millbrook-smallholding"
TOUCH = "The bus is dangerous to touch"


def found(name, *changes):
    site = load_site(name, changes)
    works = Works(site, build_jets(site))
    return hazards(works), works


@pytest.mark.parametrize("name", [HOSTEL, MILLBROOK])
def test_an_example_has_only_the_hazard_of_touching_its_bus(name):
    sentences, works = found(name)
    (touch,) = sentences
    assert touch.startswith(TOUCH)
    assert f"{works.main.free_run_bus_v:.0f} V when the wheel runs free" in touch


def test_a_bus_within_extra_low_voltage_has_no_hazard():
    sentences, works = found(MILLBROOK, "wheel.voltage_v_per_rpm=0.03", "regulator.least_input_v=0")
    assert works.main.free_run_bus_v < 60.0
    assert sentences == []


def test_a_freed_wheel_above_the_regulators_limit_is_told_with_both_voltages_and_what_to_do():
    sentences, works = found(HOSTEL, "wheel.most_bus_v=100")
    assert len(sentences) == 2
    assert sentences[0].startswith(
        f"A wheel that runs free makes {works.main.free_run_bus_v:.0f} V on the bus; "
        "the charge regulator takes 100 V. "
    )
    for remedy in ("for a lower voltage", "a wider input", "a load that stays", "never trust software alone"):
        assert remedy in sentences[0]


def test_a_best_power_above_the_limit_is_told_first():
    sentences, works = found(HOSTEL, "wheel.most_bus_v=70")
    assert len(sentences) == 3
    running_v = max(works.main.best_bus_v, *works.alone_bus_v)
    assert sentences[0].startswith(f"At its best power the wheel makes {running_v:.0f} V on the bus; ")
    assert "70 V" in sentences[0]


def test_jets_too_weak_for_the_regulator_are_named_with_their_voltage():
    sentences, works = found(HOSTEL, "regulator.least_input_v=72")
    small_v, middle_v, large_v, _ = works.alone_bus_v
    assert small_v < middle_v < 72.0 < large_v
    assert sentences[-1].startswith("The charge regulator needs 72 V, ")
    assert f"(small alone {small_v:.0f} V, middle alone {middle_v:.0f} V)" in sentences[-1]


def test_all_jets_together_may_be_too_slow_where_each_alone_is_not():
    """A narrow pipe has the least head when it carries most."""
    sentences, works = found(MILLBROOK, "regulator.least_input_v=45")
    assert works.main.best_bus_v < 45.0 < min(works.alone_bus_v)
    assert f"(all {works.main.best_bus_v:.0f} V)" in sentences[-1]


def test_asking_leaves_the_works_as_they_were():
    site = load_site(HOSTEL)
    works = Works(site, build_jets(site))
    works.operate([1000, 0, 0, 300], works.crest_level_m)
    before = dict(vars(works)), dict(vars(works.main))
    hazards(works)
    assert (vars(works), vars(works.main)) == before
