"""The rule engine at the end of a pipe: readings in, orders out, one frame each, in lock step.

    micropython -m becklight.hostlink settings.json

Each request is the instant, the readings, the valves' feedback and a wish (wishes.py), which is granted
instead of a step; each reply the openings, the reason, the next instant, the pond's opening and reason, what
is out, and the bands, all 32-bit little-endian. The desktop's replay talks to it to run the very same year on
the real interpreter. Ends when the pipe does.
"""

import json
import struct
import sys

from .engine import RuleEngine
from .orders import Orders
from .passing import bring, drop
from .readings import COUNT, Readings
from .settings import Settings
from .wishes import NO_WISH

READER = "becklight.settings_reader"


def request_bytes(valves: int) -> int:
    """Length of a request for a plant with so many valves."""
    return 4 * (1 + COUNT + valves + 4)


def reply_bytes(valves: int) -> int:
    """Length of a reply for a plant with so many valves."""
    return 4 * (valves + 6 + 2 * COUNT)


def _pack(buffer: bytearray, offset: int, values: list[int]) -> int:
    for value in values:
        struct.pack_into("<i", buffer, offset, value)
        offset += 4
    return offset


def serve(settings: Settings, requests, replies) -> None:  # type: ignore[no-untyped-def]
    """Answer requests until there are none; both streams carry bytes."""
    engine = RuleEngine(settings)
    valves = len(settings.valves)
    readings = Readings(valves)
    orders = Orders(valves)
    request = bytearray(request_bytes(valves))
    reply = bytearray(reply_bytes(valves))
    while requests.readinto(request) == len(request):
        now_ms = struct.unpack_from("<i", request, 0)[0]
        for place in range(COUNT):
            readings.put(place, struct.unpack_from("<i", request, 4 + 4 * place)[0], now_ms)
        for valve in range(valves):
            offset = 4 + 4 * (COUNT + valve)
            readings.put_position(valve, struct.unpack_from("<i", request, offset)[0], now_ms)
        code, first, second, third = struct.unpack_from("<iiii", request, 4 * (1 + COUNT + valves))
        if code != NO_WISH:  # it is granted, and no step taken
            engine.wish(now_ms, code, first, second, third)
        else:
            engine.step(now_ms, readings, orders)
        offset = _pack(reply, 0, orders.opening_permille)
        struct.pack_into("<ii", reply, offset, orders.reason, orders.next_ms)
        struct.pack_into("<ii", reply, offset + 8, orders.pond_permille, orders.pond_reason)
        struct.pack_into("<ii", reply, offset + 16, orders.anew, orders.out_bits)
        offset = _pack(reply, offset + 24, orders.low)
        _pack(reply, offset, orders.high)
        replies.write(reply)


if __name__ == "__main__":
    bring(READER)  # as source it takes memory to compile: before the table is there
    with open(sys.argv[1]) as file:
        plant = Settings(json.load(file))
    drop(READER)
    serve(plant, sys.stdin.buffer, sys.stdout.buffer)
