"""Each step against the real device and its console: what passes, and each fault that must not."""

import pytest

from becksim.commissioning.steps import NAMES, STEPS
from becksim.console_link import Refused

GOOD = 1e-9


def run(make_job, rig, name, answers):
    job = make_job(rig, answers)
    job.link.order("stop")
    step = STEPS[NAMES.index(name)]
    return job, step.run(job)


@pytest.fixture
def homed(make_rig):
    return make_rig(ready_s=30.0)


def told(outcome):
    return " ".join(outcome.told)


# -- stop ---------------------------------------------------------------------------------------------


def test_a_stop_switch_that_works_passes(homed, make_job, good_answers):
    job, outcome = run(make_job, homed, "stop", good_answers)
    assert outcome.ok, told(outcome)
    assert outcome.figures == {"press_seen": True, "closed": True, "break_seen": True}
    assert homed.true[0] < 1.0


def test_a_stop_switch_that_is_not_wired_fails(homed, make_job, good_answers):
    good_answers["stop.press"] = good_answers["stop.break"] = "done"
    _, outcome = run(make_job, homed, "stop", good_answers)
    assert not outcome.ok
    assert "did not say that it is stopped" in told(outcome)


def test_a_stop_switch_that_sticks_fails(homed, make_job, good_answers):
    good_answers["stop.press_undone"] = "done"
    _, outcome = run(make_job, homed, "stop", good_answers)
    assert "still says that it is stopped" in told(outcome)


def test_without_a_yes_no_jet_is_opened_for_it(homed, make_job, good_answers):
    good_answers["stop.open"] = "no"
    _, outcome = run(make_job, homed, "stop", good_answers)
    assert outcome.ok
    assert "closing was not seen" in told(outcome)
    assert max(homed.last_moved_s) < 30.0


# -- instruments --------------------------------------------------------------------------------------


def test_sound_instruments_pass_and_what_is_left_out_is_told(homed, make_job, good_answers):
    _, outcome = run(make_job, homed, "instruments", good_answers)
    assert outcome.ok, told(outcome)
    assert "left out: no thermometer here" in told(outcome)
    assert abs(outcome.figures["level_mm"]["second_off"]) < outcome.figures["level_mm"]["second_most"]


def test_an_instrument_that_is_off_fails_when_looked_at_and_is_set_right_when_asked(
    homed, make_job, good_answers
):
    homed.off["level_mm"] = 35.0
    _, outcome = run(make_job, homed, "instruments", good_answers)
    assert not outcome.ok
    assert "Level in the intake: further off" in told(outcome)
    good_answers["instruments.level_mm.what"] = "set"
    good_answers["instruments.level_mm.first_there"] = lambda rig: setattr(rig, "level_mm", 420.0)
    job, outcome = run(make_job, homed, "instruments", good_answers)
    assert outcome.ok, told(outcome)
    assert abs(outcome.figures["level_mm"]["after_off"]) < 5.0
    homed.advance(15.0)
    assert job.state()["readings"]["level_mm"] == pytest.approx(homed.level_mm, abs=5.0)


def test_two_points_that_are_one_do_not_set_anything(homed, make_job, good_answers):
    good_answers["instruments.level_mm.what"] = "set"
    good_answers["instruments.level_mm.second_there"] = "done"
    job, outcome = run(make_job, homed, "instruments", good_answers)
    assert not outcome.ok
    assert "not set right: the two points lie" in told(outcome)


def test_a_gauge_against_the_sites_head_tells_another_head(homed, make_job, good_answers):
    good_answers["instruments.pressure_mbar.what"] = "look"
    good_answers["instruments.pressure_mbar.second"] = "5.30"
    _, outcome = run(make_job, homed, "instruments", good_answers)
    assert not outcome.ok
    (advice,) = outcome.advice
    assert advice.key == "penstock.gross_head_m"
    assert advice.here == 58.0
    assert 53.0 < advice.found < 55.0


