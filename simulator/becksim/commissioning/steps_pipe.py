"""Steps about the pipe: its pressure in each set, and a recorded slow closure beside the computed one."""

import csv
import io
import math
from typing import Any

import numpy as np

from becksim.commissioning.closure import Comparison, Stroke, compare, compute_stroke
from becksim.commissioning.figures import PRESSURE_TOLERANCE, loss_advice
from becksim.commissioning.job import HELD_MIN, STILL_S, Job, Outcome
from becksim.commissioning.record import LONGEST_S, Record, fetch_record
from becksim.commissioning.steps_first import static_mbar
from becksim.files import open_new

MOST_MASKS = 4  # of fixed jets, up to which every set is tried; chosen by us
LEAD_S = 1.0  # recorded before the first step; chosen by us
TAIL_LEAD_S = 2.0  # recorded of the stroke's end, if its swing needs a record of its own; chosen by us
QUICK_LOOK_S = 0.1  # how often it is asked whether the stroke has begun; chosen by us
UNSURE_S = 0.4  # from an order to its motor, and of the line; chosen by us


def check_pressures(job: Job) -> Outcome:
    """The pressure of standing water and of each set, against the compiled menu."""
    outcome = Outcome(True)
    flows_l_s, low_mbar = [], []
    for openings in standings(job):
        words = job.words(openings)
        key = f"pressures.{words.replace(' ', '')}"
        if any(openings):
            reason = job.agree(f"{key}.open", f"Let run: {words}? It takes {job.flow_l_s(openings):.2f} L/s")
            if reason:
                outcome.told.append(f"{words}: left out: {reason}.")
                continue
        stands, why = job.stand(openings) if any(openings) else (job.stop_and_wait(), "")
        if not stands:
            outcome.told.append(f"{words}: the device did not come to it ({why}); left out.")
            continue
        job.sleep(STILL_S)
        level_mm = 1000.0 * job.level_m()
        found = job.mean("pressure_mbar")
        if found is None:
            outcome.fail(f"{words}: the pressure is unknown.")
            continue
        target_mm = job.settings.rules.level_target_mm
        told = (
            job.pressure_mbar(openings) + static_mbar(job.site, level_mm) - static_mbar(job.site, target_mm)
        )
        outcome.figures[words] = {
            "mbar": round(found),
            "computed_mbar": round(told),
            "level_mm": round(level_mm),
        }
        flows_l_s.append(job.flow_l_s(openings))
        low_mbar.append(told - found)
    job.stop_and_wait()
    if sum(flow_l_s > 0.0 for flow_l_s in flows_l_s) == 0:
        outcome.fail("No set was measured with water running.")
        return outcome
    _judge_pressures(job, flows_l_s, low_mbar, outcome)
    return outcome


def standings(job: Job) -> list[list[int]]:
    """The sets to try, the least flow first; none beyond the pipe's ceiling."""
    jets = job.site.jets
    fixed = [place for place, jet in enumerate(jets) if jet.kind == "fixed"]
    every = range(1 << len(fixed))
    masks = [
        mask for mask in every if len(every) <= MOST_MASKS or mask.bit_count() < 2 or mask & (mask + 1) == 0
    ]
    found = [
        [1000 if place in fixed and mask >> fixed.index(place) & 1 else 0 for place in range(len(jets))]
        for mask in masks
    ]
    all_trims = [0 if place in fixed else 1000 for place in range(len(jets))]
    found += [
        job.alone(next(place for place in range(len(jets)) if place not in fixed)),
        [max(pair) for pair in zip(found[-1], all_trims, strict=True)],
    ]
    most_l_s = job.settings.rules.ceiling_ml_s / 1000.0
    fitting = [openings for openings in found if job.flow_l_s(openings) <= most_l_s]
    return sorted(fitting, key=job.flow_l_s)


