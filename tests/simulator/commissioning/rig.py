"""A plant to commission: pipe with water hammer, motors, instruments, the line to it; time is made up.

The pipe is a small method of characteristics of its own, so that the recorded closure is not compared with
the code that computed it. The device is the real one, with its real console, over a board made of attributes.
"""

import json
import math
import random
from pathlib import Path

import numpy as np

from becklight import readings as places
from becklight.device.copies import Copies
from becklight.device.device import Device
from becklight.device.life import DUTIES
from becklight.ticks import ticks_add
from becksim.bench import InMicroPython, Pins
from becksim.console_link import LinkError
from becksim.pipemodel import PipeModel
from becksim.works import Works, build_jets

G = 9.80665
TALK = DUTIES.index("talk")
START_MS = (1 << 29) - 65_000  # every run crosses the wrap
# place: value at 4000 and at 20000 counts
RANGES = {
    "level_mm": (0, 1_600),
    "pressure_mbar": (0, 10_000),
    "battery_mv": (0, 64_000),
    "temp_decic": (-400, 1_200),
    "bus_mv": (0, 200_000),
}
NOISE = {"level_mm": 1.0, "pressure_mbar": 5.0, "battery_mv": 20.0, "temp_decic": 1.0, "bus_mv": 200.0}
ROOMY = "heapsize=1024wk"  # the firmware as source needs more than on a board; its memory is tried elsewhere
LAG_S = 1.0  # of the pressure transmitter, as the example site says


def wiring(site, feedback):
    """4-20 mA as 4000 to 20000 counts."""
    inputs = [
        {
            "place": place,
            "input": row,
            "counts_low": 4_000,
            "counts_high": 20_000,
            "value_low": low,
            "value_high": high,
            "broken_low": 3_600,
            "broken_high": 21_000,
        }
        for row, (place, (low, high)) in enumerate(RANGES.items())
    ]
    valves = [
        {"motor": place, "stroke_ms": round(1000 * jet.motor_stroke_s), "feedback": feedback}
        for place, jet in enumerate(site.jets)
    ]
    rs485 = {
        "baud": 9_600,
        "level_address": 0,
        "level_function": 4,
        "level_register": 0,
        "level_mm_per_count_x1000": 1_000,
        "level_offset_mm": 0,
        "server_address": 0,
    }
    return {"profile": "pico", "inputs": inputs, "valves": valves, "clock": 0, "rs485": rs485}


class Pipe:
    """One pipe of even bore from a lake to a nozzle, by characteristics at Courant number 1."""

    def __init__(self, length_m, bore_m, wave_m_s, loss_s2_m5, reaches=16):
        area_m2 = math.pi * bore_m**2 / 4.0
        self.step_s = length_m / reaches / wave_m_s
        self.b = wave_m_s / (G * area_m2)
        self.r = loss_s2_m5 / reaches
        self.head_m = np.zeros(reaches + 1)
        self.flow_m3_s = np.zeros(reaches + 1)

    def step(self, lake_m, nozzle_m2):
        head, flow = self.head_m, self.flow_m3_s
        plus = head[:-1] + flow[:-1] * (self.b - self.r * np.abs(flow[:-1]))
        minus = head[1:] - flow[1:] * (self.b - self.r * np.abs(flow[1:]))
        new_head, new_flow = head.copy(), flow.copy()
        new_head[1:-1] = (plus[:-1] + minus[1:]) / 2.0
        new_flow[1:-1] = (plus[:-1] - minus[1:]) / (2.0 * self.b)
        new_head[0] = lake_m
        new_flow[0] = (lake_m - minus[0]) / self.b
        k = 2.0 * G * nozzle_m2**2
        new_flow[-1] = (math.sqrt((k * self.b) ** 2 + 4.0 * k * plus[-1]) - k * self.b) / 2.0
        new_head[-1] = plus[-1] - self.b * new_flow[-1]
        self.head_m, self.flow_m3_s = new_head, new_flow


