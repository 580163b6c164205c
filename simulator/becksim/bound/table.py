"""A linear programme whose columns and rows come hour by hour, and its solution with its prices."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.optimize import linprog

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Solution:
    """The optimum and where it lies.

    Parameters
    ----------
    optimum : float
        The most.
    sums : dict of ndarray, shape (hours,)
        Each kind of column, its pieces added up.
    prices : dict of ndarray, shape (hours,)
        Of each kind of row: how much more the optimum would be were its limit 1 more.
    limit_prices : dict of ndarray, shape (pieces, hours)
        Of each kind of column: the same for its own limit.
    """

    optimum: float
    sums: dict[str, Floats]
    prices: dict[str, Floats]
    limit_prices: dict[str, Floats]


@dataclass
class Programme:
    """The most of a sum of values, each column between 0 and its limit, each row at most its limit.

    Parameters
    ----------
    hours : int
        How many there are of each column and row.

    Examples
    --------
    Two hours, 3 apples in each, at most 4 eaten in both.

    >>> programme = Programme(2)
    >>> programme.add("eaten", 3.0, value=1.0, day=sparse.csr_matrix([[1.0, 1.0], [0.0, 0.0]]))
    >>> programme.solve({"day": np.array([4.0, 0.0])}).optimum
    4.0
    """

    hours: int
    _kinds: list[str] = field(default_factory=list)
    _most: list[Floats] = field(default_factory=list)
    _values: list[Floats] = field(default_factory=list)
    _parts: list[dict[str, sparse.csr_matrix]] = field(default_factory=list)

    def add(
        self, kind: str, most: Floats | float, value: Floats | float = 0.0, **rows: sparse.csr_matrix
    ) -> None:
        """Add a column an hour; several of one kind are pieces of one flow."""
        self._kinds.append(kind)
        self._most.append(self._by_hour(most))
        self._values.append(self._by_hour(value))
        self._parts.append(rows)

    def _by_hour(self, value: Floats | float) -> Floats:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (self.hours,))

    def solve(self, limits: dict[str, Floats]) -> Solution:
        """Find the most.

        Parameters
        ----------
        limits : dict of ndarray, shape (hours,)
            Of each kind of row.

        Raises
        ------
        ArithmeticError
            If there is no optimum.
        """
        blocks = [[part.get(row) for part in self._parts] for row in limits]
        most = np.concatenate(self._most)
        found = linprog(
            -np.concatenate(self._values),
            A_ub=sparse.bmat(blocks, format="csr"),
            b_ub=np.concatenate(list(limits.values())),
            bounds=np.stack([np.zeros_like(most), most], axis=1),
            method="highs",
        )
        if found.status != 0:
            raise ArithmeticError(f"the best that was possible could not be computed: {found.message}")
        shape = (len(self._kinds), self.hours)
        sums: dict[str, Floats] = defaultdict(lambda: np.zeros(self.hours))
        limit_prices: dict[str, list[Floats]] = defaultdict(list)
        marginals = -found.upper.marginals.reshape(shape)
        for kind, flow, price in zip(self._kinds, found.x.reshape(shape), marginals, strict=True):
            sums[kind] = sums[kind] + flow
            limit_prices[kind].append(price)
        prices = -found.ineqlin.marginals.reshape(len(limits), self.hours)
        return Solution(
            optimum=float(-found.fun),
            sums=dict(sums),
            prices=dict(zip(limits, prices, strict=True)),
            limit_prices={kind: np.array(rows) for kind, rows in limit_prices.items()},
        )
