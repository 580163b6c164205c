import pytest

from becklight import reasons
from becksim.report.words import WORDS, in_words


@pytest.mark.parametrize(("code", "name"), list(enumerate(reasons.NAMES)))
def test_every_reason_has_words_of_its_own(code, name):
    assert in_words(code) == WORDS[name]
    assert len(in_words(code)) > 5
    assert "_" not in in_words(code)


def test_no_words_are_left_over_or_used_twice():
    assert set(WORDS) == set(reasons.NAMES)
    assert len(set(WORDS.values())) == len(WORDS)
