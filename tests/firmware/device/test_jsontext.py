import json

from hypothesis import given
from hypothesis import strategies as st

from becklight.device.jsontext import Answer, known, listed, quoted, refused, table
from becklight.readings import UNKNOWN


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_comes_back_from_plain_ascii(text):
    written = quoted(text)
    assert json.loads(written) == text
    assert written.isascii()
    assert "\n" not in written


def test_an_answer_is_one_line_with_its_fields_in_order():
    answer = Answer()
    answer.text("why", 'a "b"')
    answer.number("n", -3)
    answer.known("level_mm", UNKNOWN)
    answer.flag("on", True)
    answer.begin("rows")
    answer.item("1", True)
    answer.item("2", False)
    answer.end()
    text = "".join(answer.pieces())
    assert text.endswith("}\n")
    assert list(json.loads(text).items()) == [
        ("ok", True),
        ("why", 'a "b"'),
        ("n", -3),
        ("level_mm", None),
        ("on", True),
        ("rows", [1, 2]),
    ]


def test_no_piece_is_long():
    answer = Answer()
    answer.text("why", "x" * 50)
    assert max(map(len, answer.pieces())) < 60


def test_a_refusal_says_why():
    assert json.loads("".join(refused('no "such"'))) == {"ok": False, "error": 'no "such"'}


def test_tables_and_lists():
    assert json.loads(table(("a", "b"), [known(1), known(UNKNOWN)])) == {"a": 1, "b": None}
    assert json.loads(listed([])) == []