def _judge_pressures(job: Job, flows_l_s: list[float], low_mbar: list[float], outcome: Outcome) -> None:
    static = static_mbar(job.site, job.site.intake.crest_level_mm)
    most_mbar = max(PRESSURE_TOLERANCE * static, float(job.settings.rules.pressure_doubt_mbar))
    worst = max(low_mbar, key=abs)
    outcome.figures["allowed_mbar"] = round(most_mbar)
    if abs(worst) <= most_mbar:
        outcome.told.insert(
            0, f"{len(flows_l_s)} standings, worst {-worst:+.0f} mbar off (allowed {most_mbar:.0f})."
        )
        return
    outcome.fail(
        f"The worst of {len(flows_l_s)} standings is {-worst:+.0f} mbar off, allowed {most_mbar:.0f}."
    )
    standing = [low for low, flow_l_s in zip(low_mbar, flows_l_s, strict=True) if flow_l_s == 0.0]
    if standing and abs(standing[0]) > most_mbar:
        outcome.told.append("Standing water is off, too: calibrate the transmitter first (step instruments).")
        return
    advice = loss_advice(job.site, flows_l_s, low_mbar)
    if advice is not None:
        outcome.advice.append(advice)
    else:
        outcome.told.append("No fittings explain it: look for another pipe, roughness or nozzle than told.")


def check_closure(job: Job) -> Outcome:
    """Close one jet by its slow ramp while the pressure is recorded; twice if one record is too short."""
    outcome = Outcome(True)
    possible = [name for valve, name in enumerate(job.names) if _possible(job, valve)]
    valve = job.names.index(
        job.talk.choice("closure.jet", "Which jet? The one with the most water tells most", possible)
    )
    start = job.alone(valve)
    stroke = compute_stroke(job.site, job.settings, valve, start)
    rise_bar = (float(np.max(stroke.mbar)) - stroke.after_mbar) / 1000.0
    job.talk.say(
        f"Computed for this stroke of {stroke.length_s:.0f} s: {rise_bar:.2f} bar above standing water "
        f"({stroke.after_mbar / 1000.0:.2f} bar), limit {stroke.limit_mbar / 1000.0:.2f} bar, swing once in "
        f"{stroke.period_s:.1f} s."
    )
    outcome.figures.update(
        jet=job.names[valve], stroke_s=round(stroke.length_s, 1), pipe_swing_s=round(stroke.period_s, 2)
    )
    if not stroke.ok:
        outcome.fail("The computed stroke itself breaks a limit of the pipe: it is not tried. See surge.")
        return outcome
    parts = windows(stroke, LONGEST_S)
    for place, (part, from_s, record_s) in enumerate(parts):
        question = (
            f"Open {job.names[valve]} fully, wait, close it by its ramp and record {record_s:.0f} s from "
            f"{from_s:.0f} s on ({place + 1} of {len(parts)})?"
        )
        reason = job.agree(f"closure.{part}", question)
        if reason:
            outcome.fail(f"The {part} was not recorded: {reason}.")
            continue
        _one_closure(job, stroke, start, part, from_s, record_s, outcome)
    if outcome.ok:
        outcome.told.append("The computed ramp is borne out by this pipe.")
    else:
        outcome.told.append("Until this has passed, every computed ramp is advice.")
    return outcome


def _possible(job: Job, valve: int) -> bool:
    """Whether the device can hold this jet alone."""
    openings = job.alone(valve)
    most_l_s = job.settings.rules.ceiling_ml_s / 1000.0
    return job.in_menu(openings) and job.flow_l_s(openings) <= most_l_s


def windows(stroke: Stroke, most_s: float) -> list[tuple[str, float, float]]:
    """What to record: name, from when after the first step, how long. [s]

    One record if the device's memory holds it; else one about the computed peak, and one of the swing that
    is left at the end.
    """
    whole_s = LEAD_S + stroke.record_s
    if whole_s <= most_s:
        return [("stroke", -LEAD_S, math.ceil(whole_s))]
    length_s = math.floor(most_s)
    peak_s = float(stroke.time_s[np.argmax(stroke.mbar)])
    tail_s = stroke.length_s - TAIL_LEAD_S
    from_s = max(-LEAD_S, min(peak_s - length_s / 2.0, tail_s))
    parts = [("peak", round(from_s, 1), float(length_s))]
    if from_s < tail_s - TAIL_LEAD_S:
        parts.append(("tail", round(tail_s, 1), float(length_s)))
    return parts


