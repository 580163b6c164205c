import pytest

from becklight import alarms
from becksim.report.alarm_words import WORDS, first_check, in_words


@pytest.mark.parametrize(("code", "name"), list(enumerate(alarms.NAMES)))
def test_every_alarm_has_a_sentence_and_a_first_thing_to_check(code, name):
    for text in (in_words(code), first_check(code)):
        assert 15 < len(text) <= 140
        assert text[0].isupper()
        assert text[-1] in ".?"
        assert "_" not in text
    assert WORDS[name] == (in_words(code), first_check(code))


def test_no_words_are_left_over_or_used_twice():
    assert set(WORDS) == set(alarms.NAMES)
    assert len({sentence for sentence, _ in WORDS.values()}) == len(WORDS)


def test_the_valve_is_named():
    assert in_words(alarms.VALVE_DRIFTS, "trim").startswith("trim: ")
