"""Entries of the journal, and the numbers that they found, as lines of the InfluxDB line protocol. Pure.

A strike sends the same points again with ``struck`` 1 instead of 0, since a point that was sent cannot be taken back by
writing. So tags hold only what a strike does not change, and who charts results leaves out what is struck.
"""

from __future__ import annotations

__all__ = ["entry_lines"]

from collections.abc import Mapping

from ingest.journal.body import Body, body_data
from ingest.journal.entry import Entry, places_of
from ingest.journal.kinds import body_words
from ingest.journal.kinds.measurement import MEASURED_UNITS, MeasurementBody
from ingest.journal.kinds.titration import FOUND_UNITS
from ingest.mirror.encoder import NS_PER_MS, tags_text, text_field


def entry_lines(entry: Entry, site: str) -> list[str]:
    """Measurement ``entry``, a point for each place that the entry speaks of (one without, if it speaks of none), and
    measurement ``result``, one for each number that it adds to a history.

    Places are called as they were when the entry was written. Entries of one millisecond are kept apart by what the
    nanoseconds have to spare.
    """
    at_ns = entry.at_ms * NS_PER_MS + entry.id % NS_PER_MS
    texts = {"body": body_data(entry.body), "said": body_words(entry.body, entry.lot), "who": entry.who}
    remark = getattr(entry.body, "remark", None)
    if remark is not None:
        texts["remark"] = remark
    numbers = {"entry": entry.id, "struck": int(entry.struck is not None), "written_ms": entry.written_ms}
    if entry.struck is not None:
        texts |= {"struck_by": entry.struck.who, "struck_reason": entry.struck.reason}
        numbers["struck_ms"] = entry.struck.at_ms
    fields = _fields(texts, numbers)
    own = {"kind": entry.kind, "lot": entry.lot or "", "site": site}
    lines = [
        f"entry{tags_text({**own, 'place': place})} {fields} {at_ns}"
        for place in places_of(entry.place, entry.body) or ("",)
    ]
    return [*lines, *_result_lines(entry, site, at_ns)]


def _result_lines(entry: Entry, site: str, at_ns: int) -> list[str]:
    lines = []
    for result in entry.body.results:
        tags = {"place": entry.place or "", "lot": entry.lot or "", "quantity": result.quantity, "site": site}
        unit = FOUND_UNITS.get(result.quantity) or _measured_unit(entry.body)
        numbers = {"entry": entry.id, "struck": int(entry.struck is not None)}
        fields = _fields({"unit": unit} if unit else {}, numbers) + f",value={float(result.value)!r}"
        if result.u is not None:
            fields += f",u={float(result.u)!r}"
        lines.append(f"result{tags_text(tags)} {fields} {at_ns}")
    return lines


def _fields(texts: Mapping[str, str], numbers: Mapping[str, int]) -> str:
    fields = [f"{key}={number}i" for key, number in numbers.items()]
    return ",".join([*fields, *(text_field(key, text) for key, text in texts.items())])


def _measured_unit(body: Body) -> str:
    if isinstance(body, MeasurementBody):
        return body.unit or MEASURED_UNITS.get(body.quantity, "")
    return ""
