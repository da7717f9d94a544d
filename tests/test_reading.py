"""Quality as the one integer that is stored."""

from __future__ import annotations

from itertools import product

import pytest

from ingest.reading import Quality, Reason, quality_class, quality_code, quality_reason


@pytest.mark.parametrize(("quality", "reason"), list(product(Quality, Reason)))
def test_class_and_reason_come_back_from_a_byte(quality: Quality, reason: Reason) -> None:
    code = quality_code(quality, reason)
    assert 0 <= code < 256
    assert (quality_class(code), quality_reason(code)) == (quality, reason)


def test_no_two_share_an_integer() -> None:
    codes = {quality_code(quality, reason) for quality, reason in product(Quality, Reason)}
    assert len(codes) == len(Quality) * len(Reason)
    assert quality_code(Quality.GOOD) == 0


def test_the_numbers_are_in_stores_and_never_change() -> None:
    assert {quality.name: int(quality) for quality in Quality} == {"GOOD": 0, "UNCERTAIN": 1, "BAD": 2}
    assert {reason.name: int(reason) for reason in Reason} == {
        "NONE": 0,
        "OUT_OF_RANGE": 1,
        "IMPORTED": 2,
        "BACKLOG": 3,
        "CLOCK": 4,
        "JUMP": 5,
        "STUCK": 6,
        "RAIL": 7,
        "FAULT": 8,
        "SATURATED": 9,
        "UNSETTLED": 10,
    }
