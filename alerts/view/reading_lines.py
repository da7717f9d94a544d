"""The newest reading of a probe."""

from __future__ import annotations

__all__ = ["reading_json", "reading_line"]

from alerts.view.format import age, quality_text, quantity_name, value_text
from alerts.view.status import ReadingStatus
from ingest.cellar import QUANTITIES
from ingest.times import iso_utc_known


def reading_line(reading: ReadingStatus, units: str, now_ms: int) -> str:
    """Give quantity, value, age, quality and probe."""
    name = f"{quantity_name(reading.quantity):20}"
    if reading.value is None or reading.at_ms is None:
        return f"{name} nothing yet  [{reading.probe}]"
    value = value_text(reading.quantity, reading.value, units)
    silent = ", silent since then" if reading.silent else ""
    quality = "" if reading.quality in (None, "good") else f", {quality_text(reading.quality, reading.reason)}"
    return f"{name} {value:>12}  {age(now_ms - reading.at_ms)} ago{silent}{quality}  [{reading.probe}]"


def reading_json(reading: ReadingStatus) -> dict[str, object]:
    """Give the same as an object."""
    return {
        "probe": reading.probe,
        "quantity": reading.quantity,
        "value": reading.value,
        "unit": QUANTITIES[reading.quantity].unit,
        "at": iso_utc_known(reading.at_ms),
        "quality": reading.quality,
        "reason": reading.reason,
        "silent": reading.silent,
    }
