"""A session from first question to sheet: order, resume, history, and that nothing moves without a yes."""

import pytest

from becksim.commission import commission
from becksim.commissioning.file import FAILED, PASSED, SKIPPED, Book
from becksim.commissioning.steps import NAMES
from becksim.console_link import ConsoleLink
from becksim.errors import UserError
from becksim.report.commission_sheet import sheet

MOVING = ("hold", "jog", "resume", "restart", "yes", "unlock", "clear")


@pytest.fixture
def session(site, compiled, tmp_path, monkeypatch, wire, person):
    """session(rig, answers, **how) -> what `commission` gives, and the person."""
    monkeypatch.setattr("becksim.commissioning.job.compile_site", lambda _: compiled)
    path = tmp_path / "works.commission.json"

    somebody = person

    def run(rig, answers, person=somebody, **how):
        link = ConsoleLink(lambda: wire(rig), clock=lambda: rig.now_s, sleep=rig.advance)
        talk = person(rig, answers)
        book = Book(path, site.site.name)
        found = commission(site, link, talk, book=book, clock=lambda: rig.now_s, sleep=rig.advance, **how)
        return found, talk

    return run


@pytest.fixture
def homed(make_rig):
    return make_rig(ready_s=30.0)


def moved(rig):
    return [line for line in rig.lines if line.split()[0] in MOVING]


def test_a_plant_as_its_site_file_says_passes_every_step_and_is_signed(session, make_rig, good_answers, site):
    rig = make_rig(feedback="none")  # valves that know no position: the long way
    while rig.device.engine.homing or rig.device.drive.searching() or not rig.device.engine.started:
        rig.advance(10.0)
    found, talk = session(rig, good_answers)
    verdicts = {name: found.book.standing(name).verdict for name in NAMES}
    assert verdicts == dict.fromkeys(NAMES, PASSED), [one.told for one in found.book.results]
    assert found.ok
    assert found.ended
    assert max(rig.true) < 1.0
    assert rig.device.engine.owner.mode != 0  # it stays stopped, as was answered

    text = found.sheet.read_text(encoding="utf-8")
    assert "Every step has passed." in text
    assert "by A. Person, B. Witness." in text
    assert "computed ramp is advice, no more" not in text
    assert "What to change in the site file" not in text
    assert (found.sheet.with_suffix(".png")).stat().st_size > 10_000
    assert f"({found.sheet.with_suffix('.png').name})" in text

    # Once more: what has passed is not done again, and nothing moves; the sheet is a new one.
    before = len(rig.lines)
    again, talk = session(rig, {**good_answers, "sign-off.more": "no"})
    assert not moved(rig)[len([line for line in rig.lines[:before] if line.split()[0] in MOVING]) :]
    assert [key for key in talk.asked if key.endswith(".begin")] == ["sign-off.begin"]
    assert again.sheet != found.sheet
    assert len(again.book.history("sign-off")) == 2


def test_a_session_goes_on_where_it_was_left(session, homed, good_answers):
    answers = {**good_answers, "instruments.begin": "quit"}
    found, talk = session(homed, answers)
    assert not found.ended
    assert [one.step for one in found.book.results] == ["stop"]
    answers = {**good_answers, "valves.begin": "quit"}
    found, talk = session(homed, answers)
    assert "stop.begin" not in talk.asked
    assert [one.step for one in found.book.results] == ["stop", "instruments"]


def test_a_step_that_has_failed_comes_again_and_keeps_its_history(session, homed, good_answers):
    answers = {**good_answers, "stop.press": "done", "stop.redo": "no", "instruments.begin": "quit"}
    found, _ = session(homed, answers)
    assert not found.ok
    found, _ = session(homed, {**good_answers, "instruments.begin": "quit"})
    assert [one.verdict for one in found.book.history("stop")] == [FAILED, PASSED]
    assert found.ok


def test_a_step_is_redone_at_once_if_the_person_wants(session, homed, good_answers, press):
    answers = {
        **good_answers,
        "stop.press": ["done", press],
        "stop.redo": "yes",
        "instruments.begin": "quit",
    }
    found, _ = session(homed, answers)
    assert [one.verdict for one in found.book.history("stop")] == [FAILED, PASSED]


