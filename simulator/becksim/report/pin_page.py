"""The tables of hardware_notes/pins.md, made from the board's own profiles: see made.py."""

from becklight.board import profiles
from becklight.board.profile import CONVERTER_FULL_MV, CONVERTERS, INPUTS_A_CONVERTER, NO_PIN, Profile
from becklight.board.profiles import ALL

CHIPS = {"rp2": "GP{}", "esp32": "GPIO {}"}


def _pin(profile: Profile, number: int) -> str:
    return CHIPS[profile.platform].format(number)


def _boards() -> list[tuple[Profile, list[str]]]:
    """Each different set of pins, with the names of the boards that have it."""
    found: list[tuple[Profile, list[str]]] = []
    for profile in ALL:
        if profile.name == profile.serves[0]:
            found.append((profile, list(profile.serves)))
    return found


def pins(profile: Profile) -> list[tuple[int, str]]:
    """What each pin of a board serves, in the order of the pins.

    Parameters
    ----------
    profile : Profile
        The board.

    Returns
    -------
    list of (int, str)
        Pin and use; a pin with two possible uses names both.

    Examples
    --------
    >>> from becklight.board.profiles import PICO
    >>> pins(PICO)[7]
    (7, 'stop')
    """
    uses: dict[int, list[str]] = {}

    def serve(pin: int, use: str) -> None:
        uses.setdefault(pin, []).append(use)

    for place, pin in enumerate(profile.chip_inputs):
        serve(pin, f"analog input {place}")
    for pin, use in zip(profile.i2c[1:], ("SDA", "SCL"), strict=True):
        serve(pin, f"I2C {use}")
    for number, motor in enumerate(profile.motors):
        for pin, use in zip(motor, ("opens", "shuts", "at its shut end", "at its open end"), strict=True):
            if pin != NO_PIN:
                serve(pin, f"motor {number} {use}")
    serve(profile.stop, "stop")
    serve(profile.lamp, "lamp")
    for pin, use in zip(profile.rs485[1:], ("TX", "RX", "direction"), strict=True):
        serve(pin, f"RS-485 {use}")
    if profile.console is not None:
        for pin, use in zip(profile.console[1:], ("TX", "RX"), strict=True):
            serve(pin, f"console {use}")
    return [(pin, ", or ".join(uses[pin])) for pin in sorted(uses)]


def _motors(profile: Profile) -> list[str]:
    rows = [
        "| motor | opens | shuts | its end switches: shut, open | they take the place of |",
        "| --- | --- | --- | --- | --- |",
    ]
    pairs = [motor[:2] for motor in profile.motors]
    for number, motor in enumerate(profile.motors):
        cells = [str(number), *(_pin(profile, pin) for pin in motor[:2]), "none", ""]
        if motor[2] != NO_PIN:
            cells[3] = ", ".join(_pin(profile, pin) for pin in motor[2:])
            cells[4] = f"motor {pairs.index(motor[2:])}"
        rows.append("| " + " | ".join(cells) + " |")
    return rows


def _inputs(profile: Profile) -> str:
    chip = len(profile.chip_inputs)
    parts = [f"0 to {chip - 1} on the chip ({profile.chip_full_mv / 1_000:g} V at full counts)"]
    for place, address in enumerate(CONVERTERS):
        first = chip + place * INPUTS_A_CONVERTER
        parts.append(
            f"{first} to {first + INPUTS_A_CONVERTER - 1} on the converter at I2C address 0x{address:02x}"
        )
    full_v = CONVERTER_FULL_MV / 1_000
    return f"Analog inputs: {', '.join(parts)} ({full_v:g} V at full counts, but never above its supply)."


def _board(profile: Profile, names: list[str]) -> list[str]:
    lines = ["## " + ", ".join(f"`{name}`" for name in names), ""]
    with_ends = profiles.motors_with_ends(profile)
    lines += [
        f"{len(profile.motors)} motors; of them 0 to {with_ends - 1} can have end switches, each pair of "
        "which takes the place of another motor.",
        "",
        *_motors(profile),
        "",
        _inputs(profile),
        "",
        "| pin | serves |",
        "| --- | --- |",
        *(f"| {_pin(profile, pin)} | {use} |" for pin, use in pins(profile)),
    ]
    return lines


def boards() -> str:
    """All that stands between the markers: a section a board.

    Returns
    -------
    str
        No newline at the end.
    """
    return "\n\n".join("\n".join(_board(profile, names)) for profile, names in _boards())
