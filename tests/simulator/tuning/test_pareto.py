"""Which candidates are worth a look: nothing in the set is beaten, nothing outside is missing."""

from hypothesis import given
from hypothesis import strategies as st

from becksim.tuning.pareto import GIVEN_UP, MOST_SHOWN, beats, by_knee, losses, pareto_set, thinned
from becksim.tuning.score import Figures
from becksim.tuning.study import OBJECTIVES, Candidate

WANTED = OBJECTIVES[:3]
NUMBERS = st.integers(0, 20).map(float)
FIGURES = st.builds(
    Figures,
    useful_kwh=NUMBERS.map(lambda x: 980.0 + x),
    unserved_h=NUMBERS,
    strokes_per_day=NUMBERS,
    below_floor_s=st.sampled_from([0.0, 0.0, 1.0]),
)
CANDIDATES = st.lists(FIGURES, min_size=1, max_size=40).map(
    lambda rows: [Candidate({"dwell_ms": place}, row) for place, row in enumerate(rows)]
)


def row(kwh, strokes, hours=0.0):
    return Candidate({}, Figures(useful_kwh=kwh, strokes_per_day=strokes, unserved_h=hours))


@given(CANDIDATES)
def test_nothing_in_the_set_is_beaten_and_what_is_not_in_it_is(candidates):
    found = pareto_set(candidates, WANTED)
    rows = [losses(one.figures, WANTED) for one in found]
    assert len(set(rows)) == len(rows)
    assert not any(one.figures.broken for one in found)
    assert not any(beats(one, other) for one in rows for other in rows)
    for candidate in candidates:
        mine = losses(candidate.figures, WANTED)
        assert candidate.figures.broken or mine in rows or any(beats(one, mine) for one in rows)


@given(CANDIDATES)
def test_the_knee_keeps_to_the_strokes_if_any_does_and_gives_up_little(candidates):
    found = pareto_set(candidates, WANTED)
    if not found:
        return
    knee = by_knee(found, WANTED)[0].figures
    calm = [one.figures for one in found if one.figures.strokes_per_day <= 12.0]
    if calm:
        assert knee.strokes_per_day <= 12.0
        assert knee.useful_kwh >= (1.0 - GIVEN_UP) * max(one.useful_kwh for one in calm)
    else:
        assert knee.strokes_per_day == min(one.figures.strokes_per_day for one in found)


def test_the_knee_is_where_the_next_stroke_saved_costs_much():
    rows = [row(1000.0, 12.0), row(999.0, 4.0), row(992.0, 3.0)]
    assert by_knee(rows, WANTED)[0] is rows[1]


@given(CANDIDATES)
def test_few_are_shown_and_the_knee_among_them(candidates):
    found = pareto_set(candidates, WANTED)
    if not found:
        return
    order = by_knee(found, WANTED)
    shown = thinned(found, order[:1])
    assert len(shown) == min(len(found), MOST_SHOWN)
    assert order[0] in shown
    assert [one for one in found if one in shown] == shown
    assert shown[0] is found[0] or order[0] is shown[0]
