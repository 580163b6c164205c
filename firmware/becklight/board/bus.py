"""An I2C bus whose trouble is an answer and not an exception.

bus = Bus((1, 2, 3))                # number, SDA, SCL
if bus.read(0x48, 0, buffer): ...   # register 0 of the part at 0x48 into the buffer

A part that lost its place in the middle of an answer (a relay's spark is enough) holds the data line down
for ever; nine clock pulses let it finish. Allocates nothing as long as the parts answer.
"""

from machine import I2C, Pin

from ..compat import const
from .uptime import sleep_ms

_FREQUENCY_HZ = const(100_000)  # standard mode: long leads in a powerhouse; chosen by us
_TIMEOUT_US = const(5_000)  # a part that stretches the clock for longer is taken to be dead; chosen by us
_PULSES = const(9)  # eight bits and the acknowledge


class Bus:
    """One I2C bus."""

    def __init__(self, pins: tuple[int, int, int]) -> None:
        self._pins = pins
        self._sda = Pin(pins[1])
        self._open()

    def _open(self) -> None:
        number, sda, scl = self._pins
        self._i2c = I2C(number, scl=Pin(scl), sda=Pin(sda), freq=_FREQUENCY_HZ, timeout=_TIMEOUT_US)

    def write(self, address: int, buffer: bytearray) -> bool:
        """Send register number and contents; whether the part answered.

        One buffer: the chip's driver joins two of them on the heap.
        """
        try:
            self._i2c.writeto(address, buffer)
            return True
        except OSError:
            self._free()
            return False

    def read(self, address: int, register: int, buffer: bytearray) -> bool:
        """Fill the buffer from a register on; whether the part answered."""
        try:
            self._i2c.readfrom_mem_into(address, register, buffer)
            return True
        except OSError:
            self._free()
            return False

    def _free(self) -> None:
        """Clock out what a part still wants to say, if it holds the line."""
        if self._sda.value():
            return
        scl = Pin(self._pins[2], Pin.OPEN_DRAIN, value=1)
        for _ in range(_PULSES):
            scl.value(0)
            sleep_ms(1)
            scl.value(1)
            sleep_ms(1)
        self._open()
