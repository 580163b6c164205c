"""Honest about whether tuning won anything."""

from becksim.tuning.score import Figures
from becksim.tuning.study import OBJECTIVES
from becksim.tuning.verdict import judge

WANTED = OBJECTIVES[:3]


def of(before, after, changed=True, others=()):
    return judge([before], None if after is None else [after], others, WANTED, changed=changed)


def figures(kwh, strokes, hours=0.0, **more):
    return Figures(useful_kwh=kwh, strokes_per_day=strokes, unserved_h=hours, **more)


def test_better_in_all_is_won():
    verdict = of(figures(1000, 10), figures(1020, 8))
    assert verdict.won
    assert "+2.0 %" in verdict.sentences[0]
    assert not any("trade" in sentence for sentence in verdict.sentences)


def test_worse_in_all_is_kept():
    verdict = of(figures(1000, 10), figures(990, 11))
    assert not verdict.won
    assert "Keep what you have" in verdict.sentences[-1]


def test_nothing_that_could_be_seen_is_kept():
    verdict = of(figures(1000, 10), figures(1000.1, 9.9))
    assert not verdict.won
    assert "nothing you could see" in verdict.sentences[-1]


def test_a_trade_is_called_one():
    others = [figures(1010, 12), figures(900, 1)]
    verdict = of(figures(1000, 11), figures(995, 3), others=others)
    assert verdict.won
    assert "It is a trade: what gets worse is useful energy (by 5.0 kWh)" in verdict.sentences[-1]


def test_few_strokes_at_little_energy_are_won():
    verdict = of(figures(1000, 20), figures(995, 11))
    assert verdict.won
    assert any("12 strokes a day" in sentence for sentence in verdict.sentences)


def test_what_breaks_what_must_hold_is_kept():
    assert not of(figures(1000, 10), figures(1020, 8, below_floor_s=1.0)).won
    assert not of(figures(1000, 10), None).won
    assert of(figures(1000, 10, below_floor_s=1.0), figures(900, 10)).won


def test_nothing_changed_is_kept():
    assert not of(figures(1000, 10), figures(1000, 10), changed=False).won
