"""What people at the bench say is understood: methods, units, bare numbers, must weights, mg/L of an addition."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from a_journal import JournalOnDisk
from hypothesis import given
from hypothesis import strategies as st

from ingest.cellar import Dimension
from ingest.journal.answers import Choice, Clock, Measure
from ingest.journal.bench_words import in_known_units
from ingest.journal.must_weight import brix, kmw, oechsle


@pytest.fixture
def journal(tmp_path: Path) -> JournalOnDisk:
    desk = JournalOnDisk(tmp_path)
    desk.enter(
        "lot", "--lot", "ries", "--name", "Riesling", "--style", "white", "--alcohol", "12.5 %", "--at", "2026-01-01"
    )
    desk.enter("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", "18.5 L", "--at", "2026-01-02")
    return desk


@pytest.mark.parametrize(
    ("word", "options", "meant"),
    [
        ("Ripper", ("iodometric", "aeration", "elsewhere"), "iodometric"),
        ("aeration-oxidation", ("iodometric", "aeration", "elsewhere"), "aeration"),
        ("A/O", ("iodometric", "aeration", "elsewhere"), "aeration"),
        ("laboratory", ("iodometric", "aeration", "elsewhere"), "elsewhere"),
        ("NaOH", ("iodine", "iodide-iodate", "sodium hydroxide"), "sodium hydroxide"),
    ],
)
def test_a_word_of_the_bench_is_the_formal_one(
    word: str, options: tuple[str, ...], meant: str, journal: JournalOnDisk
) -> None:
    assert Choice(options).read(word, Clock(journal.cellar.site.zone, 0)) == meant


@pytest.mark.parametrize(
    ("answer", "text", "meant"),
    [
        (Measure(Dimension.VOLUME, "mL", "1.25 mL", bare="mL"), "1,25", '"1.25"'),
        (Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol", bare="% vol"), "12,5 %", '"12.5 %"'),
        (Measure(Dimension.VOLUME, "L", "16 L"), "18,9L", '"18.9 L"'),
        (Measure(Dimension.VOLUME, "L", "16 L"), "18,9", "separators"),
    ],
)
def test_a_decimal_comma_is_put_right_as_it_would_be_understood(
    answer: Measure, text: str, meant: str, journal: JournalOnDisk
) -> None:
    with pytest.raises(ValueError, match="write the decimal as a point") as raised:
        answer.read(text, Clock(journal.cellar.site.zone, 0))
    assert str(raised.value).endswith(meant)


def test_a_word_that_is_meant_elsewhere_is_not_taken_here(journal: JournalOnDisk) -> None:
    with pytest.raises(ValueError, match="is not one of: free, total"):
        Choice(("free", "total")).read("NaOH", Clock(journal.cellar.site.zone, 0))


def measured(journal: JournalOnDisk, quantity: str, value: str) -> dict[str, Any]:
    body: dict[str, Any] = journal.enter("measurement", "--vessel", "K1", "--quantity", quantity, "--value", value)[
        "body"
    ]
    return body


@pytest.mark.parametrize(
    ("quantity", "value", "name", "number"),
    [
        ("TA", "6.1", "titratable acidity", 6.1),
        ("TA", "6.1 g/L", "titratable acidity", 6.1),
        ("va", "400 ppm", "volatile acidity", 0.4),
        ("abv", "12.5 %", "alcohol", 12.5),
        ("alcohol", "12.5", "alcohol", 12.5),
        ("density", "0.992", "density", 0.992),
        ("Oechsle", "85 Oe", "must weight", 85.0),
        ("must weight", "85 °Oe", "must weight", 85.0),
        ("KMW", "17.28 KMW", "must weight", 85.02),
        ("Brix", "20.45 °Brix", "must weight", 85.0),
    ],
)
def test_quantities_and_units_as_people_say_them(
    journal: JournalOnDisk, quantity: str, value: str, name: str, number: float
) -> None:
    body = measured(journal, quantity, value)
    assert body["quantity"] == name
    assert body["value"] == pytest.approx(number, abs=0.02)


@pytest.mark.parametrize("value", ["16", "16 stone"])
def test_a_bare_number_that_could_be_several_things_is_refused(journal: JournalOnDisk, value: str) -> None:
    done = journal.run(
        "enter", "measurement", str(journal.file), "--vessel", "K1", "--quantity", "volume", "--value", value
    )
    assert done.returncode == 2
    assert "unit" in done.stderr


def test_a_titration_in_bare_numbers(journal: JournalOnDisk) -> None:
    words = ("--method", "Ripper", "--titre", "1.25", "--sample", "25", "--substance", "iodine", "--strength", "0.02 N")
    body = journal.enter("titration", "--vessel", "K1", "--quantity", "free", *words)["body"]
    assert body["so2_mg_l"] == pytest.approx(32.03, abs=0.01)
    body = journal.enter("titration", "--vessel", "K1", "--quantity", "total", "--method", "lab", "--result", "90 ppm")[
        "body"
    ]
    assert body["so2_mg_l"] == 90.0


def test_an_addition_says_how_much_that_is_in_its_wine(journal: JournalOnDisk) -> None:
    answers = ("--form", "metabisulfite", "--salt", "k", "--mass", "0.4 g")
    notes = journal.enter("addition", "--vessel", "K1", *answers)["body"]["notes"]
    assert notes == ["that is 12.5 mg/L of SO2 in 18.5 L"]


# ---- must weight ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees_brix", "relative_density"), [(10, 1.04003), (20, 1.08287), (25, 1.10551), (30, 1.12898)]
)
def test_brix_follows_the_sucrose_table(degrees_brix: float, relative_density: float) -> None:
    """Relative density 20/20 of sucrose solutions, NBS Circular C440 (from memory)."""
    assert oechsle(degrees_brix, "Brix") == pytest.approx(1000 * (relative_density - 1), abs=0.3)


@given(st.floats(0.0, 200.0))
def test_the_scales_lead_back_to_where_they_came_from(degrees: float) -> None:
    assert oechsle(kmw(degrees), "KMW") == pytest.approx(degrees, abs=1e-6)
    assert oechsle(brix(degrees), "°Brix") == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize(("number", "scale"), [(-1.0, "Oe"), (300.0, "Oe"), (200.0, "Brix"), (20.0, "Baume")])
def test_what_no_must_has_is_refused(number: float, scale: str) -> None:
    with pytest.raises(ValueError, match=r"behind the number|no must"):
        oechsle(number, scale)


@given(st.text())
def test_any_text_stays_text(text: str) -> None:
    for dimension in Dimension:
        assert isinstance(in_known_units(text, dimension, "L"), str)


def test_a_unit_of_the_table_stays_as_it_is() -> None:
    assert in_known_units("12.5 % vol", Dimension.ALCOHOL) == "12.5 % vol"
    assert Measure(Dimension.VOLUME, "L", "16 L").bare == ""


# ---- amounts as they were typed ------------------------------------------------------------------------------------


def test_an_amount_is_shown_in_the_unit_in_which_it_was_typed(journal: JournalOnDisk) -> None:
    dose = ("--form", "metabisulfite", "--salt", "k", "--mass", "400 mg")
    journal.enter("addition", "--vessel", "K1", *dose)
    journal.enter("first-filling", "--vessel", "C1", "--lot", "ries", "--volume", "5 gal")
    journal.enter("titration", "--vessel", "K1", "--quantity", "total", "--method", "lab", "--result", "90 ppm")
    said = journal.run("journal", str(journal.file)).stdout
    assert "400 mg of potassium metabisulfite: 0.231 g SO2" in said
    assert "5 gal of ries" in said
    assert "90 mg/L total SO2" in said, "ppm is another word for it"
    assert journal.written()[-3].body.mass_g == pytest.approx(0.4)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("quantity", "value", "words"),
    [
        ("must weight", "21 Brix", "must weight 21 Brix, 87.5 °Oe, 17.7 °KMW"),
        ("Brix", "21", "must weight 21 °Brix, 87.5 °Oe, 17.7 °KMW"),
        ("KMW", "17", "must weight 17 °KMW, 83.5 °Oe, 20.1 °Brix"),
        ("Oechsle", "85", "must weight 85 °Oe, 17.3 °KMW, 20.5 °Brix"),
        ("pressure", "0.55 bar", "pressure 0.55 bar"),
        ("temperature", "54 °F", "temperature 54 °F"),
        ("pressure", "55 kPa", "pressure 55 kPa"),
    ],
)
def test_a_measurement_is_shown_in_the_unit_in_which_it_was_typed(
    journal: JournalOnDisk, quantity: str, value: str, words: str
) -> None:
    measured(journal, quantity, value)
    number = str(journal.written()[-1].id)
    assert f"{words}, " in journal.run("journal", str(journal.file)).stdout
    done = journal.run("amend", str(journal.file), number, "--remark", "in the evening")
    assert done.returncode == 0, done.stderr
    assert f"{words}. Written as no." in done.stdout, "what was not amended stays as it was typed"


def test_an_amount_in_our_unit_is_shown_as_before(journal: JournalOnDisk) -> None:
    entry = journal.enter("sample", "--vessel", "K1", "--volume", "0.10 L", "--purpose", "smell")
    assert "typed" not in entry["body"]


def test_an_amended_amount_is_shown_as_it_is_typed_then(journal: JournalOnDisk) -> None:
    journal.enter("first-filling", "--vessel", "C1", "--lot", "ries", "--volume", "5 gal")
    number = str(journal.written()[-1].id)
    done = journal.run("amend", str(journal.file), number, "--volume", "19 L")
    assert done.returncode == 0, done.stderr
    assert "19 L of ries. Written as no." in done.stdout
