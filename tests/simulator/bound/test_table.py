"""A linear programme by the hour: its optimum, its prices, and what it says when there is none."""

import numpy as np
import pytest
from scipy import sparse

from becksim.bound.table import Programme


def shop(hours=3):
    """Apples at hand in each hour keep; a dear hour comes last, two an hour are sold at most."""
    programme = Programme(hours)
    same = sparse.identity(hours, format="csr")
    gain = sparse.diags([np.ones(hours), -np.ones(hours - 1)], [0, -1], format="csr")
    programme.add("sold", 1.0, value=np.array([1.0] * (hours - 1) + [3.0]), store=same)
    programme.add("sold", 1.0, value=np.array([0.5] * (hours - 1) + [2.0]), store=same)
    programme.add("kept", 10.0, store=gain)
    return programme


def test_it_keeps_what_is_worth_more_later():
    found = shop().solve({"store": np.array([2.0, 0.0, 0.0])})
    assert found.optimum == pytest.approx(5.0)
    assert found.sums["sold"] == pytest.approx([0.0, 0.0, 2.0])
    assert found.sums["kept"] == pytest.approx([2.0, 2.0, 0.0])


def test_its_prices_say_what_one_more_is_worth():
    limits = np.array([3.5, 0.0, 0.0])
    found = shop().solve({"store": limits})
    for hour in range(3):
        more = limits + 0.1 * (np.arange(3) == hour)
        gained = shop().solve({"store": more}).optimum - found.optimum
        assert found.prices["store"][hour] == pytest.approx(gained / 0.1)
    assert found.prices["store"][0] == pytest.approx(1.0)
    # All prices times all limits make up the optimum.
    worth = found.prices["store"] @ limits
    worth += found.limit_prices["sold"].sum() * 1.0 + found.limit_prices["kept"].sum() * 10.0
    assert worth == pytest.approx(found.optimum)


def test_it_says_so_if_there_is_no_optimum():
    programme = Programme(1)
    programme.add("free", np.inf, value=1.0, store=sparse.csr_matrix([[-1.0]]))
    with pytest.raises(ArithmeticError, match="could not be computed"):
        programme.solve({"store": np.array([1.0])})
