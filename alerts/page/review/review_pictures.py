"""The pictures of a review, drawn by child processes: one at a time, few that wait, and each kept for a while."""

from __future__ import annotations

__all__ = ["ReviewPictures"]

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Final

from fastapi import HTTPException

from alerts.errors import PictureFailed
from alerts.pictures import Chart, PictureKind, ReviewSheet, draw

# A child takes half a second of a desktop's processor, several of a small board's.
_TIMEOUT_S: Final = 60.0
# So many wait for the one that is drawn; more are refused, so that a flood of requests takes no thread from others.
_WAITING: Final = 8
_KEPT: Final = 24


class ReviewPictures:
    """Draws pictures, and keeps the newest: the same description gives the same bytes."""

    def __init__(self, drawing: Callable[..., bytes] = draw) -> None:
        self._drawing = drawing
        self._count, self._counting = 0, Lock()
        self._one = Lock()
        self._kept: OrderedDict[tuple[object, ...], bytes] = OrderedDict()

    @property
    def waiting(self) -> int:
        """How many requests wait for a picture, that which is drawn included."""
        return self._count

    def drawn(self, picture: Chart | ReviewSheet, kind: PictureKind, sheet: int = 0) -> bytes:
        """Draw a picture, or give it as it was drawn before. Raises HTTPException 503 where it cannot be drawn now."""
        key = (picture, kind, sheet)
        with self._counting:
            if self._count >= _WAITING:
                raise HTTPException(503, "Other pictures are being drawn: ask again in a minute.")
            self._count += 1
        try:
            with self._one:
                if key not in self._kept:
                    self._kept[key] = self._drawing(picture, kind, _TIMEOUT_S, sheet=sheet)
                    while len(self._kept) > _KEPT:
                        self._kept.popitem(last=False)
                self._kept.move_to_end(key)
                return self._kept[key]
        except PictureFailed as error:
            raise HTTPException(503, f"The picture could not be drawn: {error}") from error
        finally:
            with self._counting:
                self._count -= 1
