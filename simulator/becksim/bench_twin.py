"""The twin with faults around a whole device: power cuts, resets and the watchdog included.

played = play_bench(load_site("millbrook-smallholding"), hours=3, faults=faults, make=Here, folder=folder)
"""

import hashlib
import heapq
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from becklight import readings as places
from becklight.device.copies import Copies
from becklight.settings import Settings
from becklight.ticks import PERIOD_MS, ticks_add, ticks_diff
from becksim.bench import Far, Pins, Reply, made_up_wiring
from becksim.bench_watch import MotorWatch
from becksim.compile import compile_site
from becksim.faults import Fault
from becksim.faulty import FaultyInstrument
from becksim.faulty_twin import OLD_SETTINGS, FaultyTwin
from becksim.inputs import STEP_MS, build_inputs
from becksim.plant import Plant
from becksim.play import build_book, build_plant, play
from becksim.site import Site
from becksim.times import DAY_S, HOUR_MS
from becksim.twin import CLOCK_START_MS, NEVER_MS, Controller, build_instruments
from becksim.watch import Broken, Watch

WATCHDOG_MS = 8_000  # an RP2040's own watchdog bears little more
BOOT_MS = 1_000  # from a reset to the first duty; chosen by us
SECONDS_TO_2000 = 946_684_800  # from 1970
Make = Callable[[Path, bool], Far]


class FarDevice:
    """A whole device at the far end of frames; what it tells is put where a controller has it.

    Parameters
    ----------
    controller : Controller
        Whose instruments, calendar and ticks it has; its engine is not asked.
    wiring : dict
        The "wiring" of the settings.
    start_s : int
        Of the replay. [s]
    make : callable
        Starts a device on a folder.
    folder : Path
        What stands for its flash.
    """

    def __init__(
        self, controller: Controller, wiring: dict[str, Any], start_s: int, make: Make, folder: Path
    ) -> None:
        self.controller = controller
        self.pins = Pins(wiring)
        self.start_s = start_s
        self.make = make
        self.folder = folder
        self.far: Far | None = None
        self.reply: Reply | None = None
        self.fed_ms = 0
        self.said_permille: list[int] = [0] * len(self.pins.wiring.valves)
        self.pressed = False
        self.lines: list[str] = []  # for the console, one a frame
        self.said: list[str] = []
        self.boots = 0
        self.resets = 0
        self.bites = 0  # of the watchdog
        self.frames = 0
        self.stepped = False  # since the frame before
        self.free: list[int] = []  # at each full hour
        self._again: tuple[int, bool] | None = None  # when it starts by itself, and whether by the watchdog

    def start(self, now_ms: int, by_watchdog: bool) -> None:
        """A start, for whatever reason."""
        self.cut()
        self.far = self.make(self.folder, by_watchdog)
        self.boots += 1
        self.reply = None
        self.fed_ms = now_ms
        self.controller.due_ms = now_ms
        self._again = None
        self.controller.clock_start_ms = ticks_add(CLOCK_START_MS, -(now_ms % PERIOD_MS))

    def cut(self) -> None:
        """No power."""
        if self.far is not None:
            self.far.kill()
        self.far = None

    def ask(self, plant: Plant, now_ms: int) -> None:
        """One frame."""
        controller = self.controller
        if self._again is not None and now_ms >= self._again[0]:
            self.start(now_ms, self._again[1])
        if self.far is None:
            controller.due_ms = now_ms + BOOT_MS
            return
        share = (now_ms - plant.begin_ms) / (plant.end_ms - plant.begin_ms)
        sample = now_ms // controller.sample_ms
        shown = {place: one.show(share, sample) for place, one in controller.instruments.items()}
        device_ms = ticks_add(controller.clock_start_ms, now_ms % PERIOD_MS)
        clock_s = self.start_s - SECONDS_TO_2000 + now_ms // 1000 + DAY_S * controller.day_shift
        heard = (self.lines.pop(0) + "\n").encode() if self.lines else b""
        request = self.pins.request(device_ms, clock_s, self.pressed, shown, self.said_permille, len(heard))
        before = self.reply
        reply = self.reply = self.far.ask(request, heard)
        self.frames += 1
        for line in reply.said.split("\n"):
            self._hear(line.strip())
        if reply.fed:
            self.fed_ms = now_ms
        controller.due_ms = now_ms + reply.wait_ms
        self.stepped = before is None or reply.steps != before.steps
        self._take(device_ms, reply)
        if before is None or before.uptime_s // 3600 != reply.uptime_s // 3600:
            self.free.append(reply.free_bytes)
        if reply.reset or now_ms - self.fed_ms > WATCHDOG_MS:
            self.cut()
            self.resets += bool(reply.reset)
            self.bites += not reply.reset
            self._again = (now_ms + BOOT_MS, not reply.reset)
            controller.due_ms = now_ms + BOOT_MS

    def _hear(self, line: str) -> None:
        """An answer of the console; what it wants to be sure of, it is told at once."""
        if line:
            self.said.append(line)
            code = json.loads(line).get("confirm")
            if code is not None:
                self.lines.insert(0, f"yes {code}")

    def _take(self, device_ms: int, reply: Reply) -> None:
        """What it told, in the places where a watcher looks for it."""
        jets = len(self.controller.openings)
        orders = self.controller.orders
        orders.opening_permille[:] = reply.openings[:jets]
        self.controller.pond_permille = orders.pond_permille = reply.openings[jets]
        orders.anew = reply.anew
        orders.reason = reply.reason
        orders.pond_reason = reply.pond_reason
        orders.out_bits = reply.out_bits
        # While valves are being closed from wherever they stand the engine is asked less often than it wants.
        late = ticks_diff(reply.next_ms, device_ms) <= 0
        orders.next_ms = ticks_add(device_ms, 1) if late else reply.next_ms
        for place in range(places.COUNT):
            self.controller.readings.put(place, reply.values[place], device_ms)

    @property
    def turning(self) -> Sequence[int]:
        """Which way each motor runs now; none does without power."""
        if self.far is None or self.reply is None:
            return [0] * len(self.said_permille)
        return self.reply.turning


