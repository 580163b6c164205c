"""The command line: what it refuses, and its exit status."""

import pytest

from becksim.cli import main
from becksim.commissioning.file import FAILED, PASSED, Book, Result


def run(capsys, *arguments):
    try:
        status = main(["commission", *arguments])
    except SystemExit as stop:  # argparse's own way out
        status = stop.code
    return status, capsys.readouterr().err


def test_a_port_must_be_given(capsys):
    status, told = run(capsys, "upland-hostel")
    assert status == 2
    assert "--port" in told


def test_a_site_must_be_given(capsys):
    assert run(capsys, "--port", "/dev/none")[0] == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("upland-hostel", "--port", "/dev/there-is-no-such-port"), "cannot be opened"),
        (("no-such-site", "--port", "/dev/none"), "site file no-such-site is not there"),
        (
            ("upland-hostel", "--port", "/dev/none", "--answers", "none.toml"),
            "--answers none.toml: cannot be read",
        ),
    ],
)
def test_the_users_mistakes_are_told_in_a_sentence(capsys, arguments, words):
    status, told = run(capsys, *arguments)
    assert status == 2
    assert words in told
    assert "Traceback" not in told


def test_a_step_that_stands_failed_is_the_exit_status(capsys, monkeypatch, tmp_path):
    from contextlib import nullcontext

    from becksim import commission
    from becksim.commission import Commissioned

    book = Book(tmp_path / "a.json", "Mill")
    monkeypatch.setattr("becksim.console_link.open_link", lambda port: nullcontext(None))
    monkeypatch.setattr(commission, "commission", lambda *_, **__: Commissioned(book, True, None))
    for verdict, status in ((FAILED, 1), (PASSED, 0)):
        book.add(Result("stop", verdict, "2026-05-01T10:00:00+02:00", "A. Person"))
        assert run(capsys, "upland-hostel", "--port", "/dev/none")[0] == status
