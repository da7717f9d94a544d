"""JSON payloads: strict decoding, places, numbers and times."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import Unreadable
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.times import parse_rfc3339

WHOLE = JsonPointer.parse("")

# RFC 6901, section 5: the document and its pointers.
RFC6901 = decode_json(
    rb"""{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5,
    "k\"l": 6, " ": 7, "m~n": 8}"""
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_examples_of_rfc_6901(pointer: str, value: object) -> None:
    assert JsonPointer.parse(pointer).find(RFC6901) == value


def test_an_escaped_tilde_before_a_one_is_no_slash() -> None:
    assert JsonPointer.parse("/~01").tokens == ("~1",)  # RFC 6901, section 4


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("gas.kPa", "write '/gas/kPa'"),
        ("#/gas", "write '/gas'"),
        ("/a~b", "'~' at character 3 must be written '~0'"),
        ("/a~", "'~' at character 3 must be written '~0'"),
        ("/~2", "must be written '~0'"),
    ],
)
def test_a_pointer_that_is_none_says_how_to_write_it(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says.replace("(", r"\(")):
        JsonPointer.parse(text)


@pytest.mark.parametrize(
    "pointer",
    [
        "/none",
        "/foo/2",
        "/foo/-",
        "/foo/01",
        "/foo/+1",
        "/foo/-1",
        "/foo/\u0661",
        "/foo/0/x",
        "/a~1b/x",
        "/foo/" + "9" * 5000,
    ],
)
def test_a_place_that_is_not_there_is_refused(pointer: str) -> None:
    with pytest.raises(Unreadable) as caught:
        JsonPointer.parse(pointer).find(RFC6901)
    assert caught.value.reason == "no such place in the JSON"


@given(st.lists(st.text()))
def test_any_key_can_be_pointed_at(keys: list[str]) -> None:
    document: object = 7
    for key in reversed(keys):
        document = {key: document}
    text = "".join("/" + key.replace("~", "~0").replace("/", "~1") for key in keys)
    assert JsonPointer.parse(text).find(document) == 7


# ---- decoding


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"{} x", "not JSON"),
        (b"{'t':1}", "not JSON"),
        (b'{"t":NaN}', "not JSON"),
        (b'{"t":Infinity}', "not JSON"),
        (b'{"t":-Infinity}', "not JSON"),
        (b'{"t":01}', "not JSON"),
        (b"\xef\xbb\xbf{}", "not JSON"),  # a byte order mark
        (b'{"t":' + b"9" * 5000 + b"}", "not JSON"),  # Python refuses so many digits
        (b'{"t":"\xb0"}', "not UTF-8"),
        (b'{"t":1,"t":2}', "duplicate key"),
        (b'{"a":[{"t":1,"u":3,"t":2}]}', "duplicate key"),
        (b"[" * 33 + b"]" * 33, "nested too deep"),
        (b"[" * 30000 + b"]" * 30000, "nested too deep"),
        (b'{"a":' * 9000 + b"1" + b"}" * 9000, "nested too deep"),
        (b'"' + b"x" * 65535 + b'"', "too large"),
    ],
)
def test_what_is_not_sound_json_is_refused_with_its_reason(payload: bytes, why: str) -> None:
    with pytest.raises(Unreadable) as caught:
        decode_json(payload)
    assert caught.value.reason == why


def test_the_limits_themselves_are_allowed() -> None:
    assert decode_json(b'"' + b"x" * 65534 + b'"') == "x" * 65534
    deep = decode_json(b"[" * 31 + b"[1]" + b"]" * 31)
    assert JsonPointer.parse("/0" * 32).find(deep) == 1
    assert decode_json(b"[" + b",".join([b"{}"] * 100) + b"]") == [{}] * 100


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(JSON_VALUES)
def test_sound_json_comes_out_as_it_went_in(value: object) -> None:
    assert decode_json(json.dumps(value).encode()) == value


@given(st.binary() | st.text(alphabet='[]{}",:0123456789eE.+-tfn\\u').map(str.encode))
def test_any_bytes_are_decoded_or_refused(payload: bytes) -> None:
    try:
        decode_json(payload)
    except Unreadable as refused:
        assert refused.reason in {"not JSON", "not UTF-8", "duplicate key", "nested too deep", "too large"}


# ---- numbers


@pytest.mark.parametrize(("payload", "value"), [(b"21.5", 21.5), (b"-3", -3.0), (b"0", 0.0), (b"1e3", 1000.0)])
def test_a_json_number_is_read(payload: bytes, value: float) -> None:
    number = number_at(decode_json(payload), WHOLE)
    assert number == value
    assert type(number) is float


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"true", "not a number"),
        (b"false", "not a number"),
        (b"null", "not a number"),
        (b'"21.5"', "not a number"),
        (b"[21.5]", "not a number"),
        (b"{}", "not a number"),
        (b"1e400", "not finite"),
        (b"-1e400", "not finite"),
        (b"9" * 400, "not finite"),
    ],
)
def test_nothing_else_passes_for_a_number(payload: bytes, why: str) -> None:
    with pytest.raises(Unreadable) as caught:
        number_at(decode_json(payload), WHOLE)
    assert caught.value.reason == why


# ---- times


def ms(year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0, milli: int = 0) -> int:
    return round(datetime(year, month, day, hour, minute, second, tzinfo=UTC).timestamp()) * 1000 + milli


@pytest.mark.parametrize(
    ("text", "at_ms"),
    [
        # RFC 3339, section 5.8
        ("1985-04-12T23:20:50.52Z", ms(1985, 4, 12, 23, 20, 50, 520)),
        ("1996-12-19T16:39:57-08:00", ms(1996, 12, 20, 0, 39, 57)),
        ("1990-12-31T23:59:60Z", ms(1991, 1, 1)),
        ("1990-12-31T15:59:60-08:00", ms(1991, 1, 1)),
        ("1937-01-01T12:00:27.87+00:20", ms(1937, 1, 1, 11, 40, 27, 870)),
        # section 5.6, its notes; section 4.3: the offset -00:00
        ("2026-11-25t08:30:00z", ms(2026, 11, 25, 8, 30)),
        ("2026-11-25 08:30:00Z", ms(2026, 11, 25, 8, 30)),
        ("2026-11-25T08:30:00-00:00", ms(2026, 11, 25, 8, 30)),
        ("2026-11-25T08:30:00.1239999999Z", ms(2026, 11, 25, 8, 30, 0, 124)),
        ("2026-11-25T08:30:00.1234Z", ms(2026, 11, 25, 8, 30, 0, 123)),
        ("2026-11-25T08:30:00.1235Z", ms(2026, 11, 25, 8, 30, 0, 124)),
        ("2026-11-25T08:30:59.9996Z", ms(2026, 11, 25, 8, 31)),
        ("2024-02-29T00:00:00+05:30", ms(2024, 2, 28, 18, 30)),
        ("1990-12-31T23:59:60.5Z", ms(1991, 1, 1, 0, 0, 0, 500)),
    ],
)
def test_rfc_3339_times(text: str, at_ms: int) -> None:
    assert parse_rfc3339(text) == at_ms
    assert time_at({"at": text}, JsonPointer.parse("/at")) == at_ms


@pytest.mark.parametrize(
    "text",
    [
        "2026-11-25T08:30:00",  # no zone
        "2026-11-25T08:30Z",
        "2026-11-25",
        "20261125T083000Z",
        "2026-W48-3T08:30:00Z",
        "2026-02-30T08:30:00Z",
        "2026-13-01T08:30:00Z",
        "0000-01-01T00:00:00Z",
        "0001-01-01T00:00:00+01:00",
        "9999-12-31T23:59:59-01:00",
        "2026-11-25T24:00:00Z",
        "2026-11-25T08:60:00Z",
        "2026-11-25T08:30:61Z",
        "2026-11-25T08:30:60Z",  # no leap second there
        "2026-11-25T23:59:60+01:00",
        "2026-11-25T08:30:00+24:00",
        "2026-11-25T08:30:00+01:60",
        "2026-11-25T08:30:00+0100",
        "2026-11-25T08:30:00.Z",
        "2026-11-25T08:30:00Z\n",
        "\u0662026-11-25T08:30:00Z",
        "",
        "1764059400",
    ],
)
def test_what_is_no_rfc_3339_time_is_refused(text: str) -> None:
    with pytest.raises(Unreadable) as caught:
        time_at(text, WHOLE)
    assert caught.value.reason == "not a time"


@given(st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30)), st.integers(-1439, 1439))
def test_any_time_in_any_zone_comes_out_right(at: datetime, offset_min: int) -> None:
    at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    sign = "-" if offset_min < 0 else "+"
    text = f"{at.isoformat(timespec='milliseconds')}{sign}{abs(offset_min) // 60:02}:{abs(offset_min) % 60:02}"
    expected = datetime.fromisoformat(text) - datetime(1970, 1, 1, tzinfo=UTC)
    assert parse_rfc3339(text) == (expected.days * 86400 + expected.seconds) * 1000 + expected.microseconds // 1000


@pytest.mark.parametrize(
    ("payload", "at_ms"),
    [
        (b"1764059400", 1764059400_000),
        (b"1764059400.5", 1764059400_500),
        (b"1276020076.001", 1276020076_001),
        (b"1.276020076001e+09", 1276020076_001),
        (b"1764059400123", 1764059400_123),
        (b"1764059400123.7", 1764059400_124),
        (b"1764059400123456", 1764059400_123),
        (b"1764059400123456789", 1764059400_123),
        (b"99999999999", 99999999999_000),  # the largest taken for seconds
        (b"100000000000", 100000000000),  # the smallest taken for milliseconds
        (b"99999999999999", 99999999999999),
        (b"100000000000000", 100000000000),
        (b"99999999999999999", 100000000000000),
        (b"100000000000000000", 100000000000),
        (b"0", 0),
        (b"-1", -1000),
    ],
)
def test_an_epoch_number_tells_its_unit_by_its_size(payload: bytes, at_ms: int) -> None:
    assert time_at(decode_json(payload), WHOLE) == at_ms


@pytest.mark.parametrize("payload", [b"true", b"null", b"[]", b"1e400", b"1e300", b"9" * 40])
def test_what_is_no_time_is_refused(payload: bytes) -> None:
    with pytest.raises(Unreadable) as caught:
        time_at(decode_json(payload), WHOLE)
    assert caught.value.reason == "not a time"
