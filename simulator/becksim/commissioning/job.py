"""One session of commissioning: the site, the device, the person, and what every step needs of them.

job = Job(site, link, talk, book)
job.stand([1000, 0, 0], "flows.left", "Open the jet?")     # asks first, waits, tells why it waits
job.mean("pressure_mbar")
"""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from becklight import readings
from becklight.settings import Settings
from becklight.tables import interpolate
from becksim.commissioning.file import Advice, Book
from becksim.commissioning.talk import Quit, Talk
from becksim.compile import compile_site
from becksim.console_link import ConsoleLink
from becksim.errors import UserError
from becksim.report.words import WORDS
from becksim.site import Site
from becksim.trains import engine_train, length_s
from becksim.works import Works, build_jets

# All chosen by us.
LOOK_S = 1.0  # from one look at the device to the next
SAMPLES = 16  # of a reading, for its mean
HELD_MIN = 60  # a set is held for so long, and held anew for the next
SLACK_S = 30.0  # beyond what a move takes by the ramps
LET_GO_SAMPLES = 3  # until the device has seen a stop and let go of a valve
HOME_STROKES = 1.3  # a whole stroke, the run at its end, and some more
STILL_S = 20.0  # after a move, before anything is measured

State = dict[str, Any]  # as the console answers


@dataclass
class Outcome:
    """What a step has found."""

    ok: bool
    told: list[str] = field(default_factory=list)
    figures: dict[str, Any] = field(default_factory=dict)
    advice: list[Advice] = field(default_factory=list)

    def fail(self, sentence: str) -> None:
        """Note what is wrong."""
        self.ok = False
        self.told.append(sentence)


