"""Where the water is kept and led: second source, losses, storage pond, screen, frost, the stream's due."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becksim.compile_rules import floor_mm
from becksim.headworks import MOST_CHANGE_M, Headworks
from becksim.hydraulics.weir import rectangular_weir_head_m
from becksim.inputs import STEP_MS, Inputs
from becksim.site import load_site
from becksim.streams import second_source_m3_s
from becksim.totals import Totals
from becksim.works import Works, build_basin, build_jets

BOX = "millbrook-smallholding"
FOREBAY = "upland-hostel"
OPEN = {BOX: [1000, 1000, 1000], FOREBAY: [1000, 1000, 1000, 1000]}
HOUR_MS = 3_600_000
JANUARY, JULY, OCTOBER = 0, 6, 9

STORAGE = [
    "storage_pond.level_mm=[0, 1500]",
    "storage_pond.area_m2=[200, 400]",
    "storage_pond.crest_level_mm=1400",
    "storage_pond.lowest_level_mm=500",
    "storage_pond.fill_l_s=4",
    "storage_pond.valve_bore_mm=80",
]
# Small enough for leaves to cost visible head.
SCREEN = [
    "screen.area_m2=0.05",
    "screen.design_flow_l_s=4",
    "screen.half_blocked_days=1",
    "screen.spill_clears_percent=0",
]
FROST = ["frost.exposed_length_m=30"]  # of the bare pipe of 75 mm


class Water:
    """A headworks, its jets and its sums; the stream may be one flow or one a step."""

    def __init__(self, name, inflow_l_s, changes=(), *, days=1, month=JULY, air_c=None, second=None):
        steps = 96 * days
        site = load_site(name, list(changes))
        flows_l_s = inflow_l_s if isinstance(inflow_l_s, list) else [inflow_l_s] * (steps + 1)
        months = month if isinstance(month, list) else [month] * steps
        inputs = Inputs(
            start_s=0,
            days=days,
            inflow_m3_s=[flow_l_s / 1000.0 for flow_l_s in flows_l_s],
            load_w=[0.0] * steps,
            solar_w=[0.0] * steps,
            month=months,
            battery_temp_c=[15.0] * steps,
            source="made up",
            notes=(),
            second_m3_s=second_source_m3_s(site, months) if second is None else second,
            air_temp_c=[air_c] * steps if isinstance(air_c, float) else air_c,
        )
        self.name = name
        self.works = Works(site, build_jets(site))
        floor_m = floor_mm(site, self.works) / 1000.0
        self.head = Headworks(site, self.works, build_basin(site), inputs, floor_m)
        self.totals = Totals()
        self.openings = [0] * len(site.jets)
        self.now_ms = 0
        self.powers_w = []

    def order(self, openings=None, pond_permille=0):
        self.openings = list(openings or [0] * len(self.openings))
        self.head.pond_permille = pond_permille
        self.head.disturb()
        return self

    def play(self, hours, each=lambda: None):
        end_ms = self.now_ms + round(hours * HOUR_MS)
        while self.now_ms < end_ms:
            self.head.operate(self.openings)
            most_ms = min(STEP_MS - self.now_ms % STEP_MS, end_ms - self.now_ms)
            length_ms = self.head.lay_out(self.now_ms, most_ms)
            self.head.advance(self.totals, length_ms / 1000.0, 1.0)
            self.now_ms += length_ms
            self.powers_w.append(self.works.power_w)
            each()
        return self

    def error_m3(self):
        return self.head.error_m3(self.totals)


def resting_level_m(water, flow_l_s):
    """At which the slot lets so much past."""
    basin = water.head.basin
    return basin.slot_sill_m + rectangular_weir_head_m(flow_l_s / 1000.0, basin.slot_width_m)


# -- second source ----------------------------------------------------------------------------------

SECOND = ["stream.second_source.flow_l_s=0.5"]


def test_a_second_source_adds_its_water_and_is_counted_apart():
    water = Water(BOX, 1.0, SECOND).play(24)
    assert water.head.level_m == pytest.approx(resting_level_m(water, 1.5), abs=1e-4)
    assert water.totals.inflow_m3 == pytest.approx(86.4)
    assert water.totals.second_m3 == pytest.approx(43.2)
    assert water.totals.spilled_m3 == pytest.approx(129.6, rel=1e-3)
    assert abs(water.error_m3()) < 1e-9


def test_nothing_of_the_second_source_is_due_to_the_stream():
    share = ["stream.residual_flow_l_s=0", "stream.residual_share_percent=40"]
    with_it, without = Water(BOX, 5.0, [*share, *SECOND]).play(1), Water(BOX, 5.0, share).play(1)
    assert with_it.head.due_m3_s == without.head.due_m3_s == pytest.approx(0.002)


def test_the_second_source_changes_with_the_month():
    monthly = [0.0] * 6 + [0.4, 0.8] + [0.0] * 4
    months = [JULY] * 48 + [JULY + 1] * 48
    water = Water(BOX, 1.0, [f"stream.second_source.flow_by_month_l_s={monthly}"], month=months)
    assert water.play(12).totals.second_m3 == pytest.approx(12 * 3.6 * 0.4)
    assert water.play(12).totals.second_m3 == pytest.approx(12 * 3.6 * 1.2)


def test_jets_run_on_the_second_source_alone_when_the_stream_is_dry():
    water = Water(BOX, 0.0, ["stream.second_source.flow_l_s=1.5"]).play(1).order([0, 0, 150]).play(6)
    assert 0.0 < water.totals.turbined_m3 <= water.totals.second_m3
    assert water.totals.inflow_m3 == water.totals.residual_short_s == 0.0


# -- ground and air ---------------------------------------------------------------------------------


def test_ground_and_air_lower_a_closed_intake_and_what_they_take_is_counted():
    dry = Water(FOREBAY, 0.0, ["pond.seepage_l_s=0.1", f"pond.evaporation_mm={[310] * 12}"], days=2).play(48)
    tight = Water(FOREBAY, 0.0, days=2).play(48)
    assert tight.totals.lost_m3 == 0.0
    assert tight.head.level_m >= 0.072 - 1e-6  # the slot's sill
    assert dry.head.level_m < tight.head.level_m - 0.03
    assert dry.totals.lost_m3 == pytest.approx(
        dry.head.start_stored_m3 - dry.head.stored_m3() - dry.totals.spilled_m3
    )
    # 10 mm a day from about 210 m2; of the seepage when full, at a quarter of the depth a quarter.
    assert dry.totals.lost_m3 == pytest.approx(2 * (210 * 0.010 + 8.64 / 4), rel=0.15)
    assert abs(dry.error_m3()) < 1e-9


def test_rain_on_the_pond_raises_it_and_counts_against_what_is_lost():
    wet = Water(FOREBAY, 0.0, [f"pond.evaporation_mm={[-310] * 12}"]).play(24)
    dry = Water(FOREBAY, 0.0).play(24)
    assert wet.totals.lost_m3 < 0.0
    assert wet.head.level_m > dry.head.level_m
    assert abs(wet.error_m3()) < 1e-9


def test_an_intake_that_seeps_is_never_emptied_below_its_table():
    water = Water(FOREBAY, 0.0, ["pond.seepage_l_s=20"], days=1).play(24)
    assert -1e-9 <= water.head.level_m < 0.02
    assert abs(water.error_m3()) < 1e-9


# -- storage pond -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("stream_l_s", "taken_l_s"), [(1.0, 0.0), (1.5, 0.0), (3.0, 1.5), (9.0, 4.0)])
def test_filled_first_it_takes_what_is_beyond_the_residual_flow(stream_l_s, taken_l_s):
    water = Water(FOREBAY, stream_l_s, [*STORAGE, "storage_pond.start_percent=10"]).play(20)
    assert 1000.0 * water.head.pond.taken_m3_s == pytest.approx(taken_l_s)
    # What is let past is what it has left, and never less than is due.
    assert 1000.0 * water.head.release_m3_s == pytest.approx(stream_l_s - taken_l_s, abs=0.02)
    assert water.totals.pond_released_m3 == 0.0
    assert abs(water.error_m3()) < 1e-9


def test_filled_last_it_leaves_the_jets_all_they_can_use():
    last = [*STORAGE, "storage_pond.refill=last", "storage_pond.start_percent=40"]
    most_l_s = 1000.0 * Water(FOREBAY, 1.0, last).works.most_flow_m3_s
    for over_l_s, taken_l_s in ((-2.0, 0.0), (2.5, 2.5), (20.0, 4.0)):
        water = Water(FOREBAY, most_l_s + 1.5 + over_l_s, last).order(OPEN[FOREBAY]).play(6)
        assert 1000.0 * water.head.pond.taken_m3_s == pytest.approx(taken_l_s)
        assert water.head.level_m > water.head.floor_m or over_l_s < 0.0


def test_its_water_comes_to_the_intake_after_its_way():
    water = Water(FOREBAY, 2.0, [*STORAGE, "storage_pond.travel_s=1800", "storage_pond.fill_l_s=0.01"])
    water.play(1).order(pond_permille=400)
    level_m, arriving, shares = water.head.level_m, [], []

    def look():
        arriving.append(water.head.pond.arriving_m3_s)
        shares.append(water.head.pond.arriving_m3_s / water.head.pond.released_m3_s)

    stored_m3 = water.head.pond.stored_m3
    water.play(0.5, look)
    # Counted as it leaves the pond, which neither fills nor leaks.
    assert water.totals.pond_released_m3 == pytest.approx(stored_m3 - water.head.pond.stored_m3, rel=0.01)
    assert arriving[0] < 0.01 * water.head.pond.released_m3_s
    assert all(after > before for before, after in pairwise(arriving))
    assert shares[-1] == pytest.approx(1.0 - math.exp(-1.0), abs=0.05)
    water.play(2.0, look)
    assert shares[-1] > 0.95
    assert water.head.level_m > level_m + 0.03
    on_its_way_m3 = water.head.pond.channel_m3
    assert on_its_way_m3 == pytest.approx(1800.0 * arriving[-1], rel=0.05)
    # The valve shut, what is on its way still comes.
    water.order().play(4)
    assert water.head.pond.released_m3_s == 0.0
    assert water.head.pond.channel_m3 < 0.001 * on_its_way_m3
    assert abs(water.error_m3()) < 1e-9


def test_below_its_lowest_level_an_open_valve_counts_and_a_shut_one_does_not():
    low = [*STORAGE, "storage_pond.start_percent=31"]
    water = Water(FOREBAY, 0.5, low)  # less than the residual flow: it does not fill
    pond = water.head.pond
    assert 0.5 < pond.level_m < 0.6
    assert water.play(1).totals.pond_low_s == 0.0
    water.order(pond_permille=1000)
    while pond.level_m >= 0.5:
        assert water.totals.pond_low_s == 0.0
        water.play(1 / 60)
    water.play(0.5)
    assert water.totals.pond_low_s == pytest.approx(1_800.0, abs=60.0)
    counted_s = water.order().play(1).totals.pond_low_s
    assert counted_s == water.play(1).totals.pond_low_s


def test_the_storage_pond_loses_to_ground_and_air_too():
    leaky = [*STORAGE, "storage_pond.seepage_l_s=1", f"storage_pond.evaporation_mm={[93] * 12}"]
    water = Water(FOREBAY, 1.5, leaky, days=2).play(48)
    # A litre a second when full, and 3 mm a day from about 390 m2.
    assert water.totals.lost_m3 == pytest.approx(2 * (86.4 + 0.003 * 390.0), rel=0.2)
    assert abs(water.error_m3()) < 1e-9


@settings(max_examples=25, deadline=None, derandomize=True, database=None)
@given(
    st.lists(st.floats(0.0, 40.0), min_size=97, max_size=97),
    st.lists(
        st.tuples(st.sampled_from([0, 300, 1000]), st.sampled_from([0, 1, 250, 1000]), st.floats(0.01, 2.0)),
        min_size=1,
        max_size=10,
    ),
    st.sampled_from(["first", "last"]),
    st.sampled_from([0, 3, 100]),
    st.sampled_from([0, 60, 3_000]),
    st.sampled_from([-200, 0, 300]),
)
def test_the_books_close_whatever_flows_and_is_ordered(flows_l_s, moves, refill, start, travel_s, air_mm):
    changes = [
        *STORAGE,
        *SCREEN,
        *SECOND,
        f"storage_pond.refill={refill}",
        f"storage_pond.start_percent={start}",
        f"storage_pond.travel_s={travel_s}",
        f"storage_pond.evaporation_mm={[air_mm] * 12}",
        "storage_pond.seepage_l_s=0.5",
        f"pond.evaporation_mm={[air_mm] * 12}",
        "pond.seepage_l_s=0.3",
        *([] if refill == "first" else ["stream.residual_share_percent=20"]),
    ]
    water = Water(FOREBAY, flows_l_s, changes, month=OCTOBER)
    for opening, pond_permille, hours in moves:
        water.order([opening] * 4, pond_permille).play(min(hours, 24.0 - water.now_ms / HOUR_MS))
        assert abs(water.error_m3()) <= 1e-6 * max(1.0, water.totals.inflow_m3)
        head = water.head
        assert head.pond.taken_m3_s <= max(0.0, head.inflow_m3_s - head.due_m3_s) + 1e-12
        assert head.mouth_level_m <= head.level_m
        assert min(head.draw_m3_s, head.release_m3_s, head.pond.released_m3_s) >= 0.0


# -- screen -----------------------------------------------------------------------------------------


def on_the_screen(changes=(), *, month=OCTOBER, days=4, inflow_l_s=8.0):
    water = Water(BOX, inflow_l_s, [*SCREEN, *changes], days=days, month=month)
    return water.order([1000, 1000, 1000])


def test_leaves_block_it_in_autumn_and_cost_head_and_power():
    water = on_the_screen(["screen.visit_days=0"])
    losses_m = []
    water.play(72, lambda: losses_m.append(water.head.level_m - water.head.mouth_level_m))
    assert all(after >= before - 1e-6 for before, after in pairwise(losses_m[200:]))
    assert 0.0 < losses_m[0] < 0.001
    assert losses_m[-1] > 0.02
    level_m = water.head.level_m - losses_m[-1]
    assert level_m == pytest.approx(water.head.mouth_level_m)
    # A head lower by so many centimetres: the power of the cleaned screen comes back.
    blocked_w = water.works.power_w
    water.head.screen.clean()
    water.play(1)
    assert water.works.power_w > blocked_w
    gross_m = water.works.gross_head_m
    assert water.works.power_w / blocked_w == pytest.approx((1.0 + losses_m[-1] / gross_m) ** 1.5, rel=2e-3)


def test_the_level_below_the_floor_is_that_behind_the_screen():
    water = on_the_screen(["screen.visit_days=0"], days=8)
    water.play(24)
    assert water.totals.below_floor_s == 0.0
    water.play(144)
    assert water.head.level_m > water.head.floor_m > water.head.mouth_level_m
    assert water.totals.below_floor_s > 3_600.0
    assert water.head.least_level_m < water.head.floor_m


def test_fewer_leaves_in_july_than_in_october():
    july, october = (on_the_screen(month=month, days=1).play(24).head.screen for month in (JULY, OCTOBER))
    assert july.blocked_share < 0.5 * october.blocked_share


def test_water_over_the_crest_beside_it_carries_leaves_off():
    blocked = {
        inflow_l_s: on_the_screen(
            ["screen.spill_clears_percent=60", "screen.visit_days=0"], inflow_l_s=inflow_l_s
        )
        .play(72)
        .head.screen.blocked_share
        for inflow_l_s in (4.9, 40.0)  # the jets take 4.5
    }
    assert blocked[40.0] < 0.8 * blocked[4.9]


def test_visits_clean_it():
    water = on_the_screen(["screen.visit_days=2"])
    blocked = []
    water.play(96, lambda: blocked.append((water.now_ms, water.head.screen.blocked_share)))
    falls_ms = [now_ms for (_, before), (now_ms, after) in pairwise(blocked) if after < 0.2 * before]
    assert [round(now_ms / HOUR_MS) for now_ms in falls_ms] == [48, 96]


def test_a_screen_nearly_shut_leaves_the_pipe_what_gets_through():
    water = on_the_screen(
        ["screen.visit_days=0", "screen.half_blocked_days=0.2", "screen.most_blocked_percent=99"]
    )
    water.play(96)
    assert water.head.screen.blocked_share == 0.99
    assert 0.0 < water.head.draw_m3_s < 0.5 * water.works.covered_flow_m3_s
    assert water.head.level_m > water.head.crest_m  # the rest runs over
    assert water.works.power_w < 0.2 * max(water.powers_w)
    assert abs(water.error_m3()) < 1e-7


# -- frost ------------------------------------------------------------------------------------------


def test_cold_days_freeze_a_pipe_that_stands_and_nothing_flows():
    water = Water(BOX, 5.0, FROST, days=2, air_c=-10.0, month=JANUARY).play(24)
    frost = water.head.frost
    assert frost.frozen
    frozen_s = water.totals.frozen_s
    # 11 W/(m2 K) on 30 m of 75 mm take 778 W; nine tenths of 92 kg of ice take about 10 hours.
    assert 12 * 3_600.0 < frozen_s < 15 * 3_600.0
    water.order(OPEN[BOX]).play(1)
    assert water.head.draw_m3_s == water.works.power_w == water.works.flow_m3_s == 0.0
    assert water.works.pressure_pa() == 0.0  # what tells the device
    assert water.totals.turbined_m3 == 0.0
    assert water.totals.frozen_s == pytest.approx(frozen_s + 3_600.0)
    assert abs(water.error_m3()) < 1e-9


def test_a_keeping_flow_keeps_it_open():
    water = Water(BOX, 5.0, FROST, days=3, air_c=-10.0, month=JANUARY).play(0.1)
    least_m3_s = water.head.frost.keeping_flow_m3_s(-10.0)
    water.order([0, 0, 60]).play(71)
    assert water.head.draw_m3_s > least_m3_s
    assert water.head.frost.ice_kg == water.totals.frozen_s == 0.0
    assert water.head.draw_m3_s < 0.001  # and little is enough


def test_a_thaw_frees_it_and_the_jets_play_again():
    air_c = [-10.0] * 96 + [8.0] * 192
    water = Water(BOX, 5.0, FROST, days=3, air_c=air_c, month=JANUARY)
    water.play(24).order([1000, 0, 0])
    assert water.head.frost.frozen
    water.play(24)
    assert not water.head.frost.frozen
    frozen_s = water.totals.frozen_s
    water.play(24)
    assert water.totals.frozen_s == frozen_s
    assert water.head.draw_m3_s > 0.001
    assert water.works.power_w == pytest.approx(
        Water(BOX, 5.0).order([1000, 0, 0]).play(20).works.power_w, rel=1e-3
    )


def test_mild_air_freezes_nothing():
    assert Water(BOX, 5.0, FROST, days=2, air_c=2.0).play(48).totals.frozen_s == 0.0


# -- what is due ------------------------------------------------------------------------------------

BY_MONTH = [0.4] * 6 + [1.6] + [0.4] * 5


def test_what_is_due_is_the_larger_of_the_months_figure_and_share_and_never_more_than_there_is():
    changes = [
        f"stream.residual_by_month_l_s={BY_MONTH}",
        f"stream.residual_share_by_month_percent={[20] * 6 + [50] + [20] * 5}",
    ]
    summer, winter = (Water(BOX, 3.0, changes, month=month).head for month in (JULY, JANUARY))
    for head, stream_l_s, due_l_s in (
        (summer, 2.0, 1.6),
        (summer, 10.0, 5.0),
        (summer, 1.0, 1.0),
        (winter, 1.0, 0.4),
        (winter, 10.0, 2.0),
        (winter, 0.3, 0.3),
        (winter, 0.0, 0.0),
    ):
        assert 1000.0 * head.due_of_m3_s(stream_l_s / 1000.0) == pytest.approx(due_l_s)


def test_the_month_it_is_decides_from_its_first_step():
    months = [JULY - 1] * 48 + [JULY] * 48
    water = Water(BOX, 3.0, [f"stream.residual_by_month_l_s={BY_MONTH}"], month=months)
    water.order([1000, 0, 144]).play(12)  # leaves a third of the stream
    assert 0.0004 < water.head.release_m3_s < 0.0016
    assert water.totals.residual_short_s == 0.0
    water.play(6)
    assert water.totals.residual_short_s == pytest.approx(6 * 3_600.0)


def test_a_shortfall_counts_only_while_the_jets_owe():
    changes = [f"stream.residual_by_month_l_s={BY_MONTH}"]
    idle = Water(BOX, [0.8] + [3.0] * 96, changes).play(2)  # it rose from less than is due, jets shut
    assert idle.totals.residual_short_s == 0.0
    water = Water(BOX, 3.0, changes).order([1000, 1000, 0]).play(2)
    short_s = water.totals.residual_short_s
    assert short_s > 3_600.0
    assert water.head.owing
    water.order().play(2)  # shut; until the slot passes its due again it still owes
    assert not water.head.owing
    paid_s = water.totals.residual_short_s
    assert short_s < paid_s < short_s + 3_600.0
    assert water.play(4).totals.residual_short_s == paid_s


@pytest.mark.parametrize("leaks", [[], ["pond.seepage_l_s=0.3"]])
def test_a_debt_is_paid_when_the_intake_has_refilled_though_its_level_never_quite_comes_to_rest(leaks):
    water = Water(FOREBAY, 1.3, ["stream.residual_flow_l_s=1.5", *leaks], days=6).play(3)
    water.order([0, 1000, 0, 0]).play(3)
    water.order().play(1)
    assert water.head.owing  # all that the stream brings is due, and some of it refills the forebay
    water.play(71)
    assert not water.head.owing
    assert 4 * 3_600.0 < water.totals.residual_short_s < 24 * 3_600.0
    assert water.head.release_m3_s < water.head.due_m3_s


def test_a_small_storage_pond_moves_no_further_in_one_stretch_than_the_intake_may():
    """Its transmitter shows it only as the stretch begins."""
    changes = ["storage_pond.area_m2=[40, 60]", "storage_pond.travel_s=0", "storage_pond.valve_bore_mm=120"]
    water = Water(FOREBAY, 60.0, [*STORAGE, *changes]).play(6).order(pond_permille=1000)
    levels_m = [water.head.pond.level_m]
    water.play(1, lambda: levels_m.append(water.head.pond.level_m))
    assert levels_m[-1] < levels_m[0] - 0.2
    assert max(before - after for before, after in pairwise(levels_m)) < 1.5 * MOST_CHANGE_M


def test_a_share_is_owed_of_the_stream_as_it_came_before_the_pond_took_its_part():
    changes = [*STORAGE, "storage_pond.start_percent=0", "stream.residual_share_percent=50"]
    changes += ["storage_pond.refill=last", "storage_pond.fill_above_l_s=0"]
    water = Water(FOREBAY, 10.0, changes).play(6)
    assert water.head.due_m3_s == pytest.approx(0.005)
    assert 1000.0 * water.head.pond.taken_m3_s == pytest.approx(4.0)
    assert 1000.0 * water.head.release_m3_s == pytest.approx(6.0, abs=0.1)
