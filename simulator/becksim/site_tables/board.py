"""The table [board] of a site file: which terminal of the controller's board serves what.

Inputs and motors are numbered from 0, as in the board's row of `becklight.board.profiles`: the inputs of the
chip's own converter first, then those of the converters on I2C. What does not go together is told by
compile_wiring.py, when it is asked for: who tries other jets in a replay has not wired them yet.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from becklight.board.profiles import PROFILES
from becksim.schema import choice, flag, number, table, tables, text, whole
from becksim.site_tables.works import JetTable

Refuse = Callable[[str, str], None]

LOOP, VOLTS, DIVIDER = "4-20ma", "0.5-4.5v", "divider"
MOST_INPUT, MOST_MOTOR = 15, 8  # of any board; what one really has, compile_wiring.py looks up
BAUDS = ("1200", "2400", "4800", "9600", "19200", "38400", "57600", "115200")


@dataclass(frozen=True, kw_only=True)
class Wire:
    """How an instrument is brought to an input; its own tables say in which unit it measures."""

    input: int = whole(0, MOST_INPUT)
    signal: str = choice(LOOP, VOLTS)
    shunt_ohm: float | None = number(1, 1_000, default=None)  # that turns a 4-20 mA loop into a voltage
    # Volts of the signal for a volt at the converter, where a divider stands between; 1: none does.
    ratio: float = number(0.1, 1_000, default=1)


@dataclass(frozen=True, kw_only=True)
class LevelWire(Wire):
    """[board.level], [board.pond] A transmitter that shows `low_mm` at 4 mA or 0.5 V."""

    low_mm: float = number(-10_000, 30_000)
    high_mm: float = number(-10_000, 30_000)


@dataclass(frozen=True, kw_only=True)
class PressureWire(Wire):
    """[board.pressure] A transmitter at the manifold; one above or below the jets has its zero off."""

    low_bar: float = number(-2, 100)
    high_bar: float = number(-2, 200)


@dataclass(frozen=True, kw_only=True)
class WarmthWire(Wire):
    """[board.temperature], [board.air] A sensor of a straight line; one of 10 mV a degree is 0.5-4.5v too."""

    low_c: float = number(-100, 100)
    high_c: float = number(-100, 500)


@dataclass(frozen=True, kw_only=True)
class VoltsWire:
    """[board.battery], [board.bus], [board.spare_bus] A divider: so many volts for one at the converter."""

    input: int = whole(0, MOST_INPUT)
    ratio: float = number(0.1, 1_000)
    signal: str = choice(DIVIDER, default=DIVIDER)


@dataclass(frozen=True, kw_only=True)
class Valve:
    """[board.pond_valve] The motor of a valve, and what tells where it stands."""

    motor: int = whole(0, MOST_MOTOR)
    feedback: str = choice("none", "ends", "pot", default="none")
    pot_input: int | None = whole(0, MOST_INPUT, default=None)
    pot_shut_v: float | None = number(0, 10, default=None)  # at the converter
    pot_open_v: float | None = number(0, 10, default=None)


@dataclass(frozen=True, kw_only=True)
class JetValve(Valve):
    """[[board.valves]] The motor of a jet's valve."""

    jet: str = text(24)


@dataclass(frozen=True)
class Rs485:
    """[board.rs485] A level transmitter that is asked, and the address at which others ask the controller."""

    baud: str = choice(*BAUDS, default="9600")
    level_address: int = whole(0, 247, default=0)  # 0: none
    level_function: int = whole(3, 4, default=4)  # 3: a holding register, 4: an input register
    level_register: int = whole(0, 65_535, default=0)
    level_mm_per_count: float = number(0.001, 1_000, default=1)
    level_offset_mm: float = number(-30_000, 30_000, default=0)  # of its zero above the crown of the pipe
    server_address: int = whole(0, 247, default=0)  # 0: answers nobody


@dataclass(frozen=True)
class BoardTable:
    """[board] The controller's board and what is wired to it."""

    profile: str = choice(*PROFILES)
    valves: tuple[JetValve, ...] = tables(JetValve, 2, 8)
    supply_v: float = number(2, 5.5, default=3.3)  # of the ADS1115-type converters: no input may exceed it
    clock: bool = flag(default=False)  # a DS3231-type clock is fitted
    level: LevelWire | None = table(LevelWire, default=None)
    pressure: PressureWire | None = table(PressureWire, default=None)
    battery: VoltsWire | None = table(VoltsWire, default=None)
    temperature: WarmthWire | None = table(WarmthWire, default=None)
    bus: VoltsWire | None = table(VoltsWire, default=None)
    spare_bus: VoltsWire | None = table(VoltsWire, default=None)
    pond: LevelWire | None = table(LevelWire, default=None)
    air: WarmthWire | None = table(WarmthWire, default=None)
    pond_valve: Valve | None = table(Valve, default=None)
    rs485: Rs485 = table(Rs485, default=Rs485())

    def wires(self) -> list[tuple[str, LevelWire | PressureWire | WarmthWire | VoltsWire]]:
        """The instruments that are wired, each by the name of its table."""
        names = ("level", "pressure", "battery", "temperature", "bus", "spare_bus", "pond", "air")
        return [(name, getattr(self, name)) for name in names if getattr(self, name) is not None]

    def valves_in_order(self, jets: Sequence[JetTable]) -> list[Valve]:
        """One for each jet, in the order of the jets, then the pond's, if there is one."""
        by_jet = {valve.jet: valve for valve in self.valves}
        found: list[Valve] = [by_jet[jet.name] for jet in jets]
        return found if self.pond_valve is None else [*found, self.pond_valve]


