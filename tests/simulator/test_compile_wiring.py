"""The wiring section: what an input's counts come to, and what is refused."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight.device.wiring import Wiring
from becklight.readings import NAMES, UNKNOWN, Scale
from becklight.settings import Settings
from becklight.settings_reader import Section
from becksim.compile import compile_site
from becksim.compile_wiring import _input, compile_wiring, device_settings
from becksim.errors import UserError
from becksim.site import EXAMPLES, load_site
from becksim.site_tables.board import VoltsWire
from becksim.wiring_inputs import I2C_RANGE_V, Range

HOSTEL, MILLBROOK = "upland-hostel", "millbrook-smallholding"
FULL = 32_767  # counts at the converters' 4.096 V
SMALL_INT = 1 << 30


@pytest.fixture(scope="module")
def compiled():
    """compiled(name) -> the site's settings, computed once."""
    kept = {}

    def get(name):
        if name not in kept:
            kept[name] = compile_site(load_site(name))
        return kept[name]

    return get


@pytest.fixture
def wired(compiled):
    """wired(*changes, name=...) -> the wiring section of an example with these changes to its [board]."""

    def build(*changes, name=HOSTEL):
        return compile_wiring(load_site(name, changes), compiled(name))

    return build


@pytest.fixture
def refused(wired):
    """refused(*changes, name=...) -> what is said against it, a line for each thing."""

    def build(*changes, name=HOSTEL):
        with pytest.raises(UserError) as caught:
            wired(*changes, name=name)
        return str(caught.value).splitlines()

    return build


def row(wiring, place):
    (found,) = [row for row in wiring["inputs"] if row["place"] == place]
    return found


def scale(wiring, place):
    found = row(wiring, place)
    keys = ("counts_low", "counts_high", "value_low", "value_high", "broken_low", "broken_high")
    return Scale(*(found[key] for key in keys))


def counts(volts):
    return round(volts * FULL / 4.096)


# -- what is computed -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [HOSTEL, MILLBROOK])
def test_the_device_takes_the_examples(name, compiled):
    settings = {**compiled(name), "wiring": compile_wiring(load_site(name), compiled(name))}
    Wiring(Section(settings["wiring"], "wiring")).check(Settings(settings))
    assert json.loads(json.dumps(settings)) == settings


def test_device_settings_are_the_rules_and_the_wiring(compiled):
    settings = device_settings(load_site(MILLBROOK))
    assert settings.pop("wiring")["profile"] == "pico2_w"
    assert settings == compiled(MILLBROOK)


def test_a_loop_of_4_to_20_ma_is_read_and_ne_43_tells_when_it_has_failed(wired):
    level = scale(wired(), "level_mm")
    shown = [level.value(counts(0.120 * loop_ma)) for loop_ma in (3.55, 3.7, 4, 12, 20, 20.9, 21.05)]
    assert shown == [UNKNOWN, -79, -60, 440, 940, 996, UNKNOWN]


def test_a_level_transmitter_may_hang_at_any_height(wired):
    level = scale(wired("board.level.low_mm=-200", "board.level.high_mm=800"), "level_mm")
    assert level.value(counts(0.120 * 4)) == -200


def test_a_sensor_of_10_mv_a_degree_is_a_0_5_to_4_5_v_one(wired):
    warmth = scale(wired(), "temp_decic")
    sensed = [warmth.value(counts((0.5 + 0.010 * c) / 1.5)) for c in (-20, 0, 25, 60)]
    assert sensed == [-200, 0, 250, 600]
    assert warmth.value(counts(0)) == UNKNOWN


def test_a_battery_wire_that_is_off_is_unknown_and_a_bus_at_rest_is_0(wired):
    wiring = wired()
    battery, bus = scale(wiring, "battery_mv"), scale(wiring, "bus_mv")
    assert battery.value(0) == battery.value(counts(15 / 20.61)) == UNKNOWN
    assert abs(battery.value(counts(52.8 / 20.61)) - 52_800) < 5
    assert bus.value(0) == 0
    assert bus.value(-1) == UNKNOWN  # the converter did not answer
    assert abs(bus.value(counts(120 / 61)) - 120_000) < 20