class Rig:
    """The plant and the board in front of it, the methods of which are the device's."""

    def __init__(self, compiled, folder, site, *, stiffer=1.0, feedback="ends"):
        self.site, self.folder = site, str(folder)
        self.works = Works(site, build_jets(site))
        model = PipeModel(site, self.works)
        flow_m3_s = 0.004
        loss = self.works.pipe.loss_m(flow_m3_s) / flow_m3_s**2
        length_m = sum(section.length_m for section in site.penstock.sections)
        self.pipe = Pipe(
            length_m, model.sections[0].inside_diameter_m, stiffer * model.wave_speed_m_s[0], loss
        )
        self.now_ms, self.ran_ms = START_MS, 0
        self.chance = random.Random(1)
        jets = len(site.jets)
        self.true = [0.0] * jets  # where valves really stand
        self.has_ends = feedback == "ends"
        self.turning = [0] * jets
        self.stroke_s = [jet.motor_stroke_s for jet in site.jets]  # what the motors really need
        self.swapped = set()  # motors with their wires swapped
        self.jet_share = [1.0] * jets  # of its flow that a jet really takes
        self.off = {}  # what an instrument shows too much
        self.level_mm = 260.0
        self.battery_mv = 52_000.0
        self.pressed = False
        self.vented = False  # the pressure transmitter feels the air
        self.hand_valves_shut = False
        self.shown_mbar = 0.0
        self.first_moved_s = [0.0] * jets
        self.last_moved_s = [0.0] * jets
        self.typed, self.said = [], b""
        self.lines = []  # all that was ever sent
        self.unplugged = False
        self.powered, self.device = True, None
        self.wants_reset = False
        self.boots = 0
        self.pipe.head_m[:] = self.lake_m
        self.lagged = -math.expm1(-self.pipe.step_s / LAG_S)
        Copies(self.folder, "settings").save(
            json.dumps({**compiled, "wiring": wiring(site, feedback)}).encode()
        )
        self.start()

    # -- the plant --------------------------------------------------------------------------------------

    @property
    def lake_m(self):
        return self.works.gross_head_m + (self.level_mm - self.site.intake.crest_level_mm) / 1000.0

    @property
    def now_s(self):
        return self.ran_ms / 1000.0

    @property
    def pressure_mbar(self):
        return float(self.pipe.head_m[-1]) * G * 999.7 / 100.0

    def area_m2(self):
        if self.hand_valves_shut:
            return 0.0
        jets = self.works.manifold.jets
        return sum(
            share * jet.effective_areas_m2[round(true)]
            for jet, true, share in zip(jets, self.true, self.jet_share, strict=True)
        )

    def flow_l_s(self):
        return 1000.0 * float(self.pipe.flow_m3_s[-1])

    def start(self):
        self.wants_reset = False
        self.turning = [0] * len(self.turning)
        self.device = Device(self, self.folder)
        self.device.idle_ms = 1_000
        talk = self.device.duties[TALK]
        # The console is asked when something has come: the device would look every 50 ms.
        self.device.duties = (
            *self.device.duties[:TALK],
            lambda now_ms: talk(now_ms) if self.typed else 1_000,
            *self.device.duties[TALK + 1 :],
        )
        self.boots += 1

    def cut(self):
        self.powered = False
        self.turning = [0] * len(self.turning)
        self.typed.clear()
        self.said = b""

    def give_back(self):
        self.powered = True
        self.start()

    def run_device(self):
        """Whatever is due; in how many ms it wants to be called again."""
        return self.device.run_due(self.now_ms)

    def advance(self, seconds):
        until_ms = self.ran_ms + round(1000 * seconds)
        while self.ran_ms < until_ms:
            self._tick(until_ms)

    def _tick(self, until_ms):
        wait_ms = 50
        if self.powered:
            wait_ms = self.run_device()
            if self.wants_reset:
                self.start()
        wait_ms = max(1, min(wait_ms, 50 if any(self.turning) else 1_000, until_ms - self.ran_ms))
        self.ran_ms += wait_ms
        self.now_ms = ticks_add(self.now_ms, wait_ms)
        for valve, direction in enumerate(self.turning):
            if not direction:
                continue
            way = -direction if valve in self.swapped else direction
            there = self.true[valve] + way * wait_ms / self.stroke_s[valve]
            there = max(0.0, min(1000.0, there))
            if 2.0 < there < 998.0:  # what an eye sees
                if self.now_s - self.last_moved_s[valve] > 15.0:
                    self.first_moved_s[valve] = self.now_s - wait_ms / 1000.0
                self.last_moved_s[valve] = self.now_s
            self.true[valve] = there
        area_m2 = self.area_m2()
        while self.water_s < self.now_s:
            self.pipe.step(self.lake_m, area_m2)
            self.water_s += self.pipe.step_s
            self.shown_mbar += (self.pressure_mbar - self.shown_mbar) * self.lagged

    water_s = 0.0

    # -- the board --------------------------------------------------------------------------------------

    def ticks_ms(self):
        return self.now_ms

    def counts(self, place):
        """What a converter says; a little different each time."""
        name = list(RANGES)[place]
        low, high = RANGES[name]
        return max(0, round(4_000 + (self.shows(name) - low) * 16_000 / (high - low)))

    def shows(self, name):
        """What an instrument shows, in its reading's unit."""
        flow_l_s = self.flow_l_s()
        value = {
            "level_mm": self.level_mm,
            "pressure_mbar": 0.0 if self.vented else self.shown_mbar,
            "battery_mv": self.battery_mv,
            "temp_decic": 180.0,
            "bus_mv": 1000.0 * self.bus_v(flow_l_s),
        }[name] + self.off.get(name, 0.0)
        return value + NOISE[name] * self.chance.gauss(0.0, 1.0)

    def bus_v(self, flow_l_s):
        if flow_l_s < 0.05:
            return 0.0
        openings = tuple(round(true) for true in self.true)
        if openings != self._bus_of:
            self._bus_of = openings
            self.works.operate(list(openings), self.level_mm / 1000.0)
            self._bus_v = self.works.main.bus_v if self.works.main.power_w > 0.0 else 60.0
        return self._bus_v

    _bus_of, _bus_v = None, 0.0

    def stop_open(self):
        return self.pressed

    def end_bits(self, valve):
        if not self.has_ends:
            return 0
        return (1 if self.true[valve] <= 0.0 else 0) | (2 if self.true[valve] >= 1000.0 else 0)

    def motor(self, valve, direction):
        self.turning[valve] = direction
        assert sum(turn != 0 for turn in self.turning) <= 1, "two motors at a time"

    def lamp(self, on):
        pass

    def feed(self):
        pass

    def clock_s(self):
        return 0

    def set_clock(self, seconds):
        pass

    def was_error(self):
        return False

    def console_read(self):
        return self.typed.pop(0) if self.typed else None

    def console_write(self, text):
        self.said += text.encode() if isinstance(text, str) else text

    def rs485_read(self):
        return None

    def rs485_write(self, buffer, count):
        pass

    def reset(self):
        self.wants_reset = True

    def free_bytes(self):
        return 50_000


