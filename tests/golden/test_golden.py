"""Golden traces: each directory beside this file is a scenario, and its expected.csv what was ordered.

Two kinds, kept apart:

- "readings": readings in (readings.csv), orders out, no plant. The engine is asked at each row's instant,
  and at `orders.next_ms` in between; until the next row the readings are held as they are, and never grow
  old. A column `owner` says what is ordered by hand then: "hold 1 400 3600000" and the like, as of
  `becklight.wishes`. Exact, on CPython and on MicroPython.
- "closed loop": a site with changes, a stream (flows.csv, or what the site has), a seed and some days.
  Orders exact, the plant's numbers every six hours within a tolerance.

`pytest --update-golden` writes the expected traces anew. That is for a change of behaviour that is wanted;
the commit says why. A missing trace is a failure, never written by the way.
"""

import csv
import io
import tomllib
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

from becklight import reasons, wishes
from becklight.orders import Orders
from becklight.readings import COUNT, UNKNOWN, Readings
from becklight.readings import NAMES as READING_NAMES
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.onboard import find_micropython, open_engine
from becksim.orderbook import OrderBook
from becksim.replay import replay
from becksim.site import load_site
from becksim.twin import CLOCK_START_MS
from becksim.watch import step_ms

HERE = Path(__file__).parent
FOLDERS = sorted(path for path in HERE.iterdir() if path.is_dir() and not path.name.startswith("__"))
INTERVAL_H = 6
PLANT_COLUMNS = ("level_m", "charge", "inflow_m3_s", "draw_m3_s", "release_m3_s", "power_w", "accepted_w")
TOLERANCE = 1e-6  # of the plant's numbers, absolute or relative, whichever is larger
AROUND = 3  # rows shown before and after the first that differs


@dataclass(frozen=True)
class Scenario:
    """A scenario.toml; an unknown key is an error."""

    folder: Path
    kind: str
    site: str
    expect_reasons: list[str]  # must all occur ...
    least_moves: int  # ... and so many steps of valves, or the scenario shows nothing
    changes: list[str] = field(default_factory=list)
    seed: int = 1
    days: int = 1
    flows: str | None = None


@dataclass(frozen=True)
class Trace:
    """A table of text: what happened, when, the openings, the reason, and in a closed loop the plant."""

    header: list[str]
    rows: list[list[str]]

    def text(self):
        """As CSV."""
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows([self.header, *self.rows])
        return out.getvalue()


def read_trace(path):
    with path.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    return Trace(header, rows)


