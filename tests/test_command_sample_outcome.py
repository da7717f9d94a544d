"""What became of a sample, in words."""

from __future__ import annotations

import json
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from cellar_text import BASE, SITE, cellar, probe

from alerts.command.sample_outcome import TrialDecoder, outcome_json, outcome_line, reason_words
from ingest.sources.sample import Sample

NOW_MS = 1_795_595_400_000  # 2026-11-25T08:30:00Z
ZONE = ZoneInfo("Europe/Ljubljana")
BOX = probe("k1-psi", topic="k1/box", payload="json", pointer="/psi", time_pointer="/at", unit="psi")


def line(topic: str, payload: bytes, *, retained: bool = False, units: str = "metric") -> str:
    outcome = TrialDecoder(cellar(BASE, BOX)).decode(Sample("mqtt", topic, payload, NOW_MS, 0.0, retained))
    return outcome_line(outcome, ZONE, units)


@pytest.mark.parametrize(
    ("topic", "payload", "told"),
    [
        ("k1/p", b"55.2", '09:30:00 CET  k1/p  "55.2"  ->  k1-pressure: 55.2 = 55.2 kPa, good'),
        ("k1/p", b"5520", '09:30:00 CET  k1/p  "5520"  ->  k1-pressure: 5520 = 55.2 bar, bad (out of range)'),
        (
            "k1/p",
            b"8,0\r\n",
            '09:30:00 CET  k1/p  "8,0"  ->  k1-pressure: refused, it has a decimal comma; write decimal = "," '
            "at the probe",
        ),
        ("k1/x", b"55.2", '09:30:00 CET  k1/x  "55.2"  ->  no probe takes it'),
        ("k1/x", b"\x1b[2J\xff", '09:30:00 CET  k1/x  "\\x1b[2J\\xff"  ->  no probe takes it'),
        (
            "k1/box",
            b'{"psi": 8, "at": "2026-11-25T08:29:58Z"}',
            '09:30:00 CET  k1/box  "{"psi": 8, "at": "2026-11-25T08:29:58Z"}"  ->  '
            "k1-psi: 8 = 55.2 kPa, good, its own time 09:29:58 CET",
        ),
    ],
)
def test_a_sample_is_one_line(topic: str, payload: bytes, told: str) -> None:
    assert line(topic, payload) == told


def test_a_site_in_us_units_sees_psi() -> None:
    assert line("k1/p", b"55.2", units="us").endswith("k1-pressure: 55.2 = 8.01 psi, good")


def test_a_retained_message_is_marked_and_read_all_the_same() -> None:
    assert line("k1/p", b"55.2", retained=True) == (
        '09:30:00 CET  k1/p  "55.2" (retained: the broker had kept it; its age is not known)  ->  '
        "k1-pressure: 55.2 = 55.2 kPa, good"
    )


def test_as_json_the_unit_stands_beside_the_value() -> None:
    outcome = TrialDecoder(cellar(BASE, BOX)).decode(Sample("mqtt", "k1/box", b'{"psi": 8}', NOW_MS, 0.0))
    told = json.loads(json.dumps(outcome_json(outcome)))
    assert told["refusals"] == [
        {
            "probe": "k1-psi",
            "reason": "no such place in the JSON",
            "in_words": "the pointer leads nowhere in it",
        }
    ]
    outcome = TrialDecoder(cellar(BASE)).decode(Sample("mqtt", "k1/p", b"1", NOW_MS, 0.0, True))
    assert outcome_json(outcome) == {
        "kind": "sample",
        "at": "2026-11-25T08:30:00.000Z",
        "source": "mqtt",
        "address": "k1/p",
        "payload": "1",
        "retained": True,
        "readings": [
            {
                "probe": "k1-pressure",
                "number": 1.0,
                "value": 1.0,
                "unit": "kPa",
                "quality": "good",
                "reason": "",
                "own_time": None,
            }
        ],
        "refusals": [],
    }


def test_without_probes_a_sample_is_unclaimed() -> None:
    assert TrialDecoder(cellar(SITE)).decode(Sample("mqtt", "k1/p", b"1", NOW_MS, 0.0)).unclaimed


def test_each_reason_in_the_sources_has_plain_words_or_is_plain_itself() -> None:
    """A reason that is new to this list must be looked at by a person once."""
    top = Path(__file__).resolve().parent.parent
    # The two packages that a sample passes on its way to a reading.
    packages = [top / "ingest" / name for name in ("sources", "probes")]
    text = "".join(file.read_text() for package in packages for file in package.rglob("*.py"))
    reasons = set(re.findall(r'\bUnreadable\(\s*"([^"]+)"', text))
    plain = {"a sum without a value", "no scratchpad", "not a one-wire file"}
    assert {reason for reason in reasons if reason_words(reason) == reason} <= plain
