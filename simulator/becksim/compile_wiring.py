"""Site -> the "wiring" section of the device's settings: what the board's inputs and motors serve.

settings = device_settings(load_site("upland-hostel"))      # compile_site's, and "wiring"
"""

import math
from typing import Any

from becklight import readings as places
from becklight.device.sampling import POT_BEYOND_PERMILLE
from becklight.device.wiring import Wiring
from becklight.settings import Settings, SettingsError
from becklight.settings_reader import Section
from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.site import Site
from becksim.site_tables.board import BoardTable, Valve, VoltsWire, Wire, check_board, ends_of
from becksim.wiring_checks import Refuse, check_fitted, check_reach, check_steps, check_terminals
from becksim.wiring_inputs import COUNTS, MEASURED, Range, range_of, signal_v

LOST_BATTERY_SHARE = 0.5  # of the least a bank can have: a wire is off; chosen by us
MOST_PRODUCT = (1 << 30) - (1 << 17)  # counts times span stay a small integer on the board
NEVER_COUNTS = -1  # no converter gives it: a bus voltage of 0 is no broken wire


def device_settings(site: Site) -> dict[str, Any]:
    """Everything a device keeps: what the rules compare with, and the wiring.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.

    Returns
    -------
    dict
        `becksim.compile.compile_site`'s settings, and "wiring"; every number is whole.

    Raises
    ------
    UserError
        If the site cannot work, has no [board], or its wiring cannot.

    Examples
    --------
    >>> from becksim.site import load_site
    >>> sorted(device_settings(load_site("millbrook-smallholding"))["wiring"])
    ['clock', 'inputs', 'profile', 'rs485', 'valves']
    """
    board_of(site)  # before the search for ramps, which takes its time
    compiled = compile_site(site)
    return {**compiled, "wiring": compile_wiring(site, compiled)}


def board_of(site: Site) -> BoardTable:
    """The site's [board].

    Raises
    ------
    UserError
        If there is none.
    """
    if site.board is None:
        raise UserError(
            f"{site.path.name}: the table [board] is missing; it says what is wired to which terminal. The "
            "example sites have one: becklight new PATH."
        )
    return site.board


def compile_wiring(site: Site, compiled: dict[str, Any]) -> dict[str, Any]:
    """The wiring of the site's board.

    Parameters
    ----------
    site : Site
        A checked site with a [board] table.
    compiled : dict
        Its settings, from `becksim.compile.compile_site`.

    Returns
    -------
    dict
        What `becklight.device.wiring` reads; every number is whole.

    Raises
    ------
    UserError
        One line for each thing that cannot work.
    """
    board = board_of(site)
    problems: list[str] = []

    def refuse(section: str, sentence: str) -> None:
        problems.append(f"{site.path.name}: [{section}] {sentence}")

    check_board(board, site.jets, site.storage_pond is not None, refuse)
    if problems:
        raise UserError("\n".join(problems))
    check_terminals(site, board, refuse)
    check_fitted(board, compiled["rules"]["fitted_bits"], refuse)
    inputs = [
        _input(name, wire, range_of(board, wire.input), compiled, refuse) for name, wire in board.wires()
    ]
    check_reach(site, board, compiled["rules"], refuse)
    check_steps(site, board, refuse)
    strokes_s = [jet.motor_stroke_s for jet in site.jets]
    if site.storage_pond is not None:
        strokes_s.append(site.storage_pond.motor_stroke_s)
    valves = [
        _valve(board, valve, stroke_s, refuse)
        for valve, stroke_s in zip(board.valves_in_order(site.jets), strokes_s, strict=True)
    ]
    if problems:
        raise UserError("\n".join(problems))
    rs485 = board.rs485
    wiring = {
        "profile": board.profile,
        "inputs": inputs,
        "valves": valves,
        "clock": int(board.clock),
        "rs485": {
            "baud": int(rs485.baud),
            "level_address": rs485.level_address,
            "level_function": rs485.level_function,
            "level_register": rs485.level_register,
            "level_mm_per_count_x1000": round(1_000.0 * rs485.level_mm_per_count),
            "level_offset_mm": round(rs485.level_offset_mm),
            "server_address": rs485.server_address,
        },
    }
    try:
        Wiring(Section(wiring, "wiring")).check(Settings(compiled))
    except SettingsError as error:
        raise UserError(f"{site.path.name}: the device would refuse this wiring: {error}.") from error
    return wiring


