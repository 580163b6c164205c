"""Random plants, a few days each: the books close, orders stay in bounds, floor and stream are kept."""

import csv
import datetime
import io

import numpy as np
import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from becksim.bound.losses import brought_kwh
from becksim.errors import UserError
from becksim.replay import replay
from becksim.site import load_site
from becksim.totals import sum_of

BOX = "millbrook-smallholding"  # an intake box
FOREBAY = "upland-hostel"  # the intake stands in a pond
STARTS = ("2031-01-30", "2031-03-31", "2031-06-29", "2031-07-10", "2031-10-31", "2031-12-30")
# Diameters that leave the menu as it is in kind: pipe and motors stay those of the example.
JETS_MM = {
    BOX: {"left": (6.5, 8.0), "right": (8.5, 10.0), "trim": (11.0, 12.5)},
    FOREBAY: {"small": (6.0, 7.0), "middle": (7.5, 8.5), "large": (9.0, 10.5), "trim": (9.5, 10.5)},
}
# Volts of the same bank in the other chemistry.
OTHER_BATTERY = {
    BOX: ["battery.chemistry=lifepo4", "battery.cells=8", "battery.cutoff_v=24", "battery.reconnect_v=26.2"],
    FOREBAY: [
        "battery.chemistry=lead-acid",
        "battery.cells=24",
        "battery.cutoff_v=45",
        "battery.reconnect_v=50",
    ],
}


def tenths(low, high):
    """Numbers with one decimal."""
    return st.integers(round(10 * low), round(10 * high)).map(lambda value: value / 10.0)


def twelve(numbers):
    """A list of one number a month."""
    return st.lists(numbers, min_size=12, max_size=12)


@st.composite
def residuals(draw, shares):
    """What is due to the stream: nothing, a figure, by month, a share, or by month both."""
    kind = draw(st.sampled_from(["none", "figure", "month", "share", "both"][: 5 if shares else 3]))
    if kind == "none":
        return ["stream.residual_flow_l_s=0"]
    if kind == "figure":
        return [f"stream.residual_flow_l_s={draw(tenths(0.1, 2.0))}"]
    if kind == "month":
        return [f"stream.residual_by_month_l_s={draw(twelve(tenths(0.0, 2.0)))}"]
    if kind == "share":
        return ["stream.residual_flow_l_s=0.3", f"stream.residual_share_percent={draw(st.integers(1, 60))}"]
    return [
        f"stream.residual_by_month_l_s={draw(twelve(tenths(0.0, 1.5)))}",
        f"stream.residual_share_by_month_percent={draw(twelve(st.integers(0, 60)))}",
    ]


@st.composite
def storage_ponds(draw, refill):
    return [
        "storage_pond.level_mm=[-100, 0, 1500]",
        f"storage_pond.area_m2={draw(st.sampled_from([[80, 90, 150], [150, 200, 500]]))}",
        "storage_pond.crest_level_mm=1400",
        f"storage_pond.lowest_level_mm={draw(st.sampled_from([100, 600]))}",
        f"storage_pond.fill_l_s={draw(tenths(0.5, 5.0))}",
        f"storage_pond.refill={refill}",
        f"storage_pond.valve_bore_mm={draw(st.sampled_from([50, 63]))}",
        f"storage_pond.start_percent={draw(st.integers(20, 100))}",
        f"storage_pond.travel_s={draw(st.sampled_from([0, 60, 1200]))}",
        f"storage_pond.seepage_l_s={draw(tenths(0.0, 0.5))}",
        f"storage_pond.evaporation_mm={draw(twelve(st.integers(-60, 120)))}",
    ]


@st.composite
def screens(draw):
    return [
        "screen.area_m2=0.15",
        "screen.design_flow_l_s=6",
        f"screen.half_blocked_days={draw(tenths(0.3, 5.0))}",
        f"screen.visit_days={draw(st.sampled_from([0, 1, 3]))}",
        f"screen.spill_clears_percent={draw(st.integers(0, 50))}",
    ]


@st.composite
def frosts(draw):
    return [
        f"frost.exposed_length_m={draw(st.integers(2, 40))}",
        f"frost.air_month_c={draw(twelve(st.integers(-15, 15)))}",
        f"frost.u_w_m2_k={draw(st.sampled_from([1.5, 11, 30]))}",
    ]


@st.composite
def heaters(draw):
    kind = draw(st.sampled_from(["surplus", "timed"]))
    hours = draw(st.lists(st.integers(0, 23), min_size=1, max_size=4, unique=True))
    return [
        f"house.heater_kind={kind}",
        f"house.heater_w={draw(st.sampled_from([150, 1000, 2500]))}",
        *([f"house.heater_hours={hours}"] if kind == "timed" else []),
    ]


@st.composite
def batteries(draw, name):
    lowest_c = draw(st.integers(-15, 12))
    return [
        *draw(st.sampled_from([[], OTHER_BATTERY[name]])),
        f"battery.start_percent={draw(st.integers(10, 100))}",
        f"battery.capacity_ah={draw(st.sampled_from([120, 300, 600]))}",
        f"battery.age_years={draw(st.integers(0, 8))}",
        f"battery.winter_c={lowest_c}",
        f"battery.summer_c={lowest_c + draw(st.integers(0, 25))}",
    ]


