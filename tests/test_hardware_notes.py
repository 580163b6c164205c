"""hardware_notes/ hangs together, and the figures it copies are those that the code gives."""

import functools
import importlib.util
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from becklight import alarms
from becklight.readings import Scale
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.compile_rules import residual_levels_mm, rule_settings
from becksim.electrics.cable import cable_drop_v, cable_ohm
from becksim.hydraulics.pipe import MATERIALS
from becksim.hydraulics.surge_rules import joukowsky_pa, korteweg_wave_speed_m_s
from becksim.moves import play
from becksim.pipemodel import PipeModel
from becksim.rampsearch import strokes_s
from becksim.report.alarm_words import WORDS
from becksim.site import load_site
from becksim.trains import Train, engine_train
from becksim.works import DENSITY_KG_M3, Works, build_basin, build_jets, build_pipe

NOTES = Path(__file__).parent.parent / "hardware_notes"
DRAWINGS = NOTES / "drawings"
PAGES = sorted(NOTES.glob("*.md"))
MADE_BY_CODE = {"pins.md", "modbus.md"}  # the board's and the register table's: linked here, written there
MOST_LETTERS = 8_500  # two printed pages of about 60 lines; chosen by us
SITES = ("millbrook-smallholding", "upland-hostel")
MILLBROOK, HOSTEL = SITES
LARGEST = {MILLBROOK: "right", HOSTEL: "large"}  # of the fixed jets
COUNT_V = 0.000125  # of an ADS1115-type converter at its 4.096 V range


def text(name):
    return (NOTES / name).read_text(encoding="utf-8")


def prose(name):
    """A page on one line, so that a sentence is found wherever it is wrapped."""
    return " ".join(text(name).split())


def rows(name, head):
    """The cells of the table whose first cell of the head is given, the head left out."""
    lines = text(name).splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(f"| {head} |"))
    found = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        found.append([cell.strip().strip("`") for cell in line.strip("|").split("|")])
    return found


def numbers(words):
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", words)]


@functools.cache
def compiled(name):
    return compile_site(load_site(name))


@functools.cache
def works(name):
    site = load_site(name)
    return Works(site, build_jets(site))


@functools.cache
def model(name, exact=False):
    return PipeModel(load_site(name), works(name), 32 if exact else 8, exact=exact)


def largest(name):
    return [jet.name for jet in load_site(name).jets].index(LARGEST[name])


def largest_alone(name):
    return [1000 if place == largest(name) else 0 for place in range(len(load_site(name).jets))]


# -- the folder -------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_links_lead_somewhere_and_a_page_stays_short(path):
    words = path.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", words):
        if target not in MADE_BY_CODE:
            assert (NOTES / target).exists(), target
    if path.name not in MADE_BY_CODE:
        assert len(words) <= MOST_LETTERS


def test_every_page_is_in_the_index():
    linked = set(re.findall(r"\]\(([^)#/]+\.md)\)", text("README.md")))
    assert linked == {path.name for path in PAGES} - {"README.md"} | MADE_BY_CODE


def test_every_drawing_is_xml_and_shown_and_nothing_else_is():
    shown = re.findall(r"!\[[^\]]+\]\((drawings/[^)]+\.svg)\)", text("wiring.md"))
    assert sorted(shown) == sorted(f"drawings/{path.name}" for path in DRAWINGS.glob("*.svg"))
    for path in DRAWINGS.glob("*.svg"):
        root = ElementTree.parse(path).getroot()
        assert root.find("{http://www.w3.org/2000/svg}title").text


def test_the_drawings_are_what_their_script_draws(monkeypatch):
    monkeypatch.syspath_prepend(str(DRAWINGS))
    monkeypatch.setattr("sys.dont_write_bytecode", True)
    spec = importlib.util.spec_from_file_location("draw", DRAWINGS / "draw.py")
    draw = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(draw)
    for name, make in draw.DRAWINGS.items():
        assert (DRAWINGS / f"{name}.svg").read_text(encoding="utf-8") == make().svg(), name
    assert {f"{name}.svg" for name in draw.DRAWINGS} == {path.name for path in DRAWINGS.glob("*.svg")}


