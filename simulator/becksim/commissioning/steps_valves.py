"""Steps about each valve and jet: which way it turns, how long its stroke takes, what the jet takes."""

from typing import Any

from becksim.commissioning.figures import (
    FLOW_TOLERANCE,
    SPREAD_MOST,
    STROKE_TOLERANCE,
    Repeats,
    box_flow_l_s,
    flow_advice,
    motor_stroke_s,
    repeats,
    steady_flow_l_s,
)
from becksim.commissioning.file import Advice
from becksim.commissioning.job import STILL_S, Job, Outcome
from becksim.trains import engine_train, length_s

LITTLE_PERMILLE = 100  # a jog that is seen and lets little through; chosen by us
FULL_PERMILLE = 1000
LEAST_REPEATS = 3
MOST_REPEATS = 9


def check_valves(job: Job) -> Outcome:
    """Each valve: a little both ways, then a whole slow stroke by the watch."""
    outcome = Outcome(True)
    job.talk.say("Best done without water: shut the hand valve before each jet, or the one at the intake.")
    for valve, name in enumerate(job.names):
        job.talk.say("")
        job.talk.say(f'Valve of the jet "{name}"', "bold")
        key = f"valves.{name}"
        question = (
            f"Open it by {LITTLE_PERMILLE / 10:g} %, and then whole? Water runs unless a hand valve is shut"
        )
        reason = job.agree(f"{key}.open", question)
        if reason:
            outcome.told.append(f"{name}: left out: {reason}.")
            continue
        _one_valve(job, valve, key, outcome)
    if not outcome.figures:
        outcome.fail("No valve was tried.")
    return outcome


def _one_valve(job: Job, valve: int, key: str, outcome: Outcome) -> None:
    name = job.names[valve]
    figures: dict[str, Any] = {}
    outcome.figures[name] = figures
    job.let_go()
    if not job.jog(valve, LITTLE_PERMILLE):
        outcome.fail(f"{name}: was not ordered open; see the reason above.")
        return
    moved = job.talk.choice(f"{key}.moved", "Which way did it move?", ("open", "shut", "not"))
    figures["moved"] = moved
    if moved != "open":
        job.jog(valve, 0)
        outcome.fail(
            f"{name}: moved the wrong way: swap its motor's two wires, supply off."
            if moved == "shut"
            else f"{name}: did not move: its motor's fuse, relay and wires; then its limit switches."
        )
        return
    for word, goal in (("open", FULL_PERMILLE), ("shut", 0)):
        start = job.alone(valve, LITTLE_PERMILLE if goal else FULL_PERMILLE)
        train = engine_train(job.settings, start, job.alone(valve, goal))
        told_s = length_s(train, job.motors_s)
        job.talk.done(
            f"{key}.ready_{word}",
            f"It will now run to its {word} end, by the ramp in {told_s:.0f} s. Take a watch: time it from "
            "its first movement until it stands at its end. Ready?",
        )
        if not job.jog(valve, goal):
            outcome.fail(f"{name}: was not ordered to its {word} end; see the reason above.")
            return
        seconds = job.talk.number(f"{key}.{word}_s", "Seconds by the watch", 0.5, 3_600)
        end = job.talk.yes(f"{key}.{word}_end", f"Did it reach its {word} end?")
        ran_s = motor_stroke_s(train, valve, job.motors_s[valve], seconds)
        travel = abs(goal - start[valve]) / FULL_PERMILLE
        figures[f"{word}_s"], figures[f"{word}_told_s"] = seconds, round(told_s, 1)
        figures[f"{word}_motor_s"] = round(ran_s / travel, 1)
        figures[f"{word}_end"] = end
    _judge_stroke(job, valve, figures, outcome)


def _judge_stroke(job: Job, valve: int, figures: dict[str, Any], outcome: Outcome) -> None:
    """The motor's stroke without rests against the site's."""
    name, told_s = job.names[valve], job.motors_s[valve]
    if not (figures["open_end"] and figures["shut_end"]):
        outcome.fail(
            f"{name}: did not reach its end in the time of its stroke: its motor is slower than the site "
            "file says, or something holds it. Time it by a meter on its wires."
        )
        outcome.advice.append(
            Advice(f"jets.{name}.motor_stroke_s", told_s, "longer: time it", "it did not reach its end")
        )
        return
    found_s = max(figures["open_motor_s"], figures["shut_motor_s"])
    off = found_s / told_s - 1.0
    figures["motor_s"] = found_s
    if abs(off) <= STROKE_TOLERANCE:
        outcome.told.append(
            f"{name}: right way; {figures['open_s']:g} s to open and {figures['shut_s']:g} s to shut, its "
            f"motor alone {found_s:.1f} s (site file {told_s:g}, allowed {100 * STROKE_TOLERANCE:g} % off)."
        )
        return
    outcome.fail(
        f"{name}: its motor needs {found_s:.1f} s for a stroke without rests, the site file says {told_s:g} "
        f"(allowed {100 * STROKE_TOLERANCE:g} % off): no step of its ramp is as long as computed."
    )
    outcome.advice.append(Advice(f"jets.{name}.motor_stroke_s", told_s, found_s, "its slow stroke was timed"))


