"""A vessel in one line, as a digest lists it."""

from __future__ import annotations

__all__ = ["vessel_line"]

from datetime import tzinfo

from alerts.view.format import age, value_text
from alerts.view.gas.blanket_lines import blanket_of, finding_name, floor_text, lost_text
from alerts.view.so2.so2_lines import judged_so2_line
from alerts.view.status import PlaceStatus, ReadingStatus
from alerts.view.vessel_contents import volume_text
from ingest.journal.contents import Contents


def vessel_line(place: PlaceStatus, zone: tzinfo, units: str, now_ms: int) -> str:
    """Say what is in it, its SO2 and its blanket as they are judged, and its newest readings, in one line.

    Such as "K1: 17.5 L of rebula-26; free SO2 about 19 mg/L (16 to 21), ...; blanket sound; 56.4 kPa, 13.0 °C".
    """
    parts = [_contents_words(place.contents, units)]
    is_wine = place.contents is None or not place.contents.empty
    if is_wine and (so2 := judged_so2_line(place.judgements, zone, now_ms)):
        parts.append(so2)
    if (blanket := blanket_of(place.judgements, now_ms)) is not None:
        name = finding_name(blanket)
        gas = [name if blanket.without_blanket else f"blanket {name}"]
        if blanket.finding != "sound":
            gas += [text for text in (lost_text(blanket, units), floor_text(blanket, units)) if text]
        parts.append(", ".join(gas))
    if readings := ", ".join(_reading_words(reading, units, now_ms) for reading in place.readings):
        parts.append(readings)
    return f"{place.id}: {'; '.join(part for part in parts if part)}"


def _contents_words(contents: Contents | None, units: str) -> str:
    if contents is None or not contents.known:
        return "contents not entered yet"
    if contents.empty:
        return "empty"
    volume = "an unknown volume" if contents.volume_l is None else volume_text(contents.volume_l, units)
    return f"{volume} of {' and '.join(part.words for part in contents.lots)}"


def _reading_words(reading: ReadingStatus, units: str, now_ms: int) -> str:
    if reading.value is None or reading.at_ms is None:
        return f"nothing from {reading.probe} yet"
    value = value_text(reading.quantity, reading.value, units)
    value = f"pH {value}" if reading.quantity == "pH" else value
    if reading.silent:
        return f"{value} {age(now_ms - reading.at_ms)} ago, silent since then"
    return value if reading.quality != "bad" else f"{value} (bad)"
