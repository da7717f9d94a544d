"""The operator's hand at the command: acknowledge, shelve, unshelve, and what `leeside alarms` shows of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from answering import Answering
from cellar_text import KEG, PROBE, SITE, limit, mqtt, table, write_cellar
from eventually import eventually
from running import leeside

from alerts import operator_requests
from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store import create_or_open
from ingest.store.alarms.operator_events import waiting_events
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

LOW = "K1/pressure/low"
OVER = "K1/pressure/over"
TEXT = SITE + table("[store]", path="cellar.db") + mqtt(port=1) + KEG + PROBE + limit(
    at="K1", quantity="pressure", low="5 kPa", on_delay="0 s", priority="high"
)  # fmt: skip
WHY = ("--why", "new lid seal")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A cellar whose K1 stands at its limit, not beyond it."""
    file = write_cellar(tmp_path, TEXT)
    _reading(file, 5.0)
    return file


@pytest.fixture
def answering(file: Path) -> Iterator[Path]:
    with Answering(file):
        yield file


def _reading(file: Path, kpa: float) -> None:
    cellar = load_cellar(file)
    with create_or_open(cellar.store_path, wall_ms()) as store:
        series = declare(store, declarations(cellar), wall_ms())
        Appender(store).append([(series["k1-pressure"], wall_ms(), kpa, 0)])


def _breach(file: Path) -> str:
    """K1 falls below its limit; the alarm's short id."""
    _reading(file, 0.1)
    eventually(lambda: _alarms(file)["alarms"] != [])
    return str(_alarms(file)["alarms"][0]["alarm"])