def test_a_broken_wire_is_not_set_right(homed, make_job, good_answers):
    homed.off["pressure_mbar"] = -1e6
    homed.advance(20.0)
    _, outcome = run(make_job, homed, "instruments", good_answers)
    assert "a sound instrument gives" in told(outcome)


# -- valves -------------------------------------------------------------------------------------------


def test_valves_that_turn_right_and_take_their_time_pass(homed, make_job, good_answers):
    homed.hand_valves_shut = True
    _, outcome = run(make_job, homed, "valves", good_answers)
    assert outcome.ok, told(outcome)
    assert not outcome.advice
    assert outcome.figures["large"]["motor_s"] == pytest.approx(30.0, abs=0.5)
    assert max(homed.true) < 1.0
    assert homed.flow_l_s() == pytest.approx(0.0, abs=1e-6)


def only(valve, answers):
    """The others are left out."""
    for name in ("small", "middle", "large", "trim"):
        if name != valve:
            answers[f"valves.{name}.open"] = "no"
            answers[f"valves.{name}.open_not"] = "not today"
    return answers


def test_a_quick_motor_is_found_out_and_its_key_told(homed, make_job, good_answers):
    homed.stroke_s[2] = 25.0
    _, outcome = run(make_job, homed, "valves", only("large", good_answers))
    assert not outcome.ok
    (advice,) = outcome.advice
    assert (advice.key, advice.here) == ("jets.large.motor_stroke_s", 30.0)
    assert advice.found == pytest.approx(25.0, abs=0.5)
    assert "left out: not today" in told(outcome)


def test_a_slow_motor_does_not_reach_its_end(homed, make_job, good_answers):
    homed.stroke_s[2] = 40.0
    answers = only("large", good_answers)
    answers["valves.large.open_end"] = lambda rig: "yes" if rig.true[2] > 999.0 else "no"
    _, outcome = run(make_job, homed, "valves", answers)
    assert not outcome.ok
    assert outcome.advice[0].key == "jets.large.motor_stroke_s"


def test_a_swapped_motor_is_not_driven_any_further(homed, make_job, good_answers):
    homed.swapped.add(0)
    answers = only("small", good_answers)
    answers["valves.small.moved"] = "shut"
    _, outcome = run(make_job, homed, "valves", answers)
    assert "swap its motor's two wires" in told(outcome)
    assert "open_s" not in outcome.figures["small"]


def test_no_valve_tried_is_no_pass(homed, make_job, good_answers):
    answers = only("", good_answers)
    job, outcome = run(make_job, homed, "valves", answers)
    assert not outcome.ok
    assert max(homed.last_moved_s) < 30.0
    assert not job.touched


def test_with_the_stop_pressed_the_refusal_of_the_device_comes_through(homed, make_job, good_answers):
    homed.pressed = True
    homed.advance(3.0)
    with pytest.raises(Refused, match="the local stop is pressed"):
        run(make_job, homed, "valves", good_answers)


# -- flows, pressures ---------------------------------------------------------------------------------


@pytest.fixture
def running(make_rig):
    """A plant that has started, so that a set opens at once: its owner has it stopped."""
    return make_rig(ready_s=580.0)


def test_flow_and_pressure_of_a_plant_as_told_pass_and_other_jets_are_found_out(
    running, make_job, good_answers
):
    running.jet_share[0] = 0.85  # something sits in the nozzle
    good_answers["flows.middle.open"] = good_answers["flows.trim.open"] = "no"
    good_answers["flows.middle.open_not"] = good_answers["flows.trim.open_not"] = "no bucket"
    job, outcome = run(make_job, running, "flows", good_answers)
    assert not outcome.ok
    (advice,) = outcome.advice
    assert advice.key == "jets.small.discharge_coefficient"
    assert advice.found == pytest.approx(0.85 * 0.95, abs=0.02)
    assert outcome.figures["large"]["mean_l_s"] == pytest.approx(2.77, rel=0.02)
    assert len(outcome.figures["large"]["flows_l_s"]) == 3
    assert max(running.true) < 1.0  # all is shut again

    pressures = {key: value for key, value in good_answers.items() if key != ".open"}
    pressures |= {"pressures.large.open": "yes", ".open": "no", ".open_not": "enough"}
    job, outcome = run(make_job, running, "pressures", pressures)
    assert outcome.ok, told(outcome)
    assert set(outcome.figures) == {"all shut", "large", "allowed_mbar"}
    assert outcome.figures["large"]["mbar"] == pytest.approx(
        outcome.figures["large"]["computed_mbar"], abs=30
    )