def check_board(board: BoardTable, jets: Sequence[JetTable], has_pond: bool, refuse: Refuse) -> None:
    """Tell of wiring that contradicts itself; `refuse` takes the table's name and a sentence."""
    _check_valves(board, jets, has_pond, refuse)
    _check_shared(board, refuse)
    for name, wire in board.wires():
        if isinstance(wire, VoltsWire):
            continue
        if (wire.signal == LOOP) != (wire.shunt_ohm is not None):
            refuse(f"board.{name}", 'shunt_ohm must be given with signal "4-20ma", and left out otherwise.')
        low, high = ends_of(wire)
        if not low < high:
            refuse(f"board.{name}", f"it measures from {low:g} to {high:g}; allowed: the lower end first.")
    addresses = (board.rs485.level_address, board.rs485.server_address)
    if addresses[0] and addresses[1]:
        refuse(
            "board.rs485",
            f"level_address is {addresses[0]} and server_address {addresses[1]}; allowed: one of the two, "
            "for only one device on a pair may ask. Take the level by a 4-20 mA loop, or answer nobody.",
        )
    if (board.level is None) == (addresses[0] == 0):
        refuse(
            "board",
            "the level comes by [board.level] or by [board.rs485] level_address; give one of the two.",
        )


def ends_of(wire: Wire) -> tuple[float, float]:
    """What a transmitter shows at 4 and 20 mA, or at 0.5 and 4.5 V, in the unit of its table."""
    if isinstance(wire, LevelWire):
        return wire.low_mm, wire.high_mm
    if isinstance(wire, PressureWire):
        return wire.low_bar, wire.high_bar
    assert isinstance(wire, WarmthWire)
    return wire.low_c, wire.high_c


def _check_valves(board: BoardTable, jets: Sequence[JetTable], has_pond: bool, refuse: Refuse) -> None:
    names = [jet.name for jet in jets]
    said = [valve.jet for valve in board.valves]
    if sorted(said) != sorted(names):
        refuse(
            "board.valves",
            f"they are for {', '.join(repr(name) for name in said)}; allowed: one `jet = ...` for each of "
            f"{', '.join(repr(name) for name in names)}.",
        )
    if has_pond != (board.pond_valve is not None):
        refuse(
            "board.pond_valve", "must be given if there is a [storage_pond], and left out if there is none."
        )
    motors: dict[int, str] = {}
    for name, valve in _named(board):
        if valve.motor in motors:
            refuse(name, f"motor {valve.motor} moves {motors[valve.motor]} already; give each valve its own.")
        motors[valve.motor] = name
        pot = (valve.pot_input, valve.pot_shut_v, valve.pot_open_v)
        if (None in pot) if valve.feedback == "pot" else (pot != (None, None, None)):
            refuse(
                name,
                "pot_input, pot_shut_v and pot_open_v must be given with feedback "
                '"pot", and left out otherwise.',
            )
        elif valve.feedback == "pot" and valve.pot_shut_v == valve.pot_open_v:
            refuse(name, f"pot_shut_v and pot_open_v are both {valve.pot_shut_v:g}; they must differ.")


def _check_shared(board: BoardTable, refuse: Refuse) -> None:
    """No input serves two."""
    taken: dict[int, str] = {}
    rows = [(f"board.{name}", wire.input) for name, wire in board.wires()]
    rows += [(name, valve.pot_input) for name, valve in _named(board) if valve.pot_input is not None]
    for name, place in rows:
        if place in taken:
            refuse(name, f"input {place} is taken by [{taken[place]}] already; give each its own.")
        taken.setdefault(place, name)


def _named(board: BoardTable) -> list[tuple[str, Valve]]:
    rows: list[tuple[str, Valve]] = [(f"board.valves {valve.jet}", valve) for valve in board.valves]
    return rows if board.pond_valve is None else [*rows, ("board.pond_valve", board.pond_valve)]
