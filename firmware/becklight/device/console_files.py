"""Commands for what is kept on flash: settings shown, and new ones taken in piece by piece.

Pieces go to a file beside the kept copies, in their order; the same piece sent twice, because its answer was
lost, is taken once. Only `put-end` makes them settings, if length and CRC are right and they can be used;
they count from the next start on.
"""

import binascii
import gc
import os

from . import records
from .console_words import Refusal, whole, wrong
from .copies import MOST_BYTES, Copies
from .flash import words as words_of
from .jsontext import Answer
from .stored import NAME

_ENDING = ".put"  # of the file that is being received
_HEX = "0123456789abcdef"


def settings(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Which settings are kept, and whether they are used."""
    device = console.device
    kept = Copies(device.folder, NAME)  # unchecked: whether they can be used is known from the start
    blob = kept.load()
    answer = Answer()
    answer.number("version", kept.version)
    answer.number("used", device.stored.version)
    answer.number("bytes", 0 if blob is None else len(blob))
    answer.raw("crc32", "null" if blob is None else '"{:08x}"'.format(binascii.crc32(blob)))
    answer.text("why", device.stored.why)
    return answer


def put(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """One piece of new settings."""
    path = _path(console.device, words[1])
    offset = whole(words[2], "OFFSET", 0, MOST_BYTES)
    piece = _decoded(words[3])
    if offset + len(piece) > MOST_BYTES:
        told = "the piece would end at {}; allowed: {} bytes at most"
        raise Refusal(told.format(offset + len(piece), MOST_BYTES))
    answer = Answer()
    if offset == 0 or offset == console.received:
        try:
            with open(path, "wb" if offset == 0 else "ab") as file:
                file.write(piece)
            console.received = os.stat(path)[6]
        except OSError as error:
            console.received = 0
            raise Refusal(
                "the flash refuses it ({}); begin again at OFFSET 0".format(words_of(error))
            ) from error
        if console.received != offset + len(piece):
            console.received = 0
            raise Refusal("the flash has not kept all of it; begin again at OFFSET 0")
    elif offset + len(piece) != console.received:
        told = "{} bytes have come so far; allowed: OFFSET {}, or 0 to begin again"
        raise Refusal(told.format(console.received, console.received))
    answer.number("bytes", console.received)
    return answer


def put_end(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """The last piece has come: keep the settings, if they are whole and can be used."""
    device = console.device
    path = _path(device, words[1])
    length = whole(words[2], "LENGTH", 1, MOST_BYTES)
    crc = _crc(words[3])
    if length != console.received:
        told = "LENGTH is {}, {} bytes have come; send the missing pieces, or begin again at OFFSET 0"
        raise Refusal(told.format(length, console.received))
    gc.collect()
    try:
        with open(path, "rb") as file:
            blob = file.read()
    except OSError as error:
        why = "the flash does not give it back ({}); begin again at OFFSET 0".format(words_of(error))
        raise Refusal(why) from error
    if binascii.crc32(blob) != crc:
        console.received = 0
        told = "CRC32 is {:08x}, of what has come {:08x}; begin again at OFFSET 0"
        raise Refusal(told.format(crc, binascii.crc32(blob)))
    checked, version, why = _keep(device, blob)
    if why:
        raise Refusal(why)
    _remove(path)
    console.received = 0
    device.diary.event(device.uptime_s, records.SETTINGS_SAVED, version, length)
    answer = Answer()
    answer.number("version", version)
    answer.flag("checked", checked)
    answer.text("then", "restart")
    return answer


def _keep(device, blob: bytes) -> "tuple[bool, int, str]":  # type: ignore[no-untyped-def]
    """Save it as settings: checked or not, the version, "" or why not."""
    stored = device.stored
    used = stored.settings
    wired = stored.wiring
    try:
        why: str = stored.copies.save(blob)
        return True, stored.copies.version, why
    except MemoryError:
        # Two engines' worth of settings do not fit beside each other. They are read at the start before
        # anything else, and if they cannot be used then, the copy in use now is taken: it must stay.
        gc.collect()
        unchecked = Copies(device.folder, NAME)
        unchecked.resume(stored.version)
        why = unchecked.save(blob)
        return False, unchecked.version, why
    finally:
        stored.settings = used  # the check has put the new ones there; they count from the next start on
        stored.wiring = wired
        gc.collect()


def _path(device, name: str) -> str:  # type: ignore[no-untyped-def]
    if name != NAME:
        raise wrong("NAME", name, NAME)
    return "{}/{}{}".format(device.folder, NAME, _ENDING)


def _decoded(word: str) -> bytes:
    """What the letters stand for; binascii would pass over those that stand for nothing."""
    try:
        piece = binascii.a2b_base64(word)
    except ValueError:
        piece = b""
    if not piece or str(binascii.b2a_base64(piece), "ascii").strip() != word:
        raise Refusal("BASE64 is not whole; allowed: letters, digits, + and /, filled up with = to fours")
    return piece


def _crc(word: str) -> int:
    value = 0
    for letter in word.lower():
        if letter not in _HEX:
            value = -1
            break
        value = value * 16 + _HEX.find(letter)
    if value < 0 or len(word) != 8:
        raise wrong("CRC32", word, "8 hexadecimal digits")
    return value


def _remove(path: str) -> None:
    try:
        os.remove(path)
    except OSError:
        return  # the next upload writes over it