def test_measurements_that_differ_are_done_again(running, make_job, good_answers):
    for name in ("middle", "large", "trim"):
        good_answers[f"flows.{name}.open"] = "no"
    good_answers[".open_not"] = "enough"
    good_answers["flows.small.litres"] = [20.0, 28.0, 24.0, 24.0]
    good_answers["flows.small.more"] = ["yes", "no"]
    _, outcome = run(make_job, running, "flows", good_answers)
    assert not outcome.ok
    assert "do it again" in told(outcome)
    assert len(outcome.figures["small"]["flows_l_s"]) == 4
    assert not outcome.advice


def test_a_pipe_that_loses_more_is_found_out(running, make_job, good_answers):
    running.pipe.r *= 1.7
    every = "pressures.small+middle+large+trim.open"
    answers = {**good_answers, every: "yes", ".open": "no", ".open_not": "enough"}
    _, outcome = run(make_job, running, "pressures", answers)
    assert not outcome.ok
    (advice,) = outcome.advice
    assert advice.key == "penstock.sections.1.minor_loss_coefficient"
    assert advice.found > advice.here
    assert outcome.figures["small + middle + large + trim"]["mbar"] < 5_300


# -- the recorded closure -----------------------------------------------------------------------------


def test_a_closure_like_the_computed_one_passes(running, make_job, good_answers):
    job, outcome = run(make_job, running, "closure", good_answers)
    assert outcome.ok, told(outcome)
    tail = outcome.figures["tail"]
    assert tail["swing_s"] == pytest.approx(tail["computed_swing_s"], rel=0.05)
    peak = outcome.figures["peak"]
    assert peak["peak_mbar"] == pytest.approx(peak["computed_as_shown_mbar"], rel=0.25)
    rows = (job.book.path.with_name(peak["file"])).read_text().splitlines()
    assert rows[0] == "s,recorded_mbar,computed_mbar"
    assert 1_950 < len(rows) <= 2_001


def test_a_pipe_with_a_quicker_wave_does_not_pass(make_rig, make_job, good_answers):
    rig = make_rig(ready_s=580.0, stiffer=1.5)
    _, outcome = run(make_job, rig, "closure", good_answers)
    assert not outcome.ok
    assert "stiffer than computed" in told(outcome)
    assert "every computed ramp is advice" in told(outcome)


# -- the whole plant ----------------------------------------------------------------------------------


def test_a_restart_that_bleeds_and_a_power_cut_that_homes_pass(running, make_job, good_answers):
    job, outcome = run(make_job, running, "air", good_answers)
    assert outcome.ok, told(outcome)
    assert outcome.figures["boot"] == [1, 2]
    assert "bleeding" in [name for _, name in outcome.figures["reasons"]]
    job, outcome = run(make_job, running, "power", good_answers)
    assert outcome.ok, told(outcome)
    assert outcome.figures["boot"] == [2, 3]
    assert outcome.figures["homed_s"] > 70.0
    assert max(running.true) < 1.0


def test_a_supply_that_was_not_cut_is_found_out(running, make_job, good_answers):
    good_answers["power.cut"] = good_answers["power.back"] = "done"
    _, outcome = run(make_job, running, "power", good_answers)
    assert not outcome.ok
    assert "has not started anew" in told(outcome)


def test_steps_have_names_for_the_command_line():
    assert len(set(NAMES)) == len(NAMES) == 9
    assert all(name == name.lower() and " " not in name for name in NAMES)
    assert all(step.title and step.purpose for step in STEPS)
    assert all(step.caution for step in STEPS if step.moves_water)
