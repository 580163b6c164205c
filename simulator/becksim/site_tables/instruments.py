"""The instruments' tables of a site file."""

from dataclasses import dataclass

from becksim.schema import flag, number, table


@dataclass(frozen=True)
class Level:
    """[instruments.level] The transmitter in the intake."""

    noise_mm: float = number(0, 200, default=1)
    resolution_mm: float = number(0, 100, default=1)
    lag_s: float = number(0, 120, default=2)


@dataclass(frozen=True)
class PondLevel:
    """[instruments.pond] The transmitter in the storage pond."""

    noise_mm: float = number(0, 200, default=2)
    resolution_mm: float = number(0, 100, default=1)
    lag_s: float = number(0, 120, default=5)


@dataclass(frozen=True)
class Pressure:
    """[instruments.pressure] The transmitter at the manifold."""

    noise_mbar: float = number(0, 2_000, default=10)
    resolution_mbar: float = number(0, 1_000, default=5)
    lag_s: float = number(0, 60, default=1)


@dataclass(frozen=True)
class Volts:
    """[instruments.battery] The divider at the battery."""

    noise_mv: float = number(0, 5_000, default=20)
    resolution_mv: float = number(0, 1_000, default=10)
    lag_s: float = number(0, 60, default=1)


@dataclass(frozen=True)
class BusVolts:
    """[instruments.bus] The divider at the rectifier, if there is one; [instruments.spare_bus] a spare's."""

    fitted: bool = flag(default=True)
    noise_mv: float = number(0, 5_000, default=200)
    resolution_mv: float = number(0, 1_000, default=100)
    lag_s: float = number(0, 60, default=1)


@dataclass(frozen=True)
class Thermometer:
    """[instruments.temperature] The sensor at the battery."""

    noise_c: float = number(0, 10, default=0.1)
    resolution_c: float = number(0, 5, default=0.1)
    lag_s: float = number(0, 3_600, default=60)


@dataclass(frozen=True)
class Instruments:
    """[instruments] What the controller sees the plant through."""

    level: Level = table(Level, default=Level())
    pressure: Pressure = table(Pressure, default=Pressure())
    battery: Volts = table(Volts, default=Volts())
    bus: BusVolts = table(BusVolts, default=BusVolts())
    spare_bus: BusVolts = table(BusVolts, default=BusVolts())
    temperature: Thermometer = table(Thermometer, default=Thermometer())
    pond: PondLevel = table(PondLevel, default=PondLevel())
