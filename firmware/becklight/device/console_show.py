"""Commands that only show: state, sets, counts, journal, settings."""

import binascii

from .. import alarms, owner, reasons
from ..readings import NAMES, UNKNOWN
from ..ticks import ticks_diff
from . import views
from .console_words import needs_rules, whole
from .jsontext import Answer, known, listed, quoted, table
from .records import SIZE
from .sampling import NO_COUNTS

MOST_RECORDS = 20  # in an answer: 1.8 kB; chosen by us
MOST_SETS = 16
EARLIEST_S = 631_152_000  # 2020-01-01: an earlier date is a clock that was never set
LATEST_S = 2_147_483_647  # 2068; more is no 32-bit number


def state(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """All at a glance."""
    device = console.device
    orders = device.orders
    answer = Answer()
    answer.text("reason", reasons.NAMES[orders.reason])
    answer.raw("openings", str(list(orders.opening_permille)))
    answer.raw("positions", _knowns(device.readings.position_permille))
    pond = views.has_pond(device)
    answer.raw("pond", str(orders.pond_permille) if pond else "null")
    answer.raw("pond_reason", quoted(reasons.NAMES[orders.pond_reason]) if pond else "null")
    answer.raw("readings", table(NAMES, [known(value) for value in device.readings.values]))
    _show_alarms(answer, views.alarms_of(device))
    answer.number("out", orders.out_bits)
    answer.flag("moving", device.drive.busy())
    _show_held(answer, device, now_ms)
    answer.number("next_ms", max(0, ticks_diff(orders.next_ms, now_ms)))
    answer.flag("rules", views.has_rules(device))
    answer.text("why", device.why)
    answer.flag("restarting", console.restarting)
    answer.number("uptime_s", device.uptime_s)
    answer.number("boot", device.boot)
    answer.number("clock_s", device.board.clock_s())
    answer.text("version", device.version)
    answer.raw("site", "null" if device.settings is None else quoted(device.settings.site))
    answer.number("settings", device.stored.version)
    answer.number("free_bytes", device.board.free_bytes())
    return answer


def _show_held(answer: Answer, device, now_ms: int) -> None:  # type: ignore[no-untyped-def]
    """What the owner holds."""
    held = views.owner_of(device)
    mode = views.mode_of(device)
    answer.text("held", owner.MODES[mode])
    holds = held is not None and mode == owner.HOLD
    answer.known("held_set", held.set if held is not None and holds else UNKNOWN)
    answer.known("held_trim_permille", held.trim_permille if held is not None and holds else UNKNOWN)
    answer.known("held_left_s", views.held_left_s(device, now_ms))
    answer.raw("locked", "[]" if held is None else _true_places(held.locked))
    answer.raw("wheels_locked", "[]" if held is None else _true_places(held.wheel_locked))


def _true_places(flags: list[bool]) -> str:
    return str([place for place in range(len(flags)) if flags[place]])


def _knowns(values: list[int]) -> str:
    return listed([known(value) for value in values])


def _show_alarms(answer: Answer, found: alarms.Alarms) -> None:
    answer.begin("alarms")
    first = True
    for slot in range(alarms.SLOTS):
        if not found.raised(slot):
            continue
        about = found.about[slot]
        row = '{{"alarm": "{}", "valve": {}, "rank": {}, "seen": {}}}'
        code = alarms.code_of(slot)
        shown = row.format(
            alarms.NAMES[code],
            "null" if about < 0 else about,
            alarms.ALARMS[code][0],
            "true" if found.seen[slot] else "false",
        )
        answer.item(shown, first)
        first = False
    answer.end()


def sets(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """The sets that `hold` may be told, some at a time: the jets that are open, the flow with trims shut."""
    needs_rules(console.device)
    settings = console.device.settings
    count = len(settings.set_masks)
    first = whole(words[1], "FIRST", 0, count - 1) if len(words) > 1 else 0
    answer = Answer()
    answer.number("first", first)
    answer.number("next", min(count, first + MOST_SETS))
    answer.number("of", count)
    answer.begin("sets")
    for place in range(first, min(count, first + MOST_SETS)):
        mask = settings.set_masks[place]
        jets = [settings.fixed[jet] for jet in range(len(settings.fixed)) if mask >> jet & 1]
        row = '{{"set": {}, "open": {}, "flow_ml_s": {}}}'
        answer.item(row.format(place, jets, settings.set_flow_ml_s[place][0]), place == first)
    answer.end()
    return answer


def counts(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """What every input says, raw and by its line; end switches; the stop."""
    device = console.device
    board = device.board
    wiring = device.wiring
    answer = Answer()
    answer.begin("inputs")
    for row in range(len(wiring.inputs)):
        one = wiring.inputs[row]
        found = board.counts(one.input)
        value = UNKNOWN if found == NO_COUNTS else device.sampling.scales[row].value(found)
        told = '{{"place": "{}", "input": {}, "counts": {}, "value": {}, "calibrated": {}}}'
        calibrated = "true" if device.calibration.calibrated[row] else "false"
        shown = "null" if found == NO_COUNTS else found
        answer.item(told.format(NAMES[one.place], one.input, shown, known(value), calibrated), row == 0)
    answer.end()
    answer.begin("valves")
    for valve in range(len(wiring.valves)):
        bits = board.end_bits(valve)
        pot = "null"
        if wiring.valves[valve].pot_input >= 0:
            pot = str(board.counts(wiring.valves[valve].pot_input))
        told = '{{"shut_end": {}, "open_end": {}, "pot_counts": {}}}'
        answer.item(told.format(bits & 1, bits >> 1 & 1, pot), valve == 0)
    answer.end()
    answer.flag("stop_open", board.stop_open())
    return answer


def journal(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Records by number, some at a time."""
    book = console.device.journal
    wanted = whole(words[1], "FIRST", 0, 999_999_999)
    count = whole(words[2], "COUNT", 0, MOST_RECORDS)
    first = min(max(wanted, book.first), book.next)
    answer = Answer()
    answer.number("first", first)
    answer.number("next", book.next)
    answer.number("oldest", book.first)
    data = book.read(first, count)
    answer.begin("records")
    for at in range(0, len(data), SIZE):
        coded = str(binascii.b2a_base64(data[at : at + SIZE]), "ascii").strip()
        answer.item('"' + coded + '"', at == 0)
    answer.end()
    if book.why:
        answer.text("why", book.why)
    return answer


def clock(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Read the clock, or set it: seconds since 2000."""
    device = console.device
    if len(words) > 1:
        new_s = whole(words[1], "SECONDS", EARLIEST_S, LATEST_S)
        if act:
            old_s = device.board.clock_s()
            device.board.set_clock(new_s)
            device.sampling.look_at_clock()
            device.diary.clock(device.uptime_s, old_s, new_s)
    answer = Answer()
    answer.number("clock_s", device.board.clock_s())
    return answer
