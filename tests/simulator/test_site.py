import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.settings_reader import RULES
from becksim.errors import UserError
from becksim.site import EXAMPLES, FIRST_EXAMPLE, Site, example_names, find_site, load_site

HOSTEL = (EXAMPLES / "upland-hostel.toml").read_text(encoding="utf-8")
BOTH = ("upland-hostel", "millbrook-smallholding")


def complaint(site, changes=()):
    with pytest.raises(UserError) as caught:
        load_site(str(site), changes)
    return str(caught.value)


@pytest.fixture
def file(tmp_path):
    """file(text) -> path of a site file."""

    def write(text):
        path = tmp_path / "mine.toml"
        if isinstance(text, str):
            text = text.encode()
        path.write_bytes(text)
        return path

    return write


def test_the_examples_are_listed_the_first_one_first():
    names = example_names()
    assert sorted(names) == sorted(BOTH)
    assert names[0] == FIRST_EXAMPLE


@pytest.mark.parametrize("name", BOTH)
def test_an_example_loads_and_knows_where_it_was_read(name):
    site = load_site(name)
    assert site.path == EXAMPLES / f"{name}.toml"
    assert site.rules == {}


def test_what_stands_in_the_file_is_what_the_site_has():
    site, raw = load_site("upland-hostel"), tomllib.loads(HOSTEL)
    assert site.site.name == raw["site"]["name"]
    assert [jet.diameter_mm for jet in site.jets] == [jet["diameter_mm"] for jet in raw["jets"]]
    assert site.penstock.sections[0].length_m == raw["penstock"]["sections"][0]["length_m"]
    assert site.instruments.level.lag_s == raw["instruments"]["level"]["lag_s"]
    assert site.instruments.pressure.lag_s == 1.0  # left out, so the default


def test_a_path_loads_like_the_example(file):
    path = file(HOSTEL)
    site = load_site(str(path))
    assert site.path == path
    assert site.jets == load_site("upland-hostel").jets


def test_a_missing_file_is_named_with_the_examples(tmp_path):
    text = complaint(tmp_path / "nowhere.toml")
    assert "nowhere.toml is not there" in text
    assert all(name in text for name in BOTH)


def test_a_directory_is_told_from_a_missing_file(tmp_path):
    assert "is a directory" in complaint(tmp_path)


def test_find_site_takes_a_name_or_a_path(file):
    path = file("")
    assert find_site(str(path)) == path
    assert find_site(FIRST_EXAMPLE).is_file()


def test_a_name_too_long_for_a_file_is_not_there():
    assert "not there" in complaint("x" * 5000)


def test_a_file_that_is_not_utf_8_is_told_where(file):
    text = complaint(file(b"[site]\nname = " + b'"M\xfchle"\n'))
    assert "not a text file in UTF-8 (byte 16)" in text


@pytest.mark.parametrize("broken", ["[site\n", "[site]\nname = \n", "[site]\nname = 'a'\nname = 'b'\n"])
def test_broken_toml_is_told_with_its_line(file, broken):
    assert re.search(
        r"mine\.toml: not readable as TOML: .*\(at line \d+, column \d+\)\.$", complaint(file(broken))
    )


def test_a_number_of_thousands_of_digits_is_refused(file):
    assert "4300 digits" in complaint(file(HOSTEL.replace("head_m = 58", "head_m = " + 5000 * "1")))


def test_an_empty_file_is_asked_for_every_table(file):
    lines = complaint(file("")).splitlines()
    for name in ("site", "stream", "intake", "penstock", "wheel", "battery", "house", "sun", "hand_jet"):
        assert f"mine.toml: the table [{name}] is missing; add it." in lines
    assert "mine.toml: the tables [[jets]] are missing; add 2 or more." in lines


# --- --set


@pytest.mark.parametrize(
    ("change", "look", "value"),
    [
        ("wheel.best_speed_ratio=0.45", lambda site: site.wheel.best_speed_ratio, 0.45),
        ("stream.synthetic.soil_mm=90", lambda site: site.stream.synthetic.soil_mm, 90.0),
        ("instruments.pressure.lag_s=4", lambda site: site.instruments.pressure.lag_s, 4.0),
        ("jets.large.close_s=300", lambda site: site.jets[2].close_s, 300.0),
        (" jets . large . close_s = 300 ", lambda site: site.jets[2].close_s, 300.0),
        ("rules.level_target_mm=180", lambda site: site.rules["level_target_mm"], 180),
        ("intake.approach=skewed", lambda site: site.intake.approach, "skewed"),
        ('intake.approach="skewed"', lambda site: site.intake.approach, "skewed"),
        ("pond.level_mm=[0, 90, 230, 500]", lambda site: site.pond.level_mm, (0.0, 90.0, 230.0, 500.0)),
    ],
)
def test_a_change_is_used_instead_of_the_file(change, look, value):
    assert look(load_site("upland-hostel", [change])) == value


def test_a_change_leaves_everything_else_alone():
    site, changed = load_site("upland-hostel"), load_site("upland-hostel", ["jets.large.close_s=300"])
    assert changed.jets[:2] == site.jets[:2]
    assert changed.wheel == site.wheel


def test_the_last_change_of_a_key_counts():
    site = load_site("upland-hostel", ["sun.peak_w=1", "sun.peak_w=2"])
    assert site.sun.peak_w == 2.0