def test_no_words_run_out_of_a_drawing():
    for path in DRAWINGS.glob("*.svg"):
        root = ElementTree.parse(path).getroot()
        width = float(root.get("width"))
        for label in root.iter("{http://www.w3.org/2000/svg}text"):
            # A letter is about 0.55 of its size wide in the widest of the fonts, as rendered.
            long = 0.55 * float(label.get("font-size")) * len(label.text)
            share = {"start": 0.0, "middle": 0.5, "end": 1.0}[label.get("text-anchor")]
            left = float(label.get("x")) - share * long
            assert left >= 0.0, (path.name, label.text)
            assert left + long <= width, (path.name, label.text)


def test_the_sheet_has_the_steps_of_the_command():
    found = re.findall(r"^## \d `([^`]+)`: (.+)$", text("commissioning.md"), re.MULTILINE)
    assert len(found) == 9
    if importlib.util.find_spec("becksim.commissioning.steps") is None:
        pytest.skip("becklight commission is not here")
    from becksim.commissioning.steps import STEPS

    assert found == [(step.name, step.title) for step in STEPS]


def test_maintenance_says_of_each_alarm_what_the_device_says():
    told = [[name, str(alarms.ALARMS[code][0]), WORDS[name][1]] for code, name in enumerate(alarms.NAMES)]
    assert rows("maintenance.md", "alarm") == told


def test_maintenance_says_what_each_pattern_of_the_lamp_means():
    told = [state for _, state, _ in rows("maintenance.md", "lamp") if state]
    if importlib.util.find_spec("becklight.device") is None:
        pytest.skip("the device is not here")
    from becklight.device.lamp import STATES

    assert told == list(STATES)


# -- levels, instruments ----------------------------------------------------------------------------


@pytest.mark.parametrize(("column", "name"), [(1, MILLBROOK), (2, HOSTEL)])
def test_the_levels_in_the_intake_page_are_those_of_the_compiler(column, name):
    site = load_site(name)
    found = dict(compiled(name)["rules"])
    found["residual level"] = max(residual_levels_mm(site, build_basin(site)))
    found["slot_sill_mm"] = site.intake.slot_sill_mm
    found["crest_level_mm"] = site.intake.crest_level_mm
    table = rows("intake.md", "level")
    assert len(table) == 7
    for cells in table:
        assert float(cells[column]) == found[cells[0]]


def test_noise_costs_as_much_level_as_told():
    line = next(line for line in text("instruments.md").splitlines() if line.startswith("| target level |"))
    for noise_mm, level_mm in zip((1, 3, 5, 10), numbers(line), strict=True):
        site = load_site(MILLBROOK, [f"instruments.level.noise_mm={noise_mm}"])
        at_work = Works(site, build_jets(site))
        assert rule_settings(site, at_work, build_basin(site))["level_target_mm"] == level_mm


def test_pressures_and_ranges():
    static_bar = [model(name).static_bar for name in SITES]
    low_mbar = [compiled(name)["rules"]["pressure_low_mbar"] for name in SITES]
    assert f"{static_bar[0]:.1f} bar and {static_bar[1]:.1f} bar" in prose("instruments.md")
    assert f"`pressure_low_mbar` ({low_mbar[0]} and {low_mbar[1]})" in prose("instruments.md")
    for (_, told, range_bar), bar in zip(rows("shopping.md", "site"), static_bar, strict=True):
        assert numbers(told) == [round(bar, 1)]
        assert 1.5 <= numbers(range_bar)[1] / bar <= 2.0


