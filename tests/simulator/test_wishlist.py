"""The owner's orders of a replay: read, refused in sentences, and obeyed alike on both interpreters."""

import pytest

from becklight import wishes
from becklight.owner import PIPE
from becklight.settings import Settings
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.onboard import find_micropython
from becksim.replay import as_json, replay
from becksim.site import load_site
from becksim.times import DAY_MS, HOUR_MS
from becksim.wishlist import Wish, read_wishes

SPARE = [
    "jets.large.wheel=spare",
    "spare.wheel.pitch_diameter_mm=200",
    "spare.wheel.voltage_v_per_rpm=0.05",
    "spare.wheel.most_bus_v=150",
]
SITE = load_site("upland-hostel", SPARE)
SETTINGS = Settings(compile_site(SITE))
HEAD = "day,order,what,hours\n"


@pytest.fixture
def table(tmp_path):
    """table("row\\nrow") -> the path of such a table."""

    def write(rows, head=HEAD):
        path = tmp_path / "owner.csv"
        path.write_text(head + rows, encoding="utf-8")
        return path

    return write


def test_every_order_is_read_and_put_in_order(table):
    rows = "30.25,hold,small+trim@400,8\n2,lock,middle,\n12.5,lock,spare,\n14,unlock,spare,\n\n20,stop,,6\n"
    rows += "40,clear,pipe,\n21,stop,,\n22,resume,,\n23, hold , ,1\n"
    assert read_wishes(table(rows), SETTINGS) == [
        Wish(2 * DAY_MS, wishes.LOCK, 1, 1),
        Wish(25 * DAY_MS // 2, wishes.LOCK_WHEEL, 1, 1),
        Wish(14 * DAY_MS, wishes.LOCK_WHEEL, 1, 0),
        Wish(20 * DAY_MS, wishes.STOP, 6 * HOUR_MS),
        Wish(21 * DAY_MS, wishes.STOP),
        Wish(22 * DAY_MS, wishes.RESUME),
        Wish(23 * DAY_MS, wishes.HOLD, wishes.HERE, 0, HOUR_MS),
        Wish(121 * DAY_MS // 4, wishes.HOLD, SETTINGS.set_masks.index(1), 400, 8 * HOUR_MS),
        Wish(40 * DAY_MS, wishes.CLEAR, PIPE),
    ]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("x,stop,,", 'day is "x"; allowed: a number from 0 to 10000.'),
        ("-1,stop,,", 'day is "-1"; allowed'),
        ("nan,stop,,", 'day is "nan"; allowed'),
        ("1,shut,,", 'order is "shut"; allowed: hold, stop, resume, lock, unlock'),
        ("1,stop,small,", 'what is "small"; allowed with stop: nothing.'),
        ("1,stop,,25", 'hours is "25"; allowed: a number from 0 to 24.'),
        ("1,resume,,2", 'hours is "2"; allowed with resume: nothing.'),
        (
            "1,lock,old,",
            "allowed: a jet (small, middle, large, trim) or a wheel (main, spare).",
        ),
        ("1,lock,small,3", 'hours is "3"; allowed with lock: nothing.'),
        ("1,clear,small,", 'what is "small"; allowed with clear: pipe, screen, valves.'),
        ("1,hold,small,", 'hours is ""; allowed: a number from 0.001 to 24.'),
        ("1,hold,small@3,1", 'what is "small@3"; allowed: jets joined by +'),
        ("1,hold,trim,1", 'a trim with its opening in permille ("trim@400").'),
        ("1,hold,trim@1001,1", 'trim\'s opening is "1001"; allowed: a number from 0 to 1000.'),
        ("1,stop", "2 cells; allowed: 4"),
    ],
)
def test_a_row_that_cannot_be_is_refused_with_its_place(table, row, says):
    with pytest.raises(UserError) as refused:
        read_wishes(table(f"0,stop,,1\n{row}\n"), SETTINGS)
    assert "owner.csv, row 3: " in str(refused.value)
    assert says in str(refused.value)


def test_a_file_that_is_no_table_is_refused(table, tmp_path):
    with pytest.raises(UserError, match='the first row is "day,what"; allowed: day,order,what,hours'):
        read_wishes(table("", "day,what\n"), SETTINGS)
    with pytest.raises(UserError, match="cannot be read"):
        read_wishes(tmp_path / "none.csv", SETTINGS)
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UserError, match="not a CSV table"):
        read_wishes(tmp_path / "bytes.csv", SETTINGS)


OUT = "0.5,lock,main,\n1.5,unlock,main,\n2,stop,,6\n"


def test_while_the_main_wheel_is_out_the_spare_makes_the_power(table):
    found = as_json(replay(SITE, days=3, owner=table(OUT)))
    hours = found["valves"]
    assert [hours[name]["out_h"] for name in ("small", "middle", "trim")] == [24.0] * 3
    assert hours["large"]["out_h"] == 0.0
    assert 10.0 < hours["large"]["open_h"] < 25.0
    assert all(wheel["generated_kwh"] > 1.0 for wheel in found["wheels"])
    assert 5.9 < found["reasons"]["owner"] < 6.1
    assert found["level"]["below_floor_s"] == found["water"]["residual_short_s"] == 0.0
    assert found["surge"]["ok"]


def _missing():
    try:
        find_micropython()
    except UserError as error:
        return str(error)
    return ""


@pytest.mark.skipif(bool(_missing()), reason=_missing() or "there")
def test_micropython_obeys_the_same_orders_alike(table):
    path = table(OUT)
    here, there = (replay(SITE, days=3, owner=path, interpreter=name) for name in ("cpython", "micropython"))
    assert here.orders_sha256 == there.orders_sha256
    assert here.book.out_ms == there.book.out_ms