def test_one_step_alone_though_it_has_passed(session, homed, good_answers):
    session(homed, {**good_answers, "instruments.begin": "quit"})
    found, talk = session(homed, good_answers, only="stop")
    assert len(found.book.history("stop")) == 2
    assert [key for key in talk.asked if key.endswith(".begin")] == ["stop.begin"]
    assert found.sheet is None
    with pytest.raises(UserError, match="--step fly: there is no such step; allowed: stop, instruments"):
        session(homed, good_answers, only="fly")


def test_a_step_left_out_says_why_and_does_not_come_again(session, homed, good_answers):
    answers = {**good_answers, "stop.begin": "skip no switch fitted yet", "instruments.begin": "quit"}
    found, _ = session(homed, answers)
    stop = found.book.standing("stop")
    assert (stop.verdict, stop.told) == (SKIPPED, ("no switch fitted yet",))
    _, talk = session(homed, {**good_answers, "instruments.begin": "quit"})
    assert "stop.begin" not in talk.asked


def test_again_begins_a_step_anew_and_closes_what_it_had_opened(session, homed, good_answers):
    answers = {**good_answers, "stop.press": ["again", "quit"]}
    found, talk = session(homed, answers)
    assert talk.asked.count("stop.begin") == 2
    assert found.book.results == []
    assert homed.lines[-1] == "stop"


def test_nothing_moves_without_a_yes(session, homed, good_answers):
    answers = {
        **{key: value for key, value in good_answers.items() if value != "yes"},
        "session.stop": "yes",
        ".redo": "no",
        ".retry": "no",
        "_not": "not today",
        ".what": "leave",
        ".leave_not": "not today",
        "closure.jet": "large",
        "sign-off.more": "no",
        "stop.open": "no",
    }
    noes = (".open", "closure.peak", "closure.tail", "air.restart", "session.resume", "_end")
    answers |= dict.fromkeys(noes, "no")
    found, talk = session(homed, answers)
    assert found.ended
    assert moved(homed) == []
    assert max(homed.last_moved_s) < 30.0
    assert not found.ok
    assert "**The recorded closure has not passed" in found.sheet.read_text()


def test_without_leave_to_stop_the_device_nothing_is_begun(session, homed, good_answers):
    found, _ = session(homed, {**good_answers, "session.stop": "no"})
    assert not found.ended
    assert "stop" not in homed.lines


def test_no_water_moves_while_the_stop_switch_has_failed(session, homed, good_answers):
    answers = {**good_answers, "stop.press": "done", ".redo": "no", ".retry": "no", "sign-off.more": "no"}
    found, _ = session(homed, answers, only="valves")
    assert "has not been tried" in found.book.standing("valves").told[0]
    session(homed, answers, only="stop")
    before = len(homed.lines)
    found, _ = session(homed, answers, only="valves")
    assert found.book.standing("valves").verdict == FAILED
    assert "nothing is opened before it works" in found.book.standing("valves").told[0]
    assert not [line for line in homed.lines[before:] if line.split()[0] in ("jog", "hold")]


def test_quit_with_a_jet_open_closes_it(session, homed, good_answers):
    answers = {**good_answers, "stop.begin": "skip later", "valves.small.open_s": "quit"}
    answers |= {".what": "leave", ".leave_not": "later", "instruments.begin": "skip later"}
    found, _ = session(homed, answers)
    assert homed.true[0] > 999.0
    assert homed.lines[-1] == "stop"
    assert [one.verdict for one in found.book.results] == [SKIPPED, SKIPPED]


def test_a_cable_that_is_pulled_out_and_put_back_lets_the_step_be_done_anew(
    session, homed, good_answers, press
):
    def pull(rig):
        rig.unplugged = True

    def put_back(rig):
        rig.unplugged = False
        return "yes"

    answers = {**good_answers, "stop.press": [pull, press], "stop.retry": put_back}
    found, talk = session(homed, {**answers, "instruments.begin": "quit"})
    assert [(one.step, one.verdict) for one in found.book.results] == [("stop", PASSED)]
    assert any("look at the cable" in text for text in talk.told)
    assert any("Press its stop switch" in text for text in talk.told)  # it could not be told to stop


