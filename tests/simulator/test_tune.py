"""The job, from a site to settings: ended and gone on with, the same answer; what it writes can be used."""

import importlib.util
import json
import shutil
import tomllib

import pytest

from becksim import cli
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.report.tune_page import page
from becksim.report.tune_words import CAUTION
from becksim.site import load_site
from becksim.tune import chosen_objectives, tune
from becksim.tune_json import as_json

SITE = "millbrook-smallholding"
POND = ["level_mm=[0, 1500]", "area_m2=[200, 500]", "crest_level_mm=1400", "lowest_level_mm=300"]
POND = ["storage_pond." + key for key in (*POND, "fill_l_s=5", "valve_bore_mm=100")]
SMALL = ["--candidates", "4", "--days", "1", "--jobs", "1", "--flows", "synthetic"]
ONLY = ["--only", "dwell_ms", "flow_deadband_ml_s"]


def small(study, **options):
    return tune(
        load_site(SITE),
        flows="synthetic",
        study=study,
        only=ONLY[1:],
        candidates=4,
        days=1,
        jobs=1,
        **options,
    )


def answer(result):
    found = as_json(result)
    for name in ("wall_s", "study", "years_played"):
        del found[name]
    return found


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    return small(tmp_path_factory.mktemp("whole") / "a.study")


def test_ended_and_gone_on_with_it_is_the_same(result, tmp_path):
    def end(after):
        def tell(done, total):
            if done >= after:
                raise KeyboardInterrupt

        return tell

    for after in (4, 12):
        with pytest.raises(KeyboardInterrupt):
            small(tmp_path / "a.study", tell=end(after))
    again = small(tmp_path / "a.study")
    assert answer(again) == answer(result)
    assert 0 < again.played <= result.played - 9
    done = small(tmp_path / "a.study")
    assert done.played == 0
    assert answer(done) == answer(result)


def test_it_is_judged_on_other_years_and_never_worse_where_it_was_tuned(result):
    keys = [{year.key for year in some} for some in (result.years.tuning, result.years.judging)]
    assert not keys[0] & keys[1]
    present = result.present.candidate.figures
    assert max(one.figures.useful_kwh for one in result.candidates) >= present.useful_kwh
    assert result.tuned is not None
    assert len(result.tuned.by_year) == len(result.years.judging)


def test_only_what_may_be_turned_is_turned(result):
    for candidate in result.candidates:
        changed = {name for name, value in candidate.settings.items() if value != result.space.present[name]}
        assert changed <= set(ONLY[1:])


def test_the_page_tells_each_change_and_the_caution(result):
    text = page(result, "a-tuned.toml")
    assert CAUTION in text
    for effect in result.effects:
        assert f"| `{effect.name}` |" in text
    for sentence in result.verdict.sentences:
        assert sentence in text
    assert "0 s below the floor" in text
    assert "judged: kWh" in text


def test_another_one_of_the_pareto_set_can_be_taken(result, tmp_path):
    shutil.copy(result.study, tmp_path / "a.study")
    number = len(result.pareto)
    found = small(tmp_path / "a.study", take=number)
    assert found.taken
    assert found.knee is found.pareto[number - 1].candidate
    with pytest.raises(UserError, match=f"shown with numbers 1 to {number}"):
        small(tmp_path / "a.study", take=number + 1)


def test_objectives():
    hostel = load_site("upland-hostel")
    assert [one.option for one in chosen_objectives(hostel, None)] == ["kwh", "unserved", "strokes"]
    assert "pond" in {one.option for one in chosen_objectives(load_site("upland-hostel", POND), None)}
    assert [one.option for one in chosen_objectives(hostel, ["jets", "kwh"])] == ["kwh", "jets"]
    for options, said in ((["watts"], "allowed: kwh"), (["strokes"], "kwh must be"), (["kwh", "pond"], "no")):
        with pytest.raises(UserError, match=said):
            chosen_objectives(hostel, options)