@st.composite
def second_sources(draw):
    if draw(st.booleans()):
        return [f"stream.second_source.flow_l_s={draw(tenths(0.1, 3.0))}"]
    return [f"stream.second_source.flow_by_month_l_s={draw(twelve(tenths(0.0, 3.0)))}"]


def perhaps(strategy):
    """These changes, or none."""
    return st.just([]) | strategy


@st.composite
def changed_sites(draw):
    """An example's name and `--set` strings that make another plant of it."""
    name = draw(st.sampled_from([BOX, FOREBAY]))
    changes = [
        f"jets.{jet}.diameter_mm={draw(tenths(low, high))}" for jet, (low, high) in JETS_MM[name].items()
    ]
    refill = draw(st.sampled_from(["none", "first", "last"]))
    if refill != "none":
        changes += draw(storage_ponds(refill))
    # A forebay rises by hours: what a share asks of a rising stream it lets past later, whatever the jets do.
    changes += draw(residuals(shares=name == BOX and refill != "first"))
    for strategy in (second_sources(), screens(), frosts(), heaters()):
        changes += draw(perhaps(strategy))
    changes += draw(batteries(name))
    if name == FOREBAY:
        changes += draw(
            perhaps(st.just(["pond.seepage_l_s=0.4", f"pond.evaporation_mm={[90] * 6 + [-60] * 6}"]))
        )
    return name, changes


