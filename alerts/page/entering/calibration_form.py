"""The form of a calibration: what it writes, and what the probe shows meanwhile."""

from __future__ import annotations

__all__ = ["calibration_writing"]

from dataclasses import replace

from alerts.page.context import PageContext
from alerts.page.entering.buffer_reading import BufferReading, buffer_reading, with_reading
from alerts.page.entering.calibration_answers import calibration_kind, prepared_calibration
from alerts.page.entering.entry_pages import Writing
from alerts.page.entering.entry_post import EntryPost
from alerts.view.format import age, value_text, with_capital
from ingest.calibrating import series_now
from ingest.cellar import Cellar, Probe
from ingest.entering import Prepared, write
from ingest.errors import IngestError
from ingest.journal.entry import Entry
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.store import Store
from ingest.store.journal.idempotency_keys import Once
from ingest.store.readings.series_history import newest


def calibration_writing(context: PageContext, probe: Probe, store: Store) -> Writing:
    """Make what the form of a probe's calibration writes, with what the probe shows now."""
    cellar, is_ph = context.cellar, probe.quantity == "pH"
    # Of a pH probe the form shows it live.
    shown = "" if is_ph else _shown_now(store, probe, cellar, context.clock())

    def prepared(store: Store, post: EntryPost, _: bool) -> Prepared:
        at = post.at or (post.now if post.step == "save" else None) or None
        return prepared_calibration(store, cellar, probe, post.texts, who=post.who, at=at, now_ms=context.clock())

    def written(store: Store, _: EntryPost, prepared: Prepared, __: bool, once: Once | None) -> Entry:
        return write(store, cellar, prepared, now_ms=context.clock(), once=once)

    action = f"/enter/calibration/{probe.id}"
    kind = replace(calibration_kind(probe), says=f"{CALIBRATION.says} {shown}".rstrip())
    writing = Writing(kind, f"Calibration of {probe.id}", action, prepared, written)
    if not is_ph:
        return writing

    def shows(store: Store, post: EntryPost) -> BufferReading | None:
        texts = post.texts
        return buffer_reading(context, probe, store, texts.get("buffer", ()), texts.get("reads", ()), post.taken_ms)

    return replace(writing, shows=shows, take=lambda store, post: with_reading(context, probe, store, post))


def _shown_now(store: Store, probe: Probe, cellar: Cellar, now_ms: int) -> str:
    """What leeside shows of a probe now, in a sentence."""
    try:
        series = series_now(store, probe).id
    except IngestError as error:
        return f"{with_capital(str(error))}."
    rows = newest(store, series, 1)
    if not rows:
        return "It has shown nothing yet."
    return (
        f"It shows {value_text(probe.quantity, rows[0].value, cellar.site.units)}, {age(now_ms - rows[0].at_ms)} old."
    )
