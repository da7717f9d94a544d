"""SenML packs: the examples of RFC 8428, and what is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW

from ingest.errors import Unreadable
from ingest.sources.senml import MAX_SENML_RECORDS, SenmlRecord, decode_senml

MAC = "urn:dev:ow:10e2073a01080063"


def decoded(*records: object, now_ms: int = NOW) -> list[SenmlRecord]:
    return decode_senml(json.dumps(records).encode(), now_ms)


def refused(*records: object) -> str:
    """The detail of the refusal."""
    with pytest.raises(Unreadable) as caught:
        decoded(*records)
    assert caught.value.reason == "not SenML"
    return caught.value.detail


# ---- the examples of RFC 8428 --------------------------------------------------------------------------------------


def test_a_single_data_point() -> None:
    """Section 5.1.1."""
    assert decoded({"n": MAC, "u": "Cel", "v": 23.1}) == [SenmlRecord(MAC, "Cel", 23.1)]


def test_two_values_of_one_instrument() -> None:
    """Section 5.1.2, the first example."""
    base = MAC + ":"
    assert decoded(
        {"bn": base, "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ) == [SenmlRecord(base + "voltage", "V", 120.1), SenmlRecord(base + "current", "A", 1.2)]


def test_several_values_over_time() -> None:
    """Section 5.1.2, the second example. Its base name has one digit less than the others, its version is 5."""
    base = "urn:dev:ow:10e2073a0108006:"
    currents = [(-5, 1.2), (-4, 1.3), (-3, 1.4), (-2, 1.5), (-1, 1.6), (0, 1.7)]
    found = decoded(
        {"bn": base, "bt": 1.276020076001e09, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
        *({"n": "current", "t": t, "v": v} if t else {"n": "current", "v": v} for t, v in currents),
    )
    at = 1_276_020_076_001
    assert found == [
        *(SenmlRecord(base + "current", "A", v, at_ms=at + t * 1000) for t, v in currents[:-1]),
        SenmlRecord(base + "voltage", "V", 120.1, at_ms=at),
        SenmlRecord(base + "current", "A", 1.7, at_ms=at),
    ]


def test_several_quantities_over_time() -> None:
    """Sections 5.1.3 and 5.1.4, the pack and what it resolves to."""
    rows: list[tuple[int, list[tuple[str, float]]]] = [
        (0, [("%RH", 20), ("lon", 24.30621), ("lat", 60.07965)]),
        (60, [("%RH", 20.3), ("lon", 24.30622), ("lat", 60.07965)]),
        (120, [("%RH", 20.7), ("lon", 24.30623), ("lat", 60.07966)]),
        (150, [("%EL", 98)]),
        (180, [("%RH", 21.2), ("lon", 24.30628), ("lat", 60.07967)]),
    ]
    pack: list[dict[str, Any]] = []
    for t, values in rows:
        for unit, value in values:
            record: dict[str, Any] = {"v": value}
            if unit != "%RH":
                record["u"] = unit
            if t:
                record["t"] = t
            pack.append(record)
    pack[0] |= {"bn": MAC, "bt": 1320067464, "bu": "%RH"}
    assert len(pack) == 13
    assert decoded(*pack) == [
        SenmlRecord(MAC, unit, value, at_ms=(1320067464 + t) * 1000) for t, values in rows for unit, value in values
    ]


def test_values_of_every_kind() -> None:
    """Section 5.1.5. The unit of a record is no base field and does not carry over."""
    base = MAC + ":"
    assert decoded(
        {"bn": base, "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ) == [
        SenmlRecord(base + "temp", "Cel", 23.1),
        SenmlRecord(base + "label", None, text="Machine Room"),
        SenmlRecord(base + "open", None, flag=False),
        SenmlRecord(base + "nfv-reader", None, data=b"hi \n"),
    ]


def test_a_collection_of_instruments() -> None:
    """Section 5.1.6."""
    found = decoded(
        {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    )
    assert [(record.name, record.unit, record.value) for record in found] == [
        ("2001:db8::2/temperature", "Cel", 25.2),
        ("2001:db8::2/humidity", "%RH", 30),
        ("2001:db8::1/temperature", "Cel", 12.3),
        ("2001:db8::1/humidity", "%RH", 67),
    ]
    assert {record.at_ms for record in found} == {1_320_078_429_000}


def test_a_record_of_base_fields_alone_measures_nothing() -> None:
    """Section 5.1.7."""
    base = MAC + ":"
    assert decoded(
        {"bn": base},
        {"n": "temp", "u": "Cel", "v": 23.1},
        {"n": "heat", "u": "/", "v": 1},
        {"n": "fan", "u": "/", "v": 0},
    ) == [
        SenmlRecord(base + "temp", "Cel", 23.1),
        SenmlRecord(base + "heat", "/", 1.0),
        SenmlRecord(base + "fan", "/", 0.0),
    ]
    assert decoded({"bn": base, "bv": 5}) == []


# ---- base fields and times -----------------------------------------------------------------------------------------


def test_base_value_and_base_sum_are_added() -> None:
    assert decoded({"bn": "a", "bv": 20, "bs": 100, "v": 1.5}, {"s": 2}, {"bv": 0, "v": 1, "s": 1}) == [
        SenmlRecord("a", None, 21.5),
        SenmlRecord("a", None, None, 102.0),
        SenmlRecord("a", None, 1.0, 101.0),
    ]


def test_a_base_value_is_added_to_numbers_only() -> None:
    assert decoded({"bn": "a", "bv": 20, "vs": "20"}, {"vb": True})[0].value is None


def test_a_base_field_holds_until_it_comes_again() -> None:
    found = decoded({"bn": "a", "bu": "Cel", "v": 1}, {"bn": "b", "v": 2}, {"bu": "K", "v": 3}, {"u": "Pa", "v": 4})
    assert [(record.name, record.unit) for record in found] == [("a", "Cel"), ("b", "Cel"), ("b", "K"), ("b", "Pa")]


@pytest.mark.parametrize(
    ("times", "at_ms", "relative"),
    [
        ({}, None, False),
        ({"t": 0}, None, False),
        ({"bt": 5, "t": -5}, None, False),
        ({"t": -60}, NOW - 60_000, True),
        ({"t": 0.5}, NOW + 500, True),
        ({"t": 268_435_455}, NOW + 268_435_455_000, True),
        ({"t": 268_435_456}, 268_435_456_000, False),  # 1978-07-04T21:24:16Z
        ({"bt": 268_435_450, "t": 5}, NOW + 268_435_455_000, True),  # the sum decides (section 4.5.3)
        ({"bt": 268_435_450, "t": 6}, 268_435_456_000, False),
        ({"bt": 1.276020076e9, "t": -0.5}, 1_276_020_075_500, False),
    ],
)
def test_times(times: dict[str, float], at_ms: int | None, relative: bool) -> None:
    (record,) = decoded({"n": "a", "v": 1, **times})
    assert (record.at_ms, record.relative) == (at_ms, relative)


def test_records_come_in_order_of_time_and_now_counts_as_now() -> None:
    found = decoded(*({"n": "a", "t": t, "v": v} for v, t in enumerate((5, 0, -5, 0))))
    assert [record.value for record in found] == [2, 1, 3, 0]


def test_the_version_of_rfc_9100_allows_secondary_units() -> None:
    assert [record.secondary for record in decoded({"bver": 26, "n": "a", "v": 1}, {"n": "a", "v": 2})] == [True] * 2
    assert [record.secondary for record in decoded({"bver": 10, "n": "a", "v": 1})] == [False]


# ---- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ({"v": 1}, "no name"),
        ({"n": "", "v": 1}, "no name"),
        ({"n": "-a", "v": 1}, "'-a' is not a name: letters, digits, and - : . / _ behind the first"),
        ({"n": "a b", "v": 1}, "'a b' is not a name"),
        ({"n": "pré", "v": 1}, r"'pr\xe9' is not a name"),
        ({"n": "a"}, "neither a value nor a sum"),
        ({"n": "a", "bv": 5}, "neither a value nor a sum"),
        ({"n": "a", "u": "Cel", "t": 1}, "neither a value nor a sum"),
        ({}, "neither a value nor a sum"),
        ({"n": "a", "v": 1, "vb": True}, "more than one value: v, vb"),
        ({"n": "a", "v": "1"}, "v = '1', but a number is needed"),
        ({"n": "a", "v": True}, "v = True, but a number is needed"),
        ({"n": "a", "v": None}, "v = None, but a number is needed"),
        ({"n": "a", "v": 10**400}, "v is beyond 1.8e308"),
        ({"n": "a", "bv": 1.7e308, "v": 1.7e308}, "v is beyond 1.8e308"),
        ({"n": "a", "bs": 1.7e308, "s": 1.7e308}, "s is beyond 1.8e308"),
        ({"n": "a", "v": 1, "bt": 1.7e308, "t": 1.7e308}, "t is beyond 1.8e308"),
        ({"n": "a", "v": 1, "t": 1e300}, "its time is outside the years 1 to 9999"),
        ({"n": "a", "v": 1, "t": -1e300}, "its time is outside the years 1 to 9999"),
        # A thousand times as many milliseconds are no double any more.
        ({"n": "a", "v": 1, "t": 1e306}, "its time is outside the years 1 to 9999"),
        ({"n": "a", "v": 1, "bt": -1e306}, "its time is outside the years 1 to 9999"),
        ({"n": 5, "v": 1}, "n = 5, but a text is needed"),
        ({"n": "a", "v": 1, "u": 5}, "u = 5, but a text is needed"),
        ({"bn": None, "v": 1}, "bn = None, but a text is needed"),
        ({"n": "a", "vb": 1}, "vb = 1, but true or false is needed"),
        ({"n": "a", "vs": 1}, "vs = 1, but a text is needed"),
        ({"n": "a", "vd": "aGkgCg=="}, "vd = 'aGkgCg==', but base64url without padding is needed"),
        ({"n": "a", "vd": "a+/b"}, "base64url without padding is needed"),
        ({"n": "a", "vd": "aaaaa"}, "base64url without padding is needed"),
        ({"n": "a", "v": 1, "ut": "1"}, "ut = '1', but a number is needed"),
        ({"n": "a", "v": 1, "wine_": 1}, "label 'wine_' must be understood, but is not known here"),
        ({"n": "a", "v": 1, "bver": 11}, "version 11; understood are up to 10, and 26"),
        ({"n": "a", "v": 1, "bver": 42}, "version 42"),
        ({"n": "a", "v": 1, "bver": 16}, "version 16"),
        ({"n": "a", "v": 1, "bver": 0}, "bver = 0, but a whole number above 0 is needed"),
        ({"n": "a", "v": 1, "bver": 10.0}, "bver = 10.0, but a whole number above 0 is needed"),
        ({"n": "a", "v": 1, "bver": 10**4000}, "version a very large number"),
        ("a", "'a' is not a JSON object"),
        (None, "None is not a JSON object"),
    ],
)
def test_one_bad_record_refuses_the_pack_and_is_named(record: object, says: str) -> None:
    assert says in refused(record)
    good = {"n": "good", "v": 1}
    if record and "version" not in says and "bver" not in says:
        assert refused(good, good, record).startswith("record 3: ")


def test_a_pack_has_one_version() -> None:
    good = {"n": "a", "v": 1}
    assert refused(good, {**good, "bver": 26}) == (
        "record 2: bver 26, but the records before have 10; a pack has one version"
    )
    assert len(decoded(good, {**good, "bver": 10})) == 2


def test_unknown_labels_are_passed_over() -> None:
    assert decoded({"n": "a", "v": 1, "wine": {"x": [1]}, "bz": None}) == [SenmlRecord("a", None, 1.0)]


@pytest.mark.parametrize("payload", ["{}", "5", '"a"', "null"])
def test_what_is_no_array_is_no_pack(payload: str) -> None:
    with pytest.raises(Unreadable, match="not SenML: a pack is a JSON array of records"):
        decode_senml(payload.encode(), NOW)


def test_caps() -> None:
    assert refused() == "the pack is empty; it needs at least one record"
    record = {"bn": "a"}
    assert decoded(*[record] * MAX_SENML_RECORDS) == []
    assert refused(*[record] * (MAX_SENML_RECORDS + 1)) == "4097 records, at most 4096"
    for payload, reason in ((b"[" + b" " * 65536, "too large"), (b"[" * 40 + b"]" * 40, "nested too deep")):
        with pytest.raises(Unreadable) as caught:
            decode_senml(payload, NOW)
        assert caught.value.reason == reason


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b'[{"n":"a","v":NaN}]', "not JSON"),
        (b'[{"n":"a","v":1,"v":2}]', "duplicate key"),
        (b'[{"n":"a","v":\xff}]', "not UTF-8"),
        (b'[{"n":"a","v":1}', "not JSON"),
    ],
)
def test_what_is_no_json_is_told_as_such(payload: bytes, reason: str) -> None:
    with pytest.raises(Unreadable) as caught:
        decode_senml(payload, NOW)
    assert caught.value.reason == reason


_LABELS = ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x", "x_"]
_VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=8),
    st.sampled_from(["a", "Cel", 10, 26, 1e308, -1e308, 2**28, 10**310, [], {}]),
)
_PACKS = st.lists(st.dictionaries(st.sampled_from(_LABELS), _VALUES, max_size=6), max_size=5)


@given(st.one_of(_PACKS.map(lambda pack: json.dumps(pack).encode()), st.binary(max_size=60)))
def test_anything_gives_records_or_a_reason(payload: bytes) -> None:
    try:
        records = decode_senml(payload, NOW)
    except Unreadable as error:
        assert error.reason
        assert error.detail.isprintable()
        return
    for record in records:
        values = [record.value, record.text, record.flag, record.data]
        assert sum(value is not None for value in values) + (record.sum is not None) >= 1
        assert sum(value is not None for value in values) <= 1


@given(
    st.lists(
        st.tuples(
            st.from_regex(r"[A-Za-z0-9][-A-Za-z0-9:./_]{0,9}", fullmatch=True),
            st.floats(-1e6, 1e6),
            st.integers(-10_000, 10_000).filter(bool),
        ),
        min_size=1,
        max_size=8,
    ),
    st.floats(-1e6, 1e6),
)
def test_a_pack_with_base_fields_says_the_same_as_one_without(
    measured: list[tuple[str, float, int]], base_value: float
) -> None:
    plain = decoded(*({"n": "x" + n, "u": "Cel", "v": base_value + v, "t": t} for n, v, t in measured))
    first, *rest = ({"n": n, "v": v, "t": t - 7} for n, v, t in measured)
    based = decoded({"bn": "x", "bu": "Cel", "bv": base_value, "bt": 7, **first}, *rest)
    assert based == plain
