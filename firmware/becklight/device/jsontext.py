"""One line of JSON, written by hand: the same fields in the same order on every interpreter, in small pieces.

    answer = Answer()
    answer.number("uptime_s", 12)
    answer.known("level_mm", UNKNOWN)       # null
    for piece in answer.pieces(): write(piece)

No piece is long, so a board whose memory is in bits and pieces need not find room for a whole line.
"""

from ..readings import UNKNOWN


def quoted(text: str) -> str:
    """A string as JSON, plain ASCII whatever it holds."""
    plain = True
    for letter in text:
        if not " " <= letter <= "~" or letter == '"' or letter == "\\":
            plain = False
    if plain:
        return '"' + text + '"'
    parts = ['"']
    for letter in text:
        code = ord(letter)
        if letter == '"' or letter == "\\":
            parts.append("\\" + letter)
        elif 32 <= code < 127:
            parts.append(letter)
        elif code < 0x10000:
            parts.append("\\u{:04x}".format(code))
        else:
            code -= 0x10000
            parts.append("\\u{:04x}\\u{:04x}".format(0xD800 + (code >> 10), 0xDC00 + (code & 0x3FF)))
    parts.append('"')
    return "".join(parts)


def known(value: int) -> str:
    """A reading as JSON; null if it is unknown."""
    return "null" if value == UNKNOWN else str(value)


def listed(items: list[str]) -> str:
    """A list of what is JSON already."""
    return "[" + ", ".join(items) + "]"


def table(keys: "tuple[str, ...]", items: list[str]) -> str:
    """A table of what is JSON already, a key each."""
    rows = []
    for place in range(len(items)):
        rows.append(quoted(keys[place]) + ": " + items[place])
    return "{" + ", ".join(rows) + "}"


class Answer:
    """A line that says yes, being written."""

    def __init__(self) -> None:
        self.written = ['{"ok": true']

    def raw(self, key: str, value: str) -> None:
        """A field of what is JSON already."""
        self.written.append(', "' + key + '": ')
        self.written.append(value)

    def text(self, key: str, value: str) -> None:
        """A field of text."""
        self.raw(key, quoted(value))

    def number(self, key: str, value: int) -> None:
        """A field that is a whole number."""
        self.raw(key, str(value))

    def known(self, key: str, value: int) -> None:
        """A field that is a reading, null if unknown."""
        self.raw(key, known(value))

    def flag(self, key: str, value: bool) -> None:
        """A field that is true or false."""
        self.raw(key, "true" if value else "false")

    def begin(self, key: str) -> None:
        """A field that is a list of what follows by `item`, until `end`."""
        self.written.append(', "' + key + '": [')

    def item(self, value: str, first: bool) -> None:
        """One item of a list, JSON already."""
        if not first:
            self.written.append(", ")
        self.written.append(value)

    def end(self) -> None:
        """The list's end."""
        self.written.append("]")

    def pieces(self) -> list[str]:
        """The line, its end included."""
        self.written.append("}\n")
        return self.written


def refused(why: str) -> list[str]:
    """A line that says no, and why."""
    return ['{"ok": false, "error": ', quoted(why), "}\n"]