def test_the_device_of_another_site_is_not_touched(session, make_rig, good_answers, compiled):
    rig = make_rig(compiled={**compiled, "site": "Another"}, ready_s=30.0)
    with pytest.raises(UserError, match='holds the settings of "Another"'):
        session(rig, good_answers)
    assert rig.lines == ["state"]


def test_a_device_with_older_settings_is_not_touched(session, make_rig, good_answers, compiled):
    sets = [{**row, "flow_ml_s": [flow + 5 for flow in row["flow_ml_s"]]} for row in compiled["menu"]["sets"]]
    older = {**compiled, "menu": {**compiled["menu"], "sets": [compiled["menu"]["sets"][0], *sets[1:]]}}
    rig = make_rig(compiled=older, ready_s=30.0)
    with pytest.raises(UserError, match="older settings"):
        session(rig, good_answers)
    assert not moved(rig)


def test_a_sheet_tells_what_is_open_and_what_to_change(session, homed, good_answers, site):
    answers = {**good_answers, "instruments.pressure_mbar.what": "look"}
    answers |= {"instruments.pressure_mbar.second": "5.30", "instruments.redo": "no", "valves.begin": "quit"}
    found, _ = session(homed, answers)
    text = sheet(site, found.book)
    assert "Not signed." in text
    assert "**Not passed or left out: Instruments by two points, Valve directions" in text
    assert "| `penstock.gross_head_m` | 58.0 | 5" in text
    assert "| Power cut | not done | | |" in text
    assert "every computed ramp is advice" in text


def test_a_file_of_answers_does_for_a_person(session, homed, tmp_path, file_person):
    """Everything that moves water is left out: nobody stands at the plant."""
    jets = ("small", "middle", "large", "trim")
    sets = (
        "small",
        "middle",
        "large",
        "trim",
        "small+middle",
        "small+middle+large",
        "small+middle+large+trim",
    )
    lines = ["[session]", 'who = "A. Person"', "stop = true", "resume = false"]
    lines += ["[stop]", 'begin = "skip nobody is there to press it"']
    lines += ["[instruments]", 'begin = "done"', "redo = false"]
    for name in ("level_mm", "pressure_mbar", "battery_mv", "bus_mv", "temp_decic"):
        lines += [f"[instruments.{name}]", 'what = ["measure", "leave"]', 'leave_not = "no tools"']
    for step, parts in (("valves", jets), ("flows", jets), ("pressures", sets)):
        lines += [f"[{step}]", 'begin = "done"', "redo = false"]
        for part in parts:
            lines += [f'[{step}."{part}"]', "open = false", 'open_not = "dry"']
    lines += ["[closure]", 'begin = ""', 'jet = "large"', "peak = false", "tail = false", "redo = false"]
    lines += ['peak_not = "dry"', 'tail_not = "dry"']
    lines += ["[air]", 'begin = "skip dry"', "[power]", 'begin = "skip dry"']
    lines += ["[sign-off]", 'begin = "done"', "more = false", "redo = false"]
    path = tmp_path / "answers.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found, talk = session(homed, path, person=file_person)
    assert found.ended
    assert moved(homed) == []
    verdicts = [found.book.standing(name).verdict for name in NAMES]
    assert verdicts == [SKIPPED, *[FAILED] * 5, SKIPPED, SKIPPED, FAILED]
    assert '"measure" is not allowed here; allowed: set, look, leave' in talk.console.file.getvalue()


def test_a_missing_answer_leaves_nothing_open_and_keeps_what_is_finished(
    session, homed, tmp_path, file_person
):
    path = tmp_path / "answers.toml"
    path.write_text(
        '[session]\nwho = "A"\nstop = true\n[stop]\nbegin = "done"\nopen = true\n', encoding="utf-8"
    )
    with pytest.raises(UserError, match=r'no answer stop\.press to "Press the local stop'):
        session(homed, path, person=file_person)
    assert homed.lines[-1] == "stop"
