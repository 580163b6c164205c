"""The tables of faults and alarms, made from the device's own code so that both agree: see made.py."""

from becklight import alarms, crosscheck, drift, effect, noise, overspeed, refused, sinking, trust, witness
from becklight.device import restarts
from becksim.report import instrument_table
from becksim.report.alarm_words import WORDS
from becksim.report.lengths import length

HEAD = (
    "| alarm | how told apart | raised after | what the engine does | rank | first thing to check |\n"
    "| --- | --- | --- | --- | --- | --- |"
)
RANKS = {alarms.COME_NOW: "1 come now", alarms.TODAY: "2 today", alarms.WHEN_THERE: "3 when there"}

_GONE = "open, short, or no sample for 10 s"


_STEPPED = f" (then believed, but told for {length(witness.STEP_MS)})"
_FROZEN = f"; or the same to the last digit at its number of looks, {trust.LOOK_MS // 60_000} min apart"
_FROZEN_RUNNING = _FROZEN + " while jets run"


def _lies(hold_ms: int, stepped: str = _STEPPED, frozen: str = _FROZEN) -> str:
    return (
        f"out of range; or further off in one sample than the plant can move, until it has stood for "
        f"{length(hold_ms)}{stepped}{frozen}; or {witness.MOST_UPSETS} such upsets in an hour, for an hour; "
        f"or turned back {noise.MOST_TURNS} times in {noise.BURST_SAMPLES} samples, in {noise.NOISY_BURSTS} "
        f"bursts of them more than not"
    )


_DRIFT = (
    f"; or {drift.DRIFT_PERMILLE // 10} to {drift.GROSS_PERMILLE // 10} % below, or more than "
    f"{drift.DRIFT_PERMILLE // 10} % above what the water above gives, all jets closed, for "
)
_NO_FLOW = (
    f"; or, jets open, {crosscheck.ABOVE_PERMILLE // 10} % above that, or as if nothing flowed though the "
    f"wheel turns, for {length(crosscheck.PRESSURE_LIES_MS)}"
)
_WHEEL = (
    f"; or, for {length(crosscheck.BUS_LIES_MS)}, below half while the pressure shows that its jets run, or "
    "as if it turned though all are closed and the pressure shows it"
)
_SPARE_WHEEL = (
    f"; or, for {length(crosscheck.BUS_LIES_MS)}, below half while its jets run and the pressure shows a "
    "flow, or as if it turned though every jet of the plant is closed and the pressure shows it"
)
_SINKS = (
    f"; or `level_sink_mm` lower in {length(sinking.WINDOW_MS)}, all jets closed, below every outlet (a leak "
    "does the same: told, but believed)"
)


_AFTER = length(effect.FIRST_MS)
WATER = f"pressure and bus voltage, means of {effect.LOOKS} looks from {_AFTER} after the move on, are"