@cache
def read_scenario(folder):
    return Scenario(folder=folder, **tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8")))


@cache
def settings_of(folder):
    scenario = read_scenario(folder)
    return compile_site(load_site(scenario.site, scenario.changes))


def folders(kind):
    return [folder for folder in FOLDERS if read_scenario(folder).kind == kind]


# -- running ----------------------------------------------------------------------------------------


def _events(orders_csv):
    """The order book's rows, each with what kind of event it is, without the readings."""
    header, *rows = csv.reader(io.StringIO(orders_csv))
    why, end = header.index("reason"), header.index("level_mm")
    events = []
    before = None
    for row in rows:
        if before is not None and row[1:end] == before[1:end]:
            continue  # only what is out has changed
        if before is None:
            kind = "start"
        elif row[1:why] != before[1:why]:
            kind = "move"
        else:
            kind = "reason" if row[why] != before[why] else "pond"
        events.append([kind, *row[:end]])
        before = row
    return ["event", *header[:end]], events


def _read_readings(path):
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            # Where a scenario does not say, the stop is not pressed.
            row.setdefault("run_switch", "1")
            values = [int(row[name]) if row.get(name) else UNKNOWN for name in READING_NAMES]
            word, *numbers = (row.get("owner") or "none").split()
            wish = [wishes.WISHES.index(word), *map(int, numbers), 0, 0, 0][:4]
            yield int(row["time_ms"]), values, wish


def run_readings(folder, interpreter):
    """Play the recorded readings to the engine."""
    compiled = settings_of(folder)
    names = [valve["name"] for valve in compiled["valves"]]
    orders_csv = io.StringIO()
    book = OrderBook(names, orders_csv)
    readings = Readings(len(names))
    orders = Orders(len(names))
    rows = list(_read_readings(folder / "readings.csv"))
    ends_ms = [now_ms for now_ms, *_ in rows[1:]] + [rows[-1][0] + 1]
    with open_engine(interpreter, compiled) as engine:
        for (now_ms, values, wish), end_ms in zip(rows, ends_ms, strict=True):
            if wish[0] != wishes.NO_WISH:
                engine.wish(ticks_add(CLOCK_START_MS, now_ms % PERIOD_MS), *wish)
            while now_ms < end_ms:
                device_ms = ticks_add(CLOCK_START_MS, now_ms % PERIOD_MS)
                for valve in range(len(names)):  # closed at power-up, and without feedback from then on
                    readings.put_position(valve, UNKNOWN if now_ms else 0, device_ms)
                for place in range(COUNT):
                    readings.put(place, values[place], device_ms)
                engine.step(device_ms, readings, orders)
                book.take(now_ms, orders, readings.values)
                now_ms += ticks_diff(orders.next_ms, device_ms)
    return Trace(*_events(orders_csv.getvalue()))


def run_closed_loop(folder):
    """Play site, stream and controller; the plant's numbers every six hours among the orders."""
    scenario = read_scenario(folder)
    orders_csv = io.StringIO()
    flows = None if scenario.flows is None else str(folder / scenario.flows)
    site = load_site(scenario.site, scenario.changes)
    result = replay(site, flows=flows, seed=scenario.seed, days=scenario.days, trace=orders_csv)
    header, rows = _events(orders_csv.getvalue())
    rows = [[*row, *[""] * len(PLANT_COLUMNS)] for row in rows]
    history = result.history
    for place in range(INTERVAL_H - 1, len(history.hour), INTERVAL_H):
        openings = map(str, history.openings_permille[place])
        numbers = (f"{getattr(history, name)[place]:.9g}" for name in PLANT_COLUMNS)
        time_ms = history.hour[place] * 3_600_000
        reason = reasons.NAMES[history.reason[place]]
        of_pond = [""] * (len(header) - header.index("reason") - 1)
        rows.append(["interval", str(time_ms), *openings, reason, *of_pond, *numbers])
    rows.sort(key=lambda row: (int(row[1]), row[0] == "interval"))
    return Trace([*header, *PLANT_COLUMNS], rows)


# -- comparing --------------------------------------------------------------------------------------


def _same(expected, actual, column):
    if expected == actual or column not in PLANT_COLUMNS or not expected or not actual:
        return expected == actual
    return abs(float(actual) - float(expected)) <= TOLERANCE * max(1.0, abs(float(expected)))


def differences(expected, actual):
    """What is different, told in lines; none if nothing is."""
    if expected.header != actual.header:
        return [f"columns: expected {expected.header}, found {actual.header}"]
    lines = []
    counts = [Counter(row[0] for row in trace.rows) for trace in (expected, actual)]
    if counts[0] != counts[1]:
        lines.append("rows of each kind (expected, found):")
        lines += [f"  {kind}: {counts[0][kind]}, {counts[1][kind]}" for kind in sorted(counts[0] | counts[1])]
    columns = Counter()
    first = None
    for place, pair in enumerate(zip(expected.rows, actual.rows, strict=False)):
        wrong = [name for name, *cells in zip(expected.header, *pair, strict=True) if not _same(*cells, name)]
        columns.update(wrong)
        if wrong and first is None:
            first = place
    if first is None and len(expected.rows) != len(actual.rows):
        first = min(len(expected.rows), len(actual.rows))
    if first is None:
        return lines
    lines.append(
        f"first different row: {first + 1} (of {len(expected.rows)} expected, {len(actual.rows)} found)"
    )
    for name, trace in (("expected", expected), ("found", actual)):
        lines.append(f"{name}: {','.join(trace.header)}")
        for place in range(max(0, first - AROUND), min(len(trace.rows), first + AROUND + 1)):
            lines.append(f"{'>' if place == first else ' '} {place + 1:5} {','.join(trace.rows[place])}")
    lines.append("different cells in each column, row against row:")
    return lines + [f"  {name}: {columns[name]}" for name in expected.header if columns[name]]


def check_against_expected(folder, actual, update, tmp_path):
    """Compare with expected.csv, or write it if that was asked for."""
    path = folder / "expected.csv"
    if update:
        path.write_text(actual.text(), encoding="utf-8")
        return
    found = tmp_path / "found.csv"
    found.write_text(actual.text(), encoding="utf-8")
    if not path.exists():
        pytest.fail(f"{path} is missing; look at {found}, then write it with: pytest --update-golden")
    lines = differences(read_trace(path), actual)
    if lines:
        told = "\n".join(lines)
        pytest.fail(
            f"{folder.name}: other orders than expected (all of them: {found})\n{told}", pytrace=False
        )


# -- what must hold of every trace, whatever is expected --------------------------------------------


def check_invariants(trace, settings):
    """Openings within 0..1000, one small step of one valve at a time, no sooner than its pace allows."""
    valves = settings.valves
    first = trace.header.index("reason") - len(valves)
    before = [0] * len(valves)
    due_ms = since_ms = 0
    for row in trace.rows:
        where = ",".join(row)
        now_ms = int(row[1])
        openings = [int(cell) for cell in row[first : first + len(valves)]]
        assert now_ms >= since_ms, where
        assert row[first + len(valves)] in reasons.NAMES, where
        assert all(0 <= opening <= 1000 for opening in openings), where
        reason = row[first + len(valves)]
        if reason == "homing" and not any(before):
            before = openings  # where the valves are taken to stand
        moved = [place for place in range(len(valves)) if openings[place] != before[place]]
        assert len(moved) <= 1, f"two valves at a time: {where}"
        for place in moved:
            assert abs(openings[place] - before[place]) <= valves[place].step_permille, where
            assert now_ms >= due_ms, f"{due_ms - now_ms} ms too soon: {where}"
            due_ms = now_ms + step_ms(valves[place], before[place], openings[place])
        before, since_ms = openings, now_ms


def check_pond(trace, settings):
    """The release valve of a storage pond: small steps, no sooner than its pace allows."""
    valve = settings.pond.valve
    column = trace.header.index("pond_permille")
    before, due_ms = 0, 0
    for row in trace.rows:
        if row[column] in ("", str(before)):
            continue
        opening, now_ms = int(row[column]), int(row[1])
        assert 0 <= opening <= settings.pond.opening_permille, row
        assert abs(opening - before) <= valve.step_permille, row
        assert now_ms >= due_ms, row
        due_ms = now_ms + step_ms(valve, before, opening)
        before = opening


def reasons_of(trace):
    """All reasons of the jets, and of the pond where there is one."""
    columns = [trace.header.index(name) for name in ("reason", "pond_reason") if name in trace.header]
    return {row[column] for row in trace.rows for column in columns} - {""}


def check_liveness(trace, scenario):
    """The scenario shows what it is there for."""
    missing = set(scenario.expect_reasons) - reasons_of(trace)
    assert not missing, f"never: {', '.join(sorted(missing))}"
    assert sum(row[0] == "move" for row in trace.rows) >= scenario.least_moves


def _check(folder, actual, update, tmp_path):
    settings = Settings(settings_of(folder))
    check_invariants(actual, settings)
    if settings.pond is not None:
        check_pond(actual, settings)
    check_liveness(actual, read_scenario(folder))
    check_against_expected(folder, actual, update, tmp_path)


# -- the tests --------------------------------------------------------------------------------------


@pytest.mark.parametrize("folder", folders("readings"), ids=lambda folder: folder.name)
def test_readings(folder, update_golden, tmp_path):
    _check(folder, run_readings(folder, "cpython"), update_golden, tmp_path)


@pytest.mark.parametrize("folder", folders("readings"), ids=lambda folder: folder.name)
def test_readings_on_micropython(folder, tmp_path):
    try:
        find_micropython()
    except UserError as error:
        pytest.skip(str(error))
    _check(folder, run_readings(folder, "micropython"), False, tmp_path)


@pytest.mark.parametrize("folder", folders("closed loop"), ids=lambda folder: folder.name)
def test_closed_loop(folder, update_golden, tmp_path):
    _check(folder, run_closed_loop(folder), update_golden, tmp_path)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_scenario_says_why_it_exists_and_is_of_one_kind(folder):
    scenario = read_scenario(folder)
    first = (folder / "scenario.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# ")
    assert len(first) > 30
    files = {"readings": ["readings.csv"], "closed loop": [scenario.flows] if scenario.flows else []}
    assert {path.name for path in folder.iterdir()} == {
        "scenario.toml",
        "expected.csv",
        *files[scenario.kind],
    }
    assert all(path.stat().st_size < 60_000 for path in folder.iterdir())


def test_every_reason_occurs_in_some_scenario():
    seen = set()
    for folder in FOLDERS:
        seen |= reasons_of(read_trace(folder / "expected.csv"))
    # without settings there is no scenario, nor one in which the program itself fails
    assert seen == set(reasons.NAMES) - {"settings_refused", "program_failed", "kept_shut"}


# -- the comparison itself --------------------------------------------------------------------------

HEADER = ["event", "time_ms", "trim_permille", "reason", "level_m"]
ROWS = [["move", str(1000 * second), str(40 * second), "stream", ""] for second in range(1, 11)]
ROWS.append(["interval", "21600000", "400", "stream", "0.25"])


def _with(place, column, cell):
    rows = [list(row) for row in ROWS]
    rows[place][column] = cell
    return Trace(HEADER, rows)


def test_no_difference_is_told_of_equal_traces_nor_of_the_last_digits_of_the_plant():
    assert differences(Trace(HEADER, ROWS), Trace(HEADER, ROWS)) == []
    assert differences(Trace(HEADER, ROWS), _with(10, 4, "0.2500009")) == []
    assert differences(Trace(HEADER, ROWS), _with(10, 4, "0.250002"))[-1] == "  level_m: 1"


@pytest.mark.parametrize(
    ("actual", "told"),
    [
        (
            _with(4, 2, "201"),
            ["first different row: 5 (of 11", ">     5 move,5000,201,", "  trim_permille: 1"],
        ),
        (_with(4, 3, "floor"), ["  reason: 1"]),
        (Trace(HEADER, ROWS[:-2]), ["  interval: 1, 0", "  move: 10, 9", "first different row: 10"]),
        (Trace(HEADER[:-1], ROWS), ["columns: expected"]),
    ],
    ids=["an opening", "a reason", "rows missing", "a column missing"],
)
def test_a_difference_is_told(actual, told):
    lines = "\n".join(differences(Trace(HEADER, ROWS), actual))
    assert all(piece in lines for piece in told)


def test_a_missing_trace_is_a_failure_and_is_not_written(tmp_path):
    with pytest.raises(pytest.fail.Exception, match="expected.csv is missing"):
        check_against_expected(tmp_path, Trace(HEADER, ROWS), False, tmp_path)
    assert not (tmp_path / "expected.csv").exists()


@pytest.mark.parametrize(
    "rows",
    [
        [["move", "0", "0", "0", "1040", "stream"]],
        [["move", "0", "0", "0", "-1", "stream"]],
        [["move", "0", "0", "0", "400", "stream"]],
        [["move", "0", "10", "0", "10", "stream"]],
        [["move", "0", "0", "0", "10", "stream"], ["move", "1000", "0", "0", "20", "stream"]],
        [["reason", "0", "0", "0", "0", "why"]],
        [["reason", "9", "0", "0", "0", "stream"], ["reason", "8", "0", "0", "0", "stream"]],
    ],
    ids=["too open", "too shut", "a leap", "two at a time", "too soon", "no reason", "back in time"],
)
def test_the_invariants_catch_what_they_should(rows):
    settings = Settings(compile_site(load_site("millbrook-smallholding")))
    header = ["event", "time_ms", "left_permille", "right_permille", "trim_permille", "reason"]
    with pytest.raises(AssertionError):
        check_invariants(Trace(header, rows), settings)