# -- the command ------------------------------------------------------------------------------------


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """run(*arguments) -> exit status, standard output, standard error; in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments):
        try:
            status = cli.main(["tune", *arguments])
        except SystemExit as stop:
            status = stop.code
        return status, *capsys.readouterr()

    return command


@pytest.fixture
def known(result, tmp_path):
    """The study, already done, where the command looks for it."""
    shutil.copy(result.study, tmp_path / f"{SITE}-tune.study")


def test_what_it_writes_can_be_compiled_and_gives_what_was_judged(run, known, result, tmp_path):
    status, out, _ = run(SITE, *SMALL, *ONLY, "--json", "--out", "found")
    assert status == 0
    told = json.loads(out)
    assert told["rules"] == dict(result.rules)
    folder = tmp_path / "found"
    if result.rules:
        written = folder / f"{SITE}-tuned.toml"
        rules = compile_site(load_site(str(written)))["rules"]
        assert {name: rules[name] for name in result.tuned.settings} == dict(result.tuned.settings)
        before = load_site(SITE).path.read_text()
        assert tomllib.loads(written.read_text()) == {**tomllib.loads(before), "rules": dict(result.rules)}
        assert "# Two fixed jets and a trim jet" in written.read_text()
        assert (folder / "millbrook-gauge.csv").exists()
    assert (folder / f"{SITE}-tuned.md").read_text().startswith("# Millbrook smallholding")
    if importlib.util.find_spec("matplotlib") is not None:
        assert (folder / f"{SITE}-tuned.png").stat().st_size > 10_000


def test_it_prints_what_changes_and_where_it_stands(run, known, result):
    status, out, _ = run(SITE, *SMALL, *ONLY)
    assert status == 0
    said = " ".join(out.split())
    assert " ".join(result.verdict.sentences[-1].split()) in said
    assert CAUTION in said
    assert f"Wrote {SITE}-tuned.md." in out


@pytest.mark.parametrize("name", [f"{SITE}-tuned.toml", f"{SITE}-tuned.md", "millbrook-gauge.csv"])
def test_nothing_is_written_over_and_that_is_told_before_anything_is_played(run, tmp_path, name):
    (tmp_path / name).write_text("mine")
    status, _, error = run(SITE, *SMALL, *ONLY)
    assert status == 2
    assert name in error
    assert "already there" in error
    assert (tmp_path / name).read_text() == "mine"
    assert not (tmp_path / f"{SITE}-tune.study").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--pin", "level_floor_mm"], "never turned"),
        (["--only", "nonsense"], "allowed: level_target_mm"),
        (["--objectives", "watts"], "allowed: kwh"),
        (["--flows", "nowhere.csv"], "nowhere.csv"),
        (["--study", "nowhere/a.study"], "cannot be read or written"),
        (["--pin", "level_target_mm=100"], "level_target_mm is 100; allowed"),
    ],
)
def test_a_wrong_option_is_told_in_a_sentence(run, arguments, said):
    status, out, error = run(SITE, "--days", "1", *arguments)
    assert status == 2
    assert said in error
    assert out == ""
    assert "Traceback" not in error


@pytest.mark.parametrize("arguments", [["--candidates", "0"], ["--days", "400"], ["--jobs", "x"]])
def test_a_wrong_number_is_told(run, arguments):
    status, _, error = run(SITE, *arguments)
    assert status == 2
    assert "give a whole number from" in error


def test_another_study_is_not_gone_on_with(run, known):
    status, _, error = run(SITE, *SMALL, *ONLY, "--seed", "2")
    assert status == 2
    assert "belongs to another study; different is --seed" in error


def test_ctrl_c_says_how_to_go_on(run, monkeypatch):
    def interrupted(*arguments, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr("becksim.tune.tune", interrupted)
    status, _, error = run(SITE, *SMALL, *ONLY)
    assert status == 130
    assert f"kept in {SITE}-tune.study: the same command goes on" in error


def test_a_cluster_that_is_not_there_is_told(run, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("becksim.tuning.cluster.REACH_S", 1.0)
    status, _, error = run(SITE, *SMALL, *ONLY, "--cluster", "127.0.0.1:9")
    assert status == 2
    assert "--cluster 127.0.0.1:9: no scheduler answers there" in error


def test_without_the_extra_it_says_how_to_get_it(run, monkeypatch):
    there = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name == "optuna" else there(name, *more)
    )
    status, _, error = run(SITE, *SMALL)
    assert status == 2
    assert "needs optuna, which is not installed" in error
    assert "pip install 'becklight[tune]'" in error


def test_the_table_of_settings(run):
    status, out, _ = run("upland-hostel", "--list")
    assert status == 0
    assert "dwell_ms" in out
    assert "level_floor_mm" in out.split("Never turned:")[1]
    status, out, _ = run("upland-hostel", "--list", "--json")
    told = json.loads(out)
    assert {"setting": "dwell_ms", "now": 600_000}.items() <= next(
        row for row in told["turned"] if row["setting"] == "dwell_ms"
    ).items()
    assert all(row["because"] for row in told["never"])
