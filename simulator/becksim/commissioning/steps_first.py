"""Steps before any water is needed: the stop switch, and the instruments by two points."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from becksim.commissioning.figures import PRESSURE_TOLERANCE
from becksim.commissioning.file import Advice
from becksim.commissioning.job import Job, Outcome, State
from becksim.site import Site
from becksim.works import head_pa

SEEN_S = 10.0  # a pressed switch is seen within one sample, and told at the next look; chosen by us
SETTLE_S = 10.0  # until an instrument shows what it now feels; chosen by us
LITTLE_PERMILLE = 100  # a jet is opened so far, that its closing is seen; chosen by us

# What the means of comparison themselves may be wrong by; chosen by us.
RULER_MM = 5.0
GAUGE_SHARE = 0.01  # of the static pressure: a gauge of class 1
METER_SHARE = 0.005  # of the voltage
METER_MV = 20.0
THERMOMETER_DECIC = 10.0


def check_stop(job: Job) -> Outcome:
    """Press the stop, then break its wire: both must close everything; both undone, it must be forgotten."""
    outcome = Outcome(True)
    question = (
        f'Open the jet "{job.names[0]}" by {LITTLE_PERMILLE / 10:g} % first, so that its closing is seen? '
        "Water runs unless its hand valve is shut"
    )
    opened = job.talk.yes("stop.open", question)
    if opened:
        job.let_go()
        opened = job.jog(0, LITTLE_PERMILLE)
        if not opened:
            outcome.fail("The jet could not be opened a little; its closing was not seen.")
    else:
        outcome.told.append("All jets were shut already: their closing was not seen.")
    for key, do, undo in (
        ("press", "Press the local stop, and leave it pressed", "Release the local stop"),
        ("break", "Take one wire of the local stop off its terminal", "Put the wire back on"),
    ):
        job.talk.done(f"stop.{key}", do)
        state, seen = job.watch(_stopped, SEEN_S)
        outcome.figures[f"{key}_seen"] = state is not None
        if state is None:
            outcome.fail(f"{do}: the device did not say that it is stopped within {SEEN_S:g} s.")
        elif opened:
            longest_s = job.longest_s(job.alone(0, LITTLE_PERMILLE), job.alone(0, 0))
            shut, _ = job.watch(job.all_shut, longest_s)
            outcome.figures["closed"] = shut is not None
            if shut is None:
                outcome.fail("The jet was not ordered shut.")
            elif not job.talk.yes("stop.closed", "Has the jet closed, slowly, to its end?"):
                outcome.fail("The jet did not close to its end.")
            opened = False
        job.talk.done(f"stop.{key}_undone", undo)
        state, _ = job.watch(lambda state: not _stopped(state), SEEN_S)
        if state is None:
            outcome.fail(f"{undo}: the device still says that it is stopped.")
    if outcome.ok:
        outcome.told.insert(0, "Pressed, and with a wire off, the device said stopped; undone, it did not.")
    return outcome


def _stopped(state: State) -> bool:
    """By the switch, and told to the owner; the reason may be another that closes the jets as well."""
    told = any(row["alarm"] == "stop_pressed" for row in state["alarms"])
    return state["readings"]["run_switch"] == 0 and told


@dataclass(frozen=True)
class Held:
    """How one instrument is held against something better.

    Attributes
    ----------
    name : str
        Its reading.
    title : str
        For people.
    unit : str
        What the person measures in.
    times : float
        From that into the reading's own unit.
    lowest, highest : float
        What may be typed.
    first, second : str
        What to do for each point.
    accuracy : callable
        How far off it may be at a value, by the site's instrument and the means of comparison.
    """

    name: str
    title: str
    unit: str
    times: float
    lowest: float
    highest: float
    first: str
    second: str
    accuracy: Callable[[Site, float], float]


def static_mbar(site: Site, level_mm: float) -> float:
    """The manifold's pressure with all shut. [mbar]"""
    above_m = (level_mm - site.intake.crest_level_mm) / 1000.0
    return head_pa(site.penstock.gross_head_m + above_m) / 100.0