def _input(
    name: str,
    wire: Wire | VoltsWire,
    reads: Range,
    compiled: dict[str, Any],
    refuse: Refuse,
) -> dict[str, Any]:
    """One row of "inputs": a straight line from counts to a value, and the band in which it is believed."""
    place, factor, _ = MEASURED[name]
    most_v = reads.most_v
    if isinstance(wire, VoltsWire):
        ends_v, ends = (0.0, reads.volts), (0.0, factor * reads.volts * wire.ratio)
        broken_low = NEVER_COUNTS
        if name == "battery":
            lost_mv = LOST_BATTERY_SHARE * compiled["rules"]["battery_least_mv"]
            broken_low = reads.at(lost_mv / factor / wire.ratio)
        broken_high = math.floor(most_v * COUNTS / reads.volts)
    else:
        volts = [value / wire.ratio for value in signal_v(wire)]
        ends_v, ends = (volts[1], volts[2]), tuple(factor * end for end in ends_of(wire))  # type: ignore[assignment]
        if volts[3] > most_v:
            cure = (
                f"take a shunt of {math.floor(wire.shunt_ohm * most_v / volts[3])} ohm or less"
                if wire.shunt_ohm is not None
                else f"put a divider with a ratio of {wire.ratio * volts[3] / most_v:.2f} or more in between"
            )
            refuse(
                f"board.{name}",
                f"a failed transmitter gives {volts[3]:.2f} V at the converter, which tells up to "
                f"{most_v:.2f} V from more; {cure}.",
            )
        broken_low, broken_high = reads.at(volts[0]), reads.at(volts[3])
    return {
        "place": places.NAMES[place],
        "input": wire.input,
        **_line([reads.at(volts) for volts in ends_v], [round(end) for end in ends], broken_low, broken_high),
    }


def _line(counts: list[int], values: list[int], broken_low: int, broken_high: int) -> dict[str, int]:
    """A line by two of its points, the second so near that the board's products stay small integers."""
    reach = max(broken_high - counts[0], counts[0] - broken_low)
    span, rise = counts[1] - counts[0], values[1] - values[0]
    if reach * rise > MOST_PRODUCT:
        part = max(1, span * MOST_PRODUCT // (reach * rise))
        span, rise = part, round(rise * part / span)
    return {
        "counts_low": counts[0],
        "counts_high": counts[0] + span,
        "value_low": values[0],
        "value_high": values[0] + rise,
        "broken_low": broken_low,
        "broken_high": broken_high,
    }


def _valve(board: BoardTable, valve: Valve, stroke_s: float, refuse: Refuse) -> dict[str, Any]:
    row: dict[str, Any] = {
        "motor": valve.motor,
        "stroke_ms": round(1_000.0 * stroke_s),
        "feedback": valve.feedback,
    }
    if valve.pot_input is not None and valve.pot_shut_v is not None and valve.pot_open_v is not None:
        reads = range_of(board, valve.pot_input)
        shut, opened = reads.at(valve.pot_shut_v), reads.at(valve.pot_open_v)
        row |= {"pot_input": valve.pot_input, "pot_shut": shut, "pot_open": opened}
        highest_v = max(valve.pot_shut_v, valve.pot_open_v)
        if highest_v > reads.most_v:
            refuse(
                "board.valves",
                f"a pot gives {highest_v:g} V; its input tells up to {reads.most_v:.2f} V from more: put a "
                "resistor in series with it.",
            )
        if shut != opened and -POT_BEYOND_PERMILLE <= 1_000 * -shut // (opened - shut) <= 1_000:
            refuse(
                "board.valves",
                f"a pot gives {min(valve.pot_shut_v, valve.pot_open_v):g} V at one end, so near to the 0 V "
                "of a broken wire that it would be taken for that end: put a resistor in series with it.",
            )
    return row