@pytest.mark.parametrize(
    "change", ["rules.level_target_mm", "rules=3", "=3", ".x=3", "site.=3", "site.name="]
)
def test_a_change_of_the_wrong_shape_is_shown_the_right_one(change):
    assert complaint("upland-hostel", [change]) == (
        f'--set {change}: allowed: table.key=value, for instance "rules.level_target_mm=180".'
    )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("wheel.pitch_mm=240", "did you mean pitch_diameter_mm?"),
        ("wheel.pitch_diameter_cm=24", "pitch_diameter_mm"),
        ("wheel.pitch_diameter_mm=1", "pitch_diameter_mm is 1; allowed: a number from 50 to 5000 (mm)"),
        ("wheel.best_speed_ratio=nan", "best_speed_ratio is nan; allowed: "),
        ("zebu.number=3", "zebu = {'number': 3}: not a known key; allowed: site, stream, "),
        ("jets.tiny.close_s=3", "there is no table tiny"),
        ("jets.close_s=3", "say which one: jets.NAME; allowed: small, middle, large, trim."),
        ("site.name.first=x", "there is no table name"),
    ],
)
def test_a_change_that_does_not_fit_is_refused_in_one_line(change, says):
    text = complaint("upland-hostel", [change])
    assert says in text
    assert "\n" not in text


def test_a_change_of_a_pipe_section_is_told_how():
    assert "allowed: 1." in complaint("upland-hostel", ["penstock.sections.length_m=3"])
    changed = load_site("upland-hostel", ["penstock.sections.1.length_m=300"])
    assert changed.penstock.sections[0].length_m == 300.0


def test_a_pipe_rougher_than_the_friction_law_goes_is_refused():
    change = "penstock.sections.1.roughness_mm=5"
    assert "roughness_mm is 5; allowed: at most 0.05 of the inside diameter" in complaint(
        "millbrook-smallholding", [change]
    )


# --- [rules]


def test_a_rule_setting_of_the_owner_is_kept(file):
    assert load_site(str(file(HOSTEL + "\n[rules]\ndwell_ms = 300000\n"))).rules == {"dwell_ms": 300_000}


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (
            "level_targt_mm = 180",
            "[rules] level_targt_mm = 180: not a known key; did you mean level_target_mm?",
        ),
        ("zz = 1", "[rules] zz = 1: not a known key; allowed: sample_ms, "),
        ("dwell_ms = -1", "[rules] dwell_ms is -1; allowed: a whole number from 0 to 86400000."),
        ("dwell_ms = 1.5", "[rules] dwell_ms is 1.5; allowed: a whole number from 0 to 86400000."),
        ("dwell_ms = true", "[rules] dwell_ms is True; allowed: a whole number from 0 to 86400000."),
        ("dwell_ms = '9'", "[rules] dwell_ms is '9'; allowed: a whole number from 0 to 86400000."),
    ],
)
def test_a_wrong_rule_setting_is_refused_in_one_line(file, line, says):
    text = complaint(file(f"{HOSTEL}\n[rules]\n{line}\n"))
    assert text.startswith(f"mine.toml: {says}")
    assert "\n" not in text


def test_rules_that_are_no_table_are_refused(file):
    assert "allowed: a table, written [rules]" in complaint(file("rules = 3\n" + HOSTEL))


def test_several_wrong_rules_give_a_line_each(file):
    assert len(complaint(file(HOSTEL + "\n[rules]\ndwell_ms = -1\nzz = 1\n")).splitlines()) == 2


@pytest.mark.parametrize(("name", "low", "high"), RULES)
def test_every_rule_setting_has_the_devices_own_bounds(name, low, high):
    for value in (low, high):
        assert load_site("upland-hostel", [f"rules.{name}={value}"]).rules == {name: value}
    for value in (low - 1, high + 1):
        assert f"from {low} to {high}." in complaint("upland-hostel", [f"rules.{name}={value}"])


# --- whatever an owner writes

ASSIGNMENT = re.compile(r"^(\w+) = (.*)$", re.MULTILINE)
VALUES = st.sampled_from(
    [
        "'text'",
        "''",
        "-1",
        "0",
        "1e300",
        "-1e300",
        "nan",
        "inf",
        "true",
        "[]",
        "[1, 2]",
        "['a']",
        "{}",
        "{a = 1}",
    ]
    + ["9223372036854775807", "2030-05-01", "0.001", "1", "12", "[[1]]", '"""a\nb"""', "'Ä'"]
)


@settings(max_examples=120, deadline=None)
@given(name=st.sampled_from(BOTH), data=st.data())
def test_any_value_under_any_key_gives_a_site_or_sentences(tmp_path_factory, name, data):
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    spot = data.draw(st.sampled_from(list(ASSIGNMENT.finditer(text))))
    value = data.draw(VALUES)
    path = tmp_path_factory.getbasetemp() / "mutated.toml"
    path.write_text(text[: spot.start(2)] + value + text[spot.end(2) :], encoding="utf-8")
    try:
        found = load_site(str(path))
    except UserError as error:
        found = str(error)
    assert isinstance(found, Site) or found.startswith("mutated.toml: ")


@settings(max_examples=60, deadline=None)
@given(change=st.from_regex(r"[a-z_.]{0,12}=?.{0,6}", fullmatch=True))
def test_any_change_gives_a_site_or_sentences(change):
    try:
        found = load_site("upland-hostel", [change])
    except UserError as error:
        found = str(error)
    assert isinstance(found, Site) or found
