"""The wiring's table: read, and refused in sentences."""

import pytest

from becklight.device.wiring import ENDS, POT, Wiring
from becklight.readings import BUS_MV, LEVEL_MM
from becklight.settings import Settings, SettingsError
from becklight.settings_reader import Section


def _read(table):
    return Wiring(Section(table, "wiring"))


def test_a_whole_table_is_read(wiring_of):
    wiring = _read(wiring_of(3, "pot"))
    assert [one.place for one in wiring.inputs] == [*range(LEVEL_MM, BUS_MV + 1)]
    assert [(valve.motor, valve.feedback, valve.pot_input) for valve in wiring.valves] == [
        (0, POT, 7),
        (1, POT, 8),
        (2, POT, 9),
    ]
    assert _read(wiring_of(1, "ends")).valves[0].feedback == ENDS


def test_without_a_table_nothing_is_wired():
    wiring = Wiring(None)
    assert (wiring.inputs, wiring.valves, wiring.rs485) == ([], [], None)


def _row(table, **change):
    table["inputs"][0].update(change)


def _valve(table, **change):
    table["valves"][1].update(change)


def _bus(table, **change):
    table["rs485"].update(change)


@pytest.mark.parametrize(
    ("where", "change", "told"),
    [
        (_row, {"place": "year_day"}, "wiring, input 1: place is 'year_day'; allowed: one of level_mm"),
        (_row, {"place": "wind"}, "place is 'wind'"),
        (_row, {"place": "bus_mv"}, "place is 'bus_mv'; allowed: each once"),
        (_row, {"input": 1}, "input is 1; allowed: each once"),
        (_row, {"input": 16}, "a whole number from 0 to 15"),
        (_row, {"counts_high": 4_000}, "counts_high is 4000; allowed: a whole number from 4001 to 32767"),
        (_row, {"counts_high": 40_000}, "counts_high is 40000"),
        (_row, {"broken_high": 3_601}, "broken_high is 3601"),
        (_row, {"value_low": True}, "value_low is True"),
        (_valve, {"motor": 0}, "motor is 0; allowed: each once"),
        (_valve, {"stroke_ms": 0}, "wiring, valve 2: stroke_ms is 0"),
        (_valve, {"feedback": "maybe"}, "feedback is 'maybe'; allowed: 'none', 'ends' or 'pot'"),
        (
            _valve,
            {"feedback": "pot", "pot_input": 9, "pot_shut": 5, "pot_open": 50},
            "100 counts from pot_shut",
        ),
        (_valve, {"feedback": "pot", "pot_input": 0, "pot_shut": 5, "pot_open": 5_000}, "input is 0"),
        (_bus, {"level_address": 3}, "level_address is 3; allowed: 0, for an input carries level_mm"),
        (_bus, {"baud": 50}, "wiring, rs485: baud is 50"),
    ],
)
def test_a_wrong_table_is_refused_by_name(wiring_of, where, change, told):
    table = wiring_of(3)
    where(table, **change)
    with pytest.raises(SettingsError, match="^settings, wiring") as error:
        _read(table)
    assert told in str(error.value)


@pytest.mark.parametrize("change", [{"valves": []}, {"profile": ""}, {"profile": 3}, {"inputs": 3}])
def test_what_is_missing_or_of_another_kind_is_refused(wiring_of, change):
    with pytest.raises(SettingsError):
        _read(wiring_of(3, **change))


def test_it_must_fit_the_plant(plant, wiring_of):
    settings = Settings(plant(2, 1))
    _read(wiring_of(3)).check(settings)
    with pytest.raises(SettingsError, match="number of valves is 2; allowed: 3, as many as the plant has"):
        _read(wiring_of(2)).check(settings)


def test_a_motor_too_slow_for_its_ramp_is_refused(plant, wiring_of):
    table = wiring_of(3)
    table["valves"][0]["stroke_ms"] = 25_026  # 40 permille of it take 1001 ms, a step 1000
    with pytest.raises(SettingsError, match="wiring, valve 1: stroke_ms is 25026"):
        _read(table).check(Settings(plant(2, 1)))
    table["valves"][0]["stroke_ms"] = 25_000
    _read(table).check(Settings(plant(2, 1)))
