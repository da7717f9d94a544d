"""A sheet of paper and what can be drawn on it, as plain SVG text: wires, boxes, parts of a circuit, words.

Coordinates are whole units of the sheet: x to the right, y down. A drawing depends on nothing else, such as the clock
or the machine, so the same calls give the same text.
"""

from __future__ import annotations

__all__ = ["BLUE", "GREEN", "GREY", "INK", "RED", "Sheet"]

from html import escape
from typing import Literal

INK = "#26302b"
GREY = "#66706a"
RED = "#b3261e"  # supply
BLUE = "#14559c"  # signal
GREEN = "#2c6e49"  # what was measured and what is done about it
_PAPER = "#ffffff"
_BOX = "#f2f5ef"

Anchor = Literal["start", "middle", "end"]
Point = tuple[int, int]


class Sheet:
    """One drawing. title: what it shows; description: the same in a sentence or two, for those who cannot see it."""

    def __init__(self, width: int, height: int, title: str, description: str) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
            f'height="{height}" font-family="DejaVu Sans, Verdana, sans-serif" role="img" '
            'aria-labelledby="title description">',
            f'<title id="title">{escape(title)}</title>',
            f'<desc id="description">{escape(description)}</desc>',
            f'<rect width="{width}" height="{height}" fill="{_PAPER}"/>',
        ]
        self.words(24, 36, title, size=20, bold=True)

    def svg(self) -> str:
        """The drawing as the text of an SVG file."""
        return "\n".join([*self._parts, "</svg>", ""])

    # ---- words ------------------------------------------------------------------------------------------------------

    def words(
        self,
        x: int,
        y: int,
        text: str,
        *,
        size: int = 15,
        colour: str = INK,
        anchor: Anchor = "start",
        bold: bool = False,
        code: bool = False,
    ) -> None:
        """Lines of text; y is the foot of the first one. code: what a wire or a file carries letter by letter."""
        looks = f'font-size="{size}" fill="{colour}" text-anchor="{anchor}"'
        looks += ' font-weight="bold"' if bold else ""
        looks += ' font-family="DejaVu Sans Mono, monospace" xml:space="preserve"' if code else ""
        for number, line in enumerate(text.split("\n")):
            self._parts.append(f'<text x="{x}" y="{y + number * round(size * 1.35)}" {looks}>{escape(line)}</text>')

    # ---- wires and arrows -------------------------------------------------------------------------------------------

    def wire(self, *points: Point, colour: str = INK, width: int = 2, dashed: bool = False) -> None:
        """A line from point to point."""
        path = " ".join(f"{x},{y}" for x, y in points)
        dash = ' stroke-dasharray="7 5"' if dashed else ""
        self._parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}" '
            f'stroke-linejoin="round"{dash}/>'
        )

    def arrow(self, *points: Point, colour: str = INK, dashed: bool = False) -> None:
        """A wire with a head at its last point; its last piece runs straight across or straight down or up."""
        self.wire(*points, colour=colour, dashed=dashed)
        (from_x, from_y), (x, y) = points[-2:]
        along_x, along_y = _sign(x - from_x), _sign(y - from_y)
        back_x, back_y = x - 12 * along_x, y - 12 * along_y
        head = ((x, y), (back_x - 5 * along_y, back_y - 5 * along_x), (back_x + 5 * along_y, back_y + 5 * along_x))
        self._parts.append(f'<polygon points="{" ".join(f"{a},{b}" for a, b in head)}" fill="{colour}"/>')

    def joint(self, x: int, y: int, *, colour: str = INK) -> None:
        """Where wires that cross are joined."""
        self._parts.append(f'<circle cx="{x}" cy="{y}" r="5" fill="{colour}"/>')

    # ---- things -----------------------------------------------------------------------------------------------------

    def box(self, x: int, y: int, width: int, height: int, name: str = "", *, below: str = "") -> None:
        """A thing with its name, and in smaller letters what belongs to it."""
        self._parts.append(
            f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="6" fill="{_BOX}" stroke="{INK}" '
            f'stroke-width="2"/>'
        )
        self.words(x + width // 2, y + 26, name, size=16, anchor="middle", bold=True)
        if below:
            self.words(x + width // 2, y + 48, below, size=14, anchor="middle", colour=GREY)

    def terminal(self, x: int, y: int, name: str, *, side: Literal["left", "right"], colour: str = INK) -> None:
        """A screw or pin on the edge of a box; its name stands inside, on the given side of the box's edge."""
        self._parts.append(f'<circle cx="{x}" cy="{y}" r="5" fill="{_PAPER}" stroke="{colour}" stroke-width="2"/>')
        if side == "right":
            self.words(x + 12, y + 5, name, size=14, colour=colour)
        else:
            self.words(x - 12, y + 5, name, size=14, colour=colour, anchor="end")

    def resistor(self, x: int, y: int, *, upright: bool = False, colour: str = INK) -> None:
        """A resistor around its middle: a rectangle as in IEC 60617, 50 long; wires are drawn up to it."""
        width, height = (18, 50) if upright else (50, 18)
        self._parts.append(
            f'<rect x="{x - width // 2}" y="{y - height // 2}" width="{width}" height="{height}" fill="{_PAPER}" '
            f'stroke="{colour}" stroke-width="2"/>'
        )

    def fuse(self, x: int, y: int, *, colour: str = INK) -> None:
        """A fuse around its middle: a resistor's rectangle with the wire drawn through it, 50 long."""
        self.resistor(x, y, colour=colour)
        self.wire((x - 25, y), (x + 25, y), colour=colour)

    def capacitor(self, x: int, y: int) -> None:
        """A capacitor around its middle, between a wire from above and one from below, 12 high."""
        self._parts.append(f'<rect x="{x - 16}" y="{y - 6}" width="32" height="12" fill="{_PAPER}"/>')
        for edge in (y - 6, y + 6):
            self.wire((x - 16, edge), (x + 16, edge), width=3)

    def earth(self, x: int, y: int) -> None:
        """Where the return wire is joined to 0 V: three bars that grow shorter, below the point."""
        for number, half in enumerate((15, 9, 4)):
            self.wire((x - half, y + 6 * number), (x + half, y + 6 * number))

    def note(self, x: int, y: int, text: str, *, colour: str = GREEN) -> None:
        """A remark with a bar before it."""
        lines = text.split("\n")
        self.wire((x, y - 14), (x, y - 14 + 19 * len(lines)), colour=colour, width=4)
        self.words(x + 12, y, text, size=14, colour=INK)

    def caution(self, x: int, y: int, text: str) -> None:
        """A remark on something that can break or hurt."""
        self.note(x, y, text, colour=RED)


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)
