"""What a changed setting does by itself; what does nothing is put back."""

from becksim.tuning.effects import put_back, simplified, single_effects
from becksim.tuning.score import Figures
from becksim.tuning.study import OBJECTIVES

WANTED = OBJECTIVES[:3]


def test_what_does_nothing_is_put_back(space, plant):
    def evaluate(some):
        return [plant(one) for one in some]

    settings = {**space.first, "dwell_ms": 300_000, "moves_per_hour": 3, "battery_slack_mv": 150}
    simpler, figures = simplified(space, settings, plant(settings), evaluate, WANTED)
    assert simpler == {**space.first, "dwell_ms": 300_000}
    assert figures == plant(simpler)
    effects = single_effects(space, simpler, evaluate)
    assert [(one.name, one.before, one.after) for one in effects] == [("dwell_ms", 600_000, 300_000)]
    assert effects[0].without == plant(space.first)


def test_two_that_stand_in_for_each_other_are_not_both_put_back(space):
    """Either alone is enough, both put back cost energy."""

    def evaluate(some):
        found = []
        for one in some:
            helps = one["moves_per_hour"] == 3 or one["battery_slack_mv"] == 150
            found.append(Figures(useful_kwh=1000.0 if helps else 900.0, strokes_per_day=5.0))
        return found

    settings = {**space.first, "moves_per_hour": 3, "battery_slack_mv": 150}
    simpler, figures = simplified(space, settings, evaluate([settings])[0], evaluate, WANTED)
    assert figures.useful_kwh == 1000.0
    assert sum(simpler[name] != space.first[name] for name in simpler) == 1


def test_nothing_is_put_back_into_what_must_not_be(space):
    def evaluate(some):
        return [Figures(below_floor_s=float(one["moves_per_hour"] != 3)) for one in some]

    settings = {**space.first, "moves_per_hour": 3}
    assert simplified(space, settings, Figures(), evaluate, WANTED)[0] == settings


def test_put_back(space):
    settings = {**space.first, "dwell_ms": 300_000, "moves_per_hour": 3}
    assert put_back(space, settings, ["dwell_ms"]) == {**space.first, "moves_per_hour": 3}