def test_the_loops_scale_gives_the_levels_told():
    scale = Scale(4800, 24000, -60, 940, 4320, 25200)
    assert "`Scale(4800, 24000, -60, 940, 4320, 25200)`" in prose("wiring.md")
    for milliampere, counts in ((4, 4800), (20, 24000), (3.6, 4320), (21, 25200)):
        assert round(150 * milliampere / 1000.0 / COUNT_V) == counts
    assert scale.value(4800) == -60
    assert scale.value(24000) == 940
    assert scale.value(4320) == scale.value(25200) is not None  # both unknown
    for volts, counts in ((0.25, 1200), (0.5, 2400), (4.5, 21600), (4.75, 22800)):
        assert round(volts * 15 / (10 + 15) / COUNT_V) == counts
    assert round(5 * 60 / (60 + 2 * 560), 2) == 0.25  # the bias, as told in the drawing


# -- electrics --------------------------------------------------------------------------------------


def _ratio(resistors):
    """Of a divider told as `2 x 91 kΩ, 4.7 kΩ`."""
    top, bottom = resistors.split(",")
    product = 1.0
    for number in numbers(top):
        product *= number
    return (product + numbers(bottom)[0]) / numbers(bottom)[0]


@pytest.mark.parametrize(("place", "name"), [(0, MILLBROOK), (1, HOSTEL)])
def test_the_battery_divider_is_sized_by_what_is_still_believed(place, name):
    _, highest, resistors, at_converter, count = rows("wiring.md", "system")[place]
    highest_v = compiled(name)["rules"]["battery_most_mv"] / 1000.0
    assert numbers(highest) == [round(highest_v, 1)]
    assert numbers(at_converter) == [round(highest_v / _ratio(resistors), 2)]
    assert highest_v / _ratio(resistors) < 3.3
    assert numbers(count) == [round(1000.0 * COUNT_V * _ratio(resistors), 1)]


@pytest.mark.parametrize(("place", "name"), [(0, MILLBROOK), (1, HOSTEL)])
def test_the_bus_divider_is_sized_by_free_run(place, name):
    _, best, free, bears, resistors, at_converter, count = rows("wiring.md", "site")[place]
    main, ratio = works(name).main, _ratio(resistors)
    assert numbers(best) == [round(max(main.best_bus_v, *works(name).alone_bus_v))]
    assert numbers(free) == [round(main.free_run_bus_v)]
    assert numbers(bears) == [main.most_bus_v]
    assert numbers(at_converter) == [round(main.free_run_bus_v / ratio, 2), round(main.most_bus_v / ratio, 2)]
    assert main.free_run_bus_v * 1.2 / ratio <= 3.02
    assert main.most_bus_v / ratio <= 3.2
    assert numbers(count) == [round(1000.0 * COUNT_V * ratio, 1)]


def test_the_worked_example_of_the_bus_divider():
    page, main, rules = prose("wiring.md"), works(HOSTEL).main, compiled(HOSTEL)["rules"]
    wanted_v = 1.2 * main.free_run_bus_v
    assert f"{main.free_run_bus_v:.0f} V x 1.2 = {wanted_v:.0f} V shall be at most 3.0 V" in page
    assert f"so the ratio is {wanted_v / 3.0:.0f}" in page
    assert "on top: 2 x 150" in page
    assert f"{4.7 * (round(wanted_v / 3.0) - 1):.0f} kΩ on top" in page
    small = _ratio("2 x 62 kΩ, 4.7 kΩ")
    assert main.best_bus_v / small <= 3.0
    assert f"would put {main.free_run_bus_v / small:.2f} V on a 3.3 V input" in page
    assert f"the reading ends at {3.3 * small:.0f} V" in page
    assert f"never see the {rules['bus_most_mv'] * rules['bus_trip_permille'] / 1e6:.0f} V" in page


def test_voltages_and_short_circuit_currents_told_elsewhere():
    free = [round(works(name).main.free_run_bus_v) for name in SITES]
    for page in ("shopping.md", "cable_and_lightning.md", "box_and_damp.md", "fail_safe.md"):
        assert f"{free[0]} V and {free[1]} V" in prose(page)
    best_v = works(HOSTEL).main.best_bus_v
    assert f"from {best_v:.0f} V at best speed to {free[1]} V running free" in prose("README.md")
    assert f"{free[1]} V when" in (DRAWINGS / "dividers.svg").read_text(encoding="utf-8")
    amperes = [compiled(n)["rules"]["battery_full_mv"] / load_site(n).battery.resistance_mohm for n in SITES]
    ours, theirs = (f"{ampere / 1000:.1f} kA" for ampere in amperes)
    assert f"{ours} for millbrook's battery, {theirs} for" in prose("shopping.md")
    assert f"battery drives {ours} into a short, the hostel's {theirs}" in prose("wiring.md")


