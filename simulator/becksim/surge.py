"""Surge: what every order and the likeliest mishaps do to the pipe, and how slow is slow enough.

report = analyse(load_site("upland-hostel"))
as_json(report)["fastest"]
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from becklight.ramps import travel_time_ms
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.hazards import hazards
from becksim.mishaps import Mishap, find_mishaps
from becksim.moves import Outcome, play
from becksim.pipemodel import PipeModel
from becksim.rampsearch import (
    CLOSE,
    OPEN,
    changeovers,
    check_standing,
    choose_ramps,
    moved,
    strokes_s,
    surroundings,
    turned_trains,
)
from becksim.site import Site
from becksim.trains import Train, engine_train
from becksim.works import Works, build_jets

STILL_RETURNS = 16.0  # a pause of so many 2L/a parts one move from the next; chosen by us
DIRECTIONS = ((OPEN, "opening"), (CLOSE, "closing"))


@dataclass(frozen=True)
class Move:
    """One move by the device's own ramps; `valves` are those that move, `alone` if it is a single stroke."""

    valves: tuple[int, ...]
    alone: bool
    train: Train
    outcome: Outcome


@dataclass(frozen=True)
class Ramp:
    """How fast a valve may move; `in_settings_s` and `step_ms` are what the device is told. [s]"""

    valve: int
    direction: str
    fastest_s: float
    in_settings_s: float
    fastest_step_ms: int
    step_ms: int


@dataclass(frozen=True)
class SurgeReport:
    """What `analyse` found."""

    site: Site
    settings: dict[str, Any]
    model: PipeModel
    moves: tuple[Move, ...]  # single strokes, then changeovers
    turned: tuple[Move, ...]  # changeovers given another goal midway
    pairs: int  # changeovers there are, of which those in `moves` were played
    mishaps: tuple[Mishap, ...]
    ramps: tuple[Ramp, ...]
    hazards: tuple[str, ...]  # of the electrics; no ramp rules them

    @property
    def ok(self) -> bool:
        """Whether no order breaks the limit; mishaps do not count."""
        return all(move.outcome.ok for move in (*self.moves, *self.turned))

    @property
    def names(self) -> list[str]:
        """The jets' names."""
        return [jet.name for jet in self.site.jets]

    @property
    def complaints(self) -> list[str]:
        """Sentences about the pipe itself."""
        if not any(move.outcome.steady_below for move in self.moves):
            return []
        return [
            "Even while nothing moves, the pressure lies below that of the atmosphere somewhere in the pipe: "
            "air gathers there; lower the pipe, widen it above that place, or bleed it."
        ]


def analyse(site: Site) -> SurgeReport:
    """Play every kind of order and the mishaps on the site's pipe, with the ramps of its settings.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    SurgeReport

    Raises
    ------
    UserError
        If the site does not compile, or no ramp is slow enough.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> analyse(load_site("millbrook-smallholding")).ok
    True
    """
    compiled = compile_site(site, refuse_ramps=False)
    settings = Settings(compiled)
    works = Works(site, build_jets(site))
    model = PipeModel(site, works)
    check_standing(site, model)
    motors_s = strokes_s(site)
    singles = [
        (moved(others, valve, start), moved(others, valve, goal))
        for valve in range(len(site.jets))
        for start, goal in ((0, 1000), (1000, 0))
        for others in surroundings(settings, [valve])
    ]
    pairs, total = changeovers(settings)
    trains = [engine_train(settings, *move) for move in (*singles, *pairs)]
    turned = turned_trains(settings)
    outcomes = play(model, trains + turned, motors_s)
    moves = [
        Move(tuple(sorted(set(train.valve))), place < len(singles), train, outcome)
        for place, (train, outcome) in enumerate(zip(trains + turned, outcomes, strict=True))
    ]
    return SurgeReport(
        site,
        compiled,
        model,
        tuple(moves[: len(trains)]),
        tuple(moves[len(trains) :]),
        total,
        tuple(find_mishaps(site, works, settings, model, trains, outcomes[: len(trains)])),
        tuple(_ramps(site, works, compiled)),
        tuple(hazards(works)),
    )


