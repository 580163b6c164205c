"""The inverter's own cut-off: by the voltage at its terminals, under whatever load there is.

Once off, the house gets nothing, whoever makes power, until the terminals have stood at the higher
reconnection voltage for some minutes. Without its load the battery recovers at once, so that a reconnection
voltage near the cut-off voltage would switch the house on and off; the site file's check keeps them apart.
"""

import math

from becksim.electrics.bank import BankFlows

RECONNECT_HOLD_S = 300.0  # chosen by us
LOOK_S = 300.0  # while charging towards reconnection, how late it may be seen; chosen by us


class LoadSwitch:
    """Keeps whether the house is connected; `advance` it by each stretch of constant flows.

    `Bank.solve` finds by itself when the voltage under load falls below the cut-off, and says so in
    `flows.house_on`.

    Parameters
    ----------
    reconnect_v : float
        Terminal voltage at which the house is joined again [V].

    Examples
    --------
    >>> switch, flows = LoadSwitch(25.0), BankFlows()
    >>> flows.house_on, flows.terminal_v = False, 25.1
    >>> switch.advance(flows, 200.0)
    >>> switch.connected, switch.longest_stretch_s(flows)
    (False, 100.0)
    >>> switch.advance(flows, 100.0)
    >>> switch.connected
    True
    """

    __slots__ = ("connected", "high_s", "reconnect_v")

    def __init__(self, reconnect_v: float) -> None:
        self.reconnect_v = reconnect_v
        self.connected = True
        self.high_s = 0.0  # the terminals have stood at reconnect_v so long

    def advance(self, flows: BankFlows, length_s: float) -> None:
        """A stretch of so many seconds is over."""
        if flows.house_on:
            return
        self.connected = False
        self.high_s = self.high_s + length_s if flows.terminal_v >= self.reconnect_v else 0.0
        if self.high_s >= RECONNECT_HOLD_S:
            self.connected = True
            self.high_s = 0.0

    def longest_stretch_s(self, flows: BankFlows) -> float:
        """Seconds until the switch must be looked at again; inf while the house is on or nothing charges."""
        if flows.house_on:
            return math.inf
        if flows.terminal_v >= self.reconnect_v:
            return RECONNECT_HOLD_S - self.high_s
        return LOOK_S if flows.stored_w > 0.0 else math.inf
