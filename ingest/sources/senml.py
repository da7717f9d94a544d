"""SenML packs in JSON become resolved records: full name, unit, value, absolute time.

Grammar and rules RFC 8428, secondary units RFC 8798, version numbers RFC 9100. Where RFC 8428 can be read in two ways:

- A record that has base fields only sets them and is not a measurement, as in the example of section 5.1.7.
- A record with neither value nor sum is an error, also where a base value stands: section 4.2 asks for one of the two.
- A base value is added to ``v`` only; texts, flags and bytes pass as they are.
- One bad record refuses the whole pack: half of it stored would look like all of it.
"""

from __future__ import annotations

__all__ = ["MAX_SENML_RECORDS", "RELATIVE_BELOW_S", "SECONDARY_VERSION", "SenmlRecord", "decode_senml"]

import re
from base64 import urlsafe_b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Final, NoReturn

from ingest.cellar import SENML_NAME
from ingest.errors import Unreadable
from ingest.sources.json_form import decode_json
from ingest.times import seconds_ms

# More than an hour of one reading a second. A pack of 64 KiB can hold no more records with a value and a time.
MAX_SENML_RECORDS: Final = 4096

# RFC 8428, section 4.5.3: a time below is counted from now, any other from 1970.
RELATIVE_BELOW_S: Final = 2.0**28

# RFC 9100: from 10 on the version is a set of bits. The four low bits make 10, bit 4 allows secondary units.
_LAST_PLAIN_VERSION: Final = 10
SECONDARY_VERSION: Final = _LAST_PLAIN_VERSION | 1 << 4

_YEAR_1_MS: Final = -62_135_596_800_000
_YEAR_10000_MS: Final = 253_402_300_800_000
_SHOWN_CHARACTERS: Final = 40


@dataclass(frozen=True, slots=True)
class SenmlRecord:
    """One measurement, base fields worked in.

    value: in ``unit``; sum: its integral over time, unit x seconds; at most one of value, text, flag and data is there.
    at_ms: UTC milliseconds, None where the record means "now". relative: its time was counted from the arrival.
    secondary: the pack's version allows units of RFC 8798.
    """

    name: str
    unit: str | None
    value: float | None = None
    sum: float | None = None
    text: str | None = None
    flag: bool | None = None
    data: bytes | None = None
    at_ms: int | None = None
    relative: bool = False
    secondary: bool = False


@dataclass(slots=True)
class _Base:
    """The base fields in force."""

    fields: dict[str, object] = field(default_factory=dict)
    version: int | None = None

    def text(self, label: str) -> str:
        value = self.fields.get(label, "")
        return value if isinstance(value, str) else ""

    def number(self, label: str) -> float:
        value = self.fields.get(label, 0.0)
        return value if isinstance(value, float) else 0.0


def decode_senml(payload: bytes, now_ms: int) -> list[SenmlRecord]:
    """The measurements of a pack in order of time, each on its own.

    now_ms: UTC milliseconds at which it arrived; a relative time counts from then. At most 64 KiB and 4096 records.
    Raises Unreadable: what ``decode_json`` raises, or ``not SenML`` with a detail such as ``record 3: no name``. Names
    are compared as they are, upper and lower case apart. Times may lie anywhere in the years 1 to 9999.
    """
    pack = decode_json(payload)
    if not isinstance(pack, list):
        raise Unreadable("not SenML", "a pack is a JSON array of records (RFC 8428, section 4)")
    if not pack:
        raise Unreadable("not SenML", "the pack is empty; it needs at least one record")
    if len(pack) > MAX_SENML_RECORDS:
        raise Unreadable("not SenML", f"{len(pack)} records, at most {MAX_SENML_RECORDS}")
    base = _Base()
    records: list[SenmlRecord] = []
    for number, raw in enumerate(pack, start=1):
        try:
            record = _record(raw, base, now_ms)
        except _BadRecordError as error:
            raise Unreadable("not SenML", f"record {number}: {error}") from None
        if record is not None:
            records.append(record)
    records.sort(key=lambda record: now_ms if record.at_ms is None else record.at_ms)
    return records


# ---- one record ----------------------------------------------------------------------------------------------------


class _BadRecordError(Exception):
    """What is wrong with a record."""


def _record(raw: object, base: _Base, now_ms: int) -> SenmlRecord | None:
    """The measurement that a record is, None where it only sets base fields; ``base`` goes on to the next record."""
    if not isinstance(raw, dict):
        raise _BadRecordError(f"{_shown(raw)} is not a JSON object")
    fields: dict[str, object] = {}
    only_base = False
    for label, value in raw.items():
        if label in _BASE_LABELS:
            base.fields[label] = _BASE_LABELS[label](label, value)
            only_base = True
        elif label in _LABELS:
            fields[label] = _LABELS[label](label, value)
        elif label.endswith("_"):
            # RFC 8428, section 4.4: such a label changes the meaning of the rest.
            raise _BadRecordError(f"label {_shown(label)} must be understood, but is not known here")
    secondary = _secondary_units(raw, base)
    if only_base and not fields:
        return None
    values = [label for label in ("v", "vs", "vb", "vd") if label in fields]
    if len(values) > 1:
        raise _BadRecordError(f"more than one value: {', '.join(values)}")
    if not values and "s" not in fields:
        raise _BadRecordError("neither a value nor a sum")
    at_ms, relative = _time(base.number("bt") + _number_of(fields, "t"), now_ms)
    text, flag, data = fields.get("vs"), fields.get("vb"), fields.get("vd")
    return SenmlRecord(
        name=_full_name(base, fields),
        unit=_text_of(fields, "u") or base.text("bu") or None,
        value=_finite("v", base.number("bv") + _number_of(fields, "v")) if "v" in fields else None,
        sum=_finite("s", base.number("bs") + _number_of(fields, "s")) if "s" in fields else None,
        text=text if isinstance(text, str) else None,
        flag=flag if isinstance(flag, bool) else None,
        data=data if isinstance(data, bytes) else None,
        at_ms=at_ms,
        relative=relative,
        secondary=secondary,
    )