def test_cables_lose_what_is_told():
    for pair, ohm, lost, share in rows("cable_and_lightning.md", "pair"):
        area_mm2 = numbers(pair)[0]
        drop_v = cable_drop_v(5.0, 30.0, area_mm2)
        assert numbers(ohm) == [round(cable_ohm(30.0, area_mm2), 2)]
        assert numbers(lost) == [round(drop_v, 1)]
        assert numbers(share) == [round(100.0 * drop_v / 24.0)]
    loop_ohm = cable_ohm(250.0, 1.5, 2)
    lost_v = 0.021 * (150.0 + loop_ohm)
    page = prose("cable_and_lightning.md")
    assert f"250 m of 1.5 mm2 pair is {loop_ohm:.1f} ohm there and back" in page
    assert f"{lost_v:.1f} V at 21 mA. Of 24 V that leaves {24 - lost_v:.1f} V" in page


# -- valves and the pipe ----------------------------------------------------------------------------


def _shut(name, valves_open, stroke_s):
    """What the pipe feels when valves shut at once without a rest."""
    shutting = tuple(place for place, opening in enumerate(valves_open) if opening)
    train = Train(tuple(valves_open), (0.0,) * len(shutting), shutting, (0,) * len(shutting))
    # Sudden fronts are played at the pipe's own wave speed, on a grid fine enough for them.
    return play(model(name, exact=stroke_s < 5.0), [train], [stroke_s] * len(valves_open))[0]


def test_what_snaps_does_to_the_pipe_what_the_table_says():
    """For a solenoid valve or a spring: one alone, and all at once; bold: more than it bears."""
    limits, *table = rows("valves.md", "whole stroke")
    *strokes, by_ramps = table
    limits_bar = [numbers(cell)[0] for cell in limits[1:]]
    assert limits_bar == [round(model(name).limit_bar, 1) for name in SITES for _ in range(2)]
    for cells in strokes:
        cases = [(name, everything) for name in SITES for everything in (False, True)]
        for cell, (name, everything) in zip(cells[1:], cases, strict=True):
            start = [1000] * len(load_site(name).jets) if everything else largest_alone(name)
            outcome = _shut(name, start, numbers(cells[0])[0])
            assert numbers(cell) == [round(outcome.peak_bar, 1)], cells
            assert ("parts" in cell) == outcome.parted, cells
            assert cell.startswith("**") == (outcome.peak_bar > model(name).limit_bar), cells
    for column, name in enumerate(SITES):
        settings, jets = Settings(compiled(name)), load_site(name).jets
        for place, start in enumerate((largest_alone(name), [1000] * len(jets))):
            train = engine_train(settings, start, [0] * len(jets))
            outcome = play(model(name), [train], strokes_s(load_site(name)))[0]
            assert numbers(by_ramps[1 + 2 * column + place]) == [round(outcome.peak_bar, 1)]


def test_the_wave_and_what_a_metre_a_second_costs():
    page, density = prose("valves.md"), DENSITY_KG_M3
    assert f"2L/a: {model(MILLBROOK).return_s:.1f} s and {model(HOSTEL).return_s:.1f} s here" in page
    soft = joukowsky_pa(density, model(HOSTEL).wave_speed_m_s[0], 1.0) / 1e5
    hard = joukowsky_pa(density, model(MILLBROOK).wave_speed_m_s[1], 1.0) / 1e5
    assert (
        f"costs {soft:.1f} bar in the hostel's soft polyethylene and {hard:.1f} bar in millbrook's PVC-U"
        in page
    )
    bore_m = build_pipe(load_site(MILLBROOK))[1].inside_diameter_m
    steel = korteweg_wave_speed_m_s(2.1e9, density, bore_m, 0.003, MATERIALS["steel"].youngs_modulus_pa)
    assert (
        f"in steel of the same bore and 3 mm wall about {joukowsky_pa(density, steel, 1.0) / 1e5:.0f} bar"
        in page
    )
    assert f"that is {2 * model(HOSTEL).return_s:.1f} s" in page


