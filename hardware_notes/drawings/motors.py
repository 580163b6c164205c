"""Drawings of what goes out of the controller: valve motors, stop, relay coils and lamp."""

from symbols import Drawing


def three_wire_valve():
    """A motor valve with inputs for open and close: closing wins by the wiring."""
    d = Drawing("Motor valve with three wires: closing takes the feed from opening", 980, 380)
    d.text(20, 99, "opening +", size=12)
    d.wire("plus", (90, 94), (110, 94))
    d.fuse(140, 94, "one a valve")
    d.wire("plus", (170, 94), (260, 94))
    d.closed_contact(290, 94, "relay K-close, closed at rest")
    d.wire("plus", (320, 94), (480, 94))
    d.open_contact(510, 94, "relay K-open")
    d.wire("plus", (540, 94), (700, 94))
    d.text(20, 159, ["motor", "supply +"], size=12)
    d.wire("plus", (90, 160), (110, 160))
    d.fuse(140, 160, "one a valve")
    d.wire("plus", (170, 160), (260, 160))
    d.open_contact(290, 160, "")
    d.wire("plus", (320, 160), (700, 160))
    d.wire("signal", (290, 90), (290, 152), dashed=True)
    d.text(300, 190, "its second contact, open at rest", size=12, anchor="middle")
    d.box(700, 62, 170, 190, "")
    d.text(710, 98, "open")
    d.text(710, 164, "close")
    d.text(710, 220, "common")
    d.motor(820, 120)
    d.text(772, 172, ["end switches", "inside"], size=12)
    d.wire("minus", (90, 216), (700, 216))
    d.text(20, 212, ["motor", "supply -"], size=12)
    d.wire("signal", (870, 226), (910, 226), (910, 278), (560, 278))
    d.wire("signal", (870, 240), (894, 240), (894, 266), (560, 266))
    d.text(550, 276, "end contacts, free of potential, to the board", size=12, anchor="end")
    d.note(
        312,
        "Drawn at rest: no relay on, nothing moves. Both relays on by mistake: the valve closes. "
        "Opening + is the motor supply behind the stop's pole B, for all valves: while the stop "
        "is pressed each can close and none can open, not even by a welded K-open. A welded "
        "K-close runs the motor to shut without a rest: the gearbox must keep the pipe safe "
        "(valves.md).",
    )
    return d


def _end_switch(d, x, y, label, back=False):
    """A switch with a diode that leads away from the motor, so that it can leave its end."""
    d.closed_contact(x, y, label)
    d.wire("signal", (x - 30, y), (x - 30, y + 36))
    d.wire("signal", (x + 30, y), (x + 30, y + 36))
    d.dot(x - 30, y)
    d.dot(x + 30, y)
    d.diode(x, y + 36, back=back)


def two_wire_valve():
    """A motor with two wires turned round by two relays."""
    d = Drawing("Motor with two wires: two changeover relays, end switches in its own circuit", 1000, 482)
    d.wire("signal", (530, 110), (470, 110))
    d.fuse(440, 110, "one a valve")
    d.wire("signal", (410, 110), (310, 110))
    _end_switch(d, 280, 110, "open end")
    d.wire("signal", (250, 110), (120, 110), (120, 180))
    d.motor(120, 210, "", upright=True)
    d.wire("signal", (120, 240), (120, 300), (250, 300))
    _end_switch(d, 280, 300, "shut end")
    d.wire("signal", (310, 300), (530, 300))
    d.text(400, 130, "wire A: plus to open", size=12, anchor="middle")
    d.text(420, 292, "wire B: plus to close", size=12, anchor="middle")
    d.changeover(560, 110, "relay K-open")
    d.changeover(560, 300, "relay K-close")
    d.wire("minus", (590, 94), (660, 94), (660, 356), (880, 356))
    d.wire("minus", (590, 284), (660, 284))
    d.dot(660, 284)
    d.wire("plus", (590, 126), (880, 126))
    d.text(885, 122, ["opening +", "(behind pole B)"], size=12)
    d.wire("plus", (590, 316), (880, 316))
    d.text(885, 306, ["motor", "supply +"], size=12)
    d.text(885, 352, ["motor", "supply -"], size=12)
    d.note(
        394,
        "Drawn at rest: both wires at minus, the motor is braked. Both relays on by mistake: both "
        "wires at plus; it stands, nothing shorts. Each diode lets the motor leave the end it has "
        "reached; rate it for the motor's starting current. A second contact of each end switch "
        "goes to the board. If the valve moves the wrong way, swap wires A and B; then see that "
        "each end switch ends its own way. A welded K-open keeps this valve from closing while "
        "the stop is pressed: then its hand valve.",
    )
    return d