# By name: how told apart; what the engine does.
HOW = {
    "level_gone": (
        _GONE,
        "takes nothing more; after `lost_hold_ms` at most `blind_flow_ml_s` while it believes the pressure, "
        "else closes all jets by the slow ramps",
    ),
    "level_lies": (_lies(trust.LEVEL_HOLD_MS) + _SINKS, "the same"),
    "pressure_gone": (
        _GONE,
        "goes on by the level, blind to burst, leak and blocking; takes a pipe to be full after `fill_ms`",
    ),
    "pressure_lies": (
        _lies(trust.PRESSURE_HOLD_MS, "", _FROZEN_RUNNING) + _DRIFT + length(drift.DRIFT_HOLD_MS) + _NO_FLOW,
        "the same",
    ),
    "battery_gone": (_GONE, "neither eases nor resumes: stays as it was; the pond stays as it was"),
    "battery_lies": (_lies(trust.BATTERY_HOLD_MS), "the same"),
    "bus_gone": (_GONE, "sees surplus by the battery's voltage alone, and no overspeed"),
    "bus_lies": (_lies(trust.BUS_HOLD_MS, "", _FROZEN_RUNNING) + _WHEEL, "the same"),
    "pond_gone": (_GONE, "closes the pond's valve"),
    "pond_lies": (_lies(trust.POND_HOLD_MS), "the same"),
    "temp_gone": (_GONE, "takes the battery to be at 25 degrees C"),
    "temp_lies": (_lies(trust.TEMP_HOLD_MS), "the same"),
    "air_gone": (_GONE, "takes frost for granted in its months, if the date is known"),
    "air_lies": (_lies(trust.TEMP_HOLD_MS, frozen=""), "the same"),
    "level_low": (
        "believed level below `level_floor_mm`, while jets draw",
        "closes all jets by the slow ramps; once all is closed and it is still as low, each hour every valve "
        "anew from fully open",
    ),
    "residual_short": (
        "believed level below what lets the stream's due past, while jets draw",
        "takes less as soon as the level leaves its band",
    ),
    "pipe_burst": (
        "pressure collapsed against what stands open, or below the static one with all closed",
        "closes all jets by the slow ramps; stays closed, though the alarm be seen, until "
        "`owner.clear_pipe()` says that the pipe has been walked; then fills and bleeds it as at a start",
    ),
    "jet_blocked": (
        "pressure above what stands open explains; which jet: by comparing standings with and without it, or "
        "at once by a valve that says open and changes neither pressure nor bus voltage",
        "nothing: the jets take less than it thinks",
    ),
    "screen_blocked": (
        "pressure low, and `flush_most` flushes without cure",
        "keeps to the flow that the pressure bears; no further flush until `owner.clear_screen()`",
    ),
    "leak_or_air": (
        "pressure below what stands open explains, for `pressure_hold_ms`",
        "pauses for a flush, if one is free; else a quarter less, and again while it is low",
    ),
    "overspeed": (
        "bus voltage near the most that the regulator takes",
        "the smallest set, then all closed; resumes once it has been well below",
    ),
    "pipe_frozen": ("jets opened, pressure still the static one", "nothing: goes on as if it were not"),
    "battery_low": (
        "believed voltage below `battery_low_mv` for `low_hold_ms`",
        "opens the pond, if there is one and the stream alone is not plenty",
    ),
    "pond_low": ("battery low, pond at its lowest", "closes the pond's valve until it has refilled"),
    "stop_pressed": ("the run switch is open, or its wire", "closes all jets by the slow ramps, opens none"),
    "held_by_owner": (
        "ordered by the owner: a hold, a stop, a lock",
        "keeps the held jets while every rule bears their flow; stopped: closes all by the slow ramps; what "
        "is locked stays shut, the rest carries on",
    ),
    "restarted": (
        "first step after power-up",
        "drives every valve shut from where its feedback says (without: from fully open), then starts as "
        "from empty",
    ),
    "settings_refused": (
        "the settings are of another version, or broken",
        f"does not run: closes every valve from where its feedback says (without: from fully open), one at a "
        f"time by {refused.STEP_PERMILLE} permille each {length(refused.STEP_MS)}; opens nothing",
    ),
    "program_failed": (
        "an error in the program itself, or the watchdog",
        f"closes every valve by its own slow ramp from where it stands, then starts anew; after "
        f"{restarts.MOST} such starts in a row, each within {length(1000 * restarts.GOOD_S)}, stays closed "
        f"until the owner lets it run again, or {restarts.GOOD_RUNS} power-ups that each run as long",
    ),
    "clock_lost": ("no day of the year", "keeps the strictest month's residual flow"),
    "valve_stuck": (
        f"after a move: less than a tenth of the travel, by feedback; without feedback {WATER} as "
        "if it alone had not moved: at once if it moved alone, else by the second such move. Not told: what "
        "changes neither by more than its doubt, nor what never moves",
        "orders its jet shut and chooses among the others, until it moves again or `owner.clear_valves()`",
    ),
    "valve_half": (
        "after a move: some of the travel, not all, by feedback; without feedback only the last one to shut",
        "the same, but until it gets there or `owner.clear_valves()`",
    ),
    "valve_wrong_way": ("after a move: travel against the order, by feedback", "the same"),
    "valve_drifts": ("travel with nothing ordered, by feedback", "nothing: its jet stays in use"),
    "valve_end_lies": (
        f"feedback says shut, {WATER} as if it were not. Feedback that says open over a jet without water "
        "is told as `jet_blocked`",
        "the same",
    ),
    "spare_bus_gone": (_GONE, "sees no overspeed of the spare wheel; if it is shut for that, keeps it shut"),
    "spare_bus_lies": (
        _lies(trust.BUS_HOLD_MS, "", _FROZEN + " while its jets run") + _SPARE_WHEEL,
        "the same",
    ),
    "spare_overspeed": (
        "the spare wheel's bus voltage near the most that its own regulator takes",
        "shuts the spare wheel's jets by the slow ramps, before any other valve moves, and the main wheel "
        "carries on. It runs again once it has been well below for `bus_calm_hold_ms`, each time anew for "
        f"twice as long up to {length(overspeed.LONGEST_CALM_MS)}, until it has run well for "
        "`restart_good_ms`",
    ),
}


def table() -> str:
    """The whole table in Markdown.

    Returns
    -------
    str
        One line an alarm, no newline at the end.
    """
    rows = [HEAD]
    for code, name in enumerate(alarms.NAMES):
        rank, delay_ms, _, _ = alarms.ALARMS[code]
        apart, does = HOW[name]
        cells = (f"`{name}`", apart, length(delay_ms), does, RANKS[rank], WORDS[name][1])
        rows.append("| " + " | ".join(cells) + " |")
    return "\n".join(rows)


def faults() -> str:
    """The alarms, then the instruments' faults.

    Returns
    -------
    str
        No newline at the end.
    """
    return f"{table()}\n\nSo a fault of an instrument is told:\n\n{instrument_table.table()}"


def first_checks() -> str:
    """What each alarm asks of whoever comes, for the page on maintenance.

    Returns
    -------
    str
        No newline at the end.
    """
    rows = ["| alarm | rank | first thing to check |", "| --- | --- | --- |"]
    for code, name in enumerate(alarms.NAMES):
        rows.append(f"| `{name}` | {alarms.ALARMS[code][0]} | {WORDS[name][1]} |")
    return "\n".join(rows)