def write_flows(path, start, days, seed):
    """An hourly record of a stream that recedes and rises at random [L/s]; the same for the same seed."""
    rng = np.random.default_rng(seed)
    flow_l_s = float(np.exp(rng.uniform(np.log(0.5), np.log(15.0))))
    kept = 1.0 - 10.0 ** rng.uniform(-4.0, -1.5)  # an hour later, without rain
    when = datetime.datetime.fromisoformat(start)
    rows = [("time", "flow [l/s]")]
    for hour in range(24 * days + 2):
        rows.append(
            ((when + datetime.timedelta(hours=hour)).isoformat(timespec="minutes"), f"{flow_l_s:.2f}")
        )
        flow_l_s = 0.2 + (flow_l_s - 0.2) * kept
        if rng.random() < 0.03:
            flow_l_s += float(rng.gamma(0.7, 8.0))
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text("# Invented.\n" + text.getvalue(), encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("flows")


def quiet(max_examples):
    """The same examples each time."""
    return settings(
        max_examples=max_examples,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def assert_books_close(plant):
    whole = sum_of(plant.months)
    through_m3 = whole.inflow_m3 + whole.second_m3
    assert abs(plant.water_error_m3()) <= 1e-6 * max(1.0, through_m3)
    through_j = whole.generated_j + whole.solar_j + whole.load_j
    assert abs(plant.energy_error_j()) <= 1e-6 * max(3.6e6, through_j)
    assert whole.generated_j == pytest.approx(whole.accepted_j + whole.curtailed_j, rel=1e-9, abs=1.0)


@quiet(25)
@given(changed_sites(), st.sampled_from(STARTS), st.integers(2, 5), st.integers(0, 2**31 - 1))
def test_whatever_the_plant_its_books_close_and_intake_and_stream_get_their_due(
    folder, changed, start, days, seed
):
    name, changes = changed
    note(" ".join(f"--set {change!r}" for change in changes))
    flows = write_flows(folder / "flows.csv", start, days, seed)
    result = replay(load_site(name, changes), flows=flows, seed=seed, days=days)
    whole = result.whole
    for plant in (result.controlled, result.by_hand):
        assert_books_close(plant)
    for _, openings in result.book.changes:
        assert all(0 <= opening <= 1000 for opening in openings)
    assert whole.seconds == pytest.approx(86_400.0 * days)
    assert whole.pond_low_s == 0.0
    assert whole.below_floor_s == 0.0
    assert whole.residual_short_s == 0.0


@quiet(8)
@given(changed_sites(), st.sampled_from(STARTS), st.integers(2, 4), st.integers(0, 2**31 - 1))
def test_whatever_the_plant_no_more_is_earned_than_was_possible(folder, changed, start, days, seed):
    name, changes = changed
    note(" ".join(f"--set {change!r}" for change in changes))
    flows = write_flows(folder / "bound.csv", start, days, seed)
    result = replay(load_site(name, changes), flows=flows, seed=seed, days=days, bound=True)
    bank, bound = result.controlled.bank, result.bound
    assert bound.accepted_kwh <= bound.useful_kwh
    # The hand-set jet on the same days; it may take what is not its own, and then the bound does not hold.
    by_hand = sum_of(result.by_hand.months)
    if by_hand.residual_short_s == by_hand.pond_low_s == 0.0:
        more_kwh = brought_kwh(by_hand, bank.inverter_efficiency)
        more_kwh -= brought_kwh(result.whole, bank.inverter_efficiency)
        missing_kwh = bound.useful_kwh - bound.accepted_kwh
        assert more_kwh / bank.hydro_regulator_efficiency <= missing_kwh + 1e-3


# -- asking always, and asking when due ---------------------------------------------------------------

# A pond that a low battery opens at once, and months of which September is due more.
STORAGE = [
    "storage_pond.level_mm=[0, 1500]",
    "storage_pond.area_m2=[60, 120]",
    "storage_pond.crest_level_mm=1400",
    "storage_pond.lowest_level_mm=600",
    "storage_pond.fill_l_s=2",
    "storage_pond.refill=last",
    "storage_pond.valve_bore_mm=60",
    "battery.start_percent=25",
]
BY_MONTH = [f"stream.residual_by_month_l_s={[0.6] * 8 + [1.4] * 4}"]


def assert_skipping_changes_nothing(site, flows, seed):
    skipping, dense = (
        replay(site, flows=flows, seed=seed, days=2, every_sample=all_) for all_ in (False, True)
    )
    assert dense.orders_sha256 == skipping.orders_sha256
    assert dense.whole.turbined_m3 == pytest.approx(skipping.whole.turbined_m3, rel=1e-9, abs=1e-9)
    assert dense.whole.accepted_j == pytest.approx(skipping.whole.accepted_j, rel=1e-9, abs=1e-3)
    assert dense.whole.residual_short_s == skipping.whole.residual_short_s
    assert skipping.controller_steps < dense.controller_steps
    return skipping


@pytest.mark.parametrize("changes", [[*STORAGE, *BY_MONTH], BY_MONTH])
def test_across_a_months_end_and_with_a_pond_asking_at_every_sample_gives_the_same_orders(folder, changes):
    flows = write_flows(folder / "august.csv", "2031-08-30T12:00", 2, seed=5)
    result = assert_skipping_changes_nothing(load_site(FOREBAY, changes), flows, seed=5)
    assert sum(result.book.strokes) > 0
    if changes != BY_MONTH:
        assert result.book.pond_open_ms > 0


@quiet(3)
@given(changed_sites(), st.sampled_from(STARTS), st.integers(0, 2**31 - 1))
def test_whatever_the_plant_asking_at_every_sample_gives_the_same_orders(folder, changed, start, seed):
    name, changes = changed
    note(" ".join(f"--set {change!r}" for change in changes))
    flows = write_flows(folder / "dense.csv", start, 2, seed)
    assert_skipping_changes_nothing(load_site(name, changes), flows, seed)


# -- what once went wrong -----------------------------------------------------------------------------


def steady(path, flow_l_s, start="2031-07-10", days=2):
    """A record of a stream that does not change."""
    first = datetime.datetime.fromisoformat(start)
    rows = [
        f"{(first + datetime.timedelta(hours=hour)).isoformat(timespec='minutes')},{flow_l_s}"
        for hour in range(24 * days + 2)
    ]
    path.write_text("\n".join(["time,flow [l/s]", *rows]) + "\n", encoding="utf-8")
    return str(path)


BIG_POND = [change.replace("[60, 120]", "[300, 600]") for change in STORAGE]


def test_on_29_february_the_stream_gets_what_february_is_due(folder):
    changes = [f"stream.residual_by_month_l_s={[1.5, 1.5] + [0.4] * 10}"]
    flows = steady(folder / "leap.csv", 3.0, "2032-02-28", 3)
    assert replay(load_site(BOX, changes), flows=flows, days=3).whole.residual_short_s == 0.0


def test_a_share_of_the_stream_and_a_pond_that_fills_first_do_not_go_together():
    changes = [*BIG_POND, "stream.residual_share_percent=40", "storage_pond.refill=first"]
    with pytest.raises(UserError, match="does not see what a pond takes first"):
        load_site(BOX, changes)


@pytest.mark.parametrize(
    ("name", "due_l_s", "stream_l_s"),
    [
        (BOX, 0.6, 1.6),  # the level falls faster than the jets close
        (FOREBAY, 1.5, 2.2),
    ],
)
def test_when_the_ponds_valve_closes_intake_and_stream_keep_what_they_need(folder, name, due_l_s, stream_l_s):
    changes = [*STORAGE, f"stream.residual_flow_l_s={due_l_s}"]
    flows = steady(folder / "closing.csv", stream_l_s)
    result = replay(load_site(name, changes), flows=flows, days=2)
    assert (result.whole.below_floor_s, result.whole.residual_short_s) == (0.0, 0.0)


# Half full, the jets are long open when the battery gets low; fuller, they are still on their way.
@pytest.mark.parametrize(("name", "start_percent"), [(BOX, 50), (FOREBAY, 70)])
def test_a_pond_is_not_let_down_while_the_stream_spills(folder, name, start_percent):
    flows = steady(folder / "flood.csv", 40.0)
    changes = [*BIG_POND, "house.daily_kwh=60", f"battery.start_percent={start_percent}"]
    assert replay(load_site(name, changes), flows=flows, days=2).whole.pond_released_m3 == 0.0
