"""A chip for the unix port: its pins, converters and lines answer as those of a quiet plant would.

What the end switches say stands in the file plant.txt beside main.py, read anew at each look: "open",
"between", or else shut. A motor that runs moves nothing.
"""

import time

PWRON_RESET = 1
WDT_RESET = 3


def reset():
    """Ask whoever started this process to start it anew."""
    with open("reset.txt", "w"):
        pass
    while True:
        time.sleep(1)


def reset_cause():
    return PWRON_RESET


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        self.level = value

    def value(self, level=None):
        if level is not None:
            self.level = level
            return None
        if self.number == STOP:
            return 0  # a closed contact: not pressed
        if self.number in SHUT_ENDS:
            return 1 if told("plant.txt") in ("open", "between") else 0
        if self.number in OPEN_ENDS:
            return 0 if told("plant.txt") == "open" else 1
        return self.level or 0


def told(path):
    try:
        with open(path) as file:
            return file.read().strip()
    except OSError:
        return ""


class ADC:
    def __init__(self, pin):
        pass

    def read_u16(self):
        return 0


class I2C:
    def __init__(self, *args, **more):
        pass

    def writeto(self, address, buffer):
        raise OSError(5)

    def readfrom_mem_into(self, address, register, buffer):
        raise OSError(5)


class UART:
    def __init__(self, *args, **more):
        pass

    def read(self, most=None):
        return None

    def write(self, data):
        return len(data)

    def txdone(self):
        return True


class WDT:
    def __init__(self, timeout=5_000):
        pass

    def feed(self):
        pass


class Timer:
    PERIODIC = 1
    ONE_SHOT = 0

    def __init__(self, number):
        pass

    def init(self, **more):
        pass


# The program asks what chip it is on; this one passes for a Pico's. Its pins, from the board's own table.
try:
    from becklight.board import profiles, uptime

    uptime.sleep_ms = lambda ms: time.sleep_ms(ms // 20)  # nobody waits for the lamp at power-up
    profiles.of_platform = lambda platform: profiles.PICO
    STOP = profiles.PICO.stop
    SHUT_ENDS = [motor[2] for motor in profiles.PICO.motors[:3]]
    OPEN_ENDS = [motor[3] for motor in profiles.PICO.motors[:3]]
except ImportError:  # at the prompt of a board with nothing on it
    pass
