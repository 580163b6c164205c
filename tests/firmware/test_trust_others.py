"""What is found by holding one instrument against others, and what is told though it is believed."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import readings as places
from becklight.crosscheck import BUS_LIES_MS, PRESSURE_LIES_MS
from becklight.facts import Facts
from becklight.noise import AGAIN_MS, BURST_MS, BURST_SAMPLES, NOISY_BURSTS
from becklight.orders import Orders
from becklight.readings import BUS_MV, COUNT, LEVEL_MM, PRESSURE_MBAR, SPARE_BUS_MV, UNKNOWN
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add
from becklight.trust import LEVEL_HOLD_MS, LOOK_MS, PLACES, Trust
from becklight.witness import DRIFT, FROZEN, GONE, JUMP, NOISY, OK, STEP_MS

WRAP_MS = PERIOD_MS - 65_000
LOOKS = 4
HEALTHY = {
    places.LEVEL_MM: 120,
    places.PRESSURE_MBAR: 4_700,
    places.BATTERY_MV: 26_000,
    places.BUS_MV: 60_000,
    places.POND_MM: 900,
    places.TEMP_DECIC: 200,
    places.AIR_DECIC: 80,
    places.SPARE_BUS_MV: 50_000,
}
ALL_LOOKS = dict.fromkeys(
    (
        "level_looks",
        "pressure_looks",
        "battery_looks",
        "bus_looks",
        "pond_looks",
        "temp_looks",
        "spare_bus_looks",
    ),
    LOOKS,
)
ALL_LIMITS = {
    "level_noise_mm": 10,
    "pressure_noise_mbar": 50,
    "battery_noise_mv": 100,
    "bus_noise_mv": 500,
    "pond_noise_mm": 10,
    "temp_noise_decic": 10,
    "spare_bus_noise_mv": 400,
}


@pytest.fixture(scope="session")
def settings_of(settings_of):
    """The plant built in conftest.py with a spare wheel, so that every instrument is there."""
    return lambda *args, **kwargs: settings_of(*args, **{"spare": [0], **kwargs})


class Bench:
    """A Trust asked every second, or when told; jets run."""

    def __init__(self, read):
        self.trust = Trust(read)
        self.facts = Facts()
        self.facts.closed, self.facts.settled, self.facts.moving = False, True, False
        self.facts.expected_mbar, self.facts.expected_bus_mv = 4_700, 60_000
        self.facts.spare_runs, self.facts.expected_spare_bus_mv = True, 50_000
        self.now_ms = 0

    def show(self, seconds=1, every_ms=1_000, **changed):
        """The faults that are told, by name of the instrument."""
        values = {places.NAMES[place]: value for place, value in HEALTHY.items()}
        values.update(changed)
        raw = [values.get(name, UNKNOWN) for name in places.NAMES]
        for _ in range(seconds):
            self.trust.judge(ticks_add(WRAP_MS, self.now_ms), raw, self.facts)
            self.now_ms += every_ms
        return {places.NAMES[place]: self.trust.told[place] for place in PLACES if self.trust.told[place]}


# -- told, though believed ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value", "hold_s", "told"),
    [
        ("level_mm", 900, 20, True),
        ("battery_mv", 31_000, 10, True),
        ("pond_mm", 1_400, 60, True),
        ("temp_decic", 400, 60, True),
        ("air_decic", 300, 60, True),
        ("pressure_mbar", 2_000, 5, False),  # it may be a burst
        ("bus_mv", 160_000, 3, False),  # a wheel set free
    ],
)
def test_a_jump_that_has_stood_is_believed_and_told_for_an_hour_if_no_plant_does_it(
    settings_of, name, value, hold_s, told
):
    bench = Bench(settings_of())
    place = places.NAMES.index(name)
    bench.show(5)
    assert bench.show(hold_s, **{name: value}) == {name: JUMP}
    assert bench.facts.values[place] == UNKNOWN
    expected = {name: JUMP} if told else {}
    assert bench.show(1, **{name: value}) == expected
    assert bench.facts.values[place] == value
    bench.facts.moving = True  # nothing is held against another then
    assert bench.show(STEP_MS // 1_000 - 1, **{name: value}) == expected
    assert bench.show(1, **{name: value}) == {}


def test_one_that_was_gone_and_comes_back_elsewhere_has_not_jumped(settings_of):
    bench = Bench(settings_of())
    bench.show(5)
    assert bench.show(5, level_mm=UNKNOWN) == {"level_mm": GONE}
    bench.show(LEVEL_HOLD_MS // 1_000 + 1, level_mm=900)
    assert bench.show(1, level_mm=900) == {}


def test_a_level_that_sinks_where_it_cannot_is_told_and_believed(settings_of):
    bench = Bench(settings_of(level_sink_mm=30))
    bench.facts.closed = True
    still = {"bus_mv": 0, "pressure_mbar": 5_000}
    assert bench.show(1, level_mm=75, **still) == {}
    assert bench.show(60, level_mm=44, **still) == {"level_mm": DRIFT}
    assert bench.facts.values[LEVEL_MM] == 44
    assert bench.trust.fault[LEVEL_MM] == OK


@pytest.mark.parametrize(
    ("changed", "settled", "moving"),
    [
        ({"bus_mv": 60_000}, True, False),  # a jet still runs, whatever is ordered
        ({"bus_mv": UNKNOWN}, True, False),  # and here nobody knows
        ({"bus_mv": 0}, False, False),
        ({"bus_mv": 0}, True, True),
    ],
)
def test_a_level_that_may_be_drawn_down_may_sink(settings_of, changed, settled, moving):
    bench = Bench(settings_of(level_sink_mm=30))
    bench.facts.closed, bench.facts.settled, bench.facts.moving = True, settled, moving
    bench.show(1, level_mm=75, pressure_mbar=5_000, **changed)
    assert "level_mm" not in bench.show(60, level_mm=44, pressure_mbar=5_000, **changed)


# -- frozen -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("closed", [True, False])
def test_each_that_can_waver_is_found_frozen_but_pipe_and_wheel_only_while_jets_run(settings_of, closed):
    bench = Bench(settings_of(**ALL_LOOKS))
    bench.facts.closed, bench.facts.spare_runs = closed, not closed
    bench.facts.moving = True
    assert bench.show(10 * LOOKS, every_ms=LOOK_MS // 10) == {}
    assert bench.trust.left_ms(ticks_add(WRAP_MS, bench.now_ms)) == 0  # it wants to look now
    frozen = {places.NAMES[place] for place in PLACES if place != places.AIR_DECIC}
    if closed:
        frozen -= {"pressure_mbar", "bus_mv", "spare_bus_mv"}
    assert bench.show(1) == dict.fromkeys(frozen, FROZEN)


def test_a_spare_that_stands_by_may_show_the_same_for_ever(settings_of):
    bench = Bench(settings_of(spare_bus_looks=LOOKS, bus_looks=LOOKS))
    bench.facts.spare_runs, bench.facts.moving = False, True
    assert bench.show(3 * LOOKS, every_ms=LOOK_MS, spare_bus_mv=0) == {"bus_mv": FROZEN}


def test_the_looks_at_pipe_and_wheel_begin_anew_when_the_jets_do(settings_of):
    bench = Bench(settings_of(pressure_looks=LOOKS, bus_looks=LOOKS))
    bench.facts.moving = True
    assert bench.show(LOOKS, every_ms=LOOK_MS) == {}
    bench.facts.closed = True
    assert bench.show(1, every_ms=LOOK_MS) == {}
    bench.facts.closed = False
    assert bench.show(LOOKS, every_ms=LOOK_MS) == {}
    assert bench.show(1) == {"pressure_mbar": FROZEN, "bus_mv": FROZEN}


# -- noise --------------------------------------------------------------------------------------------


def _bursts(bench, wobbles, bursts):
    """So many bursts in which the named instruments waver by so much each way."""
    told = {}
    for _ in range(bursts):
        bench.now_ms += max(0, bench.trust.noise.left_ms(ticks_add(WRAP_MS, bench.now_ms)))
        for sample in range(BURST_SAMPLES):
            changed = {
                name: HEALTHY[places.NAMES.index(name)] + wobble * (sample % 2)
                for name, wobble in wobbles.items()
            }
            told = bench.show(1, **changed)
    return told


@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("level_mm", 10),
        ("pressure_mbar", 50),
        ("battery_mv", 100),
        ("bus_mv", 500),
        ("pond_mm", 10),
        ("temp_decic", 10),
        ("air_decic", 20),
        ("spare_bus_mv", 400),
    ],
)
def test_each_is_noisy_beyond_its_own_limit_and_no_other_is_blamed(settings_of, name, limit):
    bench = Bench(settings_of(**ALL_LIMITS))
    bench.show()
    assert _bursts(bench, {name: limit}, NOISY_BURSTS) == {}
    assert _bursts(bench, {name: limit + 1}, NOISY_BURSTS) == {name: NOISY}
    assert bench.facts.values[places.NAMES.index(name)] == UNKNOWN
    assert _bursts(bench, {}, NOISY_BURSTS) == {}


@pytest.mark.parametrize(("settled", "moving"), [(False, False), (True, True)])
def test_pipe_and_wheel_are_not_looked_at_for_noise_while_a_valve_moves(settings_of, settled, moving):
    bench = Bench(settings_of(**ALL_LIMITS))
    bench.facts.settled, bench.facts.moving = settled, moving
    bench.show()
    wobbles = {"pressure_mbar": 300, "bus_mv": 5_000, "pond_mm": 30, "spare_bus_mv": 5_000}
    for _ in range(6 * NOISY_BURSTS):
        told = _bursts(bench, wobbles, 1)
    assert told == {"pond_mm": NOISY}


# -- pressure and wheel -------------------------------------------------------------------------------


def test_a_pressure_without_flow_while_the_wheel_turns_is_not_believed(settings_of):
    bench = Bench(settings_of())
    assert bench.show(PRESSURE_LIES_MS // 1_000, pressure_mbar=4_990) == {}
    assert bench.show(1, pressure_mbar=4_990) == {"pressure_mbar": DRIFT}
    assert bench.facts.values[PRESSURE_MBAR] == UNKNOWN


def test_a_wheel_that_stands_while_the_jets_run_is_not_believed(settings_of):
    bench = Bench(settings_of())
    assert bench.show(BUS_LIES_MS // 1_000, bus_mv=0) == {}
    assert bench.show(1, bus_mv=0) == {"bus_mv": DRIFT}
    assert bench.facts.values[BUS_MV] == UNKNOWN


def test_a_spare_that_stands_while_its_jets_run_is_not_believed(settings_of):
    bench = Bench(settings_of())
    assert bench.show(BUS_LIES_MS // 1_000, spare_bus_mv=0) == {}
    assert bench.show(1, spare_bus_mv=0) == {"spare_bus_mv": DRIFT}
    assert bench.facts.values[SPARE_BUS_MV] == UNKNOWN
    assert bench.facts.values[BUS_MV] == 60_000


def test_a_spare_that_stands_by_is_not_held_against_the_flow(settings_of):
    bench = Bench(settings_of())
    bench.facts.spare_runs, bench.facts.expected_spare_bus_mv = False, 0
    assert bench.show(2 * BUS_LIES_MS // 1_000, spare_bus_mv=0) == {}


def test_the_spare_alone_shows_that_the_pressure_lies(settings_of):
    bench = Bench(settings_of())
    bench.facts.expected_bus_mv = 0
    bench.show(PRESSURE_LIES_MS // 1_000, pressure_mbar=4_990, bus_mv=0)
    assert bench.show(1, pressure_mbar=4_990, bus_mv=0) == {"pressure_mbar": DRIFT}


def test_without_a_spare_wheel_its_reading_is_nothing(plant):
    bench = Bench(Settings(plant(fitted_bits=1023)))
    assert bench.show(700, spare_bus_mv=0) == bench.show(1, spare_bus_mv=UNKNOWN) == {}
    assert bench.facts.values[SPARE_BUS_MV] == UNKNOWN


@pytest.mark.parametrize(
    ("changed", "missing"),
    [
        ({"pressure_mbar": 4_990}, BUS_MV),
        ({"bus_mv": 0}, PRESSURE_MBAR),
    ],
)
def test_an_instrument_that_is_not_there_contradicts_nobody(settings_of, changed, missing):
    bench = Bench(settings_of(fitted_bits=1023 & ~(1 << missing)))
    bench.facts.expected_spare_bus_mv = 0
    assert bench.show(2_000, **changed) == {}


@pytest.mark.parametrize(
    ("liar", "changed"), [("bus_mv", {"pressure_mbar": 4_990}), ("pressure_mbar", {"bus_mv": 0})]
)
def test_one_that_is_not_believed_contradicts_nobody(settings_of, liar, changed):
    bench = Bench(settings_of())
    bench.facts.expected_spare_bus_mv = 0
    bench.show(5)
    assert bench.show(2_000, **{liar: 1 << 27, **changed}).keys() == {liar}


# -- asked often or seldom ----------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([1, 5, 40, 700, 2_500, 11_000]),
            st.sampled_from([60, 75, 90, 120]),
            st.sampled_from([UNKNOWN, 4_700, 4_990, 5_000, 5_300]),
            st.sampled_from([UNKNOWN, 0, 30_000, 60_000, 95_000]),
            st.sampled_from([UNKNOWN, 0, 25_000, 50_000, 80_000]),
            st.sampled_from([0, 1, 40]),
            st.sampled_from(["both run", "main runs", "closed"]),
        ),
        max_size=5,
    )
)
def test_inside_its_bands_and_before_its_time_asking_changes_nothing(settings_of, rows):
    read = settings_of(level_sink_mm=10, **ALL_LIMITS)
    often, seldom = Bench(read), Bench(read)
    orders = Orders(len(read.valves))
    second, due, before = 0, 0, None
    for seconds, level_mm, pressure_mbar, bus_mv, spare_mv, wobble, jets in rows:
        closed = jets == "closed"
        for bench in (often, seldom):
            bench.facts.closed = closed
            bench.facts.expected_mbar, bench.facts.expected_bus_mv = (5_000, 0) if closed else (4_700, 60_000)
            bench.facts.spare_runs = jets == "both run"
            bench.facts.expected_spare_bus_mv = 50_000 if jets == "both run" else 0
        for _ in range(seconds):
            off = (second * 7 % 3 - 1) * wobble
            raw = [UNKNOWN] * COUNT
            for place, value in HEALTHY.items():
                raw[place] = value
            raw[LEVEL_MM] = level_mm + off
            raw[PRESSURE_MBAR] = pressure_mbar if pressure_mbar == UNKNOWN else pressure_mbar + off
            raw[BUS_MV] = bus_mv if bus_mv == UNKNOWN else bus_mv + off
            raw[SPARE_BUS_MV] = spare_mv if spare_mv == UNKNOWN else spare_mv + off
            now_ms = ticks_add(WRAP_MS, 1_000 * second)
            often.trust.judge(now_ms, raw, often.facts)
            if second >= due or not orders.within(raw) or jets != before:
                before = jets
                seldom.trust.judge(now_ms, raw, seldom.facts)
                orders.widen()
                seldom.trust.watch(orders)
                left_ms = min(seldom.trust.left_ms(now_ms), seldom.trust.noise.left_ms(now_ms))
                due = second + max(1, min(900, -(-left_ms // 1_000)))
            assert seldom.trust.told == often.trust.told
            second += 1


def test_the_constants_fit_each_other():
    assert AGAIN_MS < BURST_MS
    assert BURST_SAMPLES * 1_000 < AGAIN_MS


def test_what_each_is_held_against_is_watched(settings_of):
    bench = Bench(settings_of(level_sink_mm=30))
    orders = Orders(4)
    bench.show(1, level_mm=75, pressure_mbar=4_900, bus_mv=45_000)
    bench.trust.watch(orders)
    assert orders.low[BUS_MV] == 30_001  # half of what is expected
    assert orders.low[SPARE_BUS_MV] == 27_500  # no more than its witness asks for
    bench.facts.closed, bench.facts.expected_mbar, bench.facts.expected_bus_mv = True, 5_000, 0
    bench.show(1, level_mm=75, pressure_mbar=5_000, bus_mv=0)
    orders.widen()
    bench.trust.watch(orders)
    assert (orders.low[LEVEL_MM], orders.high[LEVEL_MM]) == (45, 80)
    assert orders.high[PRESSURE_MBAR] == 4_997 + 249
    assert orders.high[BUS_MV] == 18_000
    assert orders.low[SPARE_BUS_MV] == 27_500