class FarRig(Rig):
    """The same with the device in a real MicroPython process, at the far end of the bench's frames."""

    def start(self):
        self.wants_reset = False
        self.turning = [0] * len(self.turning)
        self.device = InMicroPython(Path(self.folder), False, heap=ROOMY)
        self.pins = Pins(wiring(self.site, "ends"))
        self.boots += 1

    def cut(self):
        self.device.kill()
        super().cut()

    def run_device(self):
        shown = {places.NAMES.index(name): round(self.shows(name)) for name in RANGES}
        heard = b"".join(self.typed)
        self.typed.clear()
        request = self.pins.request(self.now_ms, 0, self.pressed, shown, self.true, len(heard))
        reply = self.device.ask(request, heard)
        self.turning = list(reply.turning[: len(self.true)])
        self.said += reply.said.encode()
        if reply.reset:
            self.device.kill()
            self.wants_reset = True
        return reply.wait_ms


class Wire:
    """The serial line to a rig, as pyserial's ports are: its reads let time pass."""

    def __init__(self, rig):
        self.rig = rig
        if rig.unplugged:
            raise LinkError("the cable is out")

    @property
    def in_waiting(self):
        return len(self.rig.said)

    def read(self, size):
        rig = self.rig
        until_ms = rig.ran_ms + 200
        while not rig.said and rig.ran_ms < until_ms:
            rig._tick(min(until_ms, rig.ran_ms + 20))
        data, rig.said = rig.said[:size], rig.said[size:]
        return data

    def write(self, data):
        self.rig.lines.append(data.decode().strip())
        if self.rig.unplugged:
            raise OSError("the cable is out")
        if self.rig.powered:
            self.rig.typed.append(data)
            self.rig.device.due_ms[TALK] = self.rig.now_ms

    def close(self):
        pass
