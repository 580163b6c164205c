"""What the words of a command may be; a complaint says which word, what was found, and what is allowed."""

from ..alarms import NAMES as ALARM_NAMES
from .views import has_rules

_MOST_DIGITS = 10  # a longer number is none that any command takes


class Refusal(Exception):
    """A command that is not done; `why` is the sentence to answer with."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


def wrong(name: str, found: str, allowed: str) -> Refusal:
    """The refusal of one word."""
    return Refusal('{} is "{}"; allowed: {}'.format(name, found, allowed))


def number(word: str) -> "int | None":
    """A whole number, or None if the word is none."""
    digits = word[1:] if word.startswith("-") else word
    if not 0 < len(digits) <= _MOST_DIGITS:
        return None
    for letter in digits:
        if not "0" <= letter <= "9":
            return None
    return int(word)


def whole(word: str, name: str, lowest: int, highest: int) -> int:
    """A whole number within bounds."""
    value = number(word)
    if value is None or not lowest <= value <= highest:
        raise wrong(name, word, "a whole number from {} to {}".format(lowest, highest))
    return value


def choice(word: str, name: str, names: "tuple[str, ...] | list[str]") -> int:
    """The place of a word in a list of names."""
    for place in range(len(names)):
        if names[place] == word:
            return place
    raise wrong(name, word, ", ".join(names))


def alarm(word: str) -> int:
    """An alarm by its name or number."""
    code = number(word)
    if code is not None and 0 <= code < len(ALARM_NAMES):
        return code
    for place in range(len(ALARM_NAMES)):
        if ALARM_NAMES[place] == word:
            return place
    allowed = "a name that `state` shows, or 0 to {}".format(len(ALARM_NAMES) - 1)
    raise wrong("ALARM", word, allowed)


def needs_rules(device) -> None:  # type: ignore[no-untyped-def]
    """Refuse while something else closes the plant in the rule engine's place."""
    if device.settings is None:
        why = "the settings are refused, every valve is closed; load others, then `restart`. Why: {}"
        raise Refusal(why.format(device.why))
    if not has_rules(device):
        raise Refusal("the rules do not run, every valve is closed. Why: {}".format(device.why))


def valve(word: str, device, pond: bool) -> int:  # type: ignore[no-untyped-def]
    """A valve by its number, from 0; the storage pond's, if there is one and it may be meant, is the last."""
    highest = len(device.settings.valves) - 1
    if pond and device.settings.pond is not None:
        highest += 1
    return whole(word, "VALVE", 0, highest)
