"""The RS-485 pair: this device asks a level transmitter, or others ask it; on one line only one may ask.

    bus = Bus(device)                       # by wiring.rs485
    wait_ms = bus.talk(now_ms)

Open standard, from memory of "MODBUS Application Protocol Specification V1.1b3": functions 3, 4, 6, 16;
exceptions 1 to 4. Big-endian registers of 16 bits.
"""

from ..compat import const

SILENT_MS = const(1_000)  # nothing is fitted: look seldom


class Bus:
    """What the pair is used for."""

    def __init__(self, device) -> None:  # type: ignore[no-untyped-def]
        self.device = device
        self.client = None
        self.server = None
        rs485 = device.wiring.rs485
        if rs485 is None:
            return  # no settings could be read
        # Only what is used is brought into memory.
        if rs485.level_address:
            from .modbus_client import LevelClient

            self.client = LevelClient(rs485)
        elif rs485.server_address:
            from .modbus_server import Server

            self.server = Server(rs485)

    def talk(self, now_ms: int) -> int:
        """Ask or answer; says in how many ms to come back."""
        board = self.device.board
        try:
            if self.client is not None:
                return self.client.talk(now_ms, board, self.device.readings)
            if self.server is not None:
                return self.server.talk(now_ms, board, self.device)
        except OSError:
            pass  # the pair does not work: a level then becomes unknown by its age, and the plant goes on
        return SILENT_MS
