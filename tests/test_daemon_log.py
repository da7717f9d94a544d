"""A daemon's log: no line of it can be forged or can command a terminal, and one cause cannot fill it."""

from __future__ import annotations

import logging

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.daemon_log import BURST, EVERY_S, CauseLimit, LineFormatter
from ingest.plain_text import line_problem, one_line


def record(message: str, *values: object, level: int = logging.WARNING) -> logging.LogRecord:
    return logging.LogRecord("ingest", level, __file__, 1, message, values, None)


@given(st.text())
def test_any_text_is_one_printable_line(text: str) -> None:
    assert one_line(text).isprintable()
    assert len(one_line(text, 10)) <= 10 * len("\\U0001f600")
    assert LineFormatter().format(record("the broker said %s", text)).isprintable()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("plain — ü 28 °C", "plain — ü 28 °C"),
        ("\x1b[2Jgone", "\\x1b[2Jgone"),
        ("one\ntwo\r\n", "one\\x0atwo\\x0d\\x0a"),
        ("abc\u202etxt.exe", "abc\\u202etxt.exe"),
        ("\U000e0041", "\\U000e0041"),
    ],
)
def test_what_is_not_printable_is_written_out(text: str, line: str) -> None:
    assert one_line(text) == line


def test_a_long_text_is_cut() -> None:
    assert one_line("x" * 20, 10) == "x" * 9 + "…"


def test_what_is_wrong_with_a_line() -> None:
    assert line_problem("on my way", 200) == ""
    assert "at most 5" in line_problem("too long", 5)
    assert "\\x1b" in line_problem("\x1b[31m", 200)


def test_a_traceback_keeps_its_lines() -> None:
    try:
        raise ValueError("broken\x1b[31m\nforged line")
    except ValueError as error:
        made = logging.LogRecord("ingest", logging.ERROR, __file__, 1, "a turn failed", (), (ValueError, error, None))
    lines = LineFormatter().format(made).split("\n")
    assert lines[0].endswith("ingest: a turn failed")
    assert all(line.isprintable() for line in lines)


def test_one_cause_is_written_in_a_burst_and_then_once_a_minute() -> None:
    clock = [0.0]
    limit = CauseLimit(lambda: clock[0])
    written = []
    for step in range(10_000):
        clock[0] = step * 0.1
        made = record("accept failed: %s", step)
        if limit.filter(made):
            written.append(LineFormatter().format(made))
    # 1000 s: the burst, then one record a minute.
    assert BURST + 1000 / EVERY_S - 2 <= len(written) <= BURST + 1000 / EVERY_S + 1
    assert written[BURST].endswith("(580 more like this were left out)")


def test_another_cause_is_not_held_back() -> None:
    limit = CauseLimit(lambda: 0.0)
    assert [limit.filter(record("one")) for _ in range(BURST + 1)][-1] is False
    assert limit.filter(record("another"))
    assert limit.filter(record("one", level=logging.ERROR))


def test_causes_without_number_cost_bounded_memory() -> None:
    limit = CauseLimit(lambda: 0.0)
    for number in range(10_000):
        limit.filter(record(f"cause {number}"))
    assert len(limit._causes) <= 500
