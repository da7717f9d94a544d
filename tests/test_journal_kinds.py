"""Kinds of entries: each is whole; its body takes what it should, keeps it as stored, and finds every mistake."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import ingest.journal.kinds
from ingest.cellar import Vessel
from ingest.errors import EntryRefused
from ingest.journal.body import BodyWrong, body_data
from ingest.journal.kinds import KINDS, body_words, kind_of, parse_body, parse_stored_body, result_units
from ingest.journal.kinds.kind import EntryKind, NamedVessels
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.journal.kinds.titration import Flask, TitrationBody
from ingest.journal.result_warnings import TitrationRefused
from ingest.journal.titration import titre_ml

EXAMPLES: list[tuple[str, dict[str, Any]]] = [
    ("lot", {"name": "Malvasia of the slope", "style": "rosé", "vintage": 2026, "alcohol_percent_vol": 12.5}),
    ("first-filling", {"volume_l": 18.5, "u_volume_l": 0.1, "blend": True}),
    (
        "titration",
        {
            "quantity": "free",
            "method": "iodometric",
            "flasks": [{"titre_ml": 1.25}, {"start_ml": 3.0, "end_ml": 4.3}],
            "sample_ml": 25.0,
            "strength": {"number": 0.02, "meaning": "normality"},
            "so2_mg_l": 32.0,
            "u_so2_mg_l": 1.5,
        },
    ),
    ("titration", {"quantity": "total", "method": "elsewhere", "so2_mg_l": 95}),
    ("titrant", {"name": "brown", "substance": "iodine", "strength": {"number": 0.01, "meaning": "iodine molarity"}}),
    ("measurement", {"quantity": "pH", "value": 3.31, "instrument": "bench meter"}),
    ("measurement", {"quantity": "turbidity", "value": 4, "unit": "NTU"}),
    ("addition", {"form": "metabisulfite", "salt": "potassium", "mass_g": 1.2, "so2_g": 0.69}),
    ("addition", {"form": "other", "name": "bentonite", "mass_g": 20.0}),
    ("racking", {"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K2", "blend": True}], "lees_l": 0.5}),
    ("racking", {"sources": [{"vessel": "K1"}], "stage": "begun"}),
    ("topping", {"bought": {"number": 2, "size_l": 0.75, "alcohol_percent_vol": 12.0, "ph": 3.2}}),
    ("sample", {"volume_l": 0.1, "purpose": "laboratory"}),
    ("gas", {"act": "purged", "times": 3, "gas": "nitrogen", "cylinder": "N2"}),
    ("inspection", {"clarity": "hazy", "lees_mm": 12.0, "film": False, "photo": "k1.jpg"}),
    ("bottling", {"bottles": [{"number": 24, "size_l": 0.75}], "closure": "cork", "waste_l": 0.2, "remainder_l": 0.0}),
    ("calibration", {"probe": "k1-ph", "points": [{"truth": 7.0, "shown": 6.93}], "unit": ""}),
    ("vessel-status", {"status": "out of use", "airlock_liquid_seen": True}),
]


FILES = {path.stem for path in Path(ingest.journal.kinds.__file__).parent.glob("*.py")} - {"__init__", "kind"}

# Keys of bodies that no answer says by itself.
WORKED_OUT = {"addition": {"so2_g"}, "racking": {"stage", "begun"}}

every_kind = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)


def wrong(kind: str, **said: Any) -> list[tuple[str, str, str]]:
    with pytest.raises(BodyWrong) as caught:
        parse_body(kind, said)
    return [(problem.key, problem.value, problem.allowed) for problem in caught.value.problems]


def test_each_file_is_a_kind_and_each_kind_has_an_example() -> None:
    assert set(KINDS) == {kind for kind, _ in EXAMPLES}
    assert {kind.replace("-", "_") for kind in KINDS} == FILES
    assert len({kind.body for kind in KINDS.values()}) == len(KINDS), "a body belongs to one kind"


@every_kind
def test_a_kind_says_what_it_is_for_and_shows_a_whole_call(kind: EntryKind[Any]) -> None:
    assert kind.says.endswith(".")
    options = set(re.findall(r"--[a-z-]+", kind.example))
    assert options
    if kind.questions:
        assert options <= {question.option for question in kind.questions}


@every_kind
def test_each_key_of_a_body_is_answered_by_a_question_of_the_kind(kind: EntryKind[Any]) -> None:
    names = [question.name for question in kind.questions]
    assert len(set(names)) == len(names)
    assert all(question.ask.endswith("?") and question.help.endswith(".") for question in kind.questions)
    assert {question.key for question in kind.questions} <= {"", *kind.body.model_fields}
    assert set(kind.answered_by.values()) <= set(names)
    if kind.questions:
        answered = {question.key or question.name for question in kind.questions} | set(kind.answered_by)
        assert (
            set(kind.body.model_fields) - {"warnings", "notes", "typed"} - WORKED_OUT.get(kind.name, set()) <= answered
        )


@every_kind
def test_a_kind_that_changes_vessels_names_some(kind: EntryKind[Any]) -> None:
    names_in_body = any(parse_body(name, said).places for name, said in EXAMPLES if name == kind.name)
    if kind.ledger_step is not None:
        assert kind.place.allowed or names_in_body
    assert not (kind.place.needed and kind.place.or_lot)


@pytest.mark.parametrize(("kind", "said"), EXAMPLES, ids=[kind for kind, _ in EXAMPLES])
def test_a_body_has_words_and_its_caution_stands_inside_a_sentence(kind: str, said: dict[str, Any]) -> None:
    body = parse_body(kind, said)
    assert kind_of(body) is KINDS[kind]
    assert body_words(body, "riesling-26").strip()
    assert not KINDS[kind].caution(body, NamedVessels()).endswith(".")


@pytest.mark.parametrize(("kind", "said"), EXAMPLES, ids=[kind for kind, _ in EXAMPLES])
def test_what_was_said_comes_back_from_the_form_of_the_store(kind: str, said: dict[str, Any]) -> None:
    body = parse_body(kind, said)
    again = parse_stored_body(kind, body_data(body))
    assert again == body
    assert type(again) is KINDS[kind].body


def test_every_mistake_is_told_with_its_key_its_value_and_what_is_allowed() -> None:
    assert wrong(
        "racking", sources=[{"vessel": "K 1", "volume": 3}], targets=[{"vessel": "K2", "volume_l": "3 L"}]
    ) == [
        (
            "sources.0.vessel",
            '"K 1"',
            '1 to 64 letters, digits, ".", "_" or "-", beginning with a letter or digit, such as "K1"',
        ),
        ("sources.0.volume", "3", "there is no such key"),
        ("targets.0.volume_l", '"3 L"', "must be a number without quotes"),
    ]
    assert wrong("first-filling", liters=3) == [
        ("liters", "3", "there is no such key; there are: volume_l, u_volume_l, blend, remark")
    ]
    assert wrong("lot", style="white") == [("name", "", "is missing")]
    assert wrong("wine")[0][2].startswith("there is no such kind; there are: lot, first-filling,")


@pytest.mark.parametrize(
    ("kind", "said", "allowed"),
    [
        ("first-filling", {"volume_l": 0.0}, "must be more than 0"),
        ("first-filling", {"volume_l": float("nan")}, "finite"),
        ("first-filling", {"volume_l": True}, "must be a number"),
        ("first-filling", {"remark": "a\x07b"}, "control characters"),
        ("racking", {"sources": [{"vessel": "K1"}]}, "at least one vessel"),
        ("racking", {"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K1"}]}, "K1 is named twice"),
        (
            "racking",
            {"sources": [{"vessel": "K1", "lees_l": 1.0}], "targets": [{"vessel": "K2"}], "lees_l": 1.0},
            "either as one sum",
        ),
        (
            "racking",
            {"sources": [{"vessel": "K1", "volume_l": 1.0, "lees_l": 2.0}], "targets": [{"vessel": "K2"}]},
            "lees of 2 L are more than the 1 L drawn",
        ),
        ("topping", {"source": "K1", "bought": {"number": 1, "size_l": 0.75}}, "two entries for both"),
        ("topping", {"volume_l": 2.0, "bought": {"number": 1, "size_l": 0.75}}, "more than the 0.75 L in the bottles"),
        ("titration", {"quantity": "free", "method": "elsewhere"}, "is its mg/L"),
        ("titration", {"quantity": "free", "method": "aeration"}, "at least one flask"),
        ("measurement", {"quantity": "iron", "value": 3}, "needs its unit"),
        ("measurement", {"quantity": "alcohol", "value": 12, "unit": "% mas"}, "is written in % vol"),
        ("measurement", {"quantity": "volume", "value": -1}, "cannot be below 0"),
        ("addition", {"form": "stock solution", "volume_ml": 5.0}, "needs stock_g_per_100_ml"),
        ("addition", {"form": "other", "name": "oak"}, "say how much"),
        ("gas", {"act": "charged"}, "needs pressure_kpa"),
        ("inspection", {}, "say what was seen"),
        ("vessel-status", {}, "say the status"),
    ],
)
def test_what_cannot_be_is_refused_in_words(kind: str, said: dict[str, Any], allowed: str) -> None:
    assert any(allowed in text for _, _, text in wrong(kind, **said))


def test_a_flask_is_a_titre_or_two_readings_of_the_burette() -> None:
    assert Flask(titre_ml=1.5).used_ml == 1.5
    assert Flask(start_ml=3.0, end_ml=4.25).used_ml == 1.25
    for said in ({}, {"start_ml": 1.0}, {"titre_ml": 1.0, "end_ml": 2.0}, {"start_ml": 2.0, "end_ml": 1.0}):
        flask = {"flasks": [said], "sample_ml": 25.0, "quantity": "free", "method": "iodometric"}
        assert wrong("titration", **flask)[0][0] == "flasks.0"


def test_a_weight_says_how_much_wine_there_is_when_somebody_worked_it_out() -> None:
    assert MeasurementBody(quantity="volume", value=17.0, u_value=0.1).found_volume_l == 17.0
    weighed = MeasurementBody(quantity="weight", value=21.3, volume_l=17.2, u_volume_l=0.05)
    assert (weighed.found_volume_l, weighed.u_found_volume_l) == (17.2, 0.05)
    assert MeasurementBody(quantity="pH", value=3.3).found_volume_l is None
    assert result_units()["density"] == "g/mL"


def test_a_body_cannot_be_changed() -> None:
    body = TitrationBody(quantity="free", method="elsewhere", so2_mg_l=30.0)
    with pytest.raises(ValueError, match="frozen"):
        body.so2_mg_l = 40.0  # type: ignore[misc]  # that is what must not work


@given(
    st.sampled_from(list(KINDS)),
    st.dictionaries(
        st.sampled_from(sorted({key for known in KINDS.values() for key in known.body.model_fields})),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
            lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=8), inner, max_size=2),
            max_leaves=4,
        ),
        max_size=4,
    ),
)
def test_anything_is_a_body_or_is_refused_with_reasons(kind: str, said: dict[str, Any]) -> None:
    try:
        body = parse_body(kind, said)
    except EntryRefused as refusal:
        assert refusal.problems
        assert str(refusal)
    else:
        assert parse_stored_body(kind, body_data(body)) == body


def test_a_titration_of_the_first_stores_is_read_with_its_end_point_in_seconds() -> None:
    said = '"quantity":"free","method":"iodometric","flasks":[{"titre_ml":1.2}],"sample_ml":25.0'
    text = f'{{{said},"end_point":"blue for 15 s"}}'
    body = parse_stored_body("titration", text)
    assert body.end_point_s == 15.0  # type: ignore[attr-defined]  # a titration's
    assert parse_stored_body("titration", body_data(body)) == body


@pytest.mark.parametrize(
    ("start", "end", "told"), [(2.0, 1.0, "are the two swapped"), (0.0, 101.0, "from 0 to 100 mL")]
)
def test_a_burette_is_read_by_one_rule_wherever_it_is_written(start: float, end: float, told: str) -> None:
    flask = {"start_ml": start, "end_ml": end}
    with pytest.raises(BodyWrong, match=told):
        parse_body("titration", {"quantity": "free", "method": "iodometric", "flasks": [flask], "sample_ml": 25.0})
    with pytest.raises(TitrationRefused, match=told):
        titre_ml(start, end)


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("vessel-status", {"status": "cleaned"}),
        ("vessel-status", {"status": "emptied"}),
        ("inspection", {"clarity": "clear"}),
        ("measurement", {"quantity": "volume", "value": 900.0}),
        ("racking", {"sources": [{"vessel": "T1"}], "targets": [{"vessel": "T2"}]}),
        ("bottling", {"bottles": [{"number": 6, "size_l": 0.75}]}),
        ("gas", {"act": "purged", "times": 3}),
    ],
)
def test_of_a_tank_or_another_large_vessel_it_is_said_that_nobody_goes_in(kind: str, said: dict[str, Any]) -> None:
    body = parse_body(kind, said)
    tank = Vessel.model_validate({"id": "T1", "kind": "tank", "capacity": "200 L"})
    vat = Vessel.model_validate({"id": "T1", "kind": "barrel", "capacity": "600 L"})
    barrel = Vessel.model_validate({"id": "T1", "kind": "barrel", "capacity": "225 L"})
    for vessel, warned in ((tank, True), (vat, True), (barrel, False)):
        caution = KINDS[kind].caution(body, NamedVessels([vessel]))
        assert ("never climb, reach or lean into" in caution) == warned


@pytest.mark.parametrize(
    ("substance", "about"), [("iodine", "iodine"), ("iodide-iodate", "iodine"), ("sodium hydroxide", "hydroxide")]
)
def test_a_titrant_is_cautioned_for_what_is_in_the_bottle(substance: str, about: str) -> None:
    body = parse_body(
        "titrant", {"name": "n", "substance": substance, "strength": {"number": 0.01, "meaning": "normality"}}
    )
    caution = KINDS["titrant"].caution(body, NamedVessels())
    assert about in caution
    assert ("iodine" in caution, "hydroxide" in caution) == (about == "iodine", about == "hydroxide")


def test_gas_on_glass_is_let_off_from_aside_and_not_left_to_itself() -> None:
    glass = Vessel.model_validate({"id": "C1", "kind": "carboy", "capacity": "20 L", "material": "glass"})
    (warning,) = KINDS["gas"].warnings(
        parse_body("gas", {"act": "charged", "pressure_kpa": 5.0}), NamedVessels([glass])
    )
    assert "let the pressure off slowly from aside, with eyes and hands shielded" in warning
    assert "keep away until" not in warning
