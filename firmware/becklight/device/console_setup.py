"""Commands for setting up: calibrate an input, record a closure, start anew."""

from ..readings import LEVEL_MM, NAMES
from ..wishes import STOP
from . import fastlog as logs
from . import records, views
from .console_words import Refusal, choice, whole, wrong
from .doings import wish
from .jsontext import Answer, known
from .sampling import NO_COUNTS
from .wiring import MOST_VALUE

PIECE = 100  # samples in an answer: 0.6 kB; chosen by us
LONGEST_S = logs.MOST * logs.SLOT_MS // 1000
_PER_S = 1000 // logs.SLOT_MS


def calibrate(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """A point of an input's line, or back to the wiring's."""
    device = console.device
    calibration = device.calibration
    row = _row(words[1], device)
    if words[2] == "forget":
        found = 0
        value = 0
        calibration.forget(row)
        point = 0
    else:
        value = whole(words[2], "VALUE", -MOST_VALUE, MOST_VALUE)
        found = device.sampling.median(device.board, device.wiring.inputs[row].input)
        if found == NO_COUNTS:
            raise Refusal("the converter does not answer; look at its wires, then try again")
        point = 2 if calibration.waiting[row] else 1
        why = calibration.point(row, found, value)
        if why:
            raise Refusal(why)
    place = device.wiring.inputs[row].place
    device.diary.event(device.uptime_s, records.CALIBRATED, place, point, found, value)
    kept = ""
    if point != 1:
        device.sampling.scales[row] = calibration.scale(row)
        kept = device.calibration_copies.save(calibration.blob())
    if kept:
        raise Refusal("it counts until the next start, but is not kept: {}".format(kept))
    answer = Answer()
    answer.text("input", NAMES[place])
    answer.number("points", point)
    if point:
        answer.number("counts", found)
    _show_line(answer, device, row)
    return answer


def _show_line(answer: Answer, device, row: int) -> None:  # type: ignore[no-untyped-def]
    """The line that results, the wiring's, and the values at the counts of NE 43."""
    one = device.wiring.inputs[row]
    scale = device.calibration.scale(row)
    answer.raw("scale", _pairs(one, scale.value_low, scale.value_low + scale.value_span))
    answer.raw("wired", _pairs(one, one.value_low, one.value_high))
    answer.raw("believed", "[{}, {}]".format(known(_just(scale, 1)), known(_just(scale, -1))))


def _pairs(one, low: int, high: int) -> str:  # type: ignore[no-untyped-def]
    return "[[{}, {}], [{}, {}]]".format(one.counts_low, low, one.counts_high, high)


def _just(scale, inside: int) -> int:  # type: ignore[no-untyped-def]
    """The lowest (1) or highest (-1) value that is believed."""
    value: int = scale.value((scale.broken_low if inside > 0 else scale.broken_high) + inside)
    return value


def _row(word: str, device) -> int:  # type: ignore[no-untyped-def]
    """The wiring's row of an input by name."""
    inputs = device.wiring.inputs
    rs485 = device.wiring.rs485
    if word == NAMES[LEVEL_MM] and rs485 is not None and rs485.level_address:
        raise Refusal("level_mm comes over RS-485; set level_offset_mm in the site file instead")
    if not inputs:
        raise Refusal("the wiring is not known; load settings first")
    return choice(word, "INPUT", [NAMES[one.place] for one in inputs])


def fastlog(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Start the 100 Hz log, stop it, or read it."""
    device = console.device
    log = device.fastlog
    if len(words) > 1 and words[1] == "stop":
        log.stop()
    elif len(words) > 2:
        row = _row(words[1], device)
        seconds = whole(words[2], "SECONDS", 1, LONGEST_S)
        at_stroke = len(words) > 3
        if at_stroke and words[3] != "stroke":
            raise wrong("the last word", words[3], "stroke; or left out, to begin at once")
        one = device.wiring.inputs[row]
        if not log.start(one.input, seconds * _PER_S, now_ms, at_stroke, device.orders.opening_permille):
            raise Refusal("memory has no room for so long a record; ask for fewer SECONDS")
        console.logged = row
        device.diary.event(device.uptime_s, records.FASTLOG, one.place, seconds)
    elif len(words) > 1:
        return _piece(log, whole(words[1], "FROM", 0, logs.MOST))
    return _shown(console, log)


def _shown(console, log) -> Answer:  # type: ignore[no-untyped-def]
    answer = Answer()
    answer.text("state", logs.STATES[log.state])
    answer.number("count", log.count)
    answer.number("wanted", log.wanted)
    answer.number("missed", log.missed)
    answer.number("late_ms", log.late_ms)
    answer.number("slot_ms", logs.SLOT_MS)
    answer.raw("stroke", "null" if log.stroke < 0 else str(log.stroke))
    if console.logged >= 0:
        one = console.device.wiring.inputs[console.logged]
        scale = console.device.sampling.scales[console.logged]
        answer.text("input", NAMES[one.place])
        answer.raw("scale", _pairs(one, scale.value_low, scale.value_low + scale.value_span))
    return answer


def _piece(log, first: int) -> Answer:  # type: ignore[no-untyped-def]
    if log.recording():
        raise Refusal("it is still {}; `fastlog` tells when it is done".format(logs.STATES[log.state]))
    answer = Answer()
    end = min(log.count, first + PIECE)
    answer.number("first", first)
    answer.number("count", log.count)
    answer.begin("counts")
    for place in range(first, end):
        counts = log.at(place)
        answer.item("null" if counts < 0 else str(counts), place == first)
    answer.end()
    return answer


def restart(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Close everything, then start anew."""
    device = console.device
    if act:
        if views.has_rules(device):
            wish(device, now_ms, STOP, 0, 0, 0)
        console.restarting = True
    answer = Answer()
    answer.flag("restarting", console.restarting)
    return answer