def _full_name(base: _Base, fields: Mapping[str, object]) -> str:
    name = base.text("bn") + _text_of(fields, "n")
    if not name:
        raise _BadRecordError("no name")
    if SENML_NAME.fullmatch(name) is None:
        raise _BadRecordError(f"{_shown(name)} is not a name: letters, digits, and - : . / _ behind the first")
    return name


def _time(seconds: float, now_ms: int) -> tuple[int | None, bool]:
    """(UTC milliseconds, whether it was relative); None for a record that is of now."""
    _finite("t", seconds)
    if seconds == 0:
        return None, False
    relative = seconds < RELATIVE_BELOW_S
    from_ms = now_ms if relative else 0
    # Held against the ends before it is rounded: 1e306 s are infinitely many milliseconds to a double.
    if not _YEAR_1_MS <= from_ms + seconds * 1000 <= _YEAR_10000_MS - 1:
        raise _BadRecordError("its time is outside the years 1 to 9999")
    return from_ms + seconds_ms(seconds), relative


def _secondary_units(raw: Mapping[str, object], base: _Base) -> bool:
    """Check the version, and say whether it allows secondary units.

    RFC 8428, section 4.4 (from memory): all records of a pack have one version, 10 where nothing is said.
    """
    version = base.fields.get("bver", _LAST_PLAIN_VERSION)
    assert isinstance(version, int)
    if version > _LAST_PLAIN_VERSION and version != SECONDARY_VERSION:
        raise _BadRecordError(
            f"version {_shown(version)}; understood are up to {_LAST_PLAIN_VERSION}, and {SECONDARY_VERSION}"
        )
    if base.version is not None and version != base.version:
        raise _BadRecordError(f"bver {version}, but the records before have {base.version}; a pack has one version")
    base.version = version
    return version == SECONDARY_VERSION


# ---- fields --------------------------------------------------------------------------------------------------------


def _a_text(label: str, value: object) -> str:
    if not isinstance(value, str):
        _wrong(label, value, "a text")
    return value


def _a_number(label: str, value: object) -> float:
    # bool is a subclass of int, so isinstance would let true through as 1.
    if type(value) is not int and type(value) is not float:
        _wrong(label, value, "a number")
    try:
        number = float(value)
    except OverflowError:
        raise _BadRecordError(f"{label} is beyond 1.8e308") from None
    return _finite(label, number)


def _a_flag(label: str, value: object) -> bool:
    if not isinstance(value, bool):
        _wrong(label, value, "true or false")
    return value


def _a_version(label: str, value: object) -> int:
    if type(value) is not int or value < 1:
        _wrong(label, value, "a whole number above 0")
    return value


_BASE64URL = re.compile(r"[-_A-Za-z0-9]*")


def _some_bytes(label: str, value: object) -> bytes:
    """RFC 8428, section 4.2: base64url of RFC 4648, section 5, without padding."""
    if not isinstance(value, str) or _BASE64URL.fullmatch(value) is None or len(value) % 4 == 1:
        _wrong(label, value, "base64url without padding")
    return urlsafe_b64decode(value + "=" * (-len(value) % 4))


_BASE_LABELS: Final[Mapping[str, Callable[[str, object], object]]] = {
    "bn": _a_text,
    "bt": _a_number,
    "bu": _a_text,
    "bv": _a_number,
    "bs": _a_number,
    "bver": _a_version,
}
_LABELS: Final[Mapping[str, Callable[[str, object], object]]] = {
    "n": _a_text,
    "u": _a_text,
    "v": _a_number,
    "vs": _a_text,
    "vb": _a_flag,
    "vd": _some_bytes,
    "s": _a_number,
    "t": _a_number,
    "ut": _a_number,
}


def _text_of(fields: Mapping[str, object], label: str) -> str:
    value = fields.get(label, "")
    return value if isinstance(value, str) else ""


def _number_of(fields: Mapping[str, object], label: str) -> float:
    value = fields.get(label, 0.0)
    return value if isinstance(value, float) else 0.0


def _finite(label: str, number: float) -> float:
    if not isfinite(number):
        raise _BadRecordError(f"{label} is beyond 1.8e308")
    return number


def _wrong(label: str, value: object, wanted: str) -> NoReturn:
    raise _BadRecordError(f"{label} = {_shown(value)}, but {wanted} is needed")


def _shown(value: object) -> str:
    if isinstance(value, int) and abs(value) > 10**20:
        return "a very large number"  # Python refuses to print whole numbers of more than 4300 digits
    text = ascii(value)
    return text if len(text) <= _SHOWN_CHARACTERS else text[:_SHOWN_CHARACTERS] + "..."
