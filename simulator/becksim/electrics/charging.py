"""The charger's stages: bulk, absorption, float; which voltage it holds the battery to, and for how long.

In bulk the battery takes all that comes and its voltage rises. In absorption it stands at the absorption
voltage and takes less and less. In float it is full: the charger holds it a little lower and carries the
house. A charger knows the voltage at its terminals and the current, not the charge.
"""

import math

from becksim.electrics.bank import BankFlows
from becksim.electrics.battery import Chemistry, Conditions, cell_practice

BULK, ABSORPTION, FLOAT = 0, 1, 2
STAGES = ("bulk", "absorption", "float")
TAIL_HOLD_S = 180.0  # the current must have stayed below the tail so long; common practice, no source
REBULK_HOLD_S = (
    600.0  # and the voltage below the rebulk voltage so long, so that a kettle does not do it; by us
)


class Charger:
    """Keeps the stage and the time at absorption; `advance` it by each stretch of constant flows.

    Parameters
    ----------
    chemistry : {"lead-acid", "lifepo4"}
    cells : int
        Cells in series.
    tail_a : float
        Full when the current at absorption voltage is below this [A].
    absorption_s : float
        Longest stay at absorption voltage [s].

    Attributes
    ----------
    stage : int
        BULK, ABSORPTION or FLOAT; STAGES has their names.
    absorbed_s : float
        Time at the absorption voltage since the last bulk [s].

    Examples
    --------
    A full battery: three minutes at absorption voltage without current, then float.

    >>> from becksim.electrics.battery import conditions_at
    >>> warm = conditions_at("lead-acid", 12, 0.014, 25.0)
    >>> charger, flows = Charger("lead-acid", 12, 9.2, 7200.0), BankFlows()
    >>> flows.terminal_v = round(charger.limit_v(warm), 1)
    >>> charger.advance(flows, warm, 60.0)
    >>> STAGES[charger.stage], charger.longest_stretch_s(flows, warm)
    ('absorption', 120.0)
    >>> charger.advance(flows, warm, 120.0)
    >>> STAGES[charger.stage], round(charger.limit_v(warm), 2)
    ('float', 27.0)
    """

    __slots__ = ("absorbed_s", "absorption_s", "low_s", "rebulk_v", "stage", "tail_a", "tail_s")

    def __init__(self, chemistry: Chemistry, cells: int, tail_a: float, absorption_s: float) -> None:
        if not (tail_a >= 0.0 and absorption_s > 0.0):
            raise ValueError(
                f"tail_a must be at least 0 and absorption_s above 0, found {tail_a}, {absorption_s}"
            )
        self.rebulk_v = cells * cell_practice(chemistry).rebulk_v
        self.tail_a = tail_a
        self.absorption_s = absorption_s
        self.stage = BULK
        self.absorbed_s = 0.0
        self.tail_s = 0.0  # the current has been below the tail so long
        self.low_s = 0.0  # the voltage has been below the rebulk voltage so long

    def limit_v(self, conditions: Conditions) -> float:
        """The voltage that the charger does not pass in this stage [V]."""
        return conditions.float_v if self.stage == FLOAT else conditions.absorption_v

    def advance(self, flows: BankFlows, conditions: Conditions, length_s: float) -> None:
        """A stretch is over: keep its time and go to the next stage if that is due.

        Parameters
        ----------
        flows : BankFlows
            Of the stretch, solved with this stage's `limit_v`.
        conditions : Conditions
            Those it was solved with.
        length_s : float
            Its length [s].
        """
        if self.stage != BULK and flows.terminal_v < self.rebulk_v:
            self.low_s += length_s
            self.tail_s = 0.0
            if self.low_s >= REBULK_HOLD_S:
                self.stage = BULK
                self.low_s = self.absorbed_s = 0.0
            return
        self.low_s = 0.0
        if self.stage == FLOAT:
            return
        if not self._absorbs(flows, conditions):
            self.tail_s = 0.0
            return
        self.stage = ABSORPTION
        self.absorbed_s += length_s
        self.tail_s = self.tail_s + length_s if flows.battery_a < self.tail_a else 0.0
        if self.absorbed_s >= self.absorption_s or self.tail_s >= TAIL_HOLD_S:
            self.stage = FLOAT
            self.absorbed_s = self.tail_s = 0.0

    def longest_stretch_s(self, flows: BankFlows, conditions: Conditions) -> float:
        """Seconds until the next stage is due if these flows go on; inf if they never lead to one."""
        if self.stage != BULK and flows.terminal_v < self.rebulk_v:
            return REBULK_HOLD_S - self.low_s
        if self.stage == FLOAT or not self._absorbs(flows, conditions):
            return math.inf
        due_s = self.absorption_s - self.absorbed_s
        if flows.battery_a < self.tail_a:
            due_s = min(due_s, TAIL_HOLD_S - self.tail_s)
        return due_s

    def _absorbs(self, flows: BankFlows, conditions: Conditions) -> bool:
        """Whether the terminals stand at the absorption voltage; in the stages that go up to it."""
        return flows.terminal_v >= conditions.absorption_v
