"""Pauses that shake leaves off the screen."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight import reasons
from becklight.facts import Facts
from becklight.flush import PHASES, FlushRule
from becklight.rules import NO_LIMIT
from becklight.ticks import PERIOD_MS, ticks_add

WRAP_MS = PERIOD_MS - 65_000
OWN = {"flush_ms": 300_000, "flush_wait_ms": 21_600_000, "flush_most": 3}
FLOW_ML_S = 2_000


class Plant:
    """Jets that follow the rule's ceiling within a minute, and a screen; asked once a minute."""

    def __init__(self, settings):
        self.rule = FlushRule(settings)
        self.facts = Facts()
        self.facts.closed = False
        self.facts.drawn_ml_s = FLOW_ML_S
        self.minute = 0
        self.lifted = []  # minutes at which the guard's limit was to be lifted

    def run(self, minutes, suspected, *, closed=False, drawn_ml_s=FLOW_ML_S):
        """So many minutes; the phases passed through."""
        passed = []
        for _ in range(minutes):
            self.facts.now_ms = ticks_add(WRAP_MS, self.minute * 60_000)
            if self.rule.look(self.facts, suspected):
                self.lifted.append(self.minute)
            phase = PHASES[self.rule.phase]
            if not passed or passed[-1] != phase:
                passed.append(phase)
            self.facts.closed = closed or self.rule.ceiling_ml_s == 0
            self.facts.drawn_ml_s = 0 if self.facts.closed else drawn_ml_s
            self.minute += 1
        return passed


@pytest.fixture
def plant(settings_of):
    return Plant(settings_of(**OWN))


def test_suspected_blocking_closes_everything_for_the_pause_and_then_lifts_the_limit(plant):
    assert plant.run(10, False) == ["ready"]
    assert plant.run(1, True) == ["flushing"]
    assert plant.rule.ceiling_ml_s == 0
    assert plant.run(5, True) == ["flushing"]
    assert plant.run(1, False) == ["trying"]
    assert (plant.lifted, plant.rule.ceiling_ml_s, plant.rule.count) == ([16], NO_LIMIT, 1)


def test_the_pause_is_counted_from_when_all_stands_closed(plant):
    plant.run(1, True)
    plant.facts.closed = True
    plant.facts.moving = True
    plant.run(30, True)
    plant.facts.moving = False
    assert plant.run(5, True) == ["flushing"]
    assert plant.run(1, True) == ["trying"]


def test_closed_jets_are_not_flushed(plant):
    plant.facts.closed = True
    plant.facts.drawn_ml_s = 0
    assert plant.run(600, True, closed=True) == ["ready"]
    assert plant.rule.count == 0


def test_an_hour_of_the_same_flow_without_suspicion_is_a_cure(plant):
    plant.run(7, True)
    assert plant.run(60, False) == ["trying"]
    assert plant.run(1, False) == ["ready"]
    assert (plant.rule.count, plant.rule.given_up) == (0, False)


