"""The site file with other [rules]: all else is kept, and it gives the settings that were tuned."""

import tomllib

import pytest

from becksim.compile import compile_site
from becksim.site import load_site
from becksim.tuning.knobs import choose, knobs_of
from becksim.tuning.score import with_settings
from becksim.tuning.tuned_file import rules_to_write, tuned_text

HOSTEL = "upland-hostel"


def test_comments_and_all_else_are_kept():
    text = load_site(HOSTEL).path.read_text()
    found = tuned_text(text, {"dwell_ms": 900_000})
    assert found.startswith(text.rstrip("\n"))
    assert tomllib.loads(found) == {**tomllib.loads(text), "rules": {"dwell_ms": 900_000}}


@pytest.mark.parametrize(
    "rules",
    [
        "[rules]\n# of May\ndwell_ms = 5 # was 6\nlevel_rise_mm = 9\n",
        "rules = {dwell_ms = 5, level_rise_mm = 9}\n",
    ],
)
def test_rules_that_stand_there_are_changed_in_place(rules):
    found = tuned_text(rules + "\n[site]\nname = 'x'  # mine\n", {"dwell_ms": 7, "moves_per_hour": 3})
    assert tomllib.loads(found)["rules"] == {"dwell_ms": 7, "level_rise_mm": 9, "moves_per_hour": 3}
    assert "# mine" in found
    assert ("# of May" in found) == ("# of May" in rules)


def test_what_follows_a_changed_setting_is_written_too():
    """A deadband moves the rise, the measuring time and the hysteresis, unless they stand there."""
    site = load_site(HOSTEL)
    space = choose(site, knobs_of(site))
    settings = {**space.first, "flow_deadband_ml_s": 300}
    rules = rules_to_write(site, space, settings)
    assert {"flow_deadband_ml_s", "level_rise_mm", "measure_ms", "set_hysteresis_ml_s"} <= set(rules)
    assert "moves_per_hour" not in rules
    found = compile_site(with_settings(site, rules))["rules"]
    assert {name: found[name] for name in settings} == settings


def test_what_was_given_beside_the_file_is_written():
    site = load_site(HOSTEL, ["rules.dwell_ms=900000", "rules.exercise_days=9"])
    space = choose(site, knobs_of(site))
    rules = rules_to_write(site, space, space.first, ["dwell_ms", "exercise_days"])
    assert rules == {"dwell_ms": 900_000, "exercise_days": 9}


def test_nothing_changed_nothing_written():
    site = load_site(HOSTEL)
    space = choose(site, knobs_of(site))
    assert rules_to_write(site, space, space.first) == {}