def _alarms(file: Path, *options: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(leeside("alarms", file, "--json", *options).stdout)
    return answer


def test_an_alarm_is_acknowledged_shelved_and_raised_again(answering: Path) -> None:
    name = _breach(answering)
    seen = leeside("acknowledge", answering, name, "--who", "Ana", "--note", "on my way")
    assert (seen.returncode, seen.stdout) == (0, f"acknowledged: {name} ({LOW})\n")
    assert "seen by Ana" in leeside("alarms", answering).stdout

    done = leeside("shelve", answering, name.upper(), "--for", "2h", *WHY, "--who", "Ana")
    assert done.returncode == 0
    assert done.stdout.startswith(f"muted: {LOW}, until ")
    listed = leeside("alarms", answering)
    assert listed.returncode == 0, "what is muted is no alarm"
    assert "There is no alarm." in listed.stdout
    assert f"  {LOW}: muted until " in listed.stdout
    assert ", by Ana: new lid seal (its condition is true since" in listed.stdout
    assert "Muted\n" in leeside("now", answering).stdout
    (muted,) = _alarms(answering)["muted"]
    assert (muted["limit"], muted["state"], muted["active"], muted["alarm"]) == (LOW, "shelved", True, name)
    assert (muted["shelved"]["who"], muted["shelved"]["why"]) == ("Ana", "new lid seal")
    assert muted["out_of_service"] is None

    again = leeside("unshelve", answering, LOW, "--note", "done early", "--who", "Bea")
    assert (again.returncode, again.stdout) == (0, f"watched again: {LOW}\n")
    result = _alarms(answering, "--history")
    (alarm,) = result["alarms"]
    assert (alarm["alarm"], alarm["state"], alarm["finding"]) == (name, "unacknowledged", None)
    assert alarm["age_s"] >= 0
    steps = [(step["event"], step["to_state"], step["who"]) for step in result["history"] if step["limit"] == LOW]
    assert [(event, state) for event, state, _ in steps] == [
        ("condition began", "unacknowledged"),
        ("acknowledged", "acknowledged"),
        ("shelved", "shelved"),
        ("unshelved", "unacknowledged"),
    ]
    assert [who for _, _, who in steps[:3]] == [None, "Ana", "Ana"]
    plain = leeside("alarms", answering, "--history").stdout
    for words in (
        f"{name:5} {LOW} 0.1 kPa: alarm raised",
        f"{LOW} 0.1 kPa: seen by Ana: on my way",
        f"{LOW} 0.1 kPa: muted by Ana until ",
        ": new lid seal\n",
        "mute ended by Bea, alarm raised: done early\n",
    ):
        assert words in plain


def test_out_of_service_is_listed_until_it_is_returned(answering: Path) -> None:
    key = "K1/pressure/no-data"
    done = leeside("shelve", answering, key, "--out-of-service", "--why", "sent in", "--who", "Ana", "--json")
    assert json.loads(done.stdout) == {"results": [{"id": key, "done": True, "outcome": f"out of service: {key}"}]}
    assert f"  {key}: out of service since " in leeside("alarms", answering).stdout
    refused = leeside("shelve", answering, key, "--for", "1h", *WHY)
    assert refused.returncode == 1
    assert "it is out of service, which has no end; return it to service first" in refused.stdout
    assert leeside("unshelve", answering, key).stdout == f"watched again: {key}\n"
    assert "Muted" not in leeside("alarms", answering).stdout
    nothing = leeside("unshelve", answering, key)
    assert (nothing.returncode, nothing.stdout) == (1, f"nothing done: {key}: it is not muted\n")


def test_all_are_acknowledged_at_once_and_several_by_name(answering: Path) -> None:
    nothing = leeside("acknowledge", answering, "--all")
    assert (nothing.returncode, nothing.stdout) == (1, "nothing done: no alarm waits to be acknowledged\n")
    name = _breach(answering)
    both = leeside("acknowledge", answering, name, OVER, "--json")
    assert both.returncode == 1
    assert [(result["id"], result["done"]) for result in json.loads(both.stdout)["results"]] == [
        (name, True),
        (OVER, False),
    ]
    leeside("shelve", answering, name, "--for", "1min", *WHY)
    leeside("unshelve", answering, name)
    every = leeside("acknowledge", answering, "--all")
    assert (every.returncode, every.stdout) == (0, f"acknowledged: {name} ({LOW})\n")


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("acknowledge", "FILE", "7f3k"), "no alarm and no limit is called '7f3k'"),
        (("acknowledge", "FILE", LOW, "7f3k"), "no alarm and no limit is called '7f3k'"),
        (("acknowledge", "FILE"), "say which alarms by their ids, or --all"),
        (("acknowledge", "FILE", LOW, "--all"), "not both"),
        (("unshelve", "FILE", "K1/pressure/lo"), f"Did you mean {LOW}"),
        (("shelve", "FILE", LOW, "K9/pressure/low", "--for", "1h", *WHY), "'K9/pressure/low'"),
        (("shelve", "FILE", LOW, *WHY), "say for how long (--for) or until when (--until)"),
        (("shelve", "FILE", LOW, "--for", "1h", "--until", "18:30", *WHY), "say for how long"),
        (("shelve", "FILE", LOW, "--for", "1h"), "say why"),
        (("shelve", "FILE", LOW, "--for", "1h", "--why", " "), "say why"),
        (("shelve", "FILE", LOW, "--for", "0h", *WHY), "is not a duration"),
        (("shelve", "FILE", LOW, "--for", "-1h", *WHY), "is not a duration"),
        (("shelve", "FILE", LOW, "--for", "two hours", *WHY), "write 90s, 5min, 1h or 2d"),
        (("shelve", "FILE", LOW, "--for", "8d", *WHY), "at most 7 days at a time, not 8 days"),
        (("shelve", "FILE", LOW, "--for", "9" * 400 + "d", *WHY), "at most 7 days at a time, not inf days"),
        (("shelve", "FILE", LOW, "--until", "2020-01-01 10:00", *WHY), "its end has passed already"),
        (("shelve", "FILE", LOW, "--until", "never", *WHY), "is not a time"),
        (("shelve", "FILE", OVER, "--for", "61min", *WHY), "overpressure can be muted for at most 1 h"),
        (("shelve", "FILE", LOW, OVER, "--for", "2h", *WHY), OVER),
        (("shelve", "FILE", OVER, "--out-of-service", *WHY), "overpressure cannot be taken out of service"),
        (("shelve", "FILE", LOW, "--out-of-service"), "say why"),
        (("shelve", "FILE", LOW, "--out-of-service", "--for", "1h", *WHY), "out of service has no end"),
        (("shelve", "FILE", LOW, "--for", "1h", "--why", "a\nb"), "must be one line"),
    ],
)
def test_a_wrong_call_says_what_is_allowed_and_writes_nothing(words: tuple[str, ...], problem: str, file: Path) -> None:
    result = leeside(*(file if word == "FILE" else word for word in words))
    assert result.returncode == 2, result.stdout
    assert problem in " ".join(result.stderr.replace("│", " ").split())
    with create_or_open(load_cellar(file).store_path, wall_ms()) as store:
        assert waiting_events(store) == []


def test_what_is_asked_while_leeside_does_not_run_is_kept(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(operator_requests, "WAIT_S", 0.0)
    result = leeside("shelve", file, LOW, "--for", "2h", *WHY, "--who", "Ana")
    assert result.returncode == 1
    assert "is `leeside run` running (it has never run on this store)?" in result.stderr
    with Answering(file):
        (muted,) = _alarms(file)["muted"]
    assert (muted["limit"], muted["shelved"]["who"]) == (LOW, "Ana")