def _own(noise: float, resolution: float) -> float:
    """What an instrument itself may be off by: three standard deviations and its step."""
    return 3.0 * noise + resolution


def _level_accuracy(site: Site, _: float) -> float:
    level = site.instruments.level
    return _own(level.noise_mm, level.resolution_mm) + RULER_MM


def _pond_accuracy(site: Site, _: float) -> float:
    pond = site.instruments.pond
    return _own(pond.noise_mm, pond.resolution_mm) + RULER_MM


def _pressure_accuracy(site: Site, _: float) -> float:
    pressure = site.instruments.pressure
    gauge_mbar = GAUGE_SHARE * static_mbar(site, site.intake.crest_level_mm)
    return _own(pressure.noise_mbar, pressure.resolution_mbar) + gauge_mbar


def _battery_accuracy(site: Site, mv: float) -> float:
    battery = site.instruments.battery
    return _own(battery.noise_mv, battery.resolution_mv) + METER_MV + METER_SHARE * abs(mv)


def _bus_accuracy(site: Site, mv: float) -> float:
    bus = site.instruments.bus
    return _own(bus.noise_mv, bus.resolution_mv) + METER_MV + METER_SHARE * abs(mv)


def _warmth_accuracy(site: Site, _: float) -> float:
    warmth = site.instruments.temperature
    return _own(10.0 * warmth.noise_c, 10.0 * warmth.resolution_c) + THERMOMETER_DECIC


_STAFF = "measure with a ruler from the crown of the pipe's mouth up to the water"
_TWO_METERS = "measure at the same terminals with a multimeter"
_ICE = "Put the sensor into melting ice for some minutes"
_WARM = "Put the sensor into water of a room's warmth beside a thermometer for some minutes"
INSTRUMENTS = (
    Held(
        "level_mm",
        "Level in the intake",
        "mm",
        1.0,
        -2_000,
        20_000,
        f"Let the intake fill to its crest; {_STAFF}",
        f"Let the intake down as far as may be; {_STAFF}",
        _level_accuracy,
    ),
    Held(
        "pressure_mbar",
        "Pressure at the manifold",
        "bar",
        1000.0,
        -1,
        60,
        "Shut the transmitter's small valve and open its vent: it feels the air, 0 bar",
        "Fill the pipe, shut every jet, open the small valve; read a dial gauge at the manifold",
        _pressure_accuracy,
    ),
    Held(
        "battery_mv",
        "Battery voltage",
        "V",
        1000.0,
        0,
        1_000,
        f"Let the battery rest or feed the house; {_TWO_METERS}",
        f"Charge it, or put another known voltage there; {_TWO_METERS}",
        _battery_accuracy,
    ),
    Held(
        "bus_mv",
        "Bus voltage",
        "V",
        1000.0,
        0,
        2_000,
        f"With the wheel at rest; {_TWO_METERS}",
        f"Put a known voltage there, or run the wheel; {_TWO_METERS}",
        _bus_accuracy,
    ),
    Held("temp_decic", "Battery temperature", "degC", 10.0, -40, 80, _ICE, _WARM, _warmth_accuracy),
    Held(
        "pond_mm",
        "Level in the storage pond",
        "mm",
        1.0,
        -10_000,
        30_000,
        "Measure from the middle of the pond's outlet up to the water",
        "The same with the pond much lower or higher, or with the probe lifted by a known height",
        _pond_accuracy,
    ),
    Held("air_decic", "Outdoor temperature", "degC", 10.0, -50, 60, _ICE, _WARM, _warmth_accuracy),
)


def check_instruments(job: Job) -> Outcome:
    """Every instrument at two points; calibrated where the person wants it."""
    outcome = Outcome(True)
    fitted = job.fitted()
    done = 0
    for one in INSTRUMENTS:
        if one.name not in fitted:
            continue
        job.talk.say("")
        job.talk.say(one.title, "bold")
        key = f"instruments.{one.name}"
        what = job.talk.choice(
            f"{key}.what",
            "Two points and set it right, look only, or leave it out?",
            ("set", "look", "leave"),
        )
        if what == "leave":
            reason = job.talk.text(f"{key}.leave_not", "Why?")
            outcome.told.append(f"{one.title}: left out: {reason}.")
            continue
        done += 1
        _hold(job, one, key, what == "set", outcome)
    if not done:
        outcome.fail("Nothing was compared.")
    return outcome


