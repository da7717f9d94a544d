"""A serial line as the cellar file describes it: the one place where a ``[[serial]]`` table becomes a source."""

from __future__ import annotations

__all__ = ["line_of"]

from collections.abc import Callable

from ingest.cellar.connections import SerialSettings
from ingest.sources.sample import Sample
from ingest.sources.serial_line import SerialLine


def line_of(settings: SerialSettings, deliver: Callable[[Sample], None], clock: Callable[[], int]) -> SerialLine:
    """The line, not yet started; deliver and clock as of SerialLine. Raises SourceError."""
    return SerialLine(
        line_id=settings.id,
        device=settings.device,
        baud=settings.baud,
        bytesize=settings.bytesize,
        parity=settings.parity[0].upper(),
        stopbits=settings.stopbits,
        settle_s=settings.settle_s,
        questions=[question.encode(settings.encoding) for question in settings.poll],
        ask_every_s=settings.poll_every_s,
        deliver=deliver,
        clock=clock,
    )
