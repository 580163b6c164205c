"""What the device's alarms say to an owner who stands in the rain, and the first thing to check."""

from becklight import alarms

# By name: what is wrong; the first thing to check.
WORDS = {
    "level_gone": (
        "No reading of the intake's level.",
        "The level transmitter's plug at the controller and its cable, then its fuse.",
    ),
    "level_lies": (
        "The intake's level reads wrong and is not believed.",
        "Hold a stick in the intake: does the shown level fit? Clear mud and leaves off the probe. If it "
        "fits, look for a leak.",
    ),
    "pressure_gone": (
        "No reading of the pipe's pressure.",
        "The pressure transmitter's plug and cable at the manifold.",
    ),
    "pressure_lies": (
        "The pipe's pressure reads wrong and is not believed.",
        "Compare with the dial gauge at the manifold; bleed the air and ice out of the small pipe to the "
        "transmitter.",
    ),
    "battery_gone": (
        "No reading of the battery's voltage.",
        "The sense wires' small fuse at the battery, then both of their ends.",
    ),
    "battery_lies": (
        "The battery's voltage reads wrong and is not believed.",
        "Measure at the battery's own terminals with a meter; then look for a loose or green clamp.",
    ),
    "bus_gone": (
        "No reading of the wheel's voltage.",
        "With the wheel stopped: the fuse and wires of the divider at the rectifier.",
    ),
    "bus_lies": (
        "The wheel's voltage reads wrong and is not believed.",
        "With the jets shut by hand and the wheel stopped: does it turn freely? Then the wires of the "
        "divider at the rectifier, for a loose one.",
    ),
    "pond_gone": (
        "No reading of the pond's level.",
        "The pond transmitter's plug, and its cable where it leaves the bank.",
    ),
    "pond_lies": (
        "The pond's level reads wrong and is not believed.",
        "Look at the pond's own staff: does the shown level fit? Then the probe, for mud or ice.",
    ),
    "temp_gone": (
        "No reading of the battery's temperature.",
        "The sensor's plug, and that it is still fixed to the battery.",
    ),
    "temp_lies": (
        "The battery's temperature reads wrong and is not believed.",
        "Feel the battery: if it is hot, stop charging and stand back; else the sensor's wires, for damp.",
    ),
    "air_gone": ("No reading of the air's temperature.", "The outdoor sensor's plug and cable."),
    "air_lies": (
        "The air's temperature reads wrong and is not believed.",
        "The outdoor sensor: is it wet inside, or has something been put over it?",
    ),
    "level_low": (
        "The intake is below its floor: the pipe may draw air.",
        "The screen, for leaves or ice; then whether water still comes to the intake.",
    ),
    "residual_short": (
        "Too little water is left to the stream.",
        "The slot in the weir, for what blocks it; clear it before anything else.",
    ),
    "pipe_burst": (
        "The pipe's pressure has collapsed: it has burst, or a joint is off.",
        "Stay off the slope below. Shut the intake's valve, walk the line from above; tell the controller "
        "when the pipe is whole.",
    ),
    "jet_blocked": (
        "The pressure is too high for what stands open: a jet is blocked.",
        "Shut that jet's hand valve, let the pressure off, open its nozzle and look for a stone.",
    ),
    "screen_blocked": (
        "The intake's screen is blocked, and flushing did not help.",
        "Rake the screen, from the side and not from in front of it.",
    ),
    "leak_or_air": (
        "The pressure is too low for what stands open.",
        "Listen at the jets for spitting air; then the screen; then walk the line for wet ground.",
    ),
    "overspeed": (
        "The wheel runs too fast: nothing takes its power.",
        "Do not open the cover. The regulator's display and the battery's fuse.",
    ),
    "pipe_frozen": (
        "A jet was opened and nothing came: the pipe is frozen or shut.",
        "The intake's hand valve; then the pipe's bare length, for ice. Never thaw it with a flame.",
    ),
    "battery_low": ("The battery has been low for a while.", "What runs in the house that could be off?"),
    "pond_low": (
        "The pond is low and no longer helps.",
        "Nothing, if it was dry; else the pond's inlet and drain.",
    ),
    "stop_pressed": (
        "The stop at the turbine is pressed, or its wire is broken.",
        "Ask who pressed it, and why, before you release it.",
    ),
    "held_by_owner": (
        "Somebody holds the plant where it is, or has locked a jet or a wheel out.",
        "Whether that is still wanted, and nobody is at work down there.",
    ),
    "restarted": (
        "The controller has started again after a loss of power.",
        "Its supply and fuse, if nobody switched it off.",
    ),
    "settings_refused": (
        "The controller does not take its settings: they belong to another version.",
        "Compile the site again and load the settings; the jets stay closed until then.",
    ),
    "clock_lost": ("The controller does not know the date.", "Set its clock; then its small battery."),
    "valve_stuck": (
        "The valve does not move.",
        "With the stop pressed: its motor's fuse; then turn it by hand to feel what holds it.",
    ),
    "valve_half": (
        "The valve moves, but not as far as it should.",
        "With the stop pressed: a stone or ice in the valve; a slipping coupling.",
    ),
    "valve_wrong_way": (
        "The valve moves the wrong way.",
        "Press the stop and shut the jet's hand valve. Then the motor's two wires: are they swapped?",
    ),
    "valve_drifts": (
        "The valve moves by itself.",
        "With the stop pressed: its relay, for a stuck contact; then the gear, for one that slips.",
    ),
    "valve_end_lies": (
        "The valve's end switch does not fit what the water does.",
        "The end switch: is it loose, wet, or bent?",
    ),
    "program_failed": (
        "The controller's own program has failed: every jet is closed, or being closed.",
        "Read its journal for what it says of the error, and send that to who looks after the program.",
    ),
    "spare_bus_gone": (
        "No reading of the spare wheel's voltage.",
        "With the spare wheel stopped: the fuse and wires of the divider at its rectifier.",
    ),
    "spare_bus_lies": (
        "The spare wheel's voltage reads wrong and is not believed.",
        "With its jets shut by hand and the wheel stopped: does it turn freely? Then the wires of the "
        "divider at its rectifier, for a loose one.",
    ),
    "spare_overspeed": (
        "The spare wheel runs too fast: nothing takes its power.",
        "Do not open its cover. The display of the spare wheel's own regulator, and its fuse.",
    ),
}


def in_words(code: int, valve: str = "") -> str:
    """An alarm in a sentence.

    Parameters
    ----------
    code : int
        As in `becklight.alarms`.
    valve : str
        The name of the valve or jet that it is about (`Alarms.about`), if that is known.

    Returns
    -------
    str
        The sentence.

    Examples
    --------
    >>> in_words(alarms.VALVE_STUCK, "jet 2")
    'jet 2: The valve does not move.'
    >>> in_words(alarms.JET_BLOCKED, "large")
    'large: The pressure is too high for what stands open: a jet is blocked.'
    """
    sentence = WORDS[alarms.NAMES[code]][0]
    return f"{valve}: {sentence}" if valve else sentence


def first_check(code: int) -> str:
    """The first thing to check when an alarm is raised.

    Parameters
    ----------
    code : int
        As in `becklight.alarms`.

    Returns
    -------
    str
        A sentence or two.

    Examples
    --------
    >>> first_check(alarms.AIR_GONE)
    "The outdoor sensor's plug and cable."
    """
    return WORDS[alarms.NAMES[code]][1]
