"""JSON for other programs: one place, so that nothing else but RFC 8259 goes out."""

from __future__ import annotations

__all__ = ["json_text"]

import json

from ingest.errors import IngestError


def json_text(value: object, *, indent: int | None = None) -> str:
    """Write a value as JSON. Raises IngestError for NaN and infinity, for which RFC 8259 (section 6) has no form."""
    try:
        return json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False)
    except ValueError as error:
        raise IngestError(f"a number is infinite or not a number, and JSON cannot hold it ({error})") from error
