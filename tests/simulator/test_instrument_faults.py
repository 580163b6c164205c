"""Every fault of every instrument, played in the twin: what is told, how soon, and what becomes of the plant.

The times are those of the table in DEVELOPERS.md (`report/instrument_table.py`). What is not told says why.
"""

from dataclasses import dataclass
from functools import cache

import pytest

from becklight.alarms import NAMES, code_of
from becklight.engine import RuleEngine
from becklight.trust import PLACES
from becklight.witness import OK
from becksim.alarmbook import OF_THE_WEATHER
from becksim.compile import compile_site
from becksim.faults import INSTRUMENTS, KINDS, Fault
from becksim.report.instrument_table import alarm_of, within_ms
from becksim.site import load_site
from becksim.trials import play_faults

POND = "upland-hostel"
STORAGE = (
    "battery.start_percent=65",  # neither full nor low: what is told is of the fault
    "storage_pond.level_mm=[0, 1500]",
    "storage_pond.area_m2=[200, 500]",
    "storage_pond.crest_level_mm=1400",
    "storage_pond.lowest_level_mm=300",
    "storage_pond.fill_l_s=2",
    "storage_pond.valve_bore_mm=60",
)
HOUR_S = 3_600
DAY_S = 86_400
BEGINS_S = 20_000  # the plant runs on the stream by then
RECOVERS_S = 4 * HOUR_S  # until all is as if nothing had been

GOES_ON = "goes on"  # jets run as the fault ends
COMES_DOWN = "comes down"  # and here they do not


@dataclass(frozen=True)
class Row:
    """One fault of one instrument: what must be told of it, and what else may be, for the same reason."""

    what: str
    kind: str
    size: float = 0.0
    told: bool = True
    also: tuple[str, ...] = ()
    plant: str = GOES_ON
    lasts_s: int = 3 * HOUR_S
    why: str = ""  # it is not told, or other things are as well

    def __str__(self):
        return f"{self.what} {self.kind}{f' {self.size:g}' if self.size else ''}"


SPARE = "spare_bus"  # played with two wheels side by side
WHEELS = (
    "battery.start_percent=65",
    "jets.large.wheel=spare",
    "spare.wheel.pitch_diameter_mm=200",
    "spare.wheel.voltage_v_per_rpm=0.05",
    "spare.wheel.most_bus_v=150",
    "spare.regulator.least_input_v=30",
    "spare.beside=true",
)

LOST = [Row(what, kind) for what in INSTRUMENTS for kind in ("open", "short", "stale")]

FROZEN = [
    Row("level", "frozen", lasts_s=4 * HOUR_S),
    Row("pressure", "frozen", lasts_s=4 * HOUR_S),
    Row("battery", "frozen", lasts_s=4 * HOUR_S),
    Row("bus", "frozen", lasts_s=4 * HOUR_S),
    Row("pond", "frozen", lasts_s=7 * HOUR_S),
    Row("temperature", "frozen", lasts_s=25 * HOUR_S),
    Row(SPARE, "frozen", lasts_s=4 * HOUR_S),
]

JUMPS = [
    Row("level", "jump", 300.0),
    Row(
        "level",
        "jump",
        -300.0,
        also=("level_low",),
        plant=COMES_DOWN,
        why="which of the two levels is the wrong one nobody knows: the new one is believed, and is too low",
    ),
    Row("level", "jump", 150.0, told=False, why="a screen that is raked does the same"),
    Row("pressure", "jump", 2_270.0),
    Row("pressure", "jump", 250.0),
    Row(
        "pressure",
        "jump",
        -1_200.0,
        told=False,
        also=("leak_or_air", "pipe_burst"),
        plant=COMES_DOWN,
        why="a leak and a burst look the same, and must be believed",
    ),
    Row("pressure", "jump", -500.0, told=False, why="less than what a leak or air must make to be told"),
    Row("battery", "jump", 12_000.0),
    Row("battery", "jump", -12_000.0),
    Row("battery", "jump", 5_000.0, told=False, why="what a load that ends may do"),
    Row("battery", "jump", -3_000.0, told=False, why="a load does the same"),
    Row("bus", "jump", -60_000.0),
    Row(
        "bus",
        "jump",
        120_000.0,
        also=("overspeed",),
        plant=COMES_DOWN,
        why="a wheel set free does the same; only with the jets closed is it told apart",
    ),
    Row("bus", "jump", 30_000.0, told=False, why="a full battery relieves the wheel"),
    Row("pond", "jump", 500.0),
    Row("pond", "jump", -125.0),
    Row("pond", "jump", 90.0, told=False, why="a wave"),
    Row("temperature", "jump", 200.0),
    Row("temperature", "jump", -150.0),
    Row("temperature", "jump", 50.0, told=False, why="a hand, or the sun"),
    Row(SPARE, "jump", -45_000.0),
    Row(SPARE, "jump", 30_000.0, told=False, why="a full battery relieves the wheel"),
    Row(SPARE, "jump", 90_000.0, told=False, also=("spare_overspeed",), why="a wheel set free does the same"),
]