def _ramps(site: Site, works: Works, compiled: dict[str, Any]) -> list[Ramp]:
    """For each valve and direction, the fastest safe ramp and the one in the settings."""
    free = _with_free_ramps(site)
    fastest = Settings(compiled)
    for valve, (open_ms, close_ms) in zip(fastest.valves, choose_ramps(free, works, compiled), strict=True):
        valve.open_step_ms, valve.close_step_ms = open_ms, close_ms
    ramps = []
    for place, (valve, found) in enumerate(zip(Settings(compiled).valves, fastest.valves, strict=True)):
        for direction, name in DIRECTIONS:
            opening = direction == OPEN
            ramps.append(
                Ramp(
                    place,
                    name,
                    travel_time_ms(found, opening) / 1000.0,
                    travel_time_ms(valve, opening) / 1000.0,
                    found.open_step_ms if opening else found.close_step_ms,
                    valve.open_step_ms if opening else valve.close_step_ms,
                )
            )
    return ramps


def _with_free_ramps(site: Site) -> Site:
    """The site as if its owner had chosen no ramp."""
    jets = tuple(replace(jet, open_s=None, close_s=None) for jet in site.jets)
    return replace(site, jets=jets)


@dataclass(frozen=True)
class YearsWorst:
    """The worst of all moves that were really ordered; instants as in the changes. [bar], [s]"""

    trains: int
    distinct: int
    peak_bar: float
    peak_time_s: float
    trough_bar: float  # anywhere in the pipe
    valve_trough_bar: float
    trough_time_s: float  # of the lowest at the valve
    ok: bool
    train: Train | None  # the one with the highest peak
    limit_bar: float  # of the pipe at the manifold


def worst_of_year(
    site: Site, compiled: dict[str, Any], changes: Sequence[tuple[float, Sequence[int]]]
) -> YearsWorst:
    """Play the orders of a replay or a log on the pipe.

    Parameters
    ----------
    site : Site
        The site.
    compiled : dict
        Device settings the orders were made with.
    changes : sequence of (float, sequence of int)
        Instants and the openings ordered then, rising in time; the first are where the valves stood. [s], [‰]

    Returns
    -------
    YearsWorst
        Peaks and troughs of the trains; without any, those of standing water.

    Notes
    -----
    A pause longer than 16 returns (2L/a) parts the orders into trains, each of which starts from rest. Equal
    trains are played once.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> site = load_site("millbrook-smallholding")
    >>> orders = [(0.0, [0, 0, 0]), (60.0, [0, 0, 40]), (64.0, [0, 0, 80]), (900.0, [0, 0, 40])]
    >>> worst = worst_of_year(site, compile_site(site), orders)
    >>> worst.trains, worst.ok
    (2, True)
    """
    model = PipeModel(site, Works(site, build_jets(site)))
    first: dict[Train, float] = {}
    count = 0
    for begin_s, train in _trains_of(changes, STILL_RETURNS * model.return_s):
        count += 1
        first.setdefault(train, begin_s)
    trains = list(first)
    outcomes = play(model, trains, strokes_s(site))
    if not trains:
        static_bar = model.static_bar
        lowest_bar = float(np.min(model.static_pa)) / 1e5
        return YearsWorst(0, 0, static_bar, 0.0, lowest_bar, static_bar, 0.0, True, None, model.limit_bar)
    high = max(range(len(trains)), key=lambda place: outcomes[place].peak_bar)
    low = min(range(len(trains)), key=lambda place: outcomes[place].valve_trough_bar)
    return YearsWorst(
        count,
        len(trains),
        outcomes[high].peak_bar,
        first[trains[high]] + outcomes[high].peak_s,
        min(outcome.trough_bar for outcome in outcomes),
        outcomes[low].valve_trough_bar,
        first[trains[low]] + outcomes[low].trough_s,
        all(outcome.ok for outcome in outcomes),
        trains[high],
        model.limit_bar,
    )


