"""Lines out of bytes, however the bytes are cut."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.sources.framing import LineFramer


def started(limit: int = 256) -> LineFramer:
    return LineFramer(limit, fresh=False)


@pytest.mark.parametrize("terminator", [b"\n", b"\r\n", b"\r", b"\n\r"])
def test_all_four_terminators_give_the_same_lines(terminator: bytes) -> None:
    stream = terminator.join([b"21.50", b"21.60", b"21.70", b""])
    assert started().feed(stream) == [b"21.50", b"21.60", b"21.70"]
    framer = started()
    assert [line for byte in stream for line in framer.feed(bytes([byte]))] == [b"21.50", b"21.60", b"21.70"]


def test_a_part_of_a_line_is_no_line() -> None:
    framer = started()
    assert framer.feed(b"21.") == []
    assert framer.feed(b"50") == []
    assert framer.feed(b"\r") == [b"21.50"]
    assert framer.feed(b"\n") == []
    assert framer.feed(b"21.6\n") == [b"21.6"]


def test_the_first_fragment_after_opening_is_dropped_and_counted() -> None:
    framer = LineFramer()
    assert framer.feed(b"1.") == []
    assert framer.feed(b"50\r\n21.60\r\n") == [b"21.60"]
    assert framer.dropped_fragments == 1


def test_opening_between_two_lines_drops_nothing() -> None:
    framer = LineFramer()
    assert framer.feed(b"\n21.60\r\n") == [b"21.60"]
    assert framer.dropped_fragments == 0


def test_a_restart_forgets_the_line_in_progress() -> None:
    framer = started(4)
    framer.feed(b"12345")
    framer.restart()
    assert framer.feed(b"1.5\n2.5\n") == [b"2.5"]
    assert (framer.dropped_fragments, framer.overlong) == (1, 1)


def test_an_overlong_line_is_dropped_to_its_terminator_and_counted_once() -> None:
    framer = started(5)
    assert framer.feed(b"12345\n123456\n") == [b"12345"]
    assert framer.feed(b"x" * 3000) == []
    assert framer.feed(b"x" * 3000 + b"\n7\n") == [b"7"]
    assert framer.overlong == 2


def test_bytes_stay_as_they_are() -> None:
    assert started().feed(b"\x00\xff\xfe 12.3 \xb0C\x00\n") == [b"\x00\xff\xfe 12.3 \xb0C\x00"]


def test_a_limit_that_allows_no_line_is_an_error() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        LineFramer(0)


STREAMS = st.lists(st.sampled_from([b"\r", b"\n", b"\r\n", b"21.5", b"x" * 9, b"\x00", b"\xff"]), max_size=30).map(
    b"".join
)


@given(st.one_of(st.binary(max_size=200), STREAMS), st.lists(st.integers(0, 200)), st.booleans())
def test_any_chunking_gives_the_same(stream: bytes, cuts: list[int], fresh: bool) -> None:
    whole, chunked, bytewise = LineFramer(8, fresh=fresh), LineFramer(8, fresh=fresh), LineFramer(8, fresh=fresh)
    lines = whole.feed(stream)
    edges = [0, *sorted(cut for cut in cuts if cut < len(stream)), len(stream)]
    assert [line for a, b in itertools.pairwise(edges) for line in chunked.feed(stream[a:b])] == lines
    assert [line for byte in stream for line in bytewise.feed(bytes([byte]))] == lines
    counts = {(framer.dropped_fragments, framer.overlong) for framer in (whole, chunked, bytewise)}
    assert len(counts) == 1


@given(st.binary(max_size=200))
def test_lines_are_what_stands_between_terminators(stream: bytes) -> None:
    framer = started(8)
    pieces = re.split(rb"[\r\n]", stream)
    assert framer.feed(stream) == [piece for piece in pieces[:-1] if 0 < len(piece) <= 8]
    assert framer.overlong == sum(len(piece) > 8 for piece in pieces)


@given(st.binary(max_size=100), st.sampled_from([b"\n", b"\r\n", b"\r"]))
def test_noise_before_a_line_does_not_harm_it(noise: bytes, terminator: bytes) -> None:
    framer = LineFramer(32)
    assert framer.feed(noise + terminator + b"21.50" + terminator)[-1] == b"21.50"
