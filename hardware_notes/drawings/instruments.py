"""Drawings of what comes into the controller: loop, three-wire transmitter, dividers, bus."""

from symbols import Drawing


def _into_converter(d, x, y):
    """From a node at (x, y): series resistor, filter, diodes to 3.3 V and 0 V, converter's input."""
    d.wire("signal", (x, y), (x + 20, y))
    d.resistor(x + 50, y, "10 kΩ")
    d.wire("signal", (x + 80, y), (x + 240, y))
    for place in (x + 100, x + 165, x + 210):
        d.dot(place, y)
        d.wire("signal", (place, y), (place, y + 20))
    d.capacitor(x + 100, y + 50, "1 µF", upright=True)
    d.zero(x + 100, y + 80)
    d.diode(x + 165, y + 50, upright=True)
    d.zero(x + 165, y + 80, "3.3 V")
    d.diode(x + 210, y + 50, upright=True, back=True)
    d.zero(x + 210, y + 80)
    d.box(x + 240, y - 26, 112, 56, "converter", ["input n"])


def current_loop():
    """A transmitter at the intake."""
    d = Drawing("4-20 mA loop: level at the intake", 980, 410)
    d.box(20, 60, 130, 64, "loop supply", ["24 V, isolated"])
    d.wire("plus", (150, 80), (180, 80))
    d.fuse(210, 80, "63 mA quick")
    d.wire("plus", (240, 80), (290, 80))
    d.box(290, 60, 96, 150, "arrester", ["at the", "powerhouse"])
    d.earth(310, 210, "short, thick")
    d.wire("plus", (386, 80), (640, 80))
    d.wire("signal", (386, 190), (640, 190))
    d.screen(400, 66, 226, 138)
    d.text(513, 128, ["long twisted pair,", "screened"], size=12, anchor="middle")
    d.wire("earth", (470, 203), (470, 216))
    d.earth(470, 216, "screen: earthed here only")
    d.box(640, 60, 96, 150, "arrester", ["at the", "intake"])
    d.earth(688, 210, "short, thick")
    d.wire("plus", (736, 80), (790, 80))
    d.wire("signal", (736, 190), (790, 190))
    d.box(
        790,
        60,
        170,
        150,
        "level transmitter",
        ["4-20 mA, two wires,", "gauge, vented cable,", "in a stilling tube", "behind the screen"],
    )
    d.wire("signal", (290, 190), (160, 190), (160, 286), (210, 286))
    d.dot(160, 286)
    d.wire("signal", (160, 286), (160, 294))
    d.resistor(160, 324, "", upright=True)
    d.text(24, 320, ["shunt 150 Ω,", "0.1 %, 0.6 W", "or more"], size=12)
    d.zero(160, 354)
    _into_converter(d, 200, 286)
    d.text(
        570,
        280,
        [
            "The supply's minus is the electronics' 0 V.",
            "A broken wire reads 0 mA. A short in the cable blows the",
            "fuse, and then reads 0 mA too: unknown, never a level.",
            "Diodes: low-leakage types.",
        ],
        size=12,
    )
    return d


def three_wire():
    """A ratiometric pressure transmitter."""
    d = Drawing("0.5-4.5 V transmitter (ratiometric): pressure at the manifold", 980, 300)
    d.box(20, 60, 150, 150, "transmitter", ["0.5-4.5 V at 5 V", "three wires", "a few metres,", "screened"])
    d.wire("plus", (170, 80), (560, 80))
    d.text(176, 72, "+5 V", size=12)
    d.fuse(590, 80, "100 mA")
    d.wire("plus", (620, 80), (660, 80))
    d.box(660, 50, 250, 56, "5 V supply of the instruments", ["steady: its error is the reading's error"])
    d.wire("signal", (170, 150), (240, 150))
    d.text(176, 144, "signal", size=12)
    d.resistor(270, 150, "10 kΩ 0.1 %")
    d.wire("signal", (300, 150), (370, 150))
    d.dot(340, 150)
    d.wire("signal", (340, 150), (340, 170))
    d.resistor(340, 200, "", upright=True)
    d.text(300, 196, ["15 kΩ", "0.1 %"], size=12, anchor="middle")
    d.zero(340, 230)
    _into_converter(d, 370, 150)
    d.wire("minus", (170, 190), (200, 190), (200, 230))
    d.zero(200, 230)
    d.note(280, "The two resistors bring 4.5 V down to 2.7 V, and pull a broken wire down to 0 V.")
    return d


