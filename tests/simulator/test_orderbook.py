"""The order book: what counts as a change, a stroke, an hour."""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from becklight import reasons
from becklight.orders import Orders
from becksim.orderbook import STILL_MS, OrderBook

VALUES = [170, 5_600, 53_100, 120, 0, 0]
NAMES = ["small", "trim"]

# What is ordered, and how long it stands.
histories = st.lists(
    st.tuples(
        st.lists(st.sampled_from([0, 40, 500, 1000]), min_size=2, max_size=2),
        st.integers(0, len(reasons.NAMES) - 1),
        st.integers(1, 200_000),
    ),
    min_size=1,
    max_size=30,
)


def order(openings, reason=reasons.STREAM):
    orders = Orders(len(openings))
    orders.opening_permille[:] = openings
    orders.reason = reason
    return orders


def book_of(history, repeats=1, trace=None):
    """Take a history in, each order `repeats` times over while it stands; the book and its end."""
    book = OrderBook(NAMES, trace)
    now_ms = 0
    for openings, reason, length_ms in history:
        for repeat in range(repeats):
            book.take(now_ms + length_ms * repeat // repeats, order(openings, reason), VALUES)
        now_ms += length_ms
    return book, now_ms


@given(histories)
def test_equal_orders_again_change_neither_the_fingerprint_nor_the_sums(history):
    once, end_ms = book_of(history)
    often, _ = book_of(history, repeats=5)
    assert once.finish(end_ms) == often.finish(end_ms)
    assert (once.strokes, once.open_ms, once.reason_ms) == (often.strokes, often.open_ms, often.reason_ms)


@pytest.mark.parametrize(
    "other",
    [
        [([0, 0], 1, 1_000), ([40, 0], 1, 1_001), ([80, 0], 1, 1_000)],
        [([0, 0], 1, 1_000), ([0, 40], 1, 1_000), ([80, 0], 1, 1_000)],
        [([0, 0], 1, 1_000), ([40, 0], 2, 1_000), ([80, 0], 1, 1_000)],
        [([0, 0], 1, 1_000), ([40, 0], 1, 1_000)],
    ],
    ids=["instant", "valve", "reason", "count"],
)
def test_the_fingerprint_tells_every_change(other):
    history = [([0, 0], 1, 1_000), ([40, 0], 1, 1_000), ([80, 0], 1, 1_000)]
    assert book_of(history)[0].finish(9_000) != book_of(other)[0].finish(9_000)


@given(histories)
def test_the_hours_of_all_reasons_are_the_whole_time(history):
    book, end_ms = book_of(history)
    book.finish(end_ms)
    assert sum(book.reason_ms) == end_ms
    for valve in range(2):
        assert book.open_ms[valve] == sum(length for openings, _, length in history if openings[valve] > 0)
    for code in range(len(reasons.NAMES)):
        assert book.reason_ms[code] == sum(length for _, reason, length in history if reason == code)


def test_the_hours_of_a_ponds_reasons_are_counted_where_there_is_a_pond():
    for pond in (True, False):
        book, orders = OrderBook(NAMES, pond=pond), order([0, 0])
        for now_ms, reason in ((0, reasons.POND_RESTS), (1_000, reasons.POND_ALLOWANCE), (4_000, 0)):
            orders.pond_reason = reason
            book.take(now_ms, orders, VALUES)
        book.finish(9_000)
        found = {code: book.pond_reason_ms[code] for code in (reasons.POND_RESTS, reasons.POND_ALLOWANCE)}
        assert found == dict(zip(found, (1_000, 3_000) if pond else (0, 0), strict=True))


def test_take_says_whether_the_openings_changed():
    book = OrderBook(NAMES)
    assert book.take(0, order([0, 0]), VALUES)  # the first order is one
    assert not book.take(1_000, order([0, 0]), VALUES)
    assert not book.take(2_000, order([0, 0], reasons.FLOOR), VALUES)
    assert book.take(3_000, order([0, 40], reasons.FLOOR), VALUES)


def test_it_keeps_its_own_copy_of_the_orders():
    book = OrderBook(NAMES)
    orders = order([0, 0])
    book.take(0, orders, VALUES)
    orders.opening_permille[0] = 40  # filled in place, as the engine does
    assert book.take(1_000, orders, VALUES)
    assert book.strokes == [1, 0]


@pytest.mark.parametrize(
    ("moves", "strokes"),
    [
        ([(1_000, 40), (2_000, 80), (3_000, 120)], 1),
        ([(1_000, 40), (1_000 + STILL_MS, 80)], 1),
        ([(1_000, 40), (1_001 + STILL_MS, 80)], 2),
        ([(1_000, 40), (2_000, 0), (3_000, 40)], 3),
        ([(1_000, 40), (2_000, 40), (3_000, 80)], 1),
    ],
    ids=["a run", "just within a minute", "after a rest", "to and fro", "a step of the other's"],
)
def test_a_stroke_is_an_unbroken_run_one_way(moves, strokes):
    book = OrderBook(NAMES)
    book.take(0, order([0, 0]), VALUES)
    for now_ms, opening in moves:
        book.take(now_ms, order([opening, now_ms // 1000]), VALUES)
    assert book.strokes[0] == strokes


def test_the_trace_has_a_row_for_each_change_with_names_and_readings():
    trace = io.StringIO()
    book_of([([0, 0], 0, 1_000), ([0, 0], 0, 1_000), ([0, 40], 1, 500), ([0, 40], 3, 500)], 3, trace)
    assert trace.getvalue().splitlines() == [
        "time_ms,small_permille,trim_permille,reason,level_mm,pressure_mbar,battery_mv,out",
        "0,0,0,starting,170,5600,53100,",
        "2000,0,40,stream,170,5600,53100,",
        "2500,0,40,floor,170,5600,53100,",
    ]


def test_the_hours_in_which_a_valve_is_out_are_counted_and_named_and_leave_the_fingerprint():
    trace = io.StringIO()
    book, plain = OrderBook(NAMES, trace), OrderBook(NAMES)
    for now_ms, out_bits in ((0, 0), (1_000, 2), (3_000, 2), (4_500, 3), (5_000, 0)):
        orders = order([0, 40])
        plain.take(now_ms, orders, VALUES)
        orders.out_bits = out_bits
        assert book.take(now_ms, orders, VALUES) == (now_ms == 0)
    assert book.finish(6_000) == plain.finish(6_000)
    assert book.out_ms == [500, 4_000]
    assert book.open_ms == [0, 6_000]
    assert [line.rpartition(",")[2] for line in trace.getvalue().splitlines()] == [
        "out",
        "",
        "trim",
        "small+trim",
        "",
    ]


def test_moves_of_sets_that_take_turns_are_told_apart():
    history = [
        ([0, 0], reasons.STREAM, 200_000),
        ([1000, 0], reasons.TURNS, 200_000),
        ([1000, 40], reasons.STREAM, 1_000),
    ]
    book, _ = book_of(history)
    assert [openings for _, openings in book.changes] == [(0, 0), (1000, 0), (1000, 40)]
    assert [openings for _, openings in book.steered] == [(0, 0), (1000, 40)]