def _hold(job: Job, one: Held, key: str, setting: bool, outcome: Outcome) -> None:
    """One instrument at both points."""
    figures: dict[str, Any] = {"set": setting}
    outcome.figures[one.name] = figures
    worst, true = 0.0, 0.0
    for point, instruction in (("first", one.first), ("second", one.second)):
        job.talk.done(f"{key}.{point}_there", instruction)
        if one.name == "pressure_mbar" and point == "second":
            bar = static_mbar(job.site, 1000.0 * job.level_m()) / one.times
            job.talk.say(f"By the site's head, standing water gives {bar:.3f} bar.")
        true = one.times * job.talk.number(
            f"{key}.{point}", f"Measured [{one.unit}]", one.lowest, one.highest
        )
        job.sleep(SETTLE_S)
        shown = job.mean(one.name)
        figures[f"{point}_true"], figures[f"{point}_shown"] = true, shown
        if one.name == "pressure_mbar" and point == "second":
            _judge_head(job, true, outcome)
        if shown is None and not setting:
            outcome.fail(f"{one.title}: the device shows nothing: look at its wires.")
            return
        if shown is not None:
            off, most = shown - true, one.accuracy(job.site, true)
            figures[f"{point}_off"], figures[f"{point}_most"] = round(off, 1), round(most, 1)
            worst = max(worst, abs(off) / most)
            job.talk.say(_off(one, shown, off, most))
        if setting:
            answer = job.link.ask(f"calibrate {one.name} {round(true)}")
            figures.update({key: answer[key] for key in ("scale", "wired") if key in answer})
            if not answer["ok"]:
                outcome.fail(f"{one.title}: not set right: {answer.get('error', 'refused')}.")
                return
    if not setting:
        apart = abs(figures["second_true"] - figures["first_true"])
        if apart < 2.0 * one.accuracy(job.site, true):
            outcome.told.append(f"{one.title}: both points are about the same: it is held at one only.")
        if worst > 1.0:
            outcome.fail(f"{one.title}: further off than its accuracy allows: set it right.")
        else:
            outcome.told.append(f"{one.title}: within its accuracy at what was measured.")
        return
    shown = job.mean(one.name)
    figures["after_shown"] = shown
    most = one.accuracy(job.site, true)
    off = 2.0 * most if shown is None else shown - true
    figures["after_off"] = None if shown is None else round(off, 1)
    if shown is None or abs(off) > most:
        outcome.fail(f"{one.title}: still off after it was set right; did the value move meanwhile?")
    else:
        outcome.told.append(f"{one.title}: set right by two points. {_off(one, shown, off, most)}")


def _off(one: Held, shown: float, off: float, most: float) -> str:
    shown, off, most = shown / one.times, off / one.times, most / one.times
    return f"It shows {shown:.6g} {one.unit}, off by {off:+.3g}; allowed {most:.3g}."


def _judge_head(job: Job, gauge_mbar: float, outcome: Outcome) -> None:
    """The gauge at standing water beside the site's head."""
    level_mm = 1000.0 * job.level_m()
    head_mbar = static_mbar(job.site, level_mm)
    outcome.figures["static_by_head_mbar"] = round(head_mbar, 1)
    if abs(gauge_mbar - head_mbar) <= PRESSURE_TOLERANCE * head_mbar:
        return
    above_m = (level_mm - job.site.intake.crest_level_mm) / 1000.0
    found_m = gauge_mbar / (head_pa(1.0) / 100.0) - above_m
    outcome.fail(
        f"Standing water gives {gauge_mbar / 1000.0:.3f} bar by the gauge, {head_mbar / 1000.0:.3f} by the "
        "site's head: is the pipe full, are all jets shut, is the head right?"
    )
    outcome.advice.append(
        Advice(
            "penstock.gross_head_m",
            job.site.penstock.gross_head_m,
            round(found_m, 2),
            "the gauge at standing water says so, if the pipe was full and shut",
        )
    )
