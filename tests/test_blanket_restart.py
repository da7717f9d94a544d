"""A judge that was restarted gives its detector what one that went on gave: any readings, in any batches, with gaps."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from a_gas_cellar import MINUTE, GasCellar
from cellar_text import probe, temperature
from hypothesis import given, settings
from hypothesis import strategies as st

MINUTES = 240
SERIES = ("k1-pressure", "k1-temperature", "barometer", "air")
MORE = (
    probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p"),
    temperature("air", "cellar", topic="air/t"),
)


@st.composite
def silences(draw: st.DrawFn) -> set[int]:
    """The minutes in which a probe says nothing: some spans, and some single ones."""
    spans = draw(st.lists(st.tuples(st.integers(0, MINUTES), st.integers(1, 150)), max_size=2))
    single = draw(st.sets(st.integers(0, MINUTES), max_size=20))
    return single | {minute for begin, length in spans for minute in range(begin, begin + length)}


@settings(max_examples=25)
@given(
    silent=st.fixed_dictionaries({name: silences() for name in SERIES}),
    looks=st.sets(st.integers(1, MINUTES - 1), max_size=8),
    settled=st.integers(0, MINUTES),
    entries=st.lists(st.tuples(st.integers(1, MINUTES - 1), st.sampled_from(["charged", "vented"])), max_size=3),
)
def test_a_restart_gives_the_same_points_and_episodes(
    silent: dict[str, set[int]], looks: set[int], settled: int, entries: list[tuple[int, str]]
) -> None:
    with TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        cellar = GasCellar(Path(folder), *MORE)
        begin = 0
        for end in [*sorted(looks), MINUTES]:
            for number, name in enumerate(SERIES):
                minutes = [minute for minute in range(begin, end) if minute not in silent[name]]
                cellar.read(
                    name,
                    *(
                        (minute * MINUTE + 7000 + 900 * number, 50.0 + (37 * minute + number) % 11)
                        for minute in minutes
                    ),
                )
            for minute, act in entries:
                if begin <= minute < end:
                    pressure_kpa = 55.0 if act == "charged" else None
                    cellar.write(minute * MINUTE, "gas", "K1", act=act, pressure_kpa=pressure_kpa)
            cellar.rows(end * MINUTE + 6_000)
            begin = end
        going_on = cellar.detectors[-1]
        cellar.settle(settled * MINUTE)
        cellar.rows(MINUTES * MINUTE + 6_000, cellar.new_judge())
        again = cellar.detectors[-1]
        cellar.store.close()
    assert again.points == going_on.points
    assert again.episodes == going_on.episodes