def check_flows(job: Job) -> Outcome:
    """Each jet alone, fully open: litres and seconds, three times or more."""
    outcome = Outcome(True)
    job.talk.say("The device fills and bleeds the pipe first if it has not; that takes its time.")
    for valve, name in enumerate(job.names):
        openings = job.alone(valve)
        job.talk.say("")
        job.talk.say(f'Jet "{name}"', "bold")
        if not job.in_menu(openings):
            outcome.told.append(f"{name}: opens only after the first trim; measure it with pressures.")
            continue
        key = f"flows.{name}"
        question = f"Open it fully, the others shut? It takes {job.flow_l_s(openings):.2f} L/s"
        reason = job.agree(f"{key}.open", question)
        if reason:
            outcome.told.append(f"{name}: left out: {reason}.")
            continue
        stands, why = job.stand(openings)
        if not stands:
            outcome.fail(f"{name}: the device does not open it now ({why}).")
            continue
        job.sleep(STILL_S)
        level_m = job.level_m()
        found = _measure(job, key)
        _judge_flow(job, valve, found, level_m, outcome)
    job.stop_and_wait()
    if not outcome.figures:
        outcome.fail("No jet was measured.")
    return outcome


def _measure(job: Job, key: str) -> Repeats:
    """The flow [L/s], again and again."""
    how = job.talk.choice(
        f"{key}.how",
        "By bucket and watch, or by the fall of the intake, its inflow shut off?",
        ("bucket", "box"),
    )
    flows_l_s: list[float] = []
    while True:
        if how == "bucket":
            litres = job.talk.number(f"{key}.litres", "Litres caught", 0.1, 10_000)
            seconds = job.talk.number(f"{key}.seconds", "in how many seconds", 0.5, 3_600)
            flows_l_s.append(litres / seconds)
        else:
            from_mm = job.talk.number(
                f"{key}.from_mm", "Level at first, above the pipe's crown [mm]", 0, 20_000
            )
            to_mm = job.talk.number(f"{key}.to_mm", "Level in the end [mm]", 0, from_mm - 1.0)
            seconds = job.talk.number(f"{key}.seconds", "after how many seconds", 0.5, 36_000)
            flows_l_s.append(box_flow_l_s(job.site, from_mm, to_mm, seconds))
        found = repeats(flows_l_s)
        job.talk.say(
            f"  {flows_l_s[-1]:.3f} L/s; {len(flows_l_s)} so far, mean {found.mean:.3f}, spread "
            f"{100 * found.share:.1f} %"
        )
        if len(flows_l_s) < LEAST_REPEATS:
            continue
        if found.share <= SPREAD_MOST or len(flows_l_s) >= MOST_REPEATS:
            return found
        if not job.talk.yes(f"{key}.more", f"They differ by {100 * found.share:.0f} %. Measure once more?"):
            return found


def _judge_flow(job: Job, valve: int, found: Repeats, level_m: float, outcome: Outcome) -> None:
    name = job.names[valve]
    told_l_s = steady_flow_l_s(job.works, job.alone(valve), level_m)
    off = found.mean / told_l_s - 1.0
    outcome.figures[name] = {
        "flows_l_s": [round(flow_l_s, 4) for flow_l_s in found.values],
        "mean_l_s": round(found.mean, 4),
        "spread_l_s": round(found.spread, 4),
        "computed_l_s": round(told_l_s, 4),
        "level_mm": round(1000.0 * level_m),
    }
    sentence = (
        f"{name}: {found.mean:.3f} L/s (spread {found.spread:.3f}), computed {told_l_s:.3f}: "
        f"{100 * off:+.1f} %"
    )
    if found.share > SPREAD_MOST:
        outcome.fail(f"{sentence}; the measurements differ by {100 * found.share:.0f} %: do it again.")
    elif abs(off) <= FLOW_TOLERANCE:
        outcome.told.append(f"{sentence}.")
    else:
        outcome.fail(f"{sentence}, allowed {100 * FLOW_TOLERANCE:g} %.")
        outcome.advice.append(flow_advice(job.site, job.works, valve, found.mean, level_m))