def _trains_of(
    changes: Sequence[tuple[float, Sequence[int]]], still_s: float
) -> Iterable[tuple[float, Train]]:
    """Orders as trains, with the instant of each one's first step."""
    position: list[int] = []
    start: tuple[int, ...] = ()
    begin_s = last_s = -np.inf
    steps: list[tuple[float, int, int]] = []
    for time_s, openings in changes:
        differing = [valve for valve in range(len(position)) if openings[valve] != position[valve]]
        if differing and time_s - last_s > still_s:
            if steps:
                yield begin_s, _train(start, steps)
            start, begin_s, steps = tuple(position), time_s, []
        for valve in differing:
            steps.append((round(time_s - begin_s, 3), valve, openings[valve]))
        if differing:
            last_s = time_s
        position = list(openings)
    if steps:
        yield begin_s, _train(start, steps)


def _train(start: tuple[int, ...], steps: Sequence[tuple[float, int, int]]) -> Train:
    step_s, valves, to_permille = zip(*steps, strict=True)
    return Train(start, step_s, valves, to_permille)


def as_json(report: SurgeReport) -> dict[str, Any]:
    """What `becklight surge --json` prints."""
    model = report.model
    return {
        "site": report.site.site.name,
        "ok": report.ok,
        "complaints": report.complaints,
        "hazards": list(report.hazards),
        "pipe": {
            "wave_speed_m_s": [round(speed_m_s, 1) for speed_m_s in model.wave_speed_m_s],
            "return_ms": round(1000.0 * model.return_s),
            "static_bar": round(model.static_bar, 3),
            "working_bar": round(model.working_bar, 3),
            "limit_bar": round(model.limit_bar, 3),
        },
        "moves": [_move_json(report, move) for move in report.moves],
        "changeovers": {
            "played": sum(not move.alone for move in report.moves),
            "of": report.pairs,
            "turned_midway": len(report.turned),
            "turned_ok": all(move.outcome.ok for move in report.turned),
        },
        "mishaps": [
            {"what": mishap.what, **_outcome_json(mishap.outcome), "advice": mishap.advice}
            for mishap in report.mishaps
        ],
        "fastest": [
            {
                "valve": report.names[ramp.valve],
                "direction": ramp.direction,
                "ramp_s": ramp.fastest_s,
                "step_ms": ramp.fastest_step_ms,
                "in_settings_s": ramp.in_settings_s,
                "in_settings_step_ms": ramp.step_ms,
            }
            for ramp in report.ramps
        ],
    }


def _move_json(report: SurgeReport, move: Move) -> dict[str, Any]:
    """A single stroke by its valve's openings; a changeover by lists in the order of the jets."""
    train = move.train
    names = report.names
    single = move.alone
    valve = move.valves[0]
    return {
        "valve": "+".join(names[place] for place in move.valves),
        "from_permille": train.start_permille[valve] if single else list(train.start_permille),
        "to_permille": train.end_permille[valve] if single else list(train.end_permille),
        "others": {
            name: train.start_permille[place] for place, name in enumerate(names) if place not in move.valves
        },
        "ramp_s": _ramp_s(report, train),
        **_outcome_json(move.outcome),
    }


def _ramp_s(report: SurgeReport, train: Train) -> float:
    """From the first order until the motor has come to rest after the last."""
    last = train.to_permille[-1] - Train.first(train, len(train.step_s) - 1).end_permille[train.valve[-1]]
    motor_s = report.site.jets[train.valve[-1]].motor_stroke_s
    return round(train.step_s[-1] + abs(last) * motor_s / 1000.0, 3)


def _outcome_json(outcome: Outcome) -> dict[str, Any]:
    return {
        "peak_bar": round(outcome.peak_bar, 3),
        "trough_bar": round(outcome.trough_bar, 3),
        "valve_trough_bar": round(outcome.valve_trough_bar, 3),
        "margin_bar": round(outcome.margin_bar, 3),
        "parted": outcome.parted,
        "ok": outcome.ok,
    }