class Job:
    """What the steps of one session share.

    Parameters
    ----------
    site : Site
        The site.
    link : ConsoleLink
        The device's console.
    talk : Talk
        The person.
    book : Book
        Results.
    clock, sleep : callable
        Seconds that only rise, and waiting. [s]
    """

    def __init__(
        self,
        site: Site,
        link: ConsoleLink,
        talk: Talk,
        book: Book,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.site, self.link, self.talk, self.book = site, link, talk, book
        self.clock, self.sleep = clock, sleep
        self.compiled = compile_site(site)
        self.settings = Settings(self.compiled)
        self.works = Works(site, build_jets(site))
        self.names = [jet.name for jet in site.jets]
        self.motors_s = [jet.motor_stroke_s for jet in site.jets]
        self.by = ""
        self.touched = False  # water may run by our orders
        self.began: dict[str, Any] = {}  # the device's first answer of this session

    # -- the device -------------------------------------------------------------------------------------

    def state(self) -> State:
        """The device's state, now."""
        return self.link.order("state")

    def openings(self) -> list[int]:
        """Of the jets' valves, as ordered now. [‰]"""
        return [int(opening) for opening in self.state()["openings"][: len(self.names)]]

    def mean(self, name: str, samples: int = SAMPLES) -> float | None:
        """Mean of some samples of a reading; None if it was unknown in more than half of them."""
        values: list[float] = []
        for sample in range(samples):
            if sample:
                self.sleep(LOOK_S)
            value = self.state()["readings"].get(name)
            if value is not None:
                values.append(float(value))
        return math.fsum(values) / len(values) if 2 * len(values) > samples else None

    def level_m(self) -> float:
        """The intake's level; as at its crest if the device does not know it. [m]"""
        value = self.state()["readings"].get("level_mm")
        return (self.site.intake.crest_level_mm if value is None else float(value)) / 1000.0

    def fitted(self) -> list[str]:
        """Names of the instruments that the site has."""
        bits = self.compiled["rules"]["fitted_bits"]
        return [name for place, name in enumerate(readings.NAMES) if bits >> place & 1]

    def watch(
        self, until: Callable[[State], bool], longest_s: float, step_s: float = LOOK_S
    ) -> tuple[State | None, list[tuple[float, str]]]:
        """Look until something is so, telling every reason that comes.

        Parameters
        ----------
        until : callable
            Asked with each state.
        longest_s, step_s : float
            How long at most, and from look to look. [s]

        Returns
        -------
        state : dict or None
            The one for which it was so; None if time ran out.
        reasons : list of (float, str)
            Each reason with when it was first seen. [s]
        """
        start_s = self.clock()
        seen: list[tuple[float, str]] = []
        while True:
            state = self.state()
            now_s = self.clock() - start_s
            reason = str(state["reason"])
            if not seen or seen[-1][1] != reason:
                seen.append((round(now_s, 1), reason))
                self.talk.say(f"  {now_s:6.0f} s  {reason}: {WORDS.get(reason, reason)}")
            if until(state):
                return state, seen
            if now_s >= longest_s:
                return None, seen
            self.sleep(step_s)

    # -- moving -----------------------------------------------------------------------------------------

    def stop(self) -> None:
        """Order everything shut by the slow ramps; acts at once and needs no yes."""
        self.link.order("stop")

    def stop_and_wait(self) -> bool:
        """The same, and wait until it is shut."""
        self.stop()
        state, _ = self.watch(self.all_shut, self.longest_s([1000] * len(self.names), [0] * len(self.names)))
        return state is not None

    def let_go(self) -> None:
        """Have the device forget the valve that was moved by hand before: only one can be."""
        self.stop_and_wait()
        self.sleep(LET_GO_SAMPLES * self.settings.rules.sample_ms / 1000.0)

    def make_safe(self) -> None:
        """Leave nothing open that this session has opened."""
        if self.touched:
            self.stop()
            self.touched = False

    def all_shut(self, state: State) -> bool:
        """Whether every jet is ordered shut, and no motor runs any more."""
        return not any(state["openings"][: len(self.names)]) and not state["moving"]

    def longest_start_s(self) -> float:
        """Filling, bleeding, and until the stream is known from the intake's level. [s]"""
        rules = self.settings.rules
        return (rules.fill_ms + rules.bleed_ms + rules.settle_ms + 1.5 * rules.measure_ms) / 1000.0 + SLACK_S

    def longest_home_s(self) -> float:
        """How long the device takes to close valves that may stand anywhere, at their slowest pace. [s]"""
        total_ms = 0.0
        for valve in self.settings.valves:
            steps = HOME_STROKES * 1000.0 / valve.step_permille
            total_ms += steps * valve.slow_times * max(valve.open_step_ms, valve.close_step_ms)
        return total_ms / 1000.0 + SLACK_S

    def longest_s(self, start: Sequence[int], goal: Sequence[int]) -> float:
        """How long a move takes by the ramps, and some time beyond. [s]"""
        return 1.2 * length_s(engine_train(self.settings, start, goal), self.motors_s) + SLACK_S

    def agree(self, key: str, question: str) -> str:
        """Nothing moves without a yes; if it is a no, why: empty means yes."""
        if self.talk.yes(key, question):
            self.touched = True
            return ""
        return self.talk.text(f"{key}_not", "Then it is left out. Why?")

    def jog(self, valve: int, permille: int) -> bool:
        """Move one valve by its slow ramp, after a yes; whether it has been ordered there in time."""
        start = self.openings()
        goal = [permille if place == valve else opening for place, opening in enumerate(start)]
        self.touched = True
        self.link.order(f"jog {valve} {permille}", yes=True)
        state, _ = self.watch(
            lambda state: state["openings"][valve] == permille and not state["moving"],
            self.longest_s(start, goal),
        )
        return state is not None

    def stand(self, openings: Sequence[int]) -> tuple[bool, str]:
        """Hold a set with its trim, after a yes, under the rules; whether it stands, and why if not.

        The device may first fill the pipe and bleed it, and must know from the level that there is enough
        water: behind a pond that takes hours.
        """
        mask, trim = self.set_of(openings)
        self.touched = True
        self.link.order(f"hold {mask} {trim} {HELD_MIN}", yes=True)
        longest_s = self.longest_start_s() + self.longest_s(self.openings(), openings)
        state, seen = self.watch(lambda state: self.stands(state, openings), longest_s)
        return state is not None, seen[-1][1]

    def stands(self, state: State, openings: Sequence[int]) -> bool:
        """Whether the jets are ordered to just these openings, and no motor runs any more."""
        return list(state["openings"][: len(openings)]) == list(openings) and not state["moving"]

    def least_jet(self) -> int:
        """The jet that takes the least when it is alone, of those that the device can hold alone."""
        possible = [place for place in range(len(self.names)) if self.in_menu(self.alone(place))]
        return min(possible, key=lambda place: self.flow_l_s(self.alone(place)))

    def set_of(self, openings: Sequence[int]) -> tuple[int, int]:
        """The menu's place of a standing, and the trims' joint travel."""
        mask = trim = 0
        bit = 1
        for jet, opening in zip(self.site.jets, openings, strict=True):
            if jet.kind == "fixed":
                mask |= bit if opening else 0
                bit += bit
            else:
                trim += opening
        return mask, trim

    def alone(self, valve: int, permille: int = 1000) -> list[int]:
        """The standing with one jet open. A second trim opens only after the first."""
        return [permille if place == valve else 0 for place in range(len(self.names))]

    def in_menu(self, openings: Sequence[int]) -> bool:
        """Whether the device can hold this standing: a second trim is open only beyond the first."""
        trims = [opening for jet, opening in zip(self.site.jets, openings, strict=True) if jet.kind == "trim"]
        return len(trims) < 2 or trims[0] == 1000 or trims[1] == 0

    def flow_l_s(self, openings: Sequence[int]) -> float:
        """What the menu says that a standing takes. [L/s]"""
        mask, trim = self.set_of(openings)
        row = self.compiled["menu"]["sets"][mask]
        flow_ml_s: int = interpolate(self.compiled["menu"]["trim_permille"], row["flow_ml_s"], trim)
        return flow_ml_s / 1000.0

    def pressure_mbar(self, openings: Sequence[int]) -> int:
        """What the menu says of the pressure then, the intake at its target. [mbar]"""
        mask, trim = self.set_of(openings)
        row = self.compiled["menu"]["sets"][mask]
        pressure_mbar: int = interpolate(self.compiled["menu"]["trim_permille"], row["pressure_mbar"], trim)
        return pressure_mbar

    def words(self, openings: Sequence[int]) -> str:
        """A standing in words."""
        parts = [
            name if opening == 1000 else f"{name} at {opening / 10:g} %"
            for name, opening in zip(self.names, openings, strict=True)
            if opening
        ]
        return " + ".join(parts) if parts else "all shut"

    # -- beginning --------------------------------------------------------------------------------------

    def begin(self) -> None:
        """See that this is the right device, and that the person wants it stopped for the time.

        Raises
        ------
        UserError
            If it is the device of another site, or has no settings.
        """
        state = self.began = self.state()
        found = state.get("site")
        if found != self.site.site.name:
            raise UserError(
                f'The device holds the settings of "{found}", the site file is of "{self.site.site.name}"; '
                "load the settings of this site into it first."
            )
        self._compare_sets()
        self.by = self.talk.text("session.who", "Who does this, and signs for it?")
        question = "Stop the device for the time being? It closes every jet slowly. Without it: quit"
        if not self.talk.yes("session.stop", question):
            raise Quit
        self.stop()

    def _compare_sets(self) -> None:
        """The device's settings are those of this very site file, by the flows of all sets."""
        menu = self.compiled["menu"]["sets"]
        place = 0
        while place < len(menu):
            answer = self.link.order(f"sets {place}")
            rows = answer["sets"] if answer["of"] == len(menu) else []
            if not rows or any(row["flow_ml_s"] != menu[row["set"]]["flow_ml_s"][0] for row in rows):
                raise UserError(
                    "The device's sets of jets take other flows than this site file gives: it holds older "
                    "settings; load those of this file into it first."
                )
            place += len(rows)

    def device(self) -> dict[str, Any]:
        """What stands beside a result of the device."""
        kept = ("version", "settings", "boot", "clock_s", "uptime_s")
        return {key: self.began[key] for key in kept if key in self.began}