def test_steps_in_time_with_the_pipe_add_up():
    found = {}
    for step_ms in (4_000, 5_000):
        table = {**compiled(HOSTEL), "valves": [dict(valve) for valve in compiled(HOSTEL)["valves"]]}
        table["valves"][largest(HOSTEL)]["close_step_ms"] = step_ms
        train = engine_train(Settings(table), largest_alone(HOSTEL), [0] * len(table["valves"]))
        outcome = play(model(HOSTEL), [train], strokes_s(load_site(HOSTEL)))[0]
        found[step_ms] = outcome.peak_bar - model(HOSTEL).static_bar
    told = f"gives {found[4_000]:.2f} bar over static with steps of 4 s, but {found[5_000]:.2f} bar with 5 s"
    assert told in prose("valves.md")


def test_what_half_a_stroke_and_a_little_of_the_needle_pass():
    halves, firsts = [], []
    for name in SITES:
        at_work, jets = works(name), load_site(name).jets
        level_m = compiled(name)["rules"]["level_target_mm"] / 1000.0
        for place, jet in enumerate(jets):
            flows = []
            for opening in (100, 500, 1000):
                at_work.operate([opening if other == place else 0 for other in range(len(jets))], level_m)
                flows.append(at_work.flow_m3_s)
            if jet.kind == "fixed":
                halves.append(flows[1] / flows[2])
            else:
                firsts.append(flows[0] / flows[2])
    assert f"passes {100 * min(halves):.0f} to {100 * max(halves):.0f} % of its jet's flow" in prose(
        "valves.md"
    )
    assert f"the first 100 permille give {100 * firsts[0]:.0f} % of its flow at millbrook" in prose(
        "valves.md"
    )


def test_the_back_up_is_as_small_as_told():
    told_min, told_run_s, told_wh = [], [], []
    for name in SITES:
        jets = load_site(name).jets
        train = engine_train(Settings(compiled(name)), [1000] * len(jets), [0] * len(jets))
        run_s = sum(jet.motor_stroke_s for jet in jets)
        told_min.append(f"{train.step_s[-1] / 60.0:.1f}")
        told_run_s.append(f"{run_s:.0f}")
        told_wh.append(f"{(24.0 * run_s + 5.0 * train.step_s[-1]) / 3600.0:.1f}")
    page = prose("fail_safe.md")
    assert f"takes {told_min[0]} minutes at millbrook and {told_min[1]} at the hostel" in page
    assert f"the motors run for {told_run_s[0]} s and {told_run_s[1]} s of that" in page
    assert f"that is {told_wh[0]} and {told_wh[1]} Wh" in page


def test_the_case_told_in_the_fail_safe_page():
    every = _shut(HOSTEL, [1000] * len(load_site(HOSTEL).jets), 10.0)
    alone = _shut(HOSTEL, largest_alone(HOSTEL), 10.0)
    told = (
        f"what takes 10 s on the hostel reaches {every.peak_bar:.1f} bar in a pipe for "
        f"{model(HOSTEL).limit_bar:.1f} bar, though one valve alone would stay at {alone.peak_bar:.1f} bar"
    )
    assert told in prose("fail_safe.md")


def test_the_fall_of_the_box_in_the_sheet():
    at_work = works(MILLBROOK)
    at_work.operate(largest_alone(MILLBROOK), compiled(MILLBROOK)["rules"]["level_target_mm"] / 1000.0)
    seconds = load_site(MILLBROOK).intake.area_m2 * 0.010 / at_work.flow_m3_s
    assert f"falls by 10 mm in {seconds:.1f} s with the right jet open" in prose("commissioning.md")