def _one_closure(
    job: Job, stroke: Stroke, start: list[int], part: str, from_s: float, record_s: float, outcome: Outcome
) -> None:
    stands, why = job.stand(start)
    if not stands:
        outcome.fail(f"The device does not open the jet now ({why}).")
        return
    job.sleep(STILL_S + 2.0 * stroke.period_s)
    level_mm = 1000.0 * job.level_m() - job.site.intake.crest_level_mm
    record = _record(job, stroke, from_s, record_s)
    if record is None:
        outcome.fail("The closing did not begin, or the record did not come.")
        return
    found = compare(
        stroke,
        record.seconds,
        record.mbar,
        began_s=record.began_s,
        unsure_s=record.unsure_s,
        lag_s=job.site.instruments.pressure.lag_s,
        noise_mbar=job.site.instruments.pressure.noise_mbar,
        level_mm=level_mm,
    )
    _tell(part, found, outcome)
    path = job.book.beside_it(f"-{part}.csv")
    with open_new(path) as file:
        file.write(as_csv(record, found))
    outcome.figures[part]["file"] = path.name
    outcome.figures[part]["missed"] = record.missed


def _record(job: Job, stroke: Stroke, from_s: float, record_s: float) -> Record | None:
    """Close by the ramp and record; times in the record count from its own start."""
    order = f"fastlog pressure_mbar {math.ceil(record_s)}"
    start = job.openings()
    if from_s < 0.0:
        job.link.order(f"{order} stroke")
    job.link.order(f"hold 0 0 {HELD_MIN}", yes=True)
    asked_s = before_s = job.clock()
    while job.openings() == start:
        before_s = job.clock()
        if before_s - asked_s > STILL_S:
            return None
        job.sleep(QUICK_LOOK_S)
    seen_s = job.clock()
    began_s = (before_s + seen_s) / 2.0
    if from_s >= 0.0:
        job.sleep(max(0.0, began_s + from_s - job.clock()))
        began_s -= job.clock()
        job.link.order(order)
    state, _ = job.watch(job.all_shut, job.longest_s(start, [0] * len(start)))
    job.sleep(max(0.0, seen_s + from_s + record_s + 1.0 - job.clock()))
    record = fetch_record(job)
    if state is None or record is None:
        return None
    if record.stroke_s is None:
        record.began_s, record.unsure_s = began_s, (seen_s - before_s) / 2.0 + UNSURE_S
    else:
        record.began_s, record.unsure_s = record.stroke_s, UNSURE_S
    return record


def _tell(part: str, found: Comparison, outcome: Outcome) -> None:
    figures: dict[str, Any] = {
        "peak_mbar": round(found.peak_mbar),
        "computed_mbar": round(found.computed_mbar),
        "computed_as_shown_mbar": round(found.computed_slowed_mbar),
        "static_mbar": round(found.static_mbar),
        "peak_s": round(found.peak_s, 1),
        "computed_peak_s": round(found.computed_peak_s, 1),
        "swing_s": None if found.period_s is None else round(found.period_s, 2),
        "computed_swing_s": None if found.computed_period_s is None else round(found.computed_period_s, 2),
        "laid_s": round(found.laid_s, 2),
    }
    outcome.figures[part] = figures
    swing = (
        "no swing to be told from it"
        if found.period_s is None or found.computed_period_s is None
        else f"it swung once in {found.period_s:.2f} s, computed {found.computed_period_s:.2f}"
    )
    outcome.told.append(
        f"Record of the {part}: {found.peak_mbar:.0f} mbar above standing water after {found.peak_s:.1f} s, "
        f"computed {found.computed_mbar:.0f} ({found.computed_slowed_mbar:.0f} as so slow a transmitter"
        f" shows it) after {found.computed_peak_s:.1f} s; {swing}."
    )
    for problem in found.problems:
        outcome.fail(problem)


def as_csv(record: Record, found: Comparison) -> str:
    """The record beside the computed curve, seconds from the first step."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["s", "recorded_mbar", "computed_mbar"])
    for row in zip(record.seconds - found.laid_s, record.mbar, found.like_it, strict=True):
        rows.writerow([f"{row[0]:.2f}", f"{row[1]:.0f}", f"{row[2]:.1f}"])
    return text.getvalue()
