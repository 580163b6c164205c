"""Which wheel a standing drives, and the bus voltage to be expected of it."""

import pytest

from becklight.settings import Settings
from becklight.wheels import Wheels


def _wheels(plant, spare):
    """Two fixed jets and two trims; the main wheel has another voltage at each standing."""
    table = plant(2, 2, spare=spare, spare_bus_best_mv=47_000)
    for row in table["menu"]["sets"]:
        row["bus_mv"] = [60_000 + 1_000 * row["mask"] + 10 * point for point in range(21)]
    return Wheels(Settings(table))


@pytest.mark.parametrize(("spare", "from_permille"), [([], 2_000), ([3], 1_000), ([2, 3], 0)])
def test_the_spares_trims_begin_where_the_main_wheels_end(plant, spare, from_permille):
    assert _wheels(plant, spare).spare_from_permille == from_permille


@pytest.mark.parametrize(
    ("spare", "mask", "trim_permille", "main", "spares"),
    [
        ([], 0, 0, False, False),
        ([], 2, 0, True, False),
        ([], 0, 2_000, True, False),
        ([1], 2, 0, False, True),
        ([1], 1, 0, True, False),
        ([1], 3, 0, True, True),
        ([1], 2, 1, True, True),  # a barely open trim of the main wheel's
        ([3], 0, 1_000, True, False),
        ([3], 0, 1_001, True, True),
        ([2, 3], 0, 1, False, True),
        ([2, 3], 1, 0, True, False),
    ],
)
def test_a_wheel_runs_while_a_jet_of_its_own_is_open(plant, spare, mask, trim_permille, main, spares):
    wheels = _wheels(plant, spare)
    assert (wheels.main_runs(mask, trim_permille), wheels.spare_runs(mask, trim_permille)) == (main, spares)
    assert (wheels.main_mv(mask, trim_permille) > 0) == main


def test_the_main_wheel_has_the_voltage_of_its_row(plant):
    assert _wheels(plant, [1]).main_mv(3, 1_000) == 63_100


@pytest.mark.parametrize(
    ("spare", "mask", "trim_permille", "spare_mv"),
    [
        ([1], 2, 0, 47_000),
        ([1], 1, 1_000, 0),
        ([3], 0, 1_499, 0),  # so little may not turn it as fast
        ([3], 0, 1_500, 47_000),
        ([2, 3], 1, 500, 47_000),
        ([], 3, 2_000, 0),
    ],
)
def test_the_spare_has_its_own_while_enough_of_its_jets_is_open(plant, spare, mask, trim_permille, spare_mv):
    assert _wheels(plant, spare).spare_mv(mask, trim_permille) == spare_mv
