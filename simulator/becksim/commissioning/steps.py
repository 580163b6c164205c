"""The steps of commissioning, in their order: what each is for, what could hurt, what does it.

[(step.name, step.title) for step in STEPS]
"""

from collections.abc import Callable
from dataclasses import dataclass

from becksim.commissioning import file as verdicts
from becksim.commissioning.job import Job, Outcome
from becksim.commissioning.steps_first import check_instruments, check_stop
from becksim.commissioning.steps_pipe import check_closure, check_pressures
from becksim.commissioning.steps_plant import check_air, check_power
from becksim.commissioning.steps_valves import check_flows, check_valves


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    name : str
        What results are kept under, and what `--step` takes.
    title, purpose : str
        What is done; what for.
    caution : str
        What could hurt; empty if nothing.
    moves_water : bool
        Whether it opens valves: not while the stop switch has failed its step.
    run : callable
        Does it.
    """

    name: str
    title: str
    purpose: str
    caution: str
    moves_water: bool
    run: Callable[[Job], Outcome]


def sign_off(job: Job) -> Outcome:
    """Go through all results; the names of those who answer for it."""
    outcome = Outcome(True)
    for step in STEPS[:-1]:
        result = job.book.standing(step.name)
        verdict = "not done" if result is None else result.verdict
        job.talk.say(f"  {step.name:12} {verdict:8} {'' if result is None else result.date[:10]}")
        if verdict == "not done":
            outcome.fail(f"{step.title}: not done.")
        elif verdict == verdicts.FAILED:
            outcome.fail(f"{step.title}: has not passed.")
    closure = job.book.standing("closure")
    if closure is None or closure.verdict != verdicts.PASSED:
        job.talk.caution("The recorded closure has not passed: every computed ramp is advice, no more.")
    names = [job.by]
    while job.talk.yes("sign-off.more", f"Signed by {', '.join(names)}. Does anybody else sign?"):
        names.append(job.talk.text("sign-off.name", "Name"))
    outcome.figures["names"] = names
    outcome.told.insert(0, f"Signed by {', '.join(names)}.")
    return outcome


CAUTIONS = (
    "A full pipe is a pressure vessel. Stand clear of joints and bends while valves move.",
    "The wheel can start by itself: guard closed, jets shut by hand before you reach in.",
    "Direct current holds an arc; a battery can burn and gas. What is licensed work stays so.",
    "Cold, fast water. Do not work alone; tell somebody when you are back. Not in a thunderstorm.",
    "This device is no safety relay: the hard-wired stop, the relief valve and the guard stay.",
    "A computed ramp is advice until the recorded closure (step closure) has passed on your pipe.",
    "Taking water, wildlife and wiring have local rules: they come first.",
)

STEPS = (
    Step(
        "stop",
        "Stop switch",
        "The local stop, or a break of its wire, must close every jet by itself.",
        "A jet may stand a little open for this. Hands off the wheel.",
        False,
        check_stop,
    ),
    Step(
        "instruments",
        "Instruments by two points",
        "Every reading is held against a ruler, a gauge or a meter at two points, and set right.",
        "Battery and bus terminals carry deadly currents: insulated tools. Nobody in a full intake.",
        False,
        check_instruments,
    ),
    Step(
        "valves",
        "Valve directions and strokes",
        "Each motor must turn the right way, and take as long as the site file says.",
        "Shut the hand valve before the jets, or the intake: no water is needed. Fingers off the gears.",
        True,
        check_valves,
    ),
    Step(
        "flows",
        "Flow of each jet",
        "What each jet really takes, by bucket and watch or by the fall of the intake.",
        "The wheel will run: guard closed, load connected. Mind your footing at the tailrace.",
        True,
        check_flows,
    ),
    Step(
        "pressures",
        "Pressure of each set against prediction",
        "Whether the pipe loses what was computed: the guards compare with these figures ever after.",
        "The wheel will run. Stand clear of the pipe while valves move.",
        True,
        check_pressures,
    ),
    Step(
        "closure",
        "A recorded slow closure",
        "The pressure while a jet closes is recorded and laid beside the computed one. Until this "
        "has passed, a computed ramp is advice.",
        "A pressure surge is made on purpose. Nobody near pipe and joints; a dial gauge watched from aside.",
        True,
        check_closure,
    ),
    Step(
        "air",
        "Filling and bleeding",
        "The device restarts, fills the pipe, lets the air out, and only then opens more.",
        "Trapped air spits: stand clear of the nozzles and of bleed valves.",
        True,
        check_air,
    ),
    Step(
        "power",
        "Power cut",
        "The supply is cut while a jet is open; when it returns every valve must close slowly by itself.",
        "Use the supply's own switch or fuse holder, not bare wires. The jet stays open while it is dark.",
        True,
        check_power,
    ),
    Step(
        "sign-off",
        "Sign-off",
        "All steps are gone through, and those who answer for it give their names.",
        "",
        False,
        sign_off,
    ),
)
NAMES = tuple(step.name for step in STEPS)
