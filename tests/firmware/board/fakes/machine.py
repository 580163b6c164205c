"""A board in the place of MicroPython's `machine`: pins, converters, lines that a test can set and look at.

On CPython time is the fake's own (`now_ms`, moved by sleeping); on MicroPython's unix port it is real.
"""

PWRON_RESET = 1
WDT_RESET = 3


class State:
    """Everything that a test sets or looks at."""

    def __init__(self):
        self.now_ms = 1_000
        self.cause = PWRON_RESET
        self.levels = {}  # what a pin drives
        self.modes = {}
        self.pulls = {}
        self.outside = {}  # what is wired to an input
        self.log = []  # ("pin", number, level) and so on, in order
        self.watch = None  # called after each change of an output
        self.adc = {}  # pin -> read_u16
        self.parts = {}  # I2C address -> part
        self.stuck = 0  # so many pulses on the clock line until the data line is let go
        self.sda = -1
        self.scl = -1
        self.uarts = {}
        self.feeds = 0
        self.fed_ms = 0
        self.watchdog_ms = 0
        self.timers = []


state = State()


def start_over():
    """A new board."""
    state.__init__()
    return state


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    PULL_UP = 1
    PULL_DOWN = 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        if mode != -1:
            state.modes[number] = mode
        if pull != -1:
            state.pulls[number] = pull
        if value is not None:
            self.value(value)

    def value(self, level=None):
        number = self.number
        if level is None:
            if number == state.sda:
                return 0 if state.stuck else 1
            if state.modes.get(number) == Pin.OUT:
                return state.levels.get(number, 0)
            return state.outside.get(number, 1 if state.pulls.get(number) == Pin.PULL_UP else 0)
        if number == state.scl and level and state.stuck:
            state.stuck -= 1
        state.levels[number] = level
        if state.watch is not None:
            state.watch(number, level)
        return None


class ADC:
    def __init__(self, pin):
        self.pin = pin.number

    def read_u16(self):
        return state.adc.get(self.pin, 0)


class I2C:
    def __init__(self, number, scl=None, sda=None, freq=400_000, timeout=50_000):
        state.sda, state.scl = sda.number, scl.number
        state.freq, state.timeout = freq, timeout

    def _part(self, address):
        if state.stuck or address not in state.parts:
            raise OSError(5)
        return state.parts[address]

    def writeto(self, address, buffer):
        self._part(address).write(buffer)

    def readfrom_mem_into(self, address, register, buffer):
        self._part(address).read(register, buffer)


class Converter:
    """An ADS1115-type part: takes a configuration, is busy for some questions, gives the channel's counts."""

    def __init__(self, counts):
        self.counts = list(counts)
        self.high = 0x85
        self.low = 0x83
        self.busy = 0  # questions for which it is still converting
        self.busy_next = 0
        self.told = []  # configurations, if a test wants them
        self.keep = False

    def write(self, buffer):
        if self.keep:
            self.told.append(bytes(buffer))
        if buffer[0] == 1:
            self.high = buffer[1]
            self.low = buffer[2]
            self.busy = self.busy_next

    def read(self, register, buffer):
        if register == 1:
            ready = 0 if self.busy > 0 else 0x80
            self.busy = max(0, self.busy - 1)
            buffer[0] = (self.high & 0x7F) | ready
            buffer[1] = self.low
        else:
            counts = self.counts[self.high >> 4 & 3]
            buffer[0] = counts >> 8 & 0xFF
            buffer[1] = counts & 0xFF


class Registers:
    """A part that is nothing but registers, such as a clock."""

    def __init__(self, values):
        self.values = bytearray(values)

    def write(self, buffer):
        for place in range(1, len(buffer)):
            self.values[buffer[0] + place - 1] = buffer[place]

    def read(self, register, buffer):
        for place in range(len(buffer)):
            buffer[place] = self.values[register + place]


class UART:
    def __init__(self, number, baudrate=9600, tx=None, rx=None, txbuf=0, rxbuf=0, timeout=0):
        self.baudrate = baudrate
        self.pins = (tx.number, rx.number)
        self.came = []  # bytes to be read, a piece at a time
        self.sent = []
        self.sending = 0  # so many questions until all is sent
        self.slow = 0
        self.room = 1 << 20  # so many bytes are taken at once
        state.uarts[number] = self

    def write(self, data):
        taken = bytes(data, "ascii")[: self.room] if isinstance(data, str) else bytes(data)[: self.room]
        self.sent.append(taken)
        self.sending = self.slow
        return len(taken)

    def txdone(self):
        self.sending -= 1
        return self.sending < 0

    def read(self, most=None):
        return self.came.pop(0) if self.came else None


class WDT:
    def __init__(self, timeout=5_000):
        state.watchdog_ms = timeout

    def feed(self):
        state.feeds += 1


class Timer:
    PERIODIC = 1
    ONE_SHOT = 0

    def __init__(self, number):
        self.number = number

    def init(self, period=0, mode=0, callback=None):
        self.period, self.callback = period, callback
        state.timers.append(self)


class Reset(SystemExit):
    """The board starts anew."""


def reset():
    """What no program survives."""
    raise Reset("reset")


def reset_cause():
    return state.cause
