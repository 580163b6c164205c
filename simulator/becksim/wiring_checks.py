"""What a board's wiring must do for a plant: terminals that are there, ranges that reach, fine steps."""

import math
from collections.abc import Callable

from becklight import readings as places
from becklight.board.profiles import PROFILES, clash
from becksim.site import Site
from becksim.site_tables.board import BoardTable, VoltsWire, ends_of
from becksim.wiring_inputs import MEASURED, range_of, signal_v
from becksim.works import Works, build_jets

PRESSURE_ROOM = 1.2  # of standing water, that a pressure transmitter must show at least; chosen by us

Refuse = Callable[[str, str], None]


def check_terminals(site: Site, board: BoardTable, refuse: Refuse) -> None:
    """Every input and motor is one that the board has."""
    profile = PROFILES[board.profile]
    chip = len(profile.chip_inputs)
    rows = [(f"board.{name}", "input", wire.input) for name, wire in board.wires()]
    valves = board.valves_in_order(site.jets)
    rows += [
        ("board.valves", "pot_input", valve.pot_input) for valve in valves if valve.pot_input is not None
    ]
    for name, key, value in rows:
        if value >= profile.inputs:
            refuse(
                name,
                f'{key} is {value}; a "{profile.name}" has 0 to {chip - 1} on the chip and '
                f"{chip} to {profile.inputs - 1} on its converters: take one of them.",
            )
    trouble = clash(profile, [(valve.motor, valve.feedback == "ends") for valve in valves])
    if trouble:
        refuse("board.valves", trouble + ".")


def check_fitted(board: BoardTable, fitted_bits: int, refuse: Refuse) -> None:
    """What the rules reckon with is wired, and nothing else."""
    wired = {name for name, _ in board.wires()}
    if board.rs485.level_address:
        wired.add("level")
    for name, (place, _, _) in MEASURED.items():
        fitted = bool(fitted_bits >> place & 1)
        if fitted and name not in wired:
            refuse("board", f"the table [board.{name}] is missing; the rules reckon with that instrument.")
        if name in wired and not fitted:
            refuse(f"board.{name}", "the site has no such instrument; leave the table out, or describe it.")


def check_reach(site: Site, board: BoardTable, rules: dict[str, int], refuse: Refuse) -> None:
    """Each instrument shows all that the rules want to see."""

    def covers(name: str, least: float, what_least: str, most: float, what_most: str, unit: str) -> None:
        wire = getattr(board, name)
        if wire is None:
            return
        low, high = (0.0, range_of(board, wire.input).most_v * wire.ratio)
        if not isinstance(wire, VoltsWire):
            low, high = ends_of(wire)
        if low > least or high < most:
            refuse(
                f"board.{name}",
                f"it measures from {low:.4g} to {high:.4g} {unit}; needed: from {least:.4g} ({what_least}) "
                f"to {most:.4g} ({what_most}).",
            )

    crest_mm = site.intake.crest_level_mm
    covers("level", rules["level_floor_mm"], "the floor", crest_mm, "the crest", "mm")
    standing_bar = PRESSURE_ROOM * rules["static_mbar"] / 1_000.0
    covers("pressure", 0.0, "no pressure", standing_bar, f"{PRESSURE_ROOM:g} times standing water", "bar")
    battery_v = rules["battery_most_mv"] / 1_000.0
    covers("battery", 0.0, "nothing", battery_v, "the most that the bank can have", "V")
    works = Works(site, build_jets(site))
    for name, unit in zip(("bus", "spare_bus"), works.units, strict=False):
        covers(name, 0.0, "nothing", unit.free_run_bus_v, "the wheel running free", "V")
    if site.storage_pond is not None:
        pond = site.storage_pond
        covers("pond", pond.lowest_level_mm, "its lowest", pond.crest_level_mm, "its crest", "mm")


def check_steps(site: Site, board: BoardTable, refuse: Refuse) -> None:
    """No step of the converter is coarser than what the site file says of the instrument."""
    for name, wire in board.wires():
        if name == "air":
            continue  # the site file tells nothing of it
        place, factor, unit = MEASURED[name]
        reads = range_of(board, wire.input)
        step_v = reads.volts / reads.steps
        if isinstance(wire, VoltsWire):
            step = factor * step_v * wire.ratio
        else:
            _, low_v, high_v, _ = signal_v(wire)
            low, high = ends_of(wire)
            step = factor * (high - low) * step_v * wire.ratio / (high_v - low_v)
        key = {"temperature": "c"}.get(name, places.NAMES[place].rsplit("_", 1)[1])
        scale = 10.0 if name == "temperature" else 1.0
        said = getattr(site.instruments, name)
        known = max(getattr(said, f"resolution_{key}"), getattr(said, f"noise_{key}")) * scale
        if step > 1.01 * known:
            refuse(
                f"board.{name}",
                f"one step of the converter is {step:.3g} {unit}, more than [instruments.{name}] says of "
                f"noise and resolution; set resolution_{key} = {math.ceil(100 * step / scale) / 100:g} "
                "there, or take a shorter range or a finer converter.",
            )
