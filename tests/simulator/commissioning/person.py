"""Somebody at a rig (rig.py), who answers by key; what eye, watch, bucket and gauge tell; a plant as told."""

import io

from rich.console import Console

from becksim.commissioning.talk import Talk


class Person(Talk):
    """Answers by key: a word, a list of words one after the other, or what is called with the rig."""

    def __init__(self, rig, answers):
        super().__init__(Console(file=io.StringIO(), width=100))
        self.rig = rig
        self.answers = answers
        self.asked = []
        self.told = []

    def say(self, text, style=""):
        self.told.append(text)

    def caution(self, text):
        self.told.append(text)

    def answer(self, key, question):
        self.asked.append(key)
        assert self.asked[-9:] != [key] * 9, f"no answer to {key} that is allowed: {question}"
        found = self.answers.get(key)
        if found is None:
            found = next((value for ending, value in self.answers.items() if key.endswith(ending)), "done")
        if isinstance(found, list):
            found = found.pop(0)
        if callable(found):
            found = found(self.rig)
        return "done" if found is None else str(found)


def press(rig):
    rig.pressed = True


def release(rig):
    rig.pressed = False


def reset_watch(valve):
    def reset(rig):
        rig.last_moved_s[valve] = -100.0

    return reset


def timed(valve):
    """What a watch shows of the last run: from the first movement until it stood."""
    return lambda rig: round(rig.last_moved_s[valve] - rig.first_moved_s[valve], 1)


def set_level(mm):
    def there(rig):
        rig.level_mm = mm

    return there


def vent(rig):
    rig.vented = True


def shut_vent(rig):
    rig.vented = False


def shown(what):
    """What a sound instrument beside it shows, in the person's unit."""

    def read(rig):
        return {
            "level": rig.level_mm,
            "gauge": round(rig.pressure_mbar / 1000.0, 3),
            "battery": rig.battery_mv / 1000.0,
        }[what]

    return read


def catch(seconds):
    """Litres that a bucket catches in so many seconds."""
    return lambda rig: round(rig.flow_l_s() * seconds * rig.chance.uniform(0.985, 1.015), 3)


def set_battery(mv):
    def there(rig):
        rig.battery_mv = mv

    return there


def restore(rig):
    rig.level_mm, rig.battery_mv = 260.0, 52_000.0
    return "look"


def cut(rig):
    rig.cut()


def give_back(rig):
    rig.advance(60.0)
    rig.give_back()


NAMES = ("small", "middle", "large", "trim")


def all_good():
    """Of a plant that is as its site file says."""
    answers = {
        "stop.open": "yes",
        "stop.press": press,
        "stop.press_undone": release,
        "stop.break": press,
        "stop.break_undone": release,
        "stop.closed": "yes",
        "instruments.level_mm.what": "look",
        "instruments.level_mm.first": shown("level"),
        "instruments.level_mm.second_there": set_level(160.0),
        "instruments.level_mm.second": shown("level"),
        "instruments.pressure_mbar.what": "set",
        "instruments.pressure_mbar.first_there": vent,
        "instruments.pressure_mbar.first": "0",
        "instruments.pressure_mbar.second_there": shut_vent,
        "instruments.pressure_mbar.second": shown("gauge"),
        "instruments.battery_mv.what": "look",
        "instruments.battery_mv.first": shown("battery"),
        "instruments.battery_mv.second_there": set_battery(54_000.0),
        "instruments.battery_mv.second": shown("battery"),
        "instruments.bus_mv.what": restore,
        "instruments.bus_mv.first": "0",
        "instruments.bus_mv.second": "0",
        "instruments.temp_decic.what": "leave",
        "instruments.temp_decic.leave_not": "no thermometer here",
        ".how": "bucket",
        ".seconds": "20",
        ".litres": catch(20.0),
        ".open": "yes",
        ".moved": "open",
        "_end": "yes",
        "closure.jet": "large",
        "closure.stroke": "yes",
        "closure.peak": "yes",
        "closure.tail": "yes",
        "air.restart": "yes",
        "air.calm": "yes",
        "power.cut": cut,
        "power.back": give_back,
        "power.closed": "yes",
        "session.who": "A. Person",
        "session.stop": "yes",
        "session.resume": "no",
        "sign-off.more": ["yes", "no"],
        "sign-off.name": "B. Witness",
    }
    for place, name in enumerate(NAMES):
        answers[f"valves.{name}.ready_open"] = answers[f"valves.{name}.ready_shut"] = reset_watch(place)
        answers[f"valves.{name}.open_s"] = timed(place)
        answers[f"valves.{name}.shut_s"] = timed(place)
    return answers