def test_a_trickle_without_suspicion_proves_nothing(plant):
    plant.run(7, True)
    plant.run(2, False, drawn_ml_s=FLOW_ML_S // 2)
    assert plant.run(600, False, drawn_ml_s=FLOW_ML_S // 2) == ["trying"]
    assert plant.rule.count == 1


def test_it_is_the_flow_before_the_first_pause_that_must_come_back(plant):
    plant.run(7, True)
    plant.run(400, True, drawn_ml_s=FLOW_ML_S // 2)  # as the guard's limit has it: the second pause
    assert plant.rule.count == 2
    plant.run(200, False, drawn_ml_s=FLOW_ML_S // 2)
    assert plant.rule.count == 2
    plant.run(62, False, drawn_ml_s=FLOW_ML_S * 3 // 4)
    assert plant.rule.count == 0


def test_with_nothing_suspected_it_wants_never_to_be_asked(plant):
    plant.run(10, False)
    assert plant.rule.left_ms(plant.facts.now_ms) == NO_LIMIT


def test_it_waits_between_pauses_and_gives_up_after_the_most(plant):
    plant.run(24 * 60, True)
    assert plant.rule.given_up
    assert plant.rule.count == len(plant.lifted) == 3
    assert [later - earlier for earlier, later in zip(plant.lifted, plant.lifted[1:], strict=False)] == [
        366
    ] * 2
    assert plant.run(10 * 24 * 60, True) == ["ready"]  # across the wrap


def test_it_gives_up_only_when_the_last_pause_has_failed(plant):
    while len(plant.lifted) < 3:
        assert not plant.rule.given_up
        plant.run(1, True)
    plant.run(10, False)
    assert not plant.rule.given_up
    plant.run(1, True)
    assert plant.rule.given_up


def test_who_cleans_the_screen_may_say_so(plant):
    plant.run(24 * 60, True)
    plant.rule.helped(True)
    assert (plant.rule.given_up, plant.rule.count) == (False, 0)
    assert "flushing" in plant.run(10, True)


def test_told_that_it_has_not_helped_it_waits_for_the_next(plant):
    plant.run(7, True)
    plant.rule.helped(False)
    assert PHASES[plant.rule.phase] == "ready"
    assert plant.run(300, True) == ["ready"]


def test_switched_off_it_never_pauses_nor_gives_up(settings_of):
    plant = Plant(settings_of(**{**OWN, "flush_most": 0}))
    assert plant.run(3_000, True) == ["ready"]
    assert not plant.rule.given_up


ROWS = st.lists(
    st.tuples(st.integers(1, 100), st.booleans(), st.booleans(), st.sampled_from([500, 1_500, 2_000])),
    max_size=25,
)


@settings(max_examples=150, deadline=None)
@given(rows=ROWS, wait_ms=st.sampled_from([0, 600_000, 21_600_000]))
def test_before_its_time_asking_changes_nothing(settings_of, rows, wait_ms):
    read = settings_of(**{**OWN, "flush_wait_ms": wait_ms})
    seldom, often = FlushRule(read), FlushRule(read)
    facts = Facts()
    now_ms = asked_ms = 0
    lifted = [0, 0]
    for looks, suspected, closed, drawn_ml_s in rows:
        # what it is handed changes only at steps that the engine does not skip
        asked_ms = now_ms
        for _ in range(looks):
            facts.now_ms = ticks_add(WRAP_MS, now_ms)
            follows = closed or often.ceiling_ml_s == 0
            if follows != facts.closed:
                asked_ms = now_ms
            facts.closed, facts.drawn_ml_s = follows, 0 if follows else drawn_ml_s
            lifted[0] += often.look(facts, suspected)
            if now_ms >= asked_ms:
                lifted[1] += seldom.look(facts, suspected)
                asked_ms = now_ms + max(1, min(900_000, seldom.left_ms(facts.now_ms)))
            found = (seldom.phase, seldom.count, seldom.ceiling_ml_s, seldom.given_up)
            assert found == (often.phase, often.count, often.ceiling_ml_s, often.given_up)
            now_ms += 30_000
    assert lifted[0] == lifted[1]


# -- edges ------------------------------------------------------------------------------------------


def test_judging_lifts_the_guards_limit_at_one_step_alone(plant):
    rule, facts = plant.rule, plant.facts
    lifted = []
    rule.suspected = True
    for minute in range(10):
        facts.now_ms = ticks_add(WRAP_MS, minute * 60_000)
        rule.judge(facts)
        facts.closed = rule.ceiling_ml_s == 0
        if rule.lift:
            lifted.append(minute)
        rule.suspected = minute < 3
    assert (lifted, rule.reason) == ([6], reasons.FLUSHING)


def test_open_jets_that_draw_nothing_are_not_flushed(plant):
    plant.facts.drawn_ml_s = 0
    assert plant.run(10, True, drawn_ml_s=0) == ["ready"]


@pytest.mark.parametrize(("drawn_ml_s", "pauses"), [(FLOW_ML_S * 3 // 4 - 1, 1), (FLOW_ML_S * 3 // 4, 0)])
def test_three_quarters_of_the_flow_are_as_good_as_all(plant, drawn_ml_s, pauses):
    plant.run(7, True)
    plant.run(100, False, drawn_ml_s=drawn_ml_s)
    assert plant.rule.count == pauses


def test_one_pause_may_be_all_that_is_tried(settings_of):
    plant = Plant(settings_of(**{**OWN, "flush_most": 1}))
    plant.run(20, True)
    assert plant.rule.given_up


def test_where_it_is_switched_off_cleaning_the_screen_does_not_make_it_give_up(settings_of):
    plant = Plant(settings_of(**{**OWN, "flush_most": 0}))
    plant.rule.helped(True)
    assert not plant.rule.given_up
