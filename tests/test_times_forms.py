"""One instant is one reading in every form in which a time comes in."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from hypothesis import example, given
from hypothesis import strategies as st

from ingest.exchange.moments import Moments
from ingest.sources.json_form import JsonPointer, decode_json, time_at
from ingest.sources.senml import decode_senml
from ingest.times import moment_of, parse_rfc3339

WHOLE = JsonPointer.parse("")
LJUBLJANA = ZoneInfo("Europe/Ljubljana")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FROM_US, TO_US = 946_684_800_000_000, 4_102_444_800_000_000  # 2000 to 2100


def _number(number: str) -> int:
    return time_at(decode_json(number.encode()), WHOLE)


def _senml(record: str) -> int | None:
    return decode_senml(f'[{{"n":"k1","v":1,{record}}}]'.encode(), 0)[0].at_ms


@given(st.integers(FROM_US, TO_US), st.integers(-1439, 1439))
@example(1_790_000_000_123_500, 0)
@example(1_790_000_000_122_500, 60)
@example(1_790_000_000_123_499, 0)
@example(1_790_000_000_999_500, 0)
@example(1_790_000_000_000_499, -90)
def test_an_instant_to_the_microsecond_is_one_reading_in_every_form(at_us: int, offset_min: int) -> None:
    seconds, fraction = at_us // 1_000_000, f"{at_us % 1_000_000:06d}"
    local = (EPOCH + timedelta(seconds=seconds)).astimezone(timezone(timedelta(minutes=offset_min)))
    text = f"{local:%Y-%m-%dT%H:%M:%S}.{fraction}{local.isoformat()[-6:]}"
    table = Moments(LJUBLJANA, TO_US)
    forms = {
        "JSON text": parse_rfc3339(text),
        "JSON text, nanoseconds": parse_rfc3339(text.replace(fraction, fraction + "000")),
        "JSON seconds": _number(f"{seconds}.{fraction}"),
        "JSON milliseconds": _number(f"{at_us // 1000}.{at_us % 1000:03d}"),
        "JSON microseconds": _number(str(at_us)),
        "JSON nanoseconds": _number(f"{at_us}000"),
        "SenML": _senml(f'"t":{seconds}.{fraction}'),
        "SenML, base time": _senml(f'"bt":{seconds},"t":0.{fraction}'),
        "table": table.at_ms(text),
        "table, Unix seconds": table.at_ms(f"{seconds}.{fraction}"),
        "a person's words": moment_of(text, LJUBLJANA),
    }
    if at_us // 1000 >= 10**12:
        forms["table, Unix milliseconds"] = table.at_ms(f"{at_us // 1000}.{at_us % 1000:03d}")
    assert forms == dict.fromkeys(forms, (at_us + 500) // 1000)


@given(st.integers(FROM_US // 1_000_000, TO_US // 1_000_000), st.text("0123456789", min_size=1, max_size=9))
@example(1_790_000_000, "1234995")
@example(1_790_000_000, "123499999")
def test_more_digits_are_the_same_reading_as_text_and_as_a_number_of_seconds(seconds: int, fraction: str) -> None:
    text = f"{EPOCH + timedelta(seconds=seconds):%Y-%m-%dT%H:%M:%S}.{fraction}Z"
    table = Moments(LJUBLJANA, TO_US)
    number = json.dumps(float(f"{seconds}.{fraction}"))
    assert {
        parse_rfc3339(text),
        _number(f"{seconds}.{fraction}"),
        _number(number),
        _senml(f'"t":{number}'),
        table.at_ms(text),
        table.at_ms(f"{seconds}.{fraction}"),
    } == {_number(number)}
