from hypothesis import given
from hypothesis import strategies as st

from becklight.device.lines import GARBLED, LINE, LONGEST, MORE, OVERLONG, Lines


def _feed(data):
    """(state, text) of each line that ends."""
    lines = Lines()
    found = []
    for byte in data:
        state = lines.add(byte)
        if state != MORE:
            found.append((state, lines.text() if state == LINE else None))
    return found


def test_a_line_ends_with_either_end_and_an_empty_one_is_none():
    assert _feed(b"state\r\nhelp\n\r\n\n stop\r") == [(LINE, "state"), (LINE, "help"), (LINE, " stop")]


def test_half_a_line_is_none_yet():
    assert _feed(b"sta") == []


def test_the_longest_line_passes_and_a_longer_one_is_dropped_whole():
    assert _feed(b"a" * LONGEST + b"\n") == [(LINE, "a" * LONGEST)]
    assert _feed(b"a" * (LONGEST + 1) + b"\nstate\n") == [(OVERLONG, None), (LINE, "state")]


def test_what_is_not_plain_ascii_drops_the_line_alone():
    assert _feed(b"st\xc3\xa4te\nstate\n") == [(GARBLED, None), (LINE, "state")]
    assert _feed(b"\x00\nstate\n") == [(GARBLED, None), (LINE, "state")]


def test_the_first_odd_byte_is_told():
    lines = Lines()
    for byte in b"a\x03b\xff\n":
        lines.add(byte)
    assert lines.odd_byte == 3


def test_somebody_who_types_may_rub_out_and_tab():
    assert _feed(b"stot\bp\t5\n") == [(LINE, "stop 5")]
    assert _feed(b"\b\x7f\bhelp\n") == [(LINE, "help")]


@given(st.binary(max_size=2_000))
def test_whatever_comes_lines_are_plain_and_not_too_long(data):
    for state, text in _feed(data):
        if state == LINE:
            assert 0 < len(text) <= LONGEST
            assert all(" " <= letter <= "~" for letter in text)


@given(st.lists(st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=LONGEST)))
def test_lines_come_out_as_they_went_in(texts):
    data = "".join(text + "\r\n" for text in texts).encode()
    assert _feed(data) == [(LINE, text) for text in texts]
