"""Counts: the bytes an ADS1115-type converter is asked with (from memory of its public register layout)."""

import pytest

from becklight.board.profiles import ESP32, PICO


@pytest.fixture
def inputs(fresh):
    """inputs(profile=PICO): the inputs of a board with a converter at the first address."""

    def build(profile=PICO):
        state = fresh.state
        state.parts[0x48] = fresh.machine.Converter([100, 5_000, 26_400, 0xFFFE])
        state.parts[0x48].keep = True
        bus = fresh.load("bus").Bus(profile.i2c)
        return fresh.load("converter").Inputs(profile, bus)

    return build


def test_the_chips_inputs_come_first_with_15_bits(inputs, fresh):
    fresh.state.adc = {26: 65_535, 27: 2, 28: 40_001}
    board = inputs()
    assert [board.counts(place) for place in range(3)] == [32_767, 1, 20_000]


def test_then_four_for_each_converter(inputs, fresh):
    board = inputs()
    assert [board.counts(place) for place in range(3, 6)] == [100, 5_000, 26_400]
    assert board.counts(6) == 0  # a little below ground is ground, never NO_COUNTS
    other = fresh.machine.Converter([7, 8, 9, 10])
    fresh.state.parts[0x49] = other
    assert [board.counts(place) for place in range(7, 11)] == [7, 8, 9, 10]
    assert inputs(ESP32).counts(4) == 100


def test_what_there_is_not_has_no_counts(inputs):
    board = inputs()
    assert [board.counts(place) for place in (-1, 11, 99)] == [-1, -1, -1]


def test_a_conversion_is_a_single_one_of_one_input_against_ground(inputs, fresh):
    board = inputs()
    for channel in range(4):
        board.counts(3 + channel)
    # register 1; start, input against ground, +-4.096 V, single; 860 a second, comparator off
    assert fresh.state.parts[0x48].told == [bytes([1, high, 0xE3]) for high in (0xC3, 0xD3, 0xE3, 0xF3)]
    assert fresh.state.freq == 100_000


def test_it_waits_for_the_conversion_but_not_for_ever(inputs, fresh):
    board = inputs()
    part = fresh.state.parts[0x48]
    before_ms = fresh.state.now_ms
    board.counts(3)
    assert fresh.state.now_ms - before_ms == 2  # 1/860 s is 1.2 ms
    part.busy_next = 2
    assert board.counts(4) == 5_000
    part.busy_next = 1_000
    before_ms = fresh.state.now_ms
    assert board.counts(4) == -1
    assert fresh.state.now_ms - before_ms <= 6


def test_a_converter_that_does_not_answer_is_left_alone_for_a_while(inputs, fresh):
    board = inputs()
    part = fresh.state.parts.pop(0x48)
    assert board.counts(3) == -1
    fresh.state.parts[0x48] = part
    assert board.counts(4) == -1  # the same converter: not asked
    assert part.told == []
    fresh.state.now_ms += 499
    assert board.counts(3) == -1
    fresh.state.now_ms += 1
    assert board.counts(3) == 100
    assert board.counts(4) == 5_000


@pytest.mark.parametrize("days", [1, 2, 4, 6, 7])
def test_days_of_silence_do_not_keep_it_from_being_asked(inputs, fresh, days):
    board = inputs()
    part = fresh.state.parts.pop(0x48)
    for _ in range(days * 24):
        board.counts(3)
        fresh.state.now_ms += 3_600_000
    fresh.state.parts[0x48] = part
    assert board.counts(3) == 100


def test_another_conversion_than_was_ordered_is_not_believed(inputs, fresh):
    """Two masters, or a converter that was cut off from power for a moment and is at its defaults again."""
    board = inputs()
    part = fresh.state.parts[0x48]
    part.write = lambda buffer: None
    assert board.counts(3) == -1


def test_a_part_that_holds_the_data_line_is_clocked_free(inputs, fresh):
    board = inputs()
    fresh.state.stuck = 7  # it still has seven bits to say
    before_ms = fresh.state.now_ms
    assert board.counts(3) == -1
    assert fresh.state.now_ms - before_ms <= 20
    fresh.state.now_ms += 500
    assert board.counts(3) == 100


def test_a_line_held_for_good_costs_little_time(inputs, fresh):
    board = inputs()
    fresh.state.stuck = 10**6
    before_ms = fresh.state.now_ms
    for _ in range(20):
        assert board.counts(3) == -1
    assert fresh.state.now_ms - before_ms <= 40