def h_bridge():
    """A motor with two wires on a bridge of transistors."""
    d = Drawing("H-bridge: the same, without relays", 980, 400)
    d.box(20, 80, 150, 170, "board", ["through", "optocouplers"])
    d.text(162, 154, "open", anchor="end")
    d.text(162, 214, "close", anchor="end")
    d.wire("signal", (170, 150), (200, 150))
    d.closed_contact(230, 150, "stop, pole B", push=True)
    d.wire("signal", (260, 150), (420, 150))
    d.wire("signal", (170, 210), (420, 210))
    for x, y in ((320, 150), (380, 210)):
        d.dot(x, y)
        d.wire("signal", (x, y), (x, 230))
        d.resistor(x, 260, "", upright=True)
        d.zero(x, 290, "bridge -")
    d.text(302, 264, "10 kΩ", size=12, anchor="end")
    d.text(398, 264, "10 kΩ", size=12)
    d.box(450, 80, 140, 170, "bridge", [])
    d.wire("signal", (420, 150), (450, 150))
    d.wire("signal", (420, 210), (450, 210))
    d.text(458, 154, "in 1")
    d.text(458, 214, "in 2")
    d.text(582, 124, "out 1", anchor="end")
    d.text(582, 214, "out 2", anchor="end")
    d.wire("plus", (520, 80), (520, 60), (600, 60))
    d.fuse(630, 60, "one a valve")
    d.wire("plus", (660, 60), (740, 60))
    d.text(748, 64, "motor supply +", size=12)
    d.wire("minus", (520, 250), (520, 296), (740, 296))
    d.text(748, 300, "motor supply -", size=12)
    d.wire("signal", (590, 120), (640, 120))
    _end_switch(d, 670, 120, "open end", back=True)
    d.wire("signal", (700, 120), (880, 120), (880, 140))
    d.motor(880, 170, "", upright=True)
    d.wire("signal", (590, 210), (640, 210))
    _end_switch(d, 670, 210, "shut end", back=True)
    d.wire("signal", (700, 210), (880, 210), (880, 200))
    d.note(
        344,
        "The two 10 kΩ hold both inputs low while the board starts, restarts or has no power. "
        "Both inputs high must be a brake, never a short: see the bridge's data sheet. A bridge "
        "drives both ways over the same two wires, so the stop sits in the open signal: one "
        "contact a valve, of a small relay that pole B holds. Optocouplers, or motor current "
        "finds a way home through the electronics' 0 V.",
    )
    return d


def stop():
    """One button, three contacts."""
    d = Drawing("Stop: one latching button, three contacts that open together", 1000, 390)
    rows = ((110, "pole A"), (200, "pole B"), (290, "pole C"))
    d.wire("signal", (390, 60), (390, 286), dashed=True)
    d.text(400, 66, "linked in the button; closed at rest", size=12)
    for y, name in rows:
        d.closed_contact(390, y, "")
        d.text(330, y - 12, name, size=12, bold=True)
    d.text(20, 114, "24 V of the electronics", size=12)
    d.wire("plus", (190, 110), (210, 110))
    d.resistor(240, 110, "4.7 kΩ")
    d.wire("plus", (270, 110), (360, 110))
    d.wire("signal", (420, 110), (520, 110))
    d.box(520, 84, 150, 56, "optocoupler", ["then board input"])
    d.text(
        684,
        106,
        ["open, or wire broken: the controller closes", "every jet, one at a time, by the slow ramps"],
        size=12,
    )
    d.text(20, 204, "motor supply +", size=12)
    d.wire("plus", (190, 200), (360, 200))
    d.wire("plus", (420, 200), (520, 200))
    d.box(520, 174, 150, 56, "opening +", ["of every valve"])
    d.text(684, 196, ["no valve can open, whatever relay or", "program says; all can still close"], size=12)
    d.text(20, 294, "24 V, own fuse", size=12)
    d.wire("plus", (190, 290), (360, 290))
    d.wire("plus", (420, 290), (520, 290))
    d.box(520, 264, 150, 56, "holding magnet", ["of the deflector"])
    d.text(
        684, 286, ["it falls: the jets pass the wheel by,", "the water in the pipe goes on flowing"], size=12
    )
    d.note(
        350,
        "The motors' plus is not cut: a valve without power stays where it is, and water would go "
        "on to the wheel. Where there is no deflector, the hand valves, shut slowly, are the only "
        "stop that needs no controller.",
    )
    return d


def outputs():
    """From a pin to a relay or a lamp."""
    d = Drawing("From a pin to a relay coil or the lamp: off unless driven", 980, 330)
    for x, kind in ((40, "coil"), (540, "lamp")):
        d.box(x - 20, 150, 100, 56, "board", ["pin n"])
        d.wire("signal", (x + 80, 180), (x + 90, 180))
        d.resistor(x + 120, 180, "100 Ω")
        d.wire("signal", (x + 150, 180), (x + 220, 180))
        d.dot(x + 180, 180)
        d.wire("signal", (x + 180, 180), (x + 180, 190))
        d.resistor(x + 180, 220, "", upright=True)
        d.text(x + 158, 226, "10 kΩ", size=12, anchor="end")
        d.zero(x + 180, 250)
        d.switch(x + 260, 180, "MOSFET")
        d.zero(x + 260, 210)
        d.wire("plus", (x + 260, 60), (x + 260, 80))
        d.text(x + 270, 66, "24 V, fused", size=12)
        if kind == "coil":
            d.coil(x + 260, 110, "", upright=True)
            d.text(x + 240, 114, "relay", size=12, anchor="end")
            d.wire("signal", (x + 260, 80), (x + 340, 80))
            d.wire("signal", (x + 260, 140), (x + 340, 140))
            d.dot(x + 260, 80)
            d.dot(x + 260, 140)
            d.diode(x + 340, 110, ["diode: takes the", "coil's kick"], upright=True, back=True)
        else:
            d.lamp(x + 260, 110, "", upright=True)
            d.text(x + 284, 108, ["LED lamp for 24 V", "at the door"], size=12)
        d.wire("signal", (x + 260, 140), (x + 260, 150))
    d.note(
        300,
        "The 10 kΩ keeps the transistor off while the pin floats: at power-up, in a restart, "
        "without a program.",
    )
    return d