def dividers():
    """Battery and bus voltage."""
    d = Drawing("Battery and bus dividers: the fuse sits at the source", 980, 500)
    d.cell(60, 140, "")
    d.text(20, 212, "battery posts", size=12)
    d.wire("plus", (60, 110), (60, 90), (110, 90))
    d.fuse(140, 90, "fuse at the post")
    d.wire("plus", (170, 90), (290, 90))
    d.text(240, 78, "own pair", size=12, anchor="middle")
    d.resistor(320, 90, "top")
    d.wire("signal", (350, 90), (420, 90))
    d.dot(390, 90)
    d.wire("signal", (390, 90), (390, 110))
    d.resistor(390, 140, "", upright=True)
    d.text(374, 144, "bottom", size=12, anchor="end")
    d.wire("minus", (60, 170), (390, 170))
    d.zero(390, 170)
    d.text(80, 190, "here alone 0 V meets the battery's minus", size=12)
    _into_converter(d, 420, 90)
    d.wire("signal", (20, 232), (960, 232), dashed=True)
    d.box(20, 262, 110, 120, "rectifier", ["+ and - to the", "charge", "regulator"])
    d.wire("bus", (130, 290), (170, 290))
    d.fuse(200, 290, "at the rectifier")
    d.wire("bus", (230, 290), (260, 290))
    d.resistor(290, 290, "top, half")
    d.wire("signal", (320, 290), (340, 290))
    d.resistor(370, 290, "top, half")
    d.wire("signal", (400, 290), (450, 290))
    d.dot(430, 290)
    d.wire("signal", (430, 290), (430, 310))
    d.resistor(430, 340, "", upright=True)
    d.text(414, 344, "bottom", size=12, anchor="end")
    d.wire("minus", (130, 370), (430, 370))
    d.zero(430, 370)
    d.text(140, 392, ["only if the regulator joins", "bus minus and battery minus"], size=12)
    _into_converter(d, 450, 290)
    d.box(
        840,
        256,
        124,
        130,
        "danger",
        [
            "163 V when the",
            "hostel's wheel",
            "runs free: cover",
            "all bare parts,",
            "stop the wheel",
            "before you open",
        ],
    )
    d.note(
        438,
        "Both fuses are DC types, rated above the highest voltage and for the source's "
        "short-circuit current; values in wiring.md. Two resistors on top: one that shorts leaves "
        "the other, and each sees half the voltage. Where bus minus and battery minus are not "
        "one, use an isolating voltage transmitter (4-20 mA) instead of this divider.",
    )
    return d


def rs485():
    """Level by Modbus, or a display in the house."""
    d = Drawing("RS-485: a Modbus level transmitter, or the house", 980, 400)
    d.box(20, 50, 180, 190, "controller: isolated", ["transceiver"])
    d.box(800, 50, 160, 190, "far end", [])
    d.text(826, 136, ["level transmitter", "or a display", "in the house"], size=12)
    for y, name in ((110, "A"), (160, "B"), (215, "C")):
        d.text(186, y - 6, name, bold=True)
        d.text(806, y - 6, name, bold=True)
        d.wire("minus" if name == "C" else "signal", (200, y), (800, y))
    d.dot(260, 110)
    d.dot(260, 160)
    d.wire("signal", (260, 110), (260, 105))
    d.resistor(260, 75, ["bias 560 Ω"], upright=True)
    d.resistor(260, 190, "", upright=True)
    d.text(280, 195, "bias 560 Ω", size=12)
    d.wire("plus", (260, 45), (290, 45))
    d.text(294, 49, "+5 V of the isolated side", size=12)
    d.wire("signal", (260, 220), (260, 215))
    d.dot(260, 215)
    for x in (450, 760):
        d.dot(x, 110)
        d.dot(x, 160)
        d.wire("signal", (x, 110), (x, 112))
        d.parts.append(
            f'<g transform="translate({x} 135)" fill="#fff" stroke="#1f2328" stroke-width="1.6">'
            '<path d="M0 -25V-15M0 15V25"/><rect x="-7" y="-15" width="14" height="30"/></g>'
        )
        d.text(x - 12, 140, "120 Ω", size=12, anchor="end")
    d.screen(480, 84, 190, 146)
    d.text(570, 134, "one twisted pair", size=12, anchor="middle")
    d.text(570, 188, "a third wire for 0 V", size=12, anchor="middle")
    d.wire("earth", (490, 224), (490, 262))
    d.earth(490, 262, "screen: here only, at the powerhouse")
    d.note(
        316,
        "A and B are named the wrong way round on some devices: if nothing answers, swap them. "
        "120 Ω at the two ends of the line and nowhere else; one line from device to device, no "
        "star. Bias at one place only. Put an arrester at each building that the line enters. "
        "Bias in numbers: two terminations are 60 Ω; 5 V x 60 / (60 + 2 x 560) = 0.25 V between A "
        "and B when nobody talks; a receiver is sure above 0.2 V (TIA-485, from memory). Many "
        "transceivers need no bias: see their data sheet.",
    )
    return d
