"""What may be turned: never what protects, and whatever is drawn from the ranges is allowed together."""

import random
import types

import pytest

from becklight.settings import Settings
from becklight.settings_reader import RULES
from becksim.compile import compile_site
from becksim.compile_rules import rule_settings
from becksim.errors import UserError
from becksim.site import load_site
from becksim.tuning.kept import KEPT, why_kept
from becksim.tuning.knob_rows import ROWS
from becksim.tuning.knobs import choose, knobs_of
from becksim.tuning.score import with_settings
from becksim.works import Works, build_basin, build_jets

HOSTEL, SMALLHOLDING = "upland-hostel", "millbrook-smallholding"
POND = ["level_mm=[0, 1500]", "area_m2=[200, 500]", "crest_level_mm=1400", "lowest_level_mm=300"]
POND = ["storage_pond." + key for key in (*POND, "fill_l_s=5", "valve_bore_mm=100")]
SITES = {
    "hostel": (HOSTEL, []),
    "smallholding": (SMALLHOLDING, []),
    "with a storage pond": (HOSTEL, POND),
    "with own rules": (
        HOSTEL,
        ["rules.level_target_mm=168", "rules.level_band_mm=3", "rules.dwell_ms=20000"],
    ),
    "with a still level": (HOSTEL, ["instruments.level.noise_mm=0", "rules.level_doubt_mm=3"]),
    "with a low start": (SMALLHOLDING, ["rules.level_start_mm=360"]),
}


def space_of(site, **options):
    return choose(site, knobs_of(site), **options)


def test_every_setting_of_the_device_is_turned_or_kept_with_a_reason():
    turned = [row.name for row in ROWS]
    kept = [name for _, names in KEPT for name in names]
    assert sorted(turned + kept) == sorted(name for name, _, _ in RULES)


@pytest.mark.parametrize(
    "name", ["level_floor_mm", "level_guard_mm", "burst_permille", "bus_most_mv", "follow_ms", "keep_ml_s"]
)
def test_what_protects_is_never_turned(name):
    assert why_kept(name) is not None


@pytest.mark.parametrize("which", SITES)
def test_whatever_is_drawn_is_allowed_together(which):
    site = load_site(*SITES[which])
    space = space_of(site)
    compiled = compile_site(site)
    draw = random.Random(which)
    for case in range(25):
        ends = (lambda knob: knob.low, lambda knob: knob.high, lambda knob: draw.randint(knob.low, knob.high))
        turned = {
            knob.name: ends[min(case, 2) if case < 2 else draw.randrange(3)](knob) for knob in space.knobs
        }
        changed = with_settings(site, space.settle(turned))
        rules = rule_settings(changed, Works(changed, build_jets(changed)), build_basin(changed))
        Settings({**compiled, "rules": {**compiled["rules"], **rules}})
        assert rules["level_guard_mm"] >= rules["level_floor_mm"]


@pytest.mark.parametrize("which", SITES)
def test_the_first_candidate_is_what_one_has(which):
    site = load_site(*SITES[which])
    space = space_of(site)
    assert space.first == dict(space.present)
    for name, value in site.rules.items():
        if name in space.present:
            assert space.first[name] == value


@pytest.mark.parametrize("which", SITES)
def test_a_range_holds_what_the_site_has_and_would_by_itself(which):
    for knob in knobs_of(load_site(*SITES[which])):
        assert knob.low <= min(knob.present, knob.computed)
        assert knob.high >= max(knob.present, knob.computed)


def test_floor_and_guard_stay_where_they_are_though_the_target_moves():
    site = load_site(HOSTEL)
    space = space_of(site)
    rules = []
    for end in ("low", "high"):
        changed = with_settings(site, space.settle({knob.name: getattr(knob, end) for knob in space.knobs}))
        rules.append(rule_settings(changed, Works(changed, build_jets(changed)), build_basin(changed)))
    assert rules[0]["level_floor_mm"] == rules[1]["level_floor_mm"]
    assert rules[0]["level_guard_mm"] == rules[1]["level_guard_mm"]


def test_knobs_of_what_the_site_has_not_are_left_out():
    hostel = {knob.name for knob in knobs_of(load_site(HOSTEL))}
    assert not {"battery_low_mv", "flush_ms"} & hostel
    assert "battery_low_mv" in {knob.name for knob in knobs_of(load_site(HOSTEL, POND))}


def test_full_is_never_above_what_the_charger_reaches():
    for name in (HOSTEL, SMALLHOLDING):
        knob = {knob.name: knob for knob in knobs_of(load_site(name))}["battery_full_mv"]
        assert knob.low < knob.high == knob.computed


def test_pinned_settings_are_not_turned():
    site = load_site(HOSTEL)
    space = space_of(site, pins=["dwell_ms", "moves_per_hour=4"])
    assert not {"dwell_ms", "moves_per_hour"} & {knob.name for knob in space.knobs}
    settled = space.settle({knob.name: knob.high for knob in space.knobs})
    assert settled["dwell_ms"] == 600_000
    assert settled["moves_per_hour"] == 4


def test_only_leaves_the_rest_as_it_is():
    site = load_site(HOSTEL)
    space = space_of(site, only=["dwell_ms"])
    assert [knob.name for knob in space.knobs] == ["dwell_ms"]
    settled = space.settle({"dwell_ms": 1_800_000})
    assert {**settled, "dwell_ms": 600_000} == dict(space.present)


def test_numbers_are_as_a_person_would_write_them():
    knob = {knob.name: knob for knob in knobs_of(load_site(HOSTEL))}["dwell_ms"]
    assert knob.tidy(1_234_567) == 1_200_000
    assert knob.tidy(knob.high) == knob.high
    assert knob.tidy(knob.present) == knob.present


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"pins": ["level_floor_mm"]}, "never turned, because it keeps air out"),
        ({"pins": ["flush_ms"]}, "does nothing at this site"),
        ({"pins": ["dwel_ms"]}, "not a setting that is turned"),
        ({"pins": ["dwell_ms=soon"]}, "a whole number from 0 to 86400000"),
        ({"pins": ["dwell_ms=-1"]}, "a whole number from 0 to 86400000"),
        ({"only": ["burst_permille"]}, "never turned, because it watches over the pipe"),
        ({"only": ["dwell_ms"], "pins": ["dwell_ms"]}, "leave it out of one of them"),
        ({"pins": [knob.name for knob in knobs_of(load_site(HOSTEL))]}, "Nothing is left"),
    ],
)
def test_what_cannot_be_pinned_is_refused(options, said):
    with pytest.raises(UserError, match=said):
        space_of(load_site(HOSTEL), **options)


def test_both_directions_are_told():
    for row in ROWS:
        assert row.up != row.down
        assert isinstance(row.fits, types.FunctionType)
