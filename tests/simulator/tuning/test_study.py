"""The search: the same seed gives the same candidates, however often it was ended, whoever played them."""

import pytest

from becksim.tuning.bench import Bench
from becksim.tuning.score import Figures
from becksim.tuning.study import GENERATION, OBJECTIVES, search
from becksim.tuning.studyfile import StudyFile
from becksim.tuning.years import Year

WANTED = OBJECTIVES[:3]
YEARS = [Year(kind, kind, False, 1, 0, 365, kind) for kind in ("dry", "wet")]


class Crew:
    """Workers that answer from the made-up plant, in whatever order; killed after so many pieces."""

    def __init__(self, plant, most=10**9, backwards=False):
        self.plant = plant
        self.left = most
        self.backwards = backwards
        self.played = 0

    def play(self, pieces):
        order = range(len(pieces))
        for place in reversed(order) if self.backwards else order:
            if not self.left:
                raise KeyboardInterrupt
            self.left -= 1
            self.played += 1
            yield place, self.plant(pieces[place][0])


@pytest.fixture
def run(space, plant, tmp_path):
    """run(name, count, ...) -> the candidates of a study kept under this name."""

    def go(name, count, seed=1, **options):
        crew = Crew(plant, **options)
        bench = Bench(StudyFile.open(tmp_path / name, {"seed": seed}), crew)
        found = search(
            space, WANTED, lambda some: bench.means(some, YEARS), count=count, seed=seed, first=[space.first]
        )
        return found, crew.played

    return go


def test_killed_again_and_again_it_ends_where_it_would_have(run):
    whole, played = run("whole", 40)
    for most in (1, 7, 29, 30):
        with pytest.raises(KeyboardInterrupt):
            run("killed", 40, most=most)
    again, rest = run("killed", 40)
    assert again == whole
    assert rest == played - 67  # nothing was played twice


def test_the_order_in_which_pieces_end_does_not_matter(run):
    assert run("one", 30)[0] == run("other", 30, backwards=True)[0]


def test_more_candidates_go_on_where_fewer_ended(run):
    whole, played = run("whole", 2 * GENERATION + 5)
    few, first = run("few", GENERATION + 3)
    more, rest = run("few", 2 * GENERATION + 5)
    assert few == whole[: GENERATION + 3]
    assert more == whole
    assert first + rest == played


def test_another_seed_goes_another_way(run):
    assert run("one", 20)[0] != run("other", 20, seed=2)[0]


def test_what_one_has_is_tried_first(run, space):
    assert run("one", 5)[0][0].settings == space.first


def test_it_finds_more_than_chance_does(run):
    found, _ = run("one", 120)
    first, last = (
        max(one.figures.useful_kwh for one in part if not one.figures.broken)
        for part in (found[:GENERATION], found[-36:])
    )
    assert last > first


def test_it_learns_what_must_hold_though_breaking_it_pays(space):
    def tempting(settings):
        most = settings["dwell_ms"] > 1_000_000
        return Figures(useful_kwh=settings["dwell_ms"] / 1e6, residual_short_s=5.0 if most else 0.0)

    found = search(space, WANTED, lambda some: [tempting(one) for one in some], count=120, seed=1)
    assert any(one.figures.broken for one in found[:GENERATION])
    assert sum(one.figures.broken for one in found[-36:]) < 18


def test_progress_is_told(space, plant, tmp_path):
    told = []
    file = StudyFile.open(tmp_path / "a", {})
    bench = Bench(file, Crew(plant), tell=lambda done, of: told.append((done, of)), expected=30)
    search(space, WANTED, lambda some: bench.means(some, YEARS), count=10, seed=1)
    bench.end()
    assert told[-1] == (30, 30)
    assert [done for done, _ in told] == sorted(done for done, _ in told)