class _Nobody:
    """In the engine's place: it is at the far end."""

    def step(self, now_ms: int, readings: Any, orders: Any) -> None:
        """Not asked."""

    def wish(self, now_ms: int, code: int, first: int, second: int, third: int) -> bool:
        """Not asked."""
        return False


class BenchTwin(FaultyTwin):
    """Driver: the device, its motors and the valves that they move."""

    def __init__(self, *args: Any, device: FarDevice, motors: MotorWatch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.device = device
        self.motors = motors
        self.strokes_ms = [valve.stroke_ms for valve in device.pins.wiring.valves]
        self.hash = hashlib.sha256()
        self._turning: list[int] = [0] * len(self.strokes_ms)
        self._since_ms = 0

    def _add_edge(self, at_ms: int, fault: Fault, what: str) -> None:
        """At any millisecond, in the midst of a motor's run too; a fault may begin amid a second."""
        self._edge_count += 1
        heapq.heappush(self._edges, (round(at_ms), self._edge_count, fault, what))

    def wake_ms(self, plant: Plant, now_ms: int) -> int:
        """When a fault begins or ends, or the device wants to be asked."""
        edge_ms = self._edges[0][0] if self._edges else NEVER_MS
        return edge_ms if self.dead else min(edge_ms, max(now_ms, self.controller.due_ms))

    def act(self, plant: Plant, now_ms: int) -> bool:
        """Motors have run since; then faults, or a frame."""
        self._run_motors(now_ms)
        moved = super().act(plant, now_ms)
        if self.dead:
            self.device.cut()
        self._note_motors(now_ms)
        return moved

    def control(self, plant: Plant, now_ms: int) -> bool:
        """A frame; True if a valve has moved by a permille since the plant was last told."""
        controller, device = self.controller, self.device
        device.said_permille = [self.valves.feedback_permille(valve) for valve in range(len(self.strokes_ms))]
        boots = device.boots
        device.ask(plant, now_ms)
        if device.boots != boots and self.watcher is not None:
            self.watcher.restarted()
        if device.stepped and device.reply is not None and self.watcher is not None:
            self.watcher.look(now_ms, plant, controller, self.active)
        told = [*controller.orders.opening_permille, controller.pond_permille]
        near = [abs(true - there) <= 20 for true, there in zip(self.valves.openings, told, strict=True)]
        self.valves.told_permille = [
            true if close else there
            for true, there, close in zip(self.valves.openings, told, near, strict=True)
        ]
        before = (list(self.openings), self.pond_permille)
        self._note_openings(now_ms)
        return before != (self.openings, self.pond_permille)

    def _run_motors(self, now_ms: int) -> None:
        ran_ms = now_ms - self._since_ms
        self._since_ms = now_ms
        for valve, turn in enumerate(self._turning):
            if turn and ran_ms:
                self.valves.run(valve, turn * ran_ms * 1000.0 / self.strokes_ms[valve])

    def _note_motors(self, now_ms: int) -> None:
        turning = list(self.device.turning[: len(self.strokes_ms)])
        self.motors.look(now_ms, turning, self.valves.true_permille, self.device.reply, self.active)
        if turning != self._turning:
            self.hash.update(f"{now_ms} {turning}\n".encode())
        self._turning = turning

    def _power_up(self, now_ms: int) -> None:
        """The device starts, on what settings there are."""
        super()._power_up(now_ms)
        self.device.start(now_ms, False)

    def _tell_repaired(self, fault: Fault) -> None:
        """Over the console, as an owner does."""
        if fault.group in ("pipe", "jet") or fault.what == "pressure":
            self.device.lines.append("clear pipe")
        elif fault.group == "screen":
            self.device.lines.append("clear screen")
        elif fault.group == "valve":
            self.device.lines.append("clear valves")


@dataclass(frozen=True)
class Benched:
    """What a device did on the bench."""

    broken: tuple[Broken, ...]
    boots: int
    resets: int
    bites: int
    frames: int
    runs: int
    opened: int
    free_bytes: tuple[int, ...]
    said: tuple[str, ...]
    generated_kwh: float
    motors_sha256: str


def keep_settings(folder: Path, table: object) -> None:
    """Lay settings on what stands for a device's flash, in both copies."""
    copies = Copies(str(folder), "settings")
    copies.load()
    for _ in range(2):
        refused = copies.save(json.dumps(table).encode())
        assert not refused, refused


def play_bench(
    site: Site,
    *,
    hours: float,
    faults: Sequence[Fault],
    make: Make,
    folder: Path,
    seed: int = 1,
    feedback: str = "none",
    compiled: dict[str, Any] | None = None,
    change: Callable[["BenchTwin"], None] | None = None,
) -> Benched:
    """Play a whole device against the plant.

    Parameters
    ----------
    site : Site
        The site.
    hours : float
        How long. [h]
    faults : sequence of Fault
        What happens.
    make : callable
        Starts a device on a folder: `Here`, or `InMicroPython`.
    folder : Path
        What stands for its flash; empty.
    seed : int
        For the stream, the house and the noise.
    feedback : {"none", "ends", "pot"}
        What the valves tell of themselves.
    compiled : dict, optional
        The site's settings, perhaps with "wiring"; default: compiled anew, and a made-up wiring.
    change : callable, optional
        Called with the twin before it starts.

    Returns
    -------
    Benched
    """
    table = dict(compile_site(site) if compiled is None else compiled)
    table.setdefault("wiring", made_up_wiring(site, feedback))
    settings = Settings(table)
    inputs = build_inputs(site, flows=None, seed=seed, days=max(1, -int(-hours // 24)))
    plant = build_plant(site, inputs)
    sample_ms = settings.rules.sample_ms
    instruments = {
        place: FaultyInstrument(sound, sample_ms) for place, sound in build_instruments(site, seed).items()
    }
    keep_settings(folder, table)

    def good() -> Any:
        keep_settings(folder, table)
        return _Nobody()

    def refused() -> Any:
        keep_settings(folder, {**OLD_SETTINGS, "wiring": table["wiring"]})
        return _Nobody()

    controller = Controller(settings, _Nobody(), instruments, build_book(settings), inputs)
    device = FarDevice(controller, table["wiring"], inputs.start_s, make, folder)
    watch = Watch(settings, plant.water.floor_m)
    motors = MotorWatch(settings.valves)
    twin = BenchTwin(
        plant, controller, faults, good, watch, feedback != "none", refused, device=device, motors=motors
    )
    if change is not None:
        change(twin)
    device.start(0, False)
    watch.restarted()
    end_ms = min(round(HOUR_MS * hours), len(inputs.month) * STEP_MS)
    try:
        play(plant, twin, end_ms)
    finally:
        device.cut()
    return Benched(
        broken=(*watch.broken, *motors.broken),
        boots=device.boots,
        resets=device.resets,
        bites=device.bites,
        frames=device.frames,
        runs=motors.runs,
        opened=motors.opened,
        free_bytes=tuple(device.free),
        said=tuple(device.said),
        generated_kwh=sum(month.generated_j for month in plant.months) / 3.6e6,
        motors_sha256=twin.hash.hexdigest(),
    )