@given(
    ratio=st.floats(22, 1_000),
    volts=st.floats(0, 3.2),
)
def test_a_divider_is_read_to_a_step_and_no_product_leaves_the_small_integers(ratio, volts):
    found = _bus_row(ratio)
    bus = Scale(*(found[key] for key in list(found)[2:]))
    most = max(
        abs(found["broken_high"] - found["counts_low"]), abs(found["broken_low"] - found["counts_low"])
    )
    assert most * bus.value_span + bus.counts_span // 2 < SMALL_INT
    shown = bus.value(counts(volts))
    step_mv = 1_000 * ratio * 4.096 / FULL
    assert abs(shown - 1_000 * ratio * volts) <= 1 + step_mv + 1e-4 * shown


def _bus_row(ratio):
    reads = Range(I2C_RANGE_V, FULL, 3.3)
    return _input("bus", VoltsWire(input=3, ratio=ratio), reads, {"rules": {}}, lambda *_: None)


def test_an_input_of_the_chip_has_the_chips_own_range(wired):
    level = wired("board.level.input=0", "instruments.level.resolution_mm=2")
    assert row(level, "level_mm")["counts_low"] == round(0.48 / 3.3 * FULL)


def test_valves_come_in_the_order_of_the_jets_whatever_the_order_of_the_tables(wired):
    wiring = wired(
        'board.valves.1.jet="trim"',
        'board.valves.4.jet="small"',
        "board.valves.1.motor=3",
        "board.valves.4.motor=0",
        'board.valves.1.feedback="none"',
        "board.valves.4.pot_input=9",
    )
    assert [valve["motor"] for valve in wiring["valves"]] == [0, 1, 2, 3]
    assert [valve["feedback"] for valve in wiring["valves"]] == ["pot", "ends", "ends", "none"]
    assert wiring["valves"][0]["pot_input"] == 9


def test_the_ponds_valve_is_the_last():
    site = load_site(HOSTEL, [*POND, "board.pond_valve.motor=4", *PONDS_LEVEL, *NO_ENDS])
    wiring = compile_wiring(site, compile_site(site))
    assert wiring["valves"][4] == {"motor": 4, "stroke_ms": 20_000, "feedback": "none"}
    assert row(wiring, "pond_mm")["input"] == 9


POND = (
    "storage_pond.level_mm=[0, 2000]",
    "storage_pond.area_m2=[100, 400]",
    "storage_pond.crest_level_mm=1500",
    "storage_pond.lowest_level_mm=300",
    "storage_pond.fill_l_s=2",
    "storage_pond.valve_bore_mm=50",
    "storage_pond.motor_stroke_s=20",
)
PONDS_LEVEL = (
    "board.pond.input=9",
    'board.pond.signal="4-20ma"',
    "board.pond.shunt_ohm=120",
    "board.pond.low_mm=0",
    "board.pond.high_mm=2000",
)
NO_ENDS = tuple(f'board.valves.{place}.feedback="none"' for place in (1, 2, 3))


def test_a_level_that_comes_by_modbus_has_no_input(compiled, tmp_path):
    path = tmp_path / "mine.toml"
    text = (EXAMPLES / f"{MILLBROOK}.toml").read_text(encoding="utf-8")
    gauge = EXAMPLES / "millbrook-gauge.csv"
    (tmp_path / gauge.name).write_bytes(gauge.read_bytes())
    text = re.sub(r"\[board\.level\]\n(?:.+\n)+", "", text)
    text += "\n[board.rs485]\nlevel_address = 7\nlevel_mm_per_count = 0.1\nlevel_offset_mm = -60\n"
    path.write_text(text, encoding="utf-8")
    wiring = compile_wiring(load_site(str(path)), compiled(MILLBROOK))
    assert "level_mm" not in [one["place"] for one in wiring["inputs"]]
    assert wiring["rs485"] == {
        "baud": 9600,
        "level_address": 7,
        "level_function": 4,
        "level_register": 0,
        "level_mm_per_count_x1000": 100,
        "level_offset_mm": -60,
        "server_address": 0,
    }


