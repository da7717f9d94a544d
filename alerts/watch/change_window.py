"""How much a value has changed within a time: a memory of lows and highs whose size does not depend on the readings.

The time is cut into ``PIECES``; of each only the lowest and the highest value are kept. So what is remembered reaches
back for the whole time, less at most one piece: a change is never counted over more than the time allows.

Each value is the median of the last three good readings, so a single noisy one makes no change.
"""

from __future__ import annotations

__all__ = ["PIECES", "Change", "ChangeWindow"]

from typing import Final, NamedTuple

PIECES: Final = 30


class Change(NamedTuple):
    """A change up to a reading. by: how much, more than 0 for a rise, in the quantity's unit; is_whole: the time before
    is known without a gap, so a small change means that there was no large one.
    """

    by: float
    is_whole: bool


class ChangeWindow(NamedTuple):
    """What is remembered. pieces: (number of the piece since 1970, lowest, highest), oldest first; last: the last two
    good values; newest_ms: own time of the last good reading; whole_since_ms: of the first one after the last gap.
    """

    pieces: tuple[tuple[int, float, float], ...] = ()
    last: tuple[float, ...] = ()
    newest_ms: int | None = None
    whole_since_ms: int = 0

    def after(
        self, at_ms: int, value: float, *, within_ms: float, fresh_ms: float
    ) -> tuple[ChangeWindow, Change | None]:
        """Take a good reading that is not older than the one before; the change up to it, None until there are three.

        within_ms: the time in which the change counts; fresh_ms: a longer time without a good reading is a gap.
        """
        is_gap = self.newest_ms is None or at_ms - self.newest_ms > fresh_ms
        whole_since_ms = at_ms if is_gap else self.whole_since_ms
        values = (*self.last, value)
        if len(values) < 3:
            return ChangeWindow(self.pieces, values, at_ms, whole_since_ms), None
        middle = sorted(values)[1]
        number = int(at_ms // (within_ms / PIECES))
        # The oldest piece that lies whole within the time; the newest one is still filling.
        pieces = self.pieces
        if pieces and pieces[0][0] <= number - PIECES:
            pieces = tuple(piece for piece in pieces if piece[0] > number - PIECES)
        if pieces and pieces[-1][0] == number:
            _, low, high = pieces[-1]
            pieces = (*pieces[:-1], (number, min(low, middle), max(high, middle)))
        else:
            pieces = (*pieces, (number, middle, middle))
        rise = middle - min(low for _, low, _ in pieces)
        fall = middle - max(high for _, _, high in pieces)
        change = Change(rise if rise >= -fall else fall, at_ms - whole_since_ms >= within_ms)
        return ChangeWindow(pieces, values[1:], at_ms, whole_since_ms), change
