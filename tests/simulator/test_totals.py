"""Sums by month."""

from dataclasses import fields

from becksim.totals import Totals, sum_of


def test_adding_adds_every_field():
    one, two = Totals(), Totals()
    for place, field in enumerate(fields(Totals)):
        setattr(one, field.name, float(place + 1))
        setattr(two, field.name, 100.0 * (place + 1))
    one.add(two)
    assert [getattr(one, field.name) for field in fields(Totals)] == [
        101.0 * (place + 1) for place in range(len(fields(Totals)))
    ]
    assert two.generated_j == 100.0


def test_the_year_is_its_months_and_leaves_them_alone():
    months = [Totals(inflow_m3=float(month), below_floor_s=1.0) for month in range(12)]
    whole = sum_of(months)
    assert (whole.inflow_m3, whole.below_floor_s, whole.accepted_j) == (66.0, 12.0, 0.0)
    assert months[11].inflow_m3 == 11.0
    assert sum_of([]) == Totals()
