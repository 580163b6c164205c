"""The pins of one kind of board, as the board's other files are handed them; profiles.py has all kinds."""

from ..compat import const

NO_PIN = const(-1)
ENDS = const(1)  # what device/wiring.py calls a valve that has end switches
INPUTS_A_CONVERTER = const(4)
# What an input gives at its full voltage: 15 bits, so that the device's products stay small integers.
FULL_COUNTS = const(32_767)
CONVERTER_FULL_MV = const(4_096)  # of a converter on I2C; but no input may stand above its supply of 3.3 V
# Addresses of ADS1115-type converters: ADDR pin to ground, to the supply (from memory).
CONVERTERS = (0x48, 0x49)


class Profile:
    """The pins of one kind of board."""

    def __init__(
        self,
        name: str,
        platform: str,  # sys.platform of MicroPython on it
        serves: tuple[str, ...],  # whose settings may run here: the same terminals at the same pins
        chip_inputs: tuple[int, ...],
        chip_full_mv: int,  # at FULL_COUNTS
        i2c: tuple[int, int, int],  # bus, SDA, SCL: converters and clock
        motors: tuple[tuple[int, int, int, int], ...],  # open, shut, shut end, open end
        stop: int,
        lamp: int,
        rs485: tuple[int, int, int, int],  # UART, TX, RX, direction
        console: "tuple[int, int, int] | None",  # UART, TX, RX; None: by USB alone
        reserved: tuple[int, ...],  # must never be touched
    ) -> None:
        self.name = name
        self.platform = platform
        self.serves = serves
        self.chip_inputs = chip_inputs
        self.chip_full_mv = chip_full_mv
        self.i2c = i2c
        self.motors = motors
        self.stop = stop
        self.lamp = lamp
        self.rs485 = rs485
        self.console = console
        self.reserved = reserved
        self.inputs = len(chip_inputs) + INPUTS_A_CONVERTER * len(CONVERTERS)
