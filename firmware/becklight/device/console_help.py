"""The command `help`, and what it says of each command."""

from .console_commands import COMMANDS, PLACE_WRITTEN
from .jsontext import Answer, quoted

# In the order of COMMANDS.
DOES = (
    "every command with one line",
    "what it does and why, readings, alarms, what is held",
    "the sets of jets that hold knows, 16 a line",
    "every input raw and by its line, end switches, the stop",
    "records of the journal in base64, at most 20 a line",
    "reads the clock, or sets it: seconds since 2000-01-01",
    "holds the jets as they stand, or a set; no rule is set aside for it",
    "closes everything slowly, for a while or until resume",
    "leaves it to the rules again",
    "takes a jet out",
    "gives it back",
    "takes a wheel out with its jets",
    "gives it back",
    "says that somebody has looked at it and it is well",
    "says that somebody has seen an alarm",
    "moves one valve by its slow ramp, while stopped or held and no rule speaks against it",
    "first point, then second point of an input's line; or back to the wiring's",
    "records an input 100 times a second, at once or from the next stroke on; reads 100 samples a line",
    "version and CRC of the settings that are kept",
    "a piece of new settings; a line of up to 400 characters",
    "keeps them, if they are whole and can be used, for the next start",
    "closes everything slowly, then starts anew",
    "confirms the command that was answered with this code",
)


def helped(console, words: list[str], now_ms: int, act: bool) -> Answer:  # type: ignore[no-untyped-def]
    """Every command with one line."""
    answer = Answer()
    answer.begin("commands")
    for place in range(len(COMMANDS)):
        told = '{{"write": {}, "does": {}}}'
        written = str(COMMANDS[place][PLACE_WRITTEN])
        answer.item(told.format(quoted(written), quoted(DOES[place])), place == 0)
    answer.end()
    return answer
