"""Drawings of the whole: what is where, and how it is fed."""

from symbols import Drawing


def overview():
    """The plant from stream to house, and what runs between it and the controller."""
    d = Drawing("The whole plant, and what the controller sees and moves", 1000, 620)
    d.box(
        20,
        60,
        170,
        110,
        "intake",
        [
            "screen, slot for the",
            "stream's share, crest,",
            "level transmitter behind",
            "the screen; hand valve",
        ],
    )
    d.wire("water", (190, 130), (240, 130), (310, 270), (360, 270))
    d.text(276, 160, ["penstock: pressurised;", "air valve at a high point"], size=12)
    d.box(
        360,
        230,
        200,
        110,
        "manifold",
        ["hand valve and motor valve", "for each jet, pressure relief,", "dial gauge, transmitter"],
    )
    d.wire("water", (560, 290), (600, 290))
    d.box(600, 230, 130, 110, "wheel", ["guard, bolted;", "deflector;", "generator"])
    d.wire("bus", (730, 290), (760, 290))
    d.box(
        760,
        230,
        210,
        110,
        "rectifier, regulator",
        ["bus: up to twice its voltage", "when the wheel runs free;", "dump load if fitted"],
    )
    d.wire("bus", (865, 230), (865, 170))
    d.box(
        720,
        60,
        250,
        110,
        "battery, house",
        [
            "own protection and main fuse at",
            "the posts; inverter; a small fuse",
            "at the posts for each pair that",
            "goes to the controller",
        ],
    )
    d.box(210, 430, 570, 110, "controller box")
    d.text(495, 480, "board, converter, clock, relays, fuses, isolating supply", size=12, anchor="middle")
    d.text(495, 500, "(motor relays in a second box if space or heat asks for it)", size=12, anchor="middle")
    d.wire("signal", (60, 170), (60, 460), (210, 460))
    d.text(68, 380, ["2 level,", "4-20 mA"], size=12)
    d.wire("signal", (390, 340), (390, 430))
    d.text(384, 390, "3 pressure", size=12, anchor="end")
    d.wire("plus", (520, 340), (520, 430))
    d.text(514, 384, ["5 motors, end", "switches or pot"], size=12, anchor="end")
    d.wire("plus", (650, 340), (650, 430))
    d.text(644, 384, ["6 deflector's", "magnet"], size=12, anchor="end")
    d.wire("signal", (740, 430), (740, 385), (800, 385), (800, 340))
    d.text(808, 385, "4 bus voltage", size=12)
    d.wire("signal", (780, 460), (985, 460), (985, 115), (970, 115))
    d.text(790, 440, ["1 supply, 4 battery voltage,"], size=12)
    d.text(790, 453, ["temperature"], size=12)
    d.wire("signal", (780, 510), (890, 510))
    d.text(790, 504, "8 RS-485", size=12)
    d.box(890, 486, 80, 50, "house")
    d.box(12, 490, 146, 56, "stop, lamp", ["at the door, in reach"])
    d.wire("signal", (158, 515), (210, 515))
    d.text(168, 509, "6, 7", size=12)
    d.note(
        572,
        "Blue: water. Brown: bus and battery cable. Black: signals. Red: power to move things. "
        "Numbers: parts of wiring.md. Without the controller stay: hand valves, pressure relief, "
        "guard, deflector, and the battery's own protection.",
    )
    return d


def supply():
    """Power and grounding."""
    d = Drawing("Supply and grounding: one star, fuses at the battery", 1000, 520)
    d.cell(60, 170, "battery, or the small")
    d.text(84, 190, "back-up battery", size=12)
    d.wire("plus", (60, 140), (60, 100), (100, 100))
    d.fuse(130, 100, "fuse at the post")
    d.wire("plus", (160, 100), (230, 100))
    d.closed_contact(260, 100, "disconnector, DC type")
    d.wire("plus", (290, 100), (360, 100))
    d.dot(360, 100)
    d.wire("plus", (360, 100), (380, 100))
    d.fuse(410, 100, "motors")
    d.wire("plus", (440, 100), (560, 100))
    d.box(560, 72, 200, 70, "motor supply", ["direct at 24 V; a converter", "from a 48 V battery"])
    d.wire("plus", (760, 100), (820, 100))
    d.text(828, 96, ["motor supply +,", "to relays or bridges"], size=12)
    d.wire("plus", (360, 100), (360, 220), (380, 220))
    d.fuse(410, 220, "electronics")
    d.wire("plus", (440, 220), (560, 220))
    d.box(
        560,
        190,
        200,
        100,
        "isolating supply",
        ["in: beyond the battery's", "lowest and highest volts;", "out: 24 V and 5 V"],
    )
    d.wire("plus", (760, 215), (820, 215))
    d.text(828, 219, "24 V: loops, coils, lamp", size=12)
    d.wire("plus", (760, 242), (820, 242))
    d.text(828, 246, "5 V: board, transmitters", size=12)
    d.wire("minus", (760, 270), (800, 270), (800, 370), (60, 370))
    d.zero(800, 370, "0 V of the electronics")
    d.wire("minus", (60, 200), (60, 400))
    d.wire("minus", (560, 262), (530, 262), (530, 300), (60, 300))
    d.wire("minus", (560, 126), (490, 126), (490, 335), (60, 335))
    for y in (300, 335, 370):
        d.dot(60, y)
    d.text(80, 294, "minus of the isolating supply's input", size=12)
    d.text(80, 329, "motors' minus, a wire of its own", size=12)
    d.text(
        80, 364, "battery sense minus: the one tie of 0 V to the battery; carries next to no current", size=12
    )
    d.earth(60, 400, "battery's minus to earth: at one place, if and as the local rule asks")
    d.wire("earth", (560, 430), (860, 430))
    d.text(560, 422, "earth bar: screens, arresters, metal box, pipe if of metal", size=12)
    d.earth(710, 430, "one electrode for all")
    d.note(
        484,
        "Motor current in a sense wire moves the battery's reading: so each minus goes to the "
        "post by itself. Red: plus. Blue: minus. Green: earth. Size each wire so that its fuse "
        "blows before it is hot.",
    )
    return d
