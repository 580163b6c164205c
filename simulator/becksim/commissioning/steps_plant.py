"""Steps about the whole plant: filling and bleeding, a power cut."""

from becksim.commissioning.job import HELD_MIN, LOOK_S, Job, Outcome, State
from becksim.console_link import RETURN_S, LinkError
from becksim.trains import engine_train, length_s

HOMING = ("starting", "homing")
LONGEST_DARK_S = 900.0  # between the cut and the supply's return; chosen by us
# Of a whole closing by the ramps, so long the homing lasts at least: the link comes back a little later.
LEAST_HOMING = 0.8


def check_air(job: Job) -> Outcome:
    """Restart the device with the pipe drained or full; before it opens a set it must bleed the pipe."""
    outcome = Outcome(True)
    job.talk.say(
        "Best done once with the pipe drained and its intake valve then opened: filling is seen, too."
    )
    valve = job.least_jet()
    question = (
        "Restart the device: it closes every valve, waits for a full pipe, and bleeds it before it opens "
        f"{job.names[valve]}, which stays open at last?"
    )
    reason = job.agree("air.restart", question)
    if reason:
        outcome.fail(f"Left out: {reason}.")
        return outcome
    before = job.state()
    job.link.order("restart", yes=True)
    state, seen = _back_and_shut(job, int(before["boot"]))
    outcome.figures["boot"] = [before["boot"], None if state is None else state["boot"]]
    if state is None:
        outcome.fail("It has not come back and closed every valve.")
        return outcome
    openings = job.alone(valve)
    mask, trim = job.set_of(openings)
    job.link.order(f"hold {mask} {trim} {HELD_MIN}", yes=True)
    stood, more = job.watch(lambda state: job.stands(state, openings), job.longest_start_s())
    pressure_mbar = job.mean("pressure_mbar")
    calm = job.talk.yes("air.calm", "Does the jet run without spitting, do the bleed valves give water only?")
    seen += more
    names = [name for _, name in seen]
    outcome.figures["reasons"] = [[seconds, name] for seconds, name in seen]
    outcome.figures["pressure_mbar"] = None if pressure_mbar is None else round(pressure_mbar)
    if "bleeding" not in names:
        outcome.fail("It did not say that it bleeds the pipe.")
    if stood is None:
        outcome.fail(f"It has not opened the jet in its time; last it said {names[-1]}.")
    if not calm:
        outcome.fail("There is still air in the pipe: bleed it by hand at its high points, and begin again.")
    if outcome.ok:
        told = "filled and bled" if "filling" in names else "found full, and bled"
        outcome.told.append(f"The pipe was {told} before the jet opened; no air was left.")
    job.stop_and_wait()
    return outcome


def _back_and_shut(job: Job, boot: int) -> tuple[State | None, list[tuple[float, str]]]:
    """After `restart`: closed, started anew, closed from wherever the valves stood."""
    longest_s = job.longest_s([1000] * len(job.names), [0] * len(job.names)) + job.longest_home_s()
    until_s = job.clock() + longest_s
    state: State | None = None
    while state is None or state["boot"] == boot:
        if job.clock() > until_s:
            return None, []
        job.sleep(LOOK_S)
        try:
            state = job.state()
        except LinkError:
            state = job.link.wait_back(RETURN_S)
    return job.watch(job.all_shut, longest_s)


def check_power(job: Job) -> Outcome:
    """Cut the supply with a jet open; at its return all must close slowly from wherever it stands."""
    outcome = Outcome(True)
    valve = min(range(len(job.names)), key=lambda place: job.flow_l_s(job.alone(place)))
    openings = job.alone(valve)
    reason = job.agree(
        "power.open",
        f"Open {job.names[valve]} fully, to cut the supply while it is open? It stays open in the dark",
    )
    if reason:
        outcome.fail(f"Left out: {reason}.")
        return outcome
    stands, why = job.stand(openings)
    if not stands:
        outcome.fail(f"The device does not open the jet now ({why}).")
        return outcome
    before = job.state()
    job.link.drop()
    job.talk.done(
        "power.cut", "Cut the device's supply, and take its serial cable off too if that could feed it. Dark?"
    )
    job.talk.done("power.back", "Give the supply back, then the cable. Is its lamp on?")
    first = job.link.wait_back(LONGEST_DARK_S)
    state, seen = job.watch(job.all_shut, job.longest_home_s())
    job.stop()
    _judge_power(job, valve, before, first, state, seen, outcome)
    question = f"Did {job.names[valve]} close slowly, to its end, without a knock in the pipe?"
    if not job.talk.yes("power.closed", question):
        outcome.fail(f"{job.names[valve]} did not close as it should.")
    return outcome


def _judge_power(
    job: Job,
    valve: int,
    before: State,
    first: State,
    state: State | None,
    seen: list[tuple[float, str]],
    outcome: Outcome,
) -> None:
    boots = int(first["boot"]) - int(before["boot"])
    outcome.figures["boot"] = [before["boot"], first["boot"]]
    outcome.figures["reasons"] = [[seconds, name] for seconds, name in seen]
    outcome.figures["first_uptime_s"] = first["uptime_s"]
    if boots != 1:
        outcome.fail(
            "The supply was not cut: the device has not started anew."
            if boots == 0
            else f"The device started {boots} times, not once: is its supply sound?"
        )
    if str(first["reason"]) not in HOMING:
        outcome.fail(f"After the cut it first said {first['reason']}, not that it closes every valve.")
    if state is None:
        outcome.fail("It has not come to the end of closing every valve.")
        return
    homed_s = float(state["uptime_s"])
    train = engine_train(job.settings, job.alone(valve), job.alone(valve, 0))
    slow_s = LEAST_HOMING * length_s(train, job.motors_s)
    outcome.figures["homed_s"] = homed_s
    if homed_s < slow_s:
        outcome.fail(
            f"It was done after {homed_s:.0f} s; the open jet alone needs {slow_s:.0f} s by its ramp."
        )
    if outcome.ok:
        outcome.told.append(
            f"One new start; it closed every valve by the ramps and was done {homed_s:.0f} s after power-up."
        )
