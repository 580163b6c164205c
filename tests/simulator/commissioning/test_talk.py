"""Questions and answers: what is allowed, what is asked anew, the words that end a step."""

import io

import pytest
from rich.console import Console

from becksim.commissioning.talk import Again, AtTerminal, FromFile, Quit, Skip, Talk
from becksim.errors import UserError


class Typed(Talk):
    """Somebody who types these lines."""

    def __init__(self, *lines):
        self.shown = io.StringIO()
        super().__init__(Console(file=self.shown, width=200))
        self.lines = list(lines)

    def answer(self, key, question):
        return self.lines.pop(0)


@pytest.mark.parametrize(
    "ask", [lambda t: t.yes("k", "Open?"), lambda t: t.choice("k", "Which?", ("yes", "no"))]
)
def test_what_is_not_allowed_is_answered_with_what_is_and_asked_anew(ask):
    talk = Typed("maybe", "", "YES")
    assert ask(talk) in (True, "yes")
    assert talk.shown.getvalue().count("allowed: yes, no") == 2


@pytest.mark.parametrize("wrong", ["", "x", "nan", "inf", "-1", "101", "1,5", "1e9"])
def test_a_number_is_within_its_bounds(wrong):
    talk = Typed(wrong, "2.5")
    assert talk.number("k", "Litres", 0.0, 100.0) == 2.5
    assert "allowed: a number from 0 to 100" in talk.shown.getvalue()


def test_bounds_themselves_are_allowed():
    assert Typed("0").number("k", "Litres", 0.0, 100.0) == 0.0
    assert Typed("100").number("k", "Litres", 0.0, 100.0) == 100.0


@pytest.mark.parametrize("wrong", ["", "   ", "x" * 301, "a\tb\x07"])
def test_a_name_is_some_words_on_one_line(wrong):
    assert Typed(wrong, " A. Person ").text("k", "Name") == "A. Person"


def test_waiting_takes_the_enter_key_or_done_and_nothing_else():
    talk = Typed("no", "done")
    talk.done("k", "Press it")
    assert talk.lines == []
    Typed("").done("k", "Press it")


@pytest.mark.parametrize(
    ("line", "raised"), [("quit", Quit), ("QUIT", Quit), ("again", Again), ("skip no pond here", Skip)]
)
def test_three_words_are_allowed_everywhere(line, raised):
    for ask in (
        lambda talk: talk.yes("k", "?"),
        lambda talk: talk.number("k", "?", 0, 1),
        lambda talk: talk.text("k", "?"),
        lambda talk: talk.done("k", "?"),
    ):
        with pytest.raises(raised):
            ask(Typed(line))


def test_leaving_a_step_out_needs_a_reason():
    talk = Typed("skip", "", "the pond is dry")
    with pytest.raises(Skip, match="the pond is dry"):
        talk.yes("k", "?")
    with pytest.raises(Quit):
        Typed("skip", "quit").yes("k", "?")


def test_what_is_told_is_no_markup():
    talk = Typed("yes")
    talk.say("[bold]jets[/bold] [0.1 mm]")
    talk.caution("[red]")
    assert "[bold]jets[/bold] [0.1 mm]" in talk.shown.getvalue()
    assert "[red]" in talk.shown.getvalue()


def test_the_end_of_the_input_is_quit(monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    with pytest.raises(Quit):
        AtTerminal(Console(file=io.StringIO())).yes("k", "?")


def answers(tmp_path, text):
    path = tmp_path / "answers.toml"
    path.write_text(text, encoding="utf-8")
    return FromFile(path, Console(file=io.StringIO(), width=200))


def test_answers_come_from_a_file_one_after_the_other(tmp_path):
    talk = answers(tmp_path, '[flows.left]\nopen = "yes"\nlitres = [10, 10.5, "12"]\n')
    assert talk.yes("flows.left.open", "?")
    assert [talk.number("flows.left.litres", "?", 0, 100) for _ in range(3)] == [10.0, 10.5, 12.0]
    with pytest.raises(UserError, match="has 3 answers"):
        talk.number("flows.left.litres", "?", 0, 100)


def test_true_and_false_are_yes_and_no(tmp_path):
    talk = answers(tmp_path, "[a]\nb = [true, false]\n")
    assert [talk.yes("a.b", "?"), talk.yes("a.b", "?")] == [True, False]


def test_a_wrong_answer_takes_the_next_and_ends_if_there_is_none(tmp_path):
    talk = answers(tmp_path, '[a]\nb = ["perhaps", "yes"]\nc = "perhaps"\n')
    assert talk.yes("a.b", "?")
    with pytest.raises(UserError, match=r"a\.c has 1 answers"):
        talk.yes("a.c", "?")


def test_a_jets_name_may_hold_dots_and_spaces(tmp_path):
    talk = answers(tmp_path, '[flows."no. 1 left"]\nopen = "yes"\n')
    assert talk.yes("flows.no. 1 left.open", "?")


def test_a_missing_answer_names_its_key_and_the_question(tmp_path):
    with pytest.raises(UserError, match=r'no answer stop\.press to "Press it'):
        answers(tmp_path, "[stop]\n").done("stop.press", "Press it")
    with pytest.raises(UserError, match=r"no answer stop"):
        answers(tmp_path, "[stop.press]\nx = 1\n").done("stop.press", "Press it")


@pytest.mark.parametrize("content", [b"= 1", b"\xff\xfe"])
def test_a_file_that_is_no_toml_is_the_users_mistake(tmp_path, content):
    path = tmp_path / "answers.toml"
    path.write_bytes(content)
    with pytest.raises(UserError, match="not readable as TOML"):
        FromFile(path)
    with pytest.raises(UserError, match="cannot be read"):
        FromFile(tmp_path / "none.toml")
