import pytest

from becklight.board.profiles import ALL, ESP32, PICO
from becksim.report.pin_page import boards, pins


@pytest.mark.parametrize("profile", ALL, ids=lambda profile: profile.name)
def test_every_pin_of_every_board_is_there(profile):
    assert f"`{profile.name}`" in boards()
    told = dict(pins(profile))
    assert {*profile.chip_inputs, profile.stop, profile.lamp, *profile.rs485[1:]} <= set(told)
    for number, motor in enumerate(profile.motors):
        assert f"motor {number} opens" in told[motor[0]]
        assert f"motor {number} shuts" in told[motor[1]]


def test_a_pin_with_two_uses_names_both():
    assert dict(pins(PICO))[20] == "motor 0 at its shut end, or motor 6 opens"
    assert dict(pins(ESP32))[36] == "analog input 0"


def test_boards_with_the_same_pins_share_a_section():
    assert "## `pico`, `pico_w`, `pico2_w`" in boards()
    assert boards().count("## ") == 2
    assert "7 motors; of them 0 to 2 can have end switches" in boards()
    assert "| 0 | GP8 | GP9 | GP20, GP21 | motor 6 |" in boards()
    assert (
        "0 to 2 on the chip (3.3 V at full counts), 3 to 6 on the converter at I2C address 0x48" in boards()
    )
