"""The analog inputs of a board: what their converters read, what an instrument's signal is as a voltage."""

from dataclasses import dataclass

from becklight import readings as places
from becklight.board.profiles import PROFILES
from becksim.site_tables.board import LOOP, BoardTable, Wire

# NAMUR NE 43: a loop below 3.6 mA or above 21 mA says that transmitter or wire has failed.
LOOP_MA, LOOP_FAILED_MA = (4.0, 20.0), (3.6, 21.0)
# Of a 0.5-4.5 V transmitter; no standard says when it has failed. Chosen by us, half way to 0 and 5 V.
VOLTS_V, VOLTS_FAILED_V = (0.5, 4.5), (0.25, 4.75)
FULL_SHARE = 0.996  # of the converter's range, past which it may only be at its end; chosen by us
# Counts of every converter fit 15 bits, as `becklight.device.wiring` wants them.
COUNTS = 32_767
CHIP_STEPS = 4_096  # a chip's own converter tells so many values apart
# The reference, or the end of the widest range, of a chip of each platform; from memory of the data sheets.
CHIP_RANGE_V = {"rp2": 3.3, "esp32": 3.1}
I2C_RANGE_V = 4.096  # that the ADS1115-type converters are set to

# Table of the site file -> (place in the readings, their units in one of the table's, the unit's name).
MEASURED = {
    "level": (places.LEVEL_MM, 1.0, "mm"),
    "pressure": (places.PRESSURE_MBAR, 1_000.0, "mbar"),
    "battery": (places.BATTERY_MV, 1_000.0, "mV"),
    "temperature": (places.TEMP_DECIC, 10.0, "0.1 degC"),
    "bus": (places.BUS_MV, 1_000.0, "mV"),
    "spare_bus": (places.SPARE_BUS_MV, 1_000.0, "mV"),
    "pond": (places.POND_MM, 1.0, "mm"),
    "air": (places.AIR_DECIC, 10.0, "0.1 degC"),
}


@dataclass(frozen=True)
class Range:
    """What an input's converter reads: from 0 to so many volts, in so many steps, and what it bears."""

    volts: float
    steps: int
    supply_v: float

    def at(self, volts: float) -> int:
        """Counts at a voltage at the converter."""
        return round(volts * COUNTS / self.volts)

    @property
    def most_v(self) -> float:
        """The highest voltage that the input may have and that is still told from more."""
        return FULL_SHARE * min(self.volts, self.supply_v)


def range_of(board: BoardTable, place: int) -> Range:
    """Of one input."""
    profile = PROFILES[board.profile]
    if place < len(profile.chip_inputs):
        volts = CHIP_RANGE_V[profile.platform]
        return Range(volts, CHIP_STEPS, 3.3)
    return Range(I2C_RANGE_V, COUNTS, board.supply_v)


def signal_v(wire: Wire) -> tuple[float, float, float, float]:
    """A transmitter's signal as a voltage: failed below, lower end, upper end, failed above."""
    if wire.signal != LOOP:
        return VOLTS_FAILED_V[0], *VOLTS_V, VOLTS_FAILED_V[1]
    ohm = wire.shunt_ohm or 0.0
    low, high = (ohm * loop_ma / 1_000.0 for loop_ma in LOOP_FAILED_MA)
    return low, ohm * LOOP_MA[0] / 1_000.0, ohm * LOOP_MA[1] / 1_000.0, high
