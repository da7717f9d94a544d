"""What a judgement of gas carries: written, kept as JSON, read back."""

from __future__ import annotations

import json
from dataclasses import fields, replace

from hypothesis import given
from hypothesis import strategies as st

from alerts.blanket.details import BlanketShown, blanket_details, blanket_shown
from ingest.judgement import FINDINGS, Judgement
from ingest.store.judgements import MOST_DETAILS

NUMBERS = [field.name for field in fields(BlanketShown) if field.type == "float | None"]
NUMBER = st.none() | st.just(0.0) | st.floats(-1e6, 1e6).map(lambda value: float(f"{value:.3g}"))


def read_back(shown: BlanketShown) -> BlanketShown | None:
    details = json.loads(json.dumps(dict(blanket_details(shown)), ensure_ascii=False))
    return blanket_shown(Judgement("K1", "leak_rate", shown.at_ms, 0.0, details=details))


@given(
    shown=st.builds(
        BlanketShown,
        at_ms=st.integers(0, 2**45),
        finding=st.sampled_from(sorted(FINDINGS - {""})),
        gas=st.sampled_from(["nitrogen", "argon", ""]),
        since_ms=st.none() | st.integers(0, 2**45),
        leak_certain=st.booleans(),
        supply_open=st.booleans(),
        warnings=st.lists(st.text(max_size=300), max_size=6).map(tuple),
        **dict.fromkeys(NUMBERS, NUMBER),
    )
)
def test_what_was_written_is_read_back(shown: BlanketShown) -> None:
    assert read_back(shown) == shown


def test_long_and_many_warnings_are_cut_so_that_the_store_takes_them() -> None:
    numbers = BlanketShown(at_ms=2**45, finding="cannot tell yet", **dict.fromkeys(NUMBERS, -123456.789))  # type: ignore[arg-type]
    full = replace(
        numbers,
        gas="carbon dioxide",
        since_ms=2**45,
        last_sound_ms=2**45,
        entry_ms=2**45,
        entry_kind="racking",
        leak_certain=True,
        supply_open=True,
        warnings=("x" * 1000,) * 20,
    )
    assert len(json.dumps(dict(blanket_details(full)), separators=(",", ":"))) <= MOST_DETAILS
    shown = read_back(full)
    assert shown is not None
    assert shown.warnings == ("x" * 300,) * 6


def test_details_of_another_judge_are_not_of_gas() -> None:
    assert blanket_shown(Judgement("K1", "free_so2", 0, 31.0, details={"ph": 3.4, "remarks": []})) is None
    assert blanket_shown(Judgement("K1", "leak_rate", 0, 0.0, details={"finding": "leaking", "at_ms": 1})) is None
    assert blanket_shown(Judgement("K1", "leak_rate", 0, 0.0)) is None


def test_details_that_are_not_what_they_should_be_are_left_out() -> None:
    details = {"finding": "sound", "at_ms": 5, "raw_kpa": "much", "warnings": "none", "leak_certain": 1}
    assert blanket_shown(Judgement("K1", "leak_rate", 5, 0.0, details=details)) == BlanketShown(
        at_ms=5, finding="sound"
    )
