"""Which pin of which board serves what: one table for each kind of board. Only numbers, nothing is switched.

profile = PROFILES["pico"]
profile.motors[0]                           # the pins of motor 0: open, shut, shut end, open end
unfit(profile, wiring)                      # a sentence, if the wiring is for another board, or asks too much

What holds of all of them:

- An output is on while its pin is high. Between reset and start-up a pin drives nothing, so every motor's
  and the RS-485 direction's pin needs a resistor of 4.7 kohm to ground (chosen by us: it also wins against
  the chips' own pull-ups, and against the RP2350's pins that hold themselves near 2 V; from memory).
- A motor is a pair of relays or the two inputs of an H-bridge: the first pin opens, the second shuts.
- Stop and end switches are contacts to ground, with the chip's pull-up. The stop is closed while all is
  well, so that a broken wire is a stop; an end switch closes at its end.
- There are not enough pins for end switches everywhere, so those of the first motors lie on the pins of the
  last: a plant has many valves without them or fewer with. clash() tells what does not go together.
- Inputs are numbered through: first those on the chip, then four for each converter on I2C.
"""

from .profile import ENDS, NO_PIN, Profile

# 26 pins are free on a Pico: GP0 to GP22 and GP26 to GP28. GP23 (supply mode), GP24 (USB sensed), GP25 (lamp
# on the board) and GP29 (supply sensed) are not brought out; on those with a radio they lead to it. The
# same table therefore serves all three, and a board can be exchanged for another.
# Motors: seven without end switches; or three with and one without; or any between: one with needs another's.
PICO_MOTORS = (
    (8, 9, 20, 21),
    (10, 11, 18, 19),
    (12, 13, 16, 17),
    (14, 15, NO_PIN, NO_PIN),
    (16, 17, NO_PIN, NO_PIN),
    (18, 19, NO_PIN, NO_PIN),
    (20, 21, NO_PIN, NO_PIN),
)
PICO_CHIP_INPUTS = (26, 27, 28)  # all that lead to the chip's converter
PICOS = ("pico", "pico_w", "pico2_w")
PICO_RESERVED = (23, 24, 25, 29)


def _pico(name: str) -> Profile:
    """One of the boards that share their pins; those reserved lead to the radio of the ones that have it."""
    return Profile(
        name=name,
        platform="rp2",
        serves=PICOS,
        chip_inputs=PICO_CHIP_INPUTS,
        chip_full_mv=3_300,  # its supply
        i2c=(1, 2, 3),  # I2C1: I2C0's pins would cost a UART
        motors=PICO_MOTORS,
        stop=7,
        lamp=22,  # outside, to be seen from the door; the one on the board is reached otherwise on each
        rs485=(1, 4, 5, 6),
        console=(0, 0, 1),  # for a long line to the house; USB works beside it
        reserved=PICO_RESERVED,
    )


PICO = _pico("pico")
PICO_W = _pico("pico_w")
PICO2_W = _pico("pico2_w")

# With an ESP32 module without PSRAM (which would take 16 and 17). From memory of the public data sheet:
# 0, 2, 5, 12, 15 decide at reset how it starts; 6 to 11 lead to its flash; 1 and 3 are the USB bridge, on
# which the console is; 34 to 39 are inputs only, without pull-ups; with the radio on, only 32 to 39 convert.
# Motors take pins that neither move nor pull at reset: four without end switches; or two with them.
ESP32 = Profile(
    name="esp32",
    platform="esp32",
    serves=("esp32",),
    chip_inputs=(36, 39, 34, 35),  # the first converter's, inputs only: good for nothing else
    chip_full_mv=3_100,  # at its widest range, and bent towards the ends: good for a battery, not for a level
    i2c=(0, 21, 22),
    motors=(
        (18, 19, 32, 33),
        (23, 25, 26, 27),
        (26, 27, NO_PIN, NO_PIN),
        (32, 33, NO_PIN, NO_PIN),
    ),
    stop=13,  # has a pull-up, which 34 to 39 have not: a broken wire must read as a stop
    lamp=14,  # flickers at reset: harmless for a lamp, not for a motor
    rs485=(2, 17, 16, 4),
    console=None,
    reserved=(0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 15, 20, 24, 28, 29, 30, 31, 37, 38),
)

ALL = (PICO, PICO_W, PICO2_W, ESP32)
NAMES = ("pico", "pico_w", "pico2_w", "esp32")
PROFILES = {"pico": PICO, "pico_w": PICO_W, "pico2_w": PICO2_W, "esp32": ESP32}


def of_platform(platform: str) -> "Profile | None":
    """A profile whose pins are right for this chip as far as its platform tells, or None."""
    for profile in ALL:
        if profile.platform == platform:
            return profile
    return None


def motors_with_ends(profile: Profile) -> int:
    """How many motors can have end switches: the first so many."""
    count = 0
    for motor in profile.motors:
        if motor[2] != NO_PIN:
            count += 1
    return count


def clash(profile: Profile, valves: "list[tuple[int, bool]]") -> str:
    """What is wrong with these valves' terminals on this board, as a sentence; "" if nothing is.

    Each valve is its motor, and whether it has end switches.
    """
    holders: list[tuple[int, str]] = []  # a pin, and what is on it
    for motor, ends in valves:
        if not 0 <= motor < len(profile.motors):
            return "motor is {} on a {}; allowed: 0 to {}".format(
                motor, profile.name, len(profile.motors) - 1
            )
        row = profile.motors[motor]
        if ends and row[2] == NO_PIN:
            return "motor {} of a {} has no pins for end switches; those of 0 to {} have".format(
                motor, profile.name, motors_with_ends(profile) - 1
            )
        for place in range(4 if ends else 2):
            here = "{} of motor {}".format("an end switch" if place > 1 else "the drive", motor)
            for pin, holder in holders:
                if pin == row[place]:
                    return "pin {} of a {} serves {} already, so not {}; choose another motor".format(
                        pin, profile.name, holder, here
                    )
            holders.append((row[place], here))
    return ""


def unfit(profile: Profile, wiring) -> str:  # type: ignore[no-untyped-def]
    """Why this wiring cannot be that of this board, as a sentence; "" if it can."""
    if wiring.profile not in profile.serves:
        return 'settings, wiring: profile is "{}"; allowed on this board: "{}"'.format(
            wiring.profile, '", "'.join(profile.serves)
        )
    for row in wiring.inputs:
        if row.input >= profile.inputs:
            return "settings, wiring: input is {}; allowed on a {}: 0 to {}".format(
                row.input, profile.name, profile.inputs - 1
            )
    wrong = clash(profile, [(valve.motor, valve.feedback == ENDS) for valve in wiring.valves])
    return "settings, wiring: " + wrong if wrong else ""
