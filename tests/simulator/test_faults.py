"""Faults as data: drawn at random, the same for the same seed."""

from collections import Counter

import pytest

from becksim.faults import FIRST_S, INSTRUMENTS, KINDS, catalogue, draw_faults, span
from becksim.site import load_site
from becksim.times import DAY_S

BOX = "millbrook-smallholding"
POND = "upland-hostel"


def test_the_same_seed_draws_the_same_faults_and_another_others():
    site = load_site(POND)
    assert draw_faults(site, 365, 1, 5.0) == draw_faults(site, 365, 1, 5.0)
    assert draw_faults(site, 365, 1, 5.0) != draw_faults(site, 365, 2, 5.0)


def test_they_begin_within_the_days_in_order_and_last_as_long_as_their_kind():
    faults = draw_faults(load_site(POND), 90, 7, 60.0)
    assert [fault.start_s for fault in faults] == sorted(fault.start_s for fault in faults)
    for fault in faults:
        kind = KINDS[fault.kind]
        assert FIRST_S <= fault.start_s < 90 * DAY_S
        assert kind.lasts_s[0] <= fault.length_s <= kind.lasts_s[1] + 1
        low, high = kind.sizes
        of = span(load_site(POND), fault.what) if kind.unit.startswith("span") else 1.0
        assert low * of - 1.0 <= abs(fault.size) <= high * of + 1.0
        assert fault.size >= 0.0 or kind.either


def test_all_kinds_come_about_equally_often_and_as_many_as_asked_for():
    site = load_site(BOX)
    counts = Counter(fault.kind for seed in range(20) for fault in draw_faults(site, 365, seed, 10.0))
    assert set(counts) == set(KINDS) - {"load lost"}  # of two wheels only
    assert sum(counts.values()) == pytest.approx(20 * 12 * 10.0, rel=0.1)  # a few overlap and are dropped
    assert max(counts.values()) < 2 * min(counts.values())


def test_two_of_a_sort_never_befall_the_same_thing_at_once():
    free_s = {}
    for fault in draw_faults(load_site(BOX), 60, 3, 400.0):
        key = (fault.group, fault.what)
        assert fault.start_s > free_s.get(key, -1)
        free_s[key] = fault.end_s
    assert len(free_s) > 10


def test_no_faults_are_drawn_where_none_are_asked_for():
    assert draw_faults(load_site(BOX), 365, 1, 0.0) == []
    with pytest.raises(ValueError, match="per_month"):
        draw_faults(load_site(BOX), 365, 1, -1.0)


def test_the_catalogue_names_what_the_site_has_and_no_more():
    names = {what for kind, what in catalogue(load_site(BOX)) if KINDS[kind].group == "instrument"}
    assert names == set(INSTRUMENTS) - {"pond", "spare_bus"}
    assert ("stuck", "left") in catalogue(load_site(BOX))
    without = load_site(BOX, ["instruments.bus.fitted=false"])
    assert not any(what == "bus" for _, what in catalogue(without))


def test_a_spare_wheel_has_faults_of_its_own():
    changes = [
        "jets.left.wheel=spare",
        "spare.wheel.pitch_diameter_mm=200",
        "spare.wheel.voltage_v_per_rpm=0.05",
        "spare.wheel.most_bus_v=150",
    ]
    two = catalogue(load_site(BOX, changes))
    more = set(two) - set(catalogue(load_site(BOX)))
    instruments = {name for name, kind in KINDS.items() if kind.group == "instrument"}
    assert more == {("load lost", "main"), ("load lost", "spare")} | {(k, "spare_bus") for k in instruments}
    blind = catalogue(load_site(BOX, [*changes, "instruments.spare_bus.fitted=false"]))
    assert {what for _, what in set(two) - set(blind)} == {"spare_bus"}
    drawn = draw_faults(load_site(BOX, changes), 365, 1, 60.0)
    assert {"spare_bus", "main", "spare"} <= {fault.what for fault in drawn}


def test_another_kind_of_site_changes_none_of_the_faults_that_both_can_have():
    """Each has its own random stream: without the bus voltage the others stay where they are."""
    every = draw_faults(load_site(BOX), 365, 1, 5.0)
    fewer = draw_faults(load_site(BOX, ["instruments.bus.fitted=false"]), 365, 1, 5.0)
    same = [fault for fault in every if fault.group != "instrument"]
    assert [fault for fault in fewer if fault.group != "instrument"] == same
    assert len(same) > 10


def test_a_fault_says_what_it_is():
    texts = [str(fault) for fault in draw_faults(load_site(BOX), 365, 1, 5.0)]
    assert all(" at " in text and text.endswith(" s") for text in texts)
