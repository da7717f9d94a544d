"""Text in columns: lines broken by the width of their letters, and columns filled from top to bottom."""

from __future__ import annotations

__all__ = ["FlowLine", "flowed", "text_width_mm", "wrapped"]

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, Literal

from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ft2font import LoadFlags

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

_MM_PER_PT: Final = 25.4 / 72.0
_LETTER_SIZE_PT: Final = 100.0
# Letters that are fitted to the dots of a picture come out a little wider.
_TIGHT: Final = 0.98


@dataclass(frozen=True, slots=True)
class FlowLine:
    """A line of a column. indent_mm: from the column's left edge; mark: drawn in that indent; keep: it stays with the
    line after it; gap: an empty line, left out at the top of a column.
    """

    text: str = ""
    weight: Literal["normal", "bold"] = "normal"
    indent_mm: float = 0.0
    mark: str = ""
    keep: bool = False
    gap: bool = False


def text_width_mm(text: str, size_pt: float, weight: str = "normal") -> float:
    """Measure a text that is set in one line."""
    return sum(_advance(letter, weight) for letter in text) / _LETTER_SIZE_PT * size_pt * _MM_PER_PT


def wrapped(text: str, width_mm: float, size_pt: float, weight: str = "normal") -> list[str]:
    """Break a text into lines that are no wider than a width; a word that is wider is broken itself."""
    most_mm = _TIGHT * width_mm
    space_mm = text_width_mm(" ", size_pt, weight)
    lines, line, used_mm = [], "", 0.0
    for word in text.split(" "):
        word_mm = text_width_mm(word, size_pt, weight)
        if line and used_mm + space_mm + word_mm <= most_mm:
            line, used_mm = f"{line} {word}", used_mm + space_mm + word_mm
            continue
        if line:
            lines.append(line)
        while len(word) > 1 and word_mm > most_mm:
            fits = _fitting(word, most_mm, size_pt, weight)
            lines.append(word[:fits])
            word = word[fits:]  # noqa: PLW2901  what is left of it
            word_mm = text_width_mm(word, size_pt, weight)
        line, used_mm = word, word_mm
    return [*lines, line]


def flowed(lines: Sequence[FlowLine], columns: int, most: int) -> list[list[FlowLine]] | None:
    """Spread lines over columns of at most so many lines each; None where they do not fit."""
    filled: list[list[FlowLine]] = [[]]
    for number, line in enumerate(lines):
        needed = 1
        for later in lines[number:]:
            if not later.keep:
                break
            needed += 1
        if len(filled[-1]) + needed > most:
            if len(filled) == columns or needed > most:
                return None
            filled.append([])
        if line.gap and not filled[-1]:
            continue
        filled[-1].append(line)
    return filled


def _fitting(word: str, width_mm: float, size_pt: float, weight: str) -> int:
    """How many letters of a word fit, at least one."""
    used = 0.0
    for count, letter in enumerate(word):
        used += text_width_mm(letter, size_pt, weight)
        if used > width_mm:
            return max(count, 1)
    return len(word)


@cache
def _advance(letter: str, weight: str) -> float:
    """The width of a letter at ``_LETTER_SIZE_PT`` [pt]."""
    font = _font(weight)
    font.set_size(_LETTER_SIZE_PT, 72)
    # Glyph 0 stands for every letter that the font does not have.
    glyph = font.load_glyph(font.get_char_index(ord(letter)), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65_536.0


@cache
def _font(weight: str) -> FT2Font:
    return get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))
