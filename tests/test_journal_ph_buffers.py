"""pH buffers: their tables against equations of the same standard, and names that people write."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import IngestError
from ingest.journal.ph_buffers import BUFFER_SETS, PhBuffer, find_buffer


@pytest.mark.parametrize(
    ("name", "a", "b", "c", "d", "from_c"),
    [
        ("tartrate", -1727.96, 23.7406, -0.075947, 9.2873e-5, 25),
        ("phosphate", 3459.39, -21.0574, 0.073301, -6.2266e-5, 0),
        ("borax", 5259.02, -33.1064, 0.114826, -10.7860e-5, 0),
    ],
)
def test_tables_against_the_smoothing_equations(name: str, a: float, b: float, c: float, d: float, from_c: int) -> None:
    """NBS scale: pH = A/T + B + C T + D T^2, T in K; a mistyped entry of the tables would show."""
    buffer = find_buffer(name, "nist")
    for celsius in range(from_c, 51, 5):
        kelvin = celsius + 273.15
        assert buffer.ph_at(celsius) == pytest.approx(a / kelvin + b + c * kelvin + d * kelvin**2, abs=0.0011)


@pytest.mark.parametrize(
    ("name", "ph"),
    [
        ("tetroxalate", 1.679),
        ("tartrate", 3.557),
        ("citrate", 3.776),
        ("phthalate", 4.005),
        ("phosphate", 6.865),
        ("phosphate 1:3.5", 7.413),
        ("borax", 9.180),
        ("carbonate", 10.012),
    ],
)
def test_standard_buffers_at_25_degrees(name: str, ph: float) -> None:
    """Assigned values at 25 °C; 1.679 and 4.005 also in OIV-MA-AS313-15."""
    assert find_buffer(name, "nist").nominal_ph == pytest.approx(ph, abs=0.001)


@pytest.mark.parametrize(
    ("celsius", "technical"),
    [(0, (4.00, 7.12, 10.32)), (10, (4.00, 7.06, 10.18)), (25, (4.01, 7.00, 10.01)), (50, (4.06, 6.96, 9.83))],
)
def test_technical_buffers(celsius: float, technical: tuple[float, ...]) -> None:
    """A public table of coloured buffers, to 0.01; the middle one is kept to 0.001."""
    found = [buffer.ph_at(celsius) for buffer in BUFFER_SETS["technical"]]
    assert found == pytest.approx(technical, abs=0.005)


def test_between_the_steps_a_straight_line() -> None:
    """At 12 °C 7.059 - 0.4 x 0.023 = 7.0498, and 3.997 + 0.4 x 0.001 = 3.9974."""
    assert find_buffer("7.00", "technical").ph_at(12.0) == pytest.approx(7.0498)
    assert find_buffer("4.005", "nist").ph_at(12.0) == pytest.approx(3.9974)


@pytest.mark.parametrize(
    ("text", "buffer_set", "name"),
    [
        ("4", "technical", "4.01"),
        ("4.00", "technical", "4.01"),
        ("7.0", "technical", "7.00"),
        ("10", "technical", "10.01"),
        ("6.86", "nist", "phosphate"),
        ("Borax", "nist", "borax"),
        ("3.56", "nist", "tartrate"),
        ("7.41", "nist", "phosphate 1:3.5"),
    ],
)
def test_as_people_write_them(text: str, buffer_set: str, name: str) -> None:
    assert find_buffer(text, buffer_set).name == name


@pytest.mark.parametrize("text", ["", "5", "4.05", "-4", "nan", "inf", "red"])
def test_a_buffer_that_there_is_not(text: str) -> None:
    with pytest.raises(IngestError, match=r"there is no technical buffer '.*'; there are: 4.01, 7.00, 10.01"):
        find_buffer(text, "technical")
    with pytest.raises(IngestError, match=r"tartrate \(3.557\)"):
        find_buffer(text, "nist")


@pytest.mark.parametrize(("name", "celsius"), [("tartrate", 24.9), ("phthalate", -0.1), ("borax", 50.1)])
def test_a_table_is_not_continued(name: str, celsius: float) -> None:
    """Tartrate is saturated at 25 °C and would crystallise below."""
    with pytest.raises(IngestError, match=f"the buffer {name} has no pH at {celsius:g} °C; its table goes from"):
        find_buffer(name, "nist").ph_at(celsius)


@given(celsius=st.floats(0.0, 50.0), buffer=st.sampled_from([*BUFFER_SETS["nist"], *BUFFER_SETS["technical"]]))
def test_a_buffer_moves_little(celsius: float, buffer: PhBuffer) -> None:
    if celsius >= buffer.table[0][0]:
        assert abs(buffer.ph_at(celsius) - buffer.nominal_ph) < 0.35
