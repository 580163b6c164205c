"""Parts of circuit drawings as SVG text; on a light plate, so that they read on any page and in print.

    d = Drawing("A divider", 400, 200)
    d.wire("plus", (40, 60), (90, 60))
    d.fuse(120, 60, "1 A")                  # its ends lie at 90 and 150
    d.svg()

A part with two ends reaches `END` to either side of its middle; `upright` turns it, first end on top.
"""

from html import escape
from textwrap import wrap

END = 30  # px from the middle of a part to its ends
INK = "#1f2328"
COLOURS = {
    "plus": ("#b3261e", 2),
    "minus": ("#1d4f91", 2),
    "signal": (INK, 1.6),
    "bus": ("#9a4a00", 3.5),
    "earth": ("#2f7d32", 2),
    "water": ("#2a7fb8", 7),
}
LETTER = 13  # px


class Drawing:
    """A sheet with a title; `svg()` gives its text."""

    def __init__(self, title, width, height):
        self.title, self.width, self.height = title, width, height
        self.parts = []
        self.text(20, 28, title, size=17, bold=True)

    def svg(self):
        """The whole file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
            f'width="{self.width}" height="{self.height}" role="img" '
            'font-family="Helvetica, Arial, DejaVu Sans, sans-serif">'
        )
        plate = (
            f'<rect x="1" y="1" width="{self.width - 2}" height="{self.height - 2}" rx="8" '
            'fill="#fcfbf7" stroke="#b9b6ad"/>'
        )
        return "\n".join([head, f"<title>{escape(self.title)}</title>", plate, *self.parts, "</svg>", ""])

    # -- lines and words ----------------------------------------------------------------------------

    def wire(self, kind, *points, dashed=False):
        """A line through points (x, y); kind is one of COLOURS."""
        colour, width = COLOURS[kind]
        path = " ".join(f"{x},{y}" for x, y in points)
        dash = ' stroke-dasharray="6 4"' if dashed else ""
        self.parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}"{dash}/>'
        )

    def dot(self, x, y):
        """Wires that join."""
        self.parts.append(f'<circle cx="{x}" cy="{y}" r="3.5" fill="{INK}"/>')

    def text(self, x, y, words, size=LETTER, anchor="start", bold=False, colour=INK):
        """One line of words, or several in a list."""
        weight = ' font-weight="bold"' if bold else ""
        for row, line in enumerate([words] if isinstance(words, str) else words):
            self.parts.append(
                f'<text x="{x}" y="{y + row * round(size * 1.3)}" font-size="{size}" '
                f'text-anchor="{anchor}" fill="{colour}"{weight}>{escape(line)}</text>'
            )

    def box(self, x, y, width, height, title, lines=(), dashed=False):
        """A rectangle with a bold title and plain lines below it."""
        dash = ' stroke-dasharray="6 4"' if dashed else ""
        fill = "none" if dashed else "#ffffff"
        self.parts.append(
            f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="4" fill="{fill}" '
            f'stroke="{INK}" stroke-width="1.6"{dash}/>'
        )
        if title:
            self.text(x + 8, y + 18, title, bold=True)
        self.text(x + 8, y + 35, list(lines), size=12)

    def note(self, y, words):
        """Words across the foot of the sheet, wrapped."""
        self.text(20, y, wrap(words, (self.width - 40) * 10 // 69, break_on_hyphens=False), size=12)

    def screen(self, x, y, width, height):
        """The screen around a cable."""
        self.parts.append(
            f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="60" fill="none" '
            'stroke="#2f7d32" stroke-dasharray="6 4"/>'
        )

    # -- parts with two ends ------------------------------------------------------------------------

    def resistor(self, x, y, label="", upright=False):
        """A rectangle."""
        self._part(x, y, upright, label, _LEADS + '<rect x="-18" y="-7" width="36" height="14" fill="#fff"/>')

    def fuse(self, x, y, label="", upright=False):
        """A rectangle with the wire through it."""
        body = '<rect x="-18" y="-6" width="36" height="12" fill="#fff"/><path d="M-30 0H30"/>'
        self._part(x, y, upright, label, body)

    def capacitor(self, x, y, label="", upright=False):
        """Two plates."""
        self._part(x, y, upright, label, '<path d="M-30 0H-4M4 0H30M-4 -13V13M4 -13V13"/>')

    def diode(self, x, y, label="", upright=False, back=False):
        """Lets current through from its first end to its second; `back`: the other way."""
        turn = ' transform="rotate(180)"' if back else ""
        body = f'<g{turn}><path d="M-8 -9L8 0L-8 9Z" fill="#fff"/><path d="M8 -10V10"/></g>'
        body += '<path d="M-30 0H-8M8 0H30"/>'
        self._part(x, y, upright, label, body)

    def closed_contact(self, x, y, label="", upright=False, push=False):
        """A contact that is closed at rest; `push`: opened by a button."""
        button = '<path d="M0 -6V-20M-9 -20H9" stroke-dasharray="none"/>' if push else ""
        body = '<path d="M-30 0H-14M14 0H30M14 0V-9M-14 0L18 -7"/>' + button
        self._part(x, y, upright, label, body + _CIRCLES, above=26 if push else 14)

    def open_contact(self, x, y, label="", upright=False):
        """A contact that is open at rest."""
        self._part(x, y, upright, label, '<path d="M-30 0H-14M14 0H30M-14 0L12 -13"/>' + _CIRCLES, above=18)

    def coil(self, x, y, label="", upright=False):
        """Of a relay."""
        body = _LEADS + '<rect x="-18" y="-11" width="36" height="22" fill="#fff"/><path d="M-8 11L8 -11"/>'
        self._part(x, y, upright, label, body)

    def motor(self, x, y, label="", upright=False):
        """A circle with an M."""
        body = '<path d="M-30 0H-18M18 0H30"/><circle r="18" fill="#fff"/>'
        self._part(x, y, upright, label, body, above=26)
        self.text(x, y + 6, "M", size=17, anchor="middle", bold=True)

    def lamp(self, x, y, label="", upright=False):
        """A circle with a cross."""
        body = '<path d="M-30 0H-13M13 0H30"/><circle r="13" fill="#fff"/><path d="M-9 -9L9 9M-9 9L9 -9"/>'
        self._part(x, y, upright, label, body, above=20)

    # -- others -------------------------------------------------------------------------------------

    def changeover(self, x, y, label=""):
        """Common at (x - 30, y), closed at rest at (x + 30, y - 16), open at rest at (x + 30, y + 16)."""
        body = (
            '<path d="M-30 0H-14M14 -16H30M14 16H30M-14 0L16 -13"/>'
            '<circle cx="-14" cy="0" r="3" fill="#fff"/>'
            '<circle cx="14" cy="-16" r="3" fill="#fff"/><circle cx="14" cy="16" r="3" fill="#fff"/>'
        )
        self._part(x, y, False, label, body, above=28)

    def switch(self, x, y, label):
        """An n-channel transistor as a box: gate (x - 40, y), drain (x, y - 30), source (x, y + 30)."""
        self._part(
            x,
            y,
            False,
            "",
            '<path d="M-40 0H-22M0 -30V-20M0 20V30"/><rect x="-22" y="-20" width="44" height="40"/>',
        )
        self.text(x, y + 4, label, size=9, anchor="middle")

    def earth(self, x, y, label=""):
        """Earth, hanging from (x, y)."""
        self._part(x, y, False, "", '<path d="M0 0V12M-13 12H13M-8 17H8M-3 22H3"/>')
        self.text(x + 18, y + 20, label, size=12)

    def zero(self, x, y, label="0 V"):
        """The electronics' 0 V, hanging from (x, y)."""
        self._part(x, y, False, "", '<path d="M0 0V12M-12 12H12" stroke-width="2.4"/>')
        self.text(x, y + 27, label, size=12, anchor="middle")

    def cell(self, x, y, label=""):
        """A battery, plus on top at (x, y - 30), minus at (x, y + 30)."""
        body = '<path d="M0 -30V-12M-16 -12H16M-8 -5H8M-16 3H16M-8 10H8M0 10V30"/>'
        self._part(x, y, False, "", body)
        if label:
            self.text(x + 24, y + 4, label, size=12)

    def _part(self, x, y, upright, label, body, above=16):
        turn = " rotate(90)" if upright else ""
        self.parts.append(
            f'<g transform="translate({x} {y}){turn}" fill="none" stroke="{INK}" '
            f'stroke-width="1.6">{body}</g>'
        )
        if label and upright:
            lines = [label] if isinstance(label, str) else label
            self.text(x + 20, y + 5 - 8 * (len(lines) - 1), lines, size=12)
        elif label:
            self.text(x, y - above, label, size=12, anchor="middle")


_LEADS = '<path d="M-30 0H-18M18 0H30"/>'
_CIRCLES = '<circle cx="-14" cy="0" r="3" fill="#fff"/><circle cx="14" cy="0" r="3" fill="#fff"/>'
