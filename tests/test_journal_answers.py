"""What people type as answers: taken, written back the same, or told what is wrong and what would be right."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from cellar_text import cylinder
from hypothesis import given
from hypothesis import strategies as st
from journal_entries import journal_cellar

from ingest.cellar import Cellar, Dimension
from ingest.cellar.units import UNITS
from ingest.entering import enter, prepare
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import (
    AnswerForm,
    AnswersWrong,
    BottleCount,
    Choice,
    Clock,
    Day,
    Measure,
    Number,
    TitrantStrengthText,
    VesselVolume,
    Whole,
    WrittenStrength,
    WrittenWords,
    YesNo,
)
from ingest.journal.drafting import read_answers
from ingest.journal.kinds import KINDS
from ingest.journal.kinds.titration import TitrationBody
from ingest.store import Store, create_or_open
from ingest.store.journal.entries import entries
from ingest.times import Ambiguous

# 2026-11-25 10:40 in Ljubljana
NOW_MS = 1_795_599_600_000
CLOCK = Clock(ZoneInfo("Europe/Ljubljana"), NOW_MS)
LITRES = Measure(Dimension.VOLUME, "L", "16 L")

# Every question of every form, each kind of answer once for each way in which it is set up.
_ASKED: dict[str, AnswerForm] = {repr(one.answer): one.answer for kind in KINDS.values() for one in kind.questions}

_NUMBER = st.from_regex(r"[ ]?[-+]?[0-9]{0,4}([.,][0-9]{0,3})?(e[-+]?[0-9]{1,3})?", fullmatch=True)
_UNIT = st.sampled_from([unit for units in UNITS.values() for unit in units] + ["N", "M", "mol/L", "NTU", "C", "litre"])
_TYPED = st.one_of(
    st.text(max_size=20),
    st.builds(lambda number, gap, unit: f"{number}{gap}{unit}", _NUMBER, st.sampled_from(["", " ", "\u00a0"]), _UNIT),
    st.builds(
        lambda vessel, sign, rest: f"{vessel}{sign}{rest}",
        st.sampled_from(["K1", "", " K 1"]),
        st.sampled_from("=x×:"),
        _NUMBER,
    ),
    st.sampled_from(["yes", "NO", "rose", "un", "2 x 0.75 L", "2x0,75L"]),
    st.sampled_from(["yesterday 18:30", "2026-10-25 02:30", "2026-03-29 02:30", "2026-13-01"]),
)


@pytest.mark.parametrize("answer", _ASKED.values(), ids=_ASKED)
def test_the_example_of_each_question_is_an_answer_to_it(answer: AnswerForm) -> None:
    texts = answer.example.split(", ") if isinstance(answer, Choice) else answer.example.split(" or ")
    for text in texts:
        read = answer.read(text, CLOCK)
        assert _same(answer.read(answer.write(read), CLOCK), read)


@given(st.sampled_from(sorted(_ASKED)), _TYPED)
def test_any_text_is_an_answer_or_told_with_what_would_be_one(name: str, text: str) -> None:
    answer = _ASKED[name]
    try:
        read = answer.read(text, CLOCK)
    except (ValueError, IngestError) as error:
        said = str(error)
        if text.strip():
            assert text.strip() in said, said
        told = (
            "write",
            "allowed",
            "not one of",
            "neither yes nor no",
            "say which",
            "did you mean",
            "degC",
            "asked for",
            "leave it out",
            "too large",
        )
        assert any(word in said for word in told), said  # fmt: skip
    else:
        assert _same(answer.read(answer.write(read), CLOCK), read)


def _same(read: Any, other: Any) -> bool:
    """Whether two answers are equal, their numbers to a rounding."""
    if isinstance(read, dict):
        return read.keys() == other.keys() and all(_same(read[key], other[key]) for key in read)
    if isinstance(read, WrittenStrength):
        return read.molar == other.molar and _same(read.number, other.number)
    if isinstance(read, float):
        return read == pytest.approx(other, rel=1e-9, abs=0.0)
    return bool(read == other)


@given(st.floats(1e-6, 1e6), st.sampled_from(sorted(set(UNITS[Dimension.VOLUME]))), st.sampled_from(["", " ", "  "]))
def test_an_amount_is_worth_the_same_in_each_unit(number: float, unit: str, gap: str) -> None:
    read = LITRES.read(f"{number!r}{gap}{unit}", CLOCK)
    assert read == pytest.approx(number * UNITS[Dimension.VOLUME][unit].factor)
    assert LITRES.read(LITRES.write(read), CLOCK) == pytest.approx(read)


@pytest.mark.parametrize(
    ("answer", "text", "right"),
    [
        (LITRES, "18,9L", "18.9 L"),
        (LITRES, " 0,250 hL", "0.250 hL"),
        (LITRES, ",5 L", "0.5 L"),
        (LITRES, "1,250 mL", None),
        (LITRES, "1,250,000 mL", None),
        (LITRES, "1,25 %", None),
        (LITRES, "18,9", None),
        (VesselVolume(), "K1=16,5L", "16.5 L"),
        (BottleCount(), "6 x 0,75 L", "0.75 L"),
        (Measure(Dimension.PH, "pH", "3.42"), "3,31", "3.31"),
        (Number(("g/100 mL", "g/100mL"), "10 g/100 mL"), "5,5 g/100mL", "5.5 g/100mL"),
        (Number(("g/100 mL", "g/100mL"), "10 g/100 mL"), "5 %", None),
        (Number(("",), "0.97"), "0,97", "0.97"),
        (TitrantStrengthText(), "0,0201 N", "0.0201 N"),
        (TitrantStrengthText(), "0,02", None),
        (TitrantStrengthText(), "0.02", None),
    ],
)
def test_what_is_suggested_is_what_was_typed_put_right_or_nothing(answer: Any, text: str, right: str | None) -> None:
    with pytest.raises(ValueError) as caught:
        answer.read(text, CLOCK)
    suggested = re.findall(r'"([-+.,0-9]+ ?[^"]*)"', str(caught.value))
    assert suggested == ([] if right is None else [right])
    if right is not None:
        assert answer.read(text.replace(",", "."), CLOCK)


@given(st.integers(0, 999), st.integers(0, 999))
def test_a_decimal_comma_is_never_taken_for_something_else(whole: int, part: int) -> None:
    for answer, unit in ((LITRES, "L"), (Number(("g/L",), "2 g/L"), "g/L"), (TitrantStrengthText(), "N")):
        with pytest.raises(ValueError, match="write the decimal as a point") as caught:
            answer.read(f"{whole},{part:03} {unit}", CLOCK)
        assert f"'{whole},{part:03} {unit}'" in str(caught.value)
        # Only what was typed is suggested, and not where the comma may part thousands.
        assert ('"' in str(caught.value)) == (whole == 0)
    with pytest.raises(ValueError, match="write the decimal as a point"):
        VesselVolume().read(f"K1={whole},{part} L", CLOCK)
    with pytest.raises(ValueError, match="write the decimal as a point"):
        BottleCount().read(f"2 x {whole},{part} L", CLOCK)


@pytest.mark.parametrize(
    ("answer", "text", "read"),
    [
        (VesselVolume(), " K1 = 16 L ", {"vessel": "K1", "volume_l": 16.0}),
        (VesselVolume(), "K1", {"vessel": "K1"}),
        (VesselVolume(), "K1=850 mL", {"vessel": "K1", "volume_l": 0.85}),
        (BottleCount(), "6 X 750mL", {"number": 6, "size_l": 0.75}),
        (BottleCount(), "6×0.75 L", {"number": 6, "size_l": 0.75}),
        (TitrantStrengthText(), "0.02N", WrittenStrength(0.02, molar=False)),
        (TitrantStrengthText(), "0.01 mol/L", WrittenStrength(0.01, molar=True)),
        (Choice(("white", "rosé", "red")), "ROSE", "rosé"),
        (Choice(("white", "rosé", "red")), "w", "white"),
        (YesNo(), " Y ", True),
        (Whole("3"), " 07 ", 7),
        (WrittenWords(), "  a b ", "a b"),
        (Day(), "2026-11-24", NOW_MS - 86_400_000 + 80 * 60_000),
        (Measure(Dimension.PRESSURE, "kPa", "55 kPa", "gauge"), "8 psi", pytest.approx(55.158, abs=0.001)),
    ],
)  # fmt: skip
def test_what_is_meant(answer: AnswerForm, text: str, read: object) -> None:
    assert answer.read(text, CLOCK) == read


@pytest.mark.parametrize(
    ("answer", "text", "told"),
    [
        (LITRES, "16", "the unit is missing; allowed for a volume: L, mL"),
        (LITRES, "16 kg", '"kg" is a unit of mass, not of volume'),
        (LITRES, "16 stone", 'no unit "stone"'),
        (LITRES, "mL 5", "does not begin with a number; write the number, then its unit"),
        (LITRES, "1e999 L", "the number is too large"),
        (LITRES, "\u0663 L", "does not begin with a number"),
        (Measure(Dimension.PRESSURE, "kPa", "55 kPa", "gauge"), "155 kPa absolute", "gauge pressure is asked for"),
        (Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol"), "12.5 proof", "allowed for an alcohol by volume: % vol"),
        (VesselVolume(), "=16 L", "names no vessel; write vessel and volume, such as K1=16L"),
        (VesselVolume(), "K1=", "does not begin with a number"),
        (BottleCount(), "0.75 L", 'does not say number and size; write both, such as "6 x 0.75 L"'),
        (TitrantStrengthText(), "0.02", "write N behind a normality, mol/L behind a molarity"),
        (Choice(("free", "total")), "f t", "'f t' is not one of: free, total"),
        (Choice(("white", "red", "rosé")), "r", "not one of: white, red, rosé"),
        (Whole("3"), "3.5", "is not a whole number; write one, such as 3"),
        (WrittenWords(), "  ", "is empty"),
    ],
)
def test_what_will_not_do_is_told_with_what_will(answer: AnswerForm, text: str, told: str) -> None:
    with pytest.raises(ValueError, match=r".") as caught:
        answer.read(text, CLOCK)
    assert told in str(caught.value)


def test_all_wrong_answers_are_told_at_once_each_with_its_question() -> None:
    with pytest.raises(AnswersWrong) as caught:
        read_answers(
            KINDS["titration"],
            {"quantity": ["fee"], "titre": ["1.2 mL", "1,3 mL", "1.4 K"], "sample": ["25 mL"] * 2, "colour": ["red"],
             "remark": ["\udcff"]},
            CLOCK,
        )  # fmt: skip
    assert [wrong.field for wrong in caught.value.wrong] == ["quantity", "titre", "titre", "sample", "colour", "remark"]
    assert "is given 2 times" in str(caught.value)
    assert "a titration does not say this; it says: vessel, lot" in str(caught.value)
    assert "not UTF-8 text" in str(caught.value)


# ---- whole entries --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Cellar]]:
    """A cellar with a lot, wine in K1, and a bottle of iodine."""
    cellar = journal_cellar(more=cylinder())
    with create_or_open(Path(tmp_path_factory.mktemp("store")) / "cellar.db", NOW_MS) as store:
        told: dict[str, Mapping[str, str]] = {
            "lot": {"lot": "ries", "name": "Riesling", "style": "white"},
            "first-filling": {"vessel": "K1", "lot": "ries", "volume": "16 L"},
            "titrant": {"name": "iodine 3", "substance": "iodine", "strength": "0.02 N"},
        }
        for kind, answers in told.items():
            enter(store, cellar, kind, answers, who="Ana", now_ms=NOW_MS, at="2026-01-02")
        yield store, cellar


# Of each form a whole entry, so that a wrong answer does not stand among missing ones.
_WHOLE: dict[str, dict[str, list[str]]] = {
    "lot": {"lot": ["b"], "name": ["B"], "style": ["red"]},
    "first-filling": {"vessel": ["K3"], "lot": ["ries"], "volume": ["3 L"]},
    "titration": {"vessel": ["K1"], "quantity": ["free"], "method": ["iodometric"], "titre": ["1 mL"],
                  "sample": ["25 mL"], "titrant": ["iodine 3"]},
    "titrant": {"name": ["n"], "substance": ["iodine"], "strength": ["0.02 N"]},
    "measurement": {"vessel": ["K1"], "quantity": ["pH"], "value": ["3.4"]},
    "addition": {"vessel": ["K1"], "form": ["metabisulfite"], "salt": ["potassium"], "mass": ["0.4 g"]},
    "racking": {"from": ["K1=3 L"], "to": ["K3"]},
    "topping": {"vessel": ["K1"], "bottles": ["2 x 0.75 L"]},
    "sample": {"vessel": ["K1"], "volume": ["60 mL"]},
    "gas": {"vessel": ["K1"], "act": ["charged"], "pressure": ["55 kPa"]},
    "inspection": {"vessel": ["K1"], "film": ["no"]},
    "bottling": {"vessel": ["K1"], "bottles": ["2 x 0.75 L"]},
    "vessel-status": {"vessel": ["K3"], "status": ["cleaned"]},
}  # fmt: skip


def test_the_whole_entries_are_taken(written: tuple[Store, Cellar]) -> None:
    assert _WHOLE.keys() == {kind.name for kind in KINDS.values() if kind.questions}
    for kind, told in _WHOLE.items():
        prepare(*written, kind, told, who="Ana", now_ms=NOW_MS)


@pytest.mark.parametrize(
    ("answers", "question"),
    [
        ({"form": "tablets", "number": "10000", "label": "1000 g"}, "number"),
        ({"form": "liquid", "volume": "900 L", "label": "900000 g/L"}, "volume"),
        ({"form": "stock solution", "salt": "sodium", "volume": "900 L", "stock": "1000 g/100 mL"}, "volume"),
    ],
)
def test_an_addition_of_more_so2_than_can_be_kept_is_refused(
    written: tuple[Store, Cellar], answers: dict[str, str], question: str
) -> None:
    with pytest.raises(AnswersWrong, match=r"g of SO2, and at most 1,000,000 g can be written down") as caught:
        enter(*written, "addition", {"vessel": "K1", **answers}, who="Ana", now_ms=NOW_MS)
    assert [wrong.field for wrong in caught.value.wrong] == [question]
    assert entries(written[0]), "the journal can still be read"


@given(st.data())
def test_one_odd_answer_is_taken_or_refused_by_the_name_of_a_question(
    written: tuple[Store, Cellar], data: st.DataObject
) -> None:
    kind = data.draw(st.sampled_from(sorted(_WHOLE)))
    form = KINDS[kind]
    odd = data.draw(st.sampled_from(form.questions))
    told = {
        **_WHOLE[kind],
        odd.name: data.draw(
            st.lists(_TYPED | st.sampled_from(["K1", "K3", "N2", "0 L", "-1 L", "1e9 L", "0 N"]), max_size=2)
        ),
    }
    at = data.draw(st.none() | _TYPED)
    try:
        made = prepare(*written, kind, told, who="Ana", now_ms=NOW_MS, at=at)
    except AnswersWrong as error:
        assert error.wrong
        for wrong in error.wrong:
            assert form.question(wrong.field) is not None or wrong.field == "at", error
            assert wrong.why
    except EntryRefused as error:
        assert error.problems
    except Ambiguous as error:
        assert at is not None
        assert len(error.ways) == 2
    else:
        assert made.words
        assert made.draft.at_ms <= NOW_MS + 300_000


@given(st.lists(st.integers(0, 400), min_size=1, max_size=10), st.booleans(), st.integers(0, 50))
def test_several_flasks_are_their_mean_by_titre_or_by_burette(
    written: tuple[Store, Cellar], hundredths: list[int], burette: bool, start: int
) -> None:
    titres = [one / 100 for one in hundredths]
    told = {name: texts for name, texts in _WHOLE["titration"].items() if name != "titre"}
    if burette:
        told["start"] = [f"{start} mL"] * len(titres)
        told["end"] = [f"{start + titre:.2f} mL" for titre in titres]
    else:
        told["titre"] = [f"{titre:.2f} mL" for titre in titres]
    body = prepare(*written, "titration", told, who="Ana", now_ms=NOW_MS).draft.body
    assert isinstance(body, TitrationBody)
    assert len(body.flasks) == len(titres)
    # 0.02 N x 32.03 g/eq x 1000 / 25 mL
    expected = 25.624 * sum(titres) / len(titres)
    assert (body.so2_mg_l or 0.0) == pytest.approx(expected, abs=1e-6)
    assert any("burette" in warning for warning in body.warnings) is False