# -- what is refused --------------------------------------------------------------------------------------


def test_a_site_without_a_board_is_told_what_is_missing(compiled, tmp_path):
    path = tmp_path / "mine.toml"
    text = (EXAMPLES / f"{HOSTEL}.toml").read_text(encoding="utf-8")
    path.write_text(text[: text.index("\n[board]")], encoding="utf-8")
    with pytest.raises(UserError, match=r"mine\.toml: the table \[board\] is missing; "):
        device_settings(load_site(str(path)))


REFUSED = {
    "two on one input": (
        ["board.pressure.input=3"],
        "[board.pressure] input 3 is taken by [board.level] already",
    ),
    "a pot on an instrument's input": (
        ["board.valves.4.pot_input=4"],
        "[board.valves trim] input 4 is taken by [board.pressure] already",
    ),
    "an input that is not there": (
        ["board.bus.input=11"],
        '[board.bus] input is 11; a "pico2_w" has 0 to 2 on the chip and 3 to 10 on its converters',
    ),
    "two on one motor": (
        ["board.valves.2.motor=0"],
        "[board.valves middle] motor 0 moves board.valves small already",
    ),
    "two on one pin": (
        ["board.valves.4.motor=6"],
        "[board.valves] pin 20 of a pico2_w serves an end switch of motor 0 already",
    ),
    "a motor that is not there": (
        ["board.valves.4.motor=8"],
        "[board.valves] motor is 8 on a pico2_w; allowed: 0 to 6.",
    ),
    "a valve of no jet": (
        ['board.valves.1.jet="tiny"'],
        "[board.valves] they are for 'tiny', 'middle', 'large', 'trim'; allowed: one `jet = ...` for each of "
        "'small', 'middle', 'large', 'trim'.",
    ),
    "a loop without a shunt": (
        ['board.temperature.signal="4-20ma"'],
        "[board.temperature] shunt_ohm must be given",
    ),
    "a shunt too large": (
        ["board.level.shunt_ohm=220"],
        "[board.level] a failed transmitter gives 4.62 V at the converter, which tells up to 3.29 V from "
        "more; take a shunt of 156 ohm or less.",
    ),
    "a signal above the supply": (
        ["board.temperature.ratio=1"],
        "[board.temperature] a failed transmitter gives 4.75 V at the converter, which tells up to 3.29 V "
        "from more; put a divider with a ratio of 1.45 or more in between.",
    ),
    "a level that ends below the crest": (
        ["board.level.high_mm=200"],
        "[board.level] it measures from -60 to 200 mm; needed: from 148 (the floor) to 220 (the crest).",
    ),
    "a pressure range too short": (
        ["board.pressure.high_bar=6"],
        "[board.pressure] it measures from 0 to 6 bar; needed: from 0 (no pressure) to 6.",
    ),
    "a divider too small for the battery": (
        ["board.battery.ratio=16"],
        "[board.battery] it measures from 0 to 52.59 V; needed: from 0 (nothing) to 6",
    ),
    "a divider too small for free run": (
        ["board.bus.ratio=40"],
        "[board.bus] it measures from 0 to 131.5 V; needed: from 0 (nothing) to 16",
    ),
    "a converter too coarse": (
        ["board.level.input=0", "board.level.high_mm=4940"],
        "[board.level] one step of the converter is 2.1 mm, more than [instruments.level] says of noise and "
        "resolution; set resolution_mm = 2.1 there",
    ),
    "ends the wrong way round": (
        ["board.level.low_mm=1000"],
        "[board.level] it measures from 1000 to 940; allowed: the lower end first.",
    ),
    "a pot half told": (
        ['board.valves.1.feedback="pot"'],
        "[board.valves small] pot_input, pot_shut_v and pot_open_v must be given",
    ),
    "a pot whose broken wire is an end": (
        ["board.valves.4.pot_shut_v=0.1"],
        "[board.valves] a pot gives 0.1 V at one end, so near to the 0 V of a broken wire",
    ),
    "a pot above the supply": (
        ["board.valves.4.pot_open_v=5"],
        "[board.valves] a pot gives 5 V; its input tells up to 3.29 V from more",
    ),
    "a level twice": (
        ["board.rs485.level_address=7"],
        "[board] the level comes by [board.level] or by [board.rs485] level_address; give one of the two.",
    ),
    "an instrument that the site has not": (
        list(PONDS_LEVEL),
        "[board.pond] the site has no such instrument",
    ),
    "two who ask on one pair": (
        ["board.rs485.level_address=7", "board.rs485.server_address=8"],
        "[board.rs485] level_address is 7 and server_address 8; allowed: one of the two",
    ),
    "a valve of no pond": (
        ["board.pond_valve.motor=5"],
        "[board.pond_valve] must be given if there is a [storage_pond], and left out if there is none.",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_wiring_that_cannot_work_is_refused_with_a_sentence(case, refused):
    changes, says = REFUSED[case]
    lines = refused(*changes)
    assert f"{HOSTEL}.toml: {says}" in "\n".join(lines)
    assert all(line.startswith(f"{HOSTEL}.toml: [board") and line.endswith(".") for line in lines)


def test_all_that_is_wrong_is_told_at_once(refused):
    lines = refused("board.level.shunt_ohm=220", "board.bus.ratio=40")
    assert len(lines) == 2


def test_an_instrument_that_the_rules_reckon_with_must_be_wired(compiled):
    settings = json.loads(json.dumps(compiled(HOSTEL)))
    settings["rules"]["fitted_bits"] |= 1 << NAMES.index("air_decic")
    with pytest.raises(UserError, match=r"the table \[board\.air\] is missing"):
        compile_wiring(load_site(HOSTEL), settings)


def test_a_motor_too_slow_for_its_ramp_is_refused_as_the_device_would(compiled):
    settings = json.loads(json.dumps(compiled(HOSTEL)))
    for valve in settings["valves"]:
        valve["close_step_ms"] = 1_000
    with pytest.raises(UserError, match="the device would refuse this wiring: .*stroke_ms is 30000"):
        compile_wiring(load_site(HOSTEL), settings)


# -- a spare wheel -----------------------------------------------------------------------------------

SPARE = [
    "jets.large.wheel=spare",
    "spare.wheel.pitch_diameter_mm=200",
    "spare.wheel.voltage_v_per_rpm=0.05",
    "spare.wheel.most_bus_v=150",
]


@pytest.mark.parametrize(
    ("wire", "said"),
    [
        ([], "the table [board.spare_bus] is missing; the rules reckon with that instrument."),
        ([100.0], ""),
        ([20.0], "[board.spare_bus] it measures from 0 to 6"),
    ],
)
def test_a_spares_voltage_is_wired_and_reaches_its_own_free_run(wire, said):
    changes = [*SPARE, *(f"board.spare_bus.{key}" for ratio in wire for key in ("input=9", f"ratio={ratio}"))]
    site = load_site(HOSTEL, changes)
    compiled = compile_site(site)
    if said:
        with pytest.raises(UserError) as caught:
            compile_wiring(site, compiled)
        assert said in str(caught.value)
    else:
        found = scale(compile_wiring(site, compiled), "spare_bus_mv")
        assert found.value(counts(0.65)) == pytest.approx(65_000, abs=20)
        blind = load_site(HOSTEL, [*changes, "instruments.spare_bus.fitted=false"])
        blindly = compile_site(blind)
        with pytest.raises(UserError, match=r"board\.spare_bus\] the site has no such instrument"):
            compile_wiring(blind, blindly)
