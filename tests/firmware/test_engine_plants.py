"""The engine on a toy stream and box, for every number of jets: it finds its place and stays there.

The box is whole numbers of millilitres, stepped each second; the level shown is rounded down. No noise.
"""

import pytest

from becklight import reasons
from becklight.engine import RuleEngine
from becklight.menu import ANY, Menu
from becklight.orders import Orders
from becklight.readings import UNKNOWN
from becklight.residual import release_ml_s
from becklight.ticks import PERIOD_MS

HOURS = 6
BATTERY_MV = 26_500


class Box:
    """Inflow in; residual flow, spill and jets out."""

    def __init__(self, read, level_mm):
        self.read = read
        self.volume_ml = level_mm * read.ml_per_mm

    def level_mm(self):
        return self.volume_ml // self.read.ml_per_mm

    def second(self, inflow_ml_s, drawn_ml_s):
        """One second passes; what was let past in it."""
        past_ml_s = release_ml_s(self.read, self.level_mm())
        self.volume_ml = max(0, self.volume_ml + inflow_ml_s - past_ml_s - drawn_ml_s)
        return past_ml_s


def _run(read, ask, inflow_ml_s, seconds, level_mm=100):
    """Rows of (level, drawn, let past, openings, reason) for every second."""
    engine, orders = RuleEngine(read), Orders(len(read.valves))
    box = Box(read, level_mm)
    rows = []
    drawn_ml_s = 0
    before = list(orders.opening_permille)
    for second in range(seconds):
        values = [box.level_mm(), 5_000, BATTERY_MV, 250, *[UNKNOWN] * 4, 1]
        ask(engine, orders, 1_000 * second, values, PERIOD_MS - 65_000)
        if orders.opening_permille != before:
            before = list(orders.opening_permille)
            drawn_ml_s = engine.ramps.flow_ml_s(before)
        past_ml_s = box.second(inflow_ml_s(second), drawn_ml_s)
        rows.append((values[0], drawn_ml_s, past_ml_s, tuple(before), reasons.NAMES[orders.reason]))
    return rows


@pytest.mark.parametrize("share_percent", [15, 45, 80, 130])
@pytest.mark.parametrize("trims", [1, 2])
@pytest.mark.parametrize("fixed", range(1, 7))
def test_a_steady_stream_is_taken_steadily_and_the_residual_flow_left(
    settings_of, ask, fixed, trims, share_percent
):
    read = settings_of(fixed, trims, pressure_doubt_mbar=5_000)  # which answers to no valve here
    rules = read.rules
    menu = Menu(read)
    residual_ml_s = release_ml_s(read, rules.level_target_mm)
    least_ml_s = release_ml_s(read, rules.level_target_mm - rules.level_band_mm)
    useful_ml_s = menu.most_flow_ml_s * share_percent // 100
    rows = _run(read, ask, lambda second: useful_ml_s + residual_ml_s, 3_600 * HOURS)

    settled = rows[3_600 * HOURS // 2 :]
    assert len({openings for _, _, _, openings, _ in settled}) == 1  # no limit cycle
    level_mm, drawn_ml_s, past_ml_s, openings, reason = settled[-1]
    assert min(past_ml_s for _, _, past_ml_s, _, _ in settled) >= least_ml_s
    assert reason == ("all_open" if share_percent > 100 else "stream")
    if share_percent > 100:
        assert openings == (1_000,) * (fixed + trims)
    else:
        assert level_mm >= rules.level_target_mm - rules.level_band_mm
        # what is left over: the caution, the dead band and the wish to stay with a set; the menu has few gaps
        menu.choose(useful_ml_s, menu.closed, 0, ANY)
        spare_ml_s = 2 * rules.flow_deadband_ml_s + rules.set_hysteresis_ml_s
        spare_ml_s += menu.most_flow_ml_s * rules.trim_cost_permille // 1_000
        assert menu.flow_ml_s - spare_ml_s <= drawn_ml_s <= useful_ml_s + residual_ml_s - least_ml_s


@pytest.mark.parametrize(("fixed", "trims"), [(1, 1), (3, 1), (6, 2)])
def test_a_stream_that_dies_down_never_empties_the_box_to_the_floor(settings_of, ask, fixed, trims):
    read = settings_of(fixed, trims, pressure_doubt_mbar=5_000)  # which answers to no valve here
    most_ml_s = Menu(read).most_flow_ml_s
    rows = _run(read, ask, lambda second: max(200, most_ml_s - second * most_ml_s // 28_800), 36_000, 150)
    assert min(level_mm for level_mm, *_ in rows) >= read.rules.level_floor_mm
    assert rows[-1][3] == (0,) * (fixed + trims)
    assert max(drawn_ml_s for _, drawn_ml_s, *_ in rows) > most_ml_s // 2


@pytest.mark.parametrize(("fixed", "trims"), [(1, 1), (3, 1), (6, 2)])
def test_a_stream_cut_off_at_once_closes_the_jets_above_the_floor(settings_of, ask, fixed, trims):
    # a pond: its guard (60 mm) lies 10 mm of it above the floor, more than the jets take while they close
    read = settings_of(fixed, trims, intake={"ml_per_mm": 400_000}, pressure_doubt_mbar=5_000)
    most_ml_s = Menu(read).most_flow_ml_s
    rows = _run(read, ask, lambda second: most_ml_s if second < 20_000 else 0, 30_000, 150)
    assert rows[19_999][1] > most_ml_s // 2
    assert rows[-1][3] == (0,) * (fixed + trims)
    assert min(level_mm for level_mm, *_ in rows) >= read.rules.level_floor_mm


def test_a_rising_stream_is_followed(settings_of, ask):
    read = settings_of(3, 1, pressure_doubt_mbar=5_000)  # which answers to no valve here
    most_ml_s = Menu(read).most_flow_ml_s
    rows = _run(read, ask, lambda second: 300 + second * most_ml_s // 36_000, 36_000)
    for second in range(7_200, 36_000, 1_800):
        useful_ml_s = second * most_ml_s // 36_000
        assert rows[second][1] >= useful_ml_s - most_ml_s // 5
    changes = sum(before[3] != after[3] for before, after in zip(rows, rows[1:], strict=False))
    assert changes < 1_500  # valves do not hunt: some forty moves of some twenty steps