DRIFTS = [
    Row("level", "drift", 100.0, lasts_s=12 * HOUR_S),
    Row(
        "level",
        "drift",
        -100.0,
        also=("level_low",),
        plant=COMES_DOWN,
        lasts_s=8 * HOUR_S,
        why="told as too low on its way down; then it sinks where it cannot",
    ),
    Row("level", "drift", 10.0, told=False, lasts_s=8 * HOUR_S, why="a stream that rises does the same"),
    Row("pressure", "drift", 450.0, also=("jet_blocked",), why="so does a jet's, until too much is shown"),
    Row(
        "pressure",
        "drift",
        -300.0,
        also=("leak_or_air",),
        lasts_s=9 * HOUR_S,
        why="looks like a leak until a flush has closed the jets",
    ),
    Row("pressure", "drift", 10.0, told=False, lasts_s=8 * HOUR_S, why="far less than a screen's leaves"),
    Row("battery", "drift", 1_000.0, lasts_s=12 * HOUR_S),
    Row("battery", "drift", -500.0, told=False, lasts_s=8 * HOUR_S, why="a house does the same"),
    Row("battery", "drift", 100.0, told=False, lasts_s=8 * HOUR_S, why="the sun does the same"),
    Row("bus", "drift", -15_000.0, lasts_s=6 * HOUR_S),
    Row(
        "bus",
        "drift",
        20_000.0,
        also=("overspeed",),
        lasts_s=8 * HOUR_S,
        why="looks like a full battery, then like a wheel set free, until the jets are closed",
    ),
    Row("bus", "drift", 800.0, told=False, lasts_s=8 * HOUR_S, why="less than a full battery does"),
    Row("pond", "drift", 250.0, lasts_s=8 * HOUR_S),
    Row("pond", "drift", -250.0, lasts_s=12 * HOUR_S),
    Row("pond", "drift", 25.0, told=False, lasts_s=8 * HOUR_S, why="rain and the house do the same"),
    Row("temperature", "drift", 100.0, lasts_s=9 * HOUR_S),
    Row("temperature", "drift", -100.0, lasts_s=7 * HOUR_S),
    Row("temperature", "drift", 10.0, told=False, lasts_s=8 * HOUR_S, why="a warm day does the same"),
    Row(SPARE, "drift", -15_000.0, lasts_s=6 * HOUR_S),
    Row(
        SPARE,
        "drift",
        20_000.0,
        told=False,
        also=("spare_overspeed",),
        lasts_s=8 * HOUR_S,
        why="looks like a wheel set free, and is not held against the flow while the main wheel runs",
    ),
]

NOISES = [
    Row(
        "level",
        "noise",
        20.0,
        plant=COMES_DOWN,
        lasts_s=4 * HOUR_S,
        why="its dips below the floor close the jets, and without a level none is opened",
    ),
    *(Row(what, "noise", 20.0, lasts_s=4 * HOUR_S) for what in INSTRUMENTS if what != "level"),
    Row("level", "noise", 3.0, told=False, why="hardly more than its own; the rules bear it"),
]

ROWS = [*LOST, *FROZEN, *JUMPS, *DRIFTS, *NOISES]


@cache
def made(name, changes):
    site = load_site(name, [*changes])
    return site, compile_site(site)


def played(row, name=POND, changes=None):
    """The trial, and the engine as it was left."""
    changes = changes or (WHEELS if row.what == SPARE else STORAGE)
    site, compiled = made(name, changes)
    fault = Fault(row.kind, row.what, BEGINS_S, row.lasts_s, row.size)
    days = -(-(fault.end_s + RECOVERS_S) // DAY_S)
    engines = []

    def new_engine(read):
        engines.append(RuleEngine(read))
        return engines[-1]

    trial = play_faults(site, [fault], days=days, seed=1, compiled=compiled, make_engine=new_engine)
    return fault, trial, engines[-1]


def running_at(changes, at_s):
    """Whether any jet is open then."""
    return any([openings for time_s, openings in changes if time_s <= at_s][-1])


def check(row, fault, trial, engine):
    """What the row says is so."""
    assert trial.broken == ()
    during = [(at_s - fault.start_s, name) for at_s, name, _ in trial.told if at_s <= fault.end_s]
    names = {name for _, name in during} - set(OF_THE_WEATHER)
    alarm = alarm_of(row.what, row.kind)
    allowed = {alarm, *row.also} if row.told else set(row.also)
    assert names == allowed, row.why
    if row.told and within_ms(row.what, row.kind) is not None and not row.also:
        assert min(at_s for at_s, name in during if name == alarm) <= within_ms(row.what, row.kind) / 1000.0
    # Back where it was, a reading jumps once more; nothing else is told of the end.
    after = {name for at_s, name, _ in trial.told if at_s > fault.end_s} - set(OF_THE_WEATHER)
    assert after <= {alarm_of(row.what, "jump")}
    assert running_at(trial.changes, fault.end_s) == (row.plant == GOES_ON)
    # In the end all is believed, nothing is told, and the jets run.
    assert {engine.book.trust.fault[place] for place in PLACES} == {OK}
    alarms = engine.book.alarms
    standing = {NAMES[code_of(slot)] for slot in range(len(alarms.state)) if alarms.raised(slot)}
    assert standing <= set(OF_THE_WEATHER)
    assert engine.drawn_ml_s() > 0


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_a_fault_of_an_instrument_is_told_in_time_and_the_plant_bears_it(row):
    check(row, *played(row))


def test_every_kind_of_every_instrument_is_played_and_none_but_the_likely_is_left_untold():
    kinds = [kind for kind in KINDS if KINDS[kind].group == "instrument"]
    told = {(row.what, row.kind) for row in ROWS if row.told}
    assert told == {(what, kind) for what in INSTRUMENTS for kind in kinds}
    assert all(row.why for row in ROWS if not row.told or row.also)
