"""Zero and span: arithmetic, refusals, and the command that writes them down."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_store import new_store
from cellar_text import KEG, MQTT, SITE, probe, write_cellar
from hypothesis import given
from hypothesis import strategies as st
from running import leeside

from ingest.cellar import load_cellar
from ingest.errors import IngestError
from ingest.journal.kinds.calibration import Correction, Point, correction_of
from ingest.probes.binding import declarations
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare


def test_one_point_moves_the_zero() -> None:
    assert correction_of([Point(1.2, 0.0)], 0.1, "kPa") == Correction(1.0, -1.2)


@given(st.floats(-5, 5), st.floats(20, 200), st.floats(-2, 2), st.floats(0.9, 1.1))
def test_two_points_are_met_exactly(low: float, apart: float, offset: float, gain: float) -> None:
    first, second = Point(low, gain * low + offset), Point(low + apart, gain * (low + apart) + offset)
    made = correction_of([first, second], 0.1, "kPa")
    for point in (first, second):
        assert made.gain * point.measured + made.offset == pytest.approx(point.truth, abs=1e-9)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "one point"),
        ([Point(0, 0)] * 3, "not 3"),
        ([Point(0, 0), Point(1, 1)], "at least 5 kPa apart"),
        ([Point(0, 0), Point(50, 100)], "a span of 2"),
    ],
)
def test_what_cannot_be_a_calibration_is_refused(points: list[Point], words: str) -> None:
    with pytest.raises(IngestError, match=words):
        correction_of(points, 0.1, "kPa")


# 2026-11-20T18:30:00Z, which is past whenever this runs.
THEN = 1_795_199_400_000

CELLAR = SITE + MQTT + KEG + probe(topic="k1", unit="psi")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = write_cellar(tmp_path, CELLAR)
    with new_store(tmp_path) as store:
        number = declare(store, declarations(load_cellar(path)), THEN)["k1-pressure"]
        rows = [(number, THEN - 7_200_000, 8.0, 0), (number, THEN - 3_600_000, 8.0, 0), (number, THEN - 60_000, 0.2, 0)]
        Appender(store).append(rows)
    return path


def values(file: Path) -> list[str]:
    return [row.split(",")[1] for row in leeside("history", file, "k1-pressure", "--csv").stdout.splitlines()[1:]]


def test_a_calibration_holds_from_its_time_on_and_numbers_stay(file: Path) -> None:
    assert [float(value) for value in values(file)] == pytest.approx([55.158058, 55.158058, 1.378951])
    at = "2026-11-20T17:45:00Z"
    done = leeside("enter", "calibration", file, "k1-pressure", "--reads", "0.2 psi", "--truth", "0 psi", "--from", at)
    assert done.returncode == 0, done.stderr
    assert "1.4 kPa now counts as 0.0 kPa" in done.stdout
    # 17:30 is before it, 18:29 is after it: only the last reading counts 1.379 kPa less.
    assert [float(value) for value in values(file)] == pytest.approx([55.158058, 55.158058, 0.0], abs=1e-6)
    again = leeside(
        "enter", "calibration", file, "k1-pressure", "--reads", "0 kPa", "--truth", "0.5 kPa", "--from", at, "--json"
    )
    assert again.returncode == 0, again.stderr
    # What was shown is meant: the new zero comes on top of the old one, not beside it.
    assert float(values(file)[-1]) == pytest.approx(0.5)


def test_a_calibration_that_no_sound_instrument_needs_is_told_of(file: Path) -> None:
    usual = leeside("enter", "calibration", file, "k1-pressure", "--reads", "1.4 kPa", "--truth", "0 kPa")
    assert "warning" not in usual.stdout
    options = ("enter", "calibration", file, "k1-pressure", "--reads", "55 kPa", "--truth", "0 kPa")
    wild = leeside(*options)
    assert wild.returncode == 1
    assert "warning: that moves" in wild.stdout
    assert "20 at most" in wild.stdout
    assert "Nothing was written" in wild.stderr
    assert leeside("journal", file).stdout.count("no. ") == 0
    assert leeside(*options, "--despite-warnings").returncode == 0
    assert "warning: that moves" in leeside("journal", file).stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("no-probe", "--truth", "0 kPa"), "there are: k1-pressure"),
        (("k1-pressure", "--truth", "0"), "allowed for a pressure: kPa"),
        (("k1-pressure", "--truth", "0 °C"), "°C"),
        (("k1-pressure", "--truth", "0 kPa", "--reads", "1 kPa", "--reads", "2 kPa"), "one for each"),
        (("k1-pressure", "--truth", "0 kPa", "--from", "2199-01-01"), "in the future"),
        (("k1-pressure", "--truth", "0 kPa", "--from", "2026-11-20"), "give what it showed then"),
        (("k1-pressure",), "say what was true"),
        ((), "say which probe; there are: k1-pressure"),
    ],
)
def test_wrong_input_names_the_option_and_changes_nothing(file: Path, arguments: tuple[str, ...], words: str) -> None:
    before = values(file)
    result = leeside("enter", "calibration", file, *arguments)
    assert result.returncode == 2
    assert words in " ".join(result.stderr.split())
    assert "Traceback" not in result.stderr
    assert values(file) == before
