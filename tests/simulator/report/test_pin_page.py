import pathlib

import pytest

from becklight.board.profiles import ALL, ESP32, PICO
from becksim.errors import UserError
from becksim.report.pin_page import BEGIN, END, PAGE, main, pins, tables, with_tables

ROOT = pathlib.Path(__file__).parents[3]


def test_the_page_is_up_to_date():
    text = (ROOT / PAGE).read_text(encoding="utf-8")
    assert with_tables(text) == text, "run: python -m becksim.report.pin_page --write"


@pytest.mark.parametrize("profile", ALL, ids=lambda profile: profile.name)
def test_every_pin_of_every_board_is_there(profile):
    assert f"`{profile.name}`" in tables()
    told = dict(pins(profile))
    assert {*profile.chip_inputs, profile.stop, profile.lamp, *profile.rs485[1:]} <= set(told)
    for number, motor in enumerate(profile.motors):
        assert f"motor {number} opens" in told[motor[0]]
        assert f"motor {number} shuts" in told[motor[1]]


def test_a_pin_with_two_uses_names_both():
    assert dict(pins(PICO))[20] == "motor 0 at its shut end, or motor 6 opens"
    assert dict(pins(ESP32))[36] == "analog input 0"


def test_boards_with_the_same_pins_share_a_section():
    assert "## `pico`, `pico_w`, `pico2_w`" in tables()
    assert tables().count("## ") == 2
    assert "7 motors; of them 0 to 2 can have end switches" in tables()
    assert "| 0 | GP8 | GP9 | GP20, GP21 | motor 6 |" in tables()
    assert (
        "0 to 2 on the chip (3.3 V at full counts), 3 to 6 on the converter at I2C address 0x48" in tables()
    )


def test_what_stands_around_the_tables_stays():
    text = f"before\n{BEGIN}\nold\n{END}\nafter\n"
    new = with_tables(text)
    assert new == f"before\n{BEGIN}\n\n{tables()}\n\n{END}\nafter\n"
    assert with_tables(new) == new


@pytest.mark.parametrize("text", ["", BEGIN, f"{END}\n{BEGIN}", f"{BEGIN}{BEGIN}{END}"])
def test_a_page_without_its_markers_is_refused(text):
    with pytest.raises(UserError, match="each once"):
        with_tables(text)


def test_writing_needs_the_page(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match="pins.md is not here"):
        main(["--write"])
    PAGE.parent.mkdir()
    PAGE.write_text(f"{BEGIN}\n{END}\n")
    main(["--write"])
    assert PAGE.read_text() == f"{BEGIN}\n\n{tables()}\n\n{END}\n"
    main([])
    assert capsys.readouterr().out == tables() + "\n"
