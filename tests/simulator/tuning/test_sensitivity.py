"""Which settings matter: those that do are found, those that do not are not."""

import math

from becksim.tuning.sensitivity import LEAST_CANDIDATES, rank_settings
from becksim.tuning.study import OBJECTIVES, search


def tried(space, plant, count):
    return search(space, OBJECTIVES[:3], lambda some: [plant(one) for one in some], count=count, seed=1)


def test_what_matters_is_found_with_its_spread(space, plant):
    candidates = tried(space, plant, 120)
    for figure in (lambda one: one.useful_kwh, lambda one: one.strokes_per_day):
        ranking = rank_settings(candidates, space.knobs, figure, seed=1)
        assert {weight.name for weight in ranking.weights[:2]} == {"dwell_ms", "flow_deadband_ml_s"}
        assert math.isclose(sum(weight.share for weight in ranking.weights), 1.0)
        assert all(0.0 <= weight.low <= weight.high <= 1.0 for weight in ranking.weights)
        assert ranking.explained > 0.6


def test_the_direction_is_told(space, plant):
    ranking = rank_settings(tried(space, plant, 120), space.knobs, lambda one: one.strokes_per_day, seed=1)
    rises = {weight.name: weight.rises for weight in ranking.weights}
    assert not rises["dwell_ms"]
    assert "dwell_ms" in {weight.name for weight in ranking.few}


def test_the_same_seed_gives_the_same_spread(space, plant):
    candidates = tried(space, plant, 60)
    first, again = (rank_settings(candidates, space.knobs, lambda one: one.useful_kwh, 3) for _ in range(2))
    assert first == again


def test_too_few_or_all_alike_tell_nothing(space, plant):
    few = tried(space, plant, LEAST_CANDIDATES - 1)
    assert rank_settings(few, space.knobs, lambda one: one.useful_kwh, seed=1) is None
    many = tried(space, plant, 60)
    assert rank_settings(many, space.knobs, lambda one: one.unserved_h, seed=1) is None
