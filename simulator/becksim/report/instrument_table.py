"""What is told of each instrument's faults, and within which time: the second table in DEVELOPERS.md.

The times come from the device's own; `tests/simulator/test_instrument_faults.py` plays each in the twin.
"""

from becklight import alarms, crosscheck, noise, readings, sinking, trust
from becksim import compile_trust
from becksim.faults import INSTRUMENTS
from becksim.report.lengths import length

HEAD = (
    "| instrument | open, short | stale | frozen | jump | noise | drift |\n"
    "| --- | --- | --- | --- | --- | --- | --- |"
)
GONE = {
    "level": alarms.LEVEL_GONE,
    "pressure": alarms.PRESSURE_GONE,
    "battery": alarms.BATTERY_GONE,
    "bus": alarms.BUS_GONE,
    "pond": alarms.POND_GONE,
    "temperature": alarms.TEMP_GONE,
    "spare_bus": alarms.SPARE_BUS_GONE,
}
LOOKS = {"pond": compile_trust.POND_LOOKS, "temperature": compile_trust.TEMP_LOOKS}
# Bursts needed, and two that may chance to look quiet.
NOISE_MS = noise.BURST_MS + (noise.NOISY_BURSTS + 1) * noise.AGAIN_MS

# What a jump or a drift must be like to be told; what is not looks like something that a plant does.
JUMP = {
    "level": "more than `level_jump_mm`",
    "pressure": "up to where nothing seems to flow; a fall looks like air, a leak or a burst",
    "battery": "more than `battery_jump_mv`; a smaller one looks like a load",
    "bus": "down by half; a rise looks like a full battery, then like overspeed",
    "pond": "more than `pond_jump_mm`",
    "temperature": f"more than {trust.TEMP_JUMP_DECIC // 10} degrees C",
    "spare_bus": "down by half; a rise looks like overspeed",
}
DRIFT = {
    "level": (
        f"beyond what a flood reaches; or with every jet closed, below all outlets, by `level_sink_mm` in "
        f"{sinking.WINDOW_MS // 3_600_000} h; else it looks like the stream's own rise or fall"
    ),
    "pressure": (
        "with every jet closed; up to where nothing seems to flow; before that a rise looks like a blocked "
        "jet, a fall like air or a leak"
    ),
    "battery": "beyond what its cells can be; else it looks like charge and load",
    "bus": "down by half; or still up with every jet closed; before that a rise looks like a full battery",
    "pond": "above `pond_highest_mm`, or half a metre below its outlet; else it looks like weather",
    "temperature": (
        f"beyond {trust.COLDEST_DECIC // 10} to {trust.WARMEST_DECIC // 10} degrees C; else it looks "
        "like weather"
    ),
    "spare_bus": "down by half; or still up with every jet of the plant closed; a rise looks like overspeed",
}


def alarm_of(what: str, kind: str) -> str:
    """The alarm that a fault of an instrument raises.

    Parameters
    ----------
    what : str
        A key of `becksim.faults.INSTRUMENTS`.
    kind : str
        A kind of fault of instruments.

    Returns
    -------
    str
        Its name.

    Examples
    --------
    >>> alarm_of("bus", "open"), alarm_of("bus", "frozen")
    ('bus_gone', 'bus_lies')
    """
    gone = kind in ("open", "short", "stale")
    return alarms.NAMES[GONE[what] + (0 if gone else 1)]


def within_ms(what: str, kind: str) -> int | None:
    """How long after its beginning such a fault is told at the latest, if it is one that is told.

    Parameters
    ----------
    what, kind : str
        As for `alarm_of`.

    Returns
    -------
    int or None
        The time [ms]; None for a drift, which is told when it has gone far enough.

    Examples
    --------
    >>> within_ms("level", "open"), within_ms("level", "stale"), within_ms("pond", "drift")
    (30000, 41000, None)
    """
    if kind == "drift":
        return None
    found_ms: int = 0
    if kind == "stale":
        found_ms = readings.STALE_MS + 1_000  # the sample at which it is older than that
    elif kind == "frozen":
        found_ms = (LOOKS.get(what, compile_trust.LOOKS) + 1) * trust.LOOK_MS
    elif kind == "noise":
        found_ms = NOISE_MS
    elif kind == "jump" and what == "pressure":
        found_ms = trust.PRESSURE_HOLD_MS + crosscheck.PRESSURE_LIES_MS
    elif kind == "jump" and what in ("bus", "spare_bus"):
        found_ms = trust.BUS_HOLD_MS + crosscheck.BUS_LIES_MS
    delay_ms: int = alarms.ALARMS[GONE[what]][1]
    return delay_ms + found_ms


def table() -> str:
    """The table in Markdown.

    Returns
    -------
    str
        One line an instrument, no newline at the end.
    """
    rows = [HEAD]
    for what in INSTRUMENTS:
        cells = [what, *(_cell(what, kind) for kind in ("open", "stale", "frozen", "jump", "noise", "drift"))]
        rows.append("| " + " | ".join(cells) + " |")
    return "\n".join(rows)


def _cell(what: str, kind: str) -> str:
    within = within_ms(what, kind)
    told = f"`{alarm_of(what, kind)}`" + ("" if within is None else f" within {length(within)}")
    more = {"jump": JUMP, "drift": DRIFT}.get(kind, {}).get(what)
    if kind == "noise":
        more = "from some ten times its own on"
    if kind == "frozen" and what in ("pressure", "bus"):
        more = "while jets run"
    elif kind == "frozen" and what == "spare_bus":
        more = "while its jets run"
    return told if more is None else f"{told}: {more}"
