"""From answers to the draft of an entry: what the answers mean together, with all that follows from them. Pure."""

from __future__ import annotations

__all__ = ["DraftedEntry", "draft_entry", "question_of"]

from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from ingest.errors import Problem
from ingest.journal.answers import AnswersWrong, Wrong
from ingest.journal.bodies import BodyWrong, Kind, parse_body
from ingest.journal.body import Body
from ingest.journal.entry import Draft
from ingest.journal.entry_context import EntryContext
from ingest.journal.forms import FORMS, missing
from ingest.journal.open_rackings import finished_by
from ingest.journal.question import Form, Given
from ingest.journal.sulfite import so2_added_g
from ingest.journal.treatments import AdditionBody
from ingest.journal.weighing import weighed
from ingest.journal.worked_titration import worked_titration


class DraftedEntry(NamedTuple):
    """What would be written. warnings: what a person should know about it."""

    draft: Draft
    warnings: tuple[str, ...] = ()


def draft_entry(kind: Kind, given: Given, background: EntryContext, *, who: str, at_ms: int) -> DraftedEntry:
    """The draft that the answers make (as ``read_answers`` gives them), worked out and checked by itself.

    Raises AnswersWrong that names each question of which the answer is missing or will not do.
    """
    form = FORMS[kind]
    lacking = [Wrong(one.name, f"is missing: {one.help}") for one in missing(form, given)]
    if lacking:
        raise AnswersWrong(lacking)
    data: dict[str, Any] = {one.key: given[one.name] for one in form.questions if one.key and one.name in given}
    make = _MAKE.get(kind)
    warnings: tuple[str, ...] = ()
    if make is not None:
        warnings = make(given, data, background, at_ms)
    try:
        body = parse_body(kind, data)
    except BodyWrong as error:
        raise AnswersWrong([Wrong(question_of(form, problem), problem.allowed) for problem in error.problems]) from None
    body = _worked_out(body)
    return DraftedEntry(Draft(kind, at_ms, who, body, _place(given), _lot(kind, given)), warnings)


def question_of(form: Form, problem: Problem) -> str:
    """The name of the question that a problem of a body or draft is about; "" if it is about none in particular."""
    key = problem.key
    if key in ("at", "who"):
        return key
    if key == "place":
        return next((one.name for one in form.questions if one.name in ("vessel", "cylinder")), "")
    head = key.split(".")[0]
    by_key = [one.name for one in form.questions if head and head in (one.key, one.name)]
    return (by_key or [_PARTS.get((form.kind, head), "")])[0]


# Where a body's part comes from, if it is not copied from one answer.
_PARTS: Final[Mapping[tuple[str, str], str]] = {
    ("racking", "sources"): "from",
    ("racking", "targets"): "to",
    ("racking", "vessel"): "from",
    ("racking", ""): "from",
    ("topping", "bought"): "bottles",
    ("topping", ""): "volume",
    ("topping", "vessel"): "from",
    ("titration", "flasks"): "titre",
    ("titration", ""): "titre",
    ("addition", "label_so2_g"): "label",
    ("addition", "label_so2_g_l"): "label",
    ("addition", ""): "amount",
    ("measurement", "u_value"): "uncertainty",
    ("measurement", "unit"): "value",
    ("measurement", "volume_l"): "value",
    ("measurement", "content_kg"): "value",
    ("measurement", ""): "value",
    ("look", ""): "clarity",
    ("state", ""): "state",
    ("gas", ""): "act",
    ("titrant", "strength"): "strength",
}


def _place(given: Given) -> str | None:
    for name in ("vessel", "cylinder", "room"):
        if given.get(name):
            return str(given[name])
    return None


def _lot(kind: Kind, given: Given) -> str | None:
    lot = given.get("lot")
    if lot and kind == "topping" and (given.get("from") or given.get("bottles")):
        raise AnswersWrong([Wrong("lot", "leave it out: the vessel or the bottles say which wine it is")])
    return None if lot is None else str(lot)


def _racking(given: Given, data: dict[str, Any], background: EntryContext, at_ms: int) -> tuple[str, ...]:
    blend, begun = bool(given.get("blend")), bool(given.get("begin"))
    emptied = set(given.get("emptied", ()))
    sources = [{**one, **({"emptied": True} if one["vessel"] in emptied else {})} for one in given["from"]]
    stray = sorted(emptied - {one["vessel"] for one in sources})
    if stray:
        raise AnswersWrong([Wrong("emptied", f"{', '.join(stray)} is not among the vessels it came from")])
    data["sources"] = sources
    data["targets"] = [{**one, **({"blend": True} if blend else {})} for one in given.get("to", ())]
    if begun:
        data["stage"] = "begun"
        return ()
    earlier = finished_by(background.begun, [one["vessel"] for one in sources], at_ms)
    if earlier is not None:
        data["begun"] = earlier.entry
    return ()


def _topping(given: Given, data: dict[str, Any], _: EntryContext, __: int) -> tuple[str, ...]:
    about = {
        "name": "name",
        "alcohol": "alcohol_percent_vol",
        "ph": "ph",
        "free": "free_so2_mg_l",
        "total": "total_so2_mg_l",
        "sugar": "sugar_g_l",
    }
    told = [name for name in about if name in given]
    if "bottles" in given:
        data["bought"] = {**given["bottles"], **{about[name]: given[name] for name in told}}
    elif told:
        raise AnswersWrong([Wrong(name, "is told of bought bottles; say them with bottles") for name in told])
    return ()


def _titration(given: Given, data: dict[str, Any], background: EntryContext, at_ms: int) -> tuple[str, ...]:
    return worked_titration(given, data, background, at_ms)


def _titrant(given: Given, data: dict[str, Any], _: EntryContext, at_ms: int) -> tuple[str, ...]:
    from ingest.journal.worked_titration import judged_bottle

    return judged_bottle(given, data, at_ms)


def _gas(given: Given, data: dict[str, Any], background: EntryContext, _: int) -> tuple[str, ...]:
    cylinder = given.get("cylinder")
    # Without a vessel the entry is about the cylinder itself.
    if cylinder is not None and given.get("vessel"):
        known = [one.id for one in background.cellar.cylinder]
        if cylinder not in known:
            there = ", ".join(known) or "none"
            raise AnswersWrong([Wrong("cylinder", f"the cellar file has no cylinder '{cylinder}'; there are: {there}")])
        data["cylinder"] = cylinder
    return ()


def _measurement(given: Given, data: dict[str, Any], background: EntryContext, _: int) -> tuple[str, ...]:
    return weighed(given, data, background.cellar)


def _addition(given: Given, data: dict[str, Any], _: EntryContext, __: int) -> tuple[str, ...]:
    if "label" in given:
        data |= _label(str(given["label"]), str(given["form"]))
    return ()


def _label(text: str, form: str) -> dict[str, float]:
    from ingest.cellar import Dimension, parse_amount

    try:
        if form == "tablets":
            return {"label_so2_g": parse_amount(text, dimension=Dimension.MASS, unit="g", example="0.25 g").number}
        found = parse_amount(text, dimension=Dimension.CONCENTRATION, unit="g/L", example="50 g/L")
    except ValueError as error:
        raise AnswersWrong([Wrong("label", f"'{text}': {error}")]) from None
    return {"label_so2_g_l": found.number}


def _worked_out(body: Body) -> Body:
    if isinstance(body, AdditionBody):
        return body.model_copy(update={"so2_g": so2_added_g(body)})
    return body


_MAKE: Final[Mapping[Kind, Callable[[Given, dict[str, Any], EntryContext, int], tuple[str, ...]]]] = {
    "racking": _racking,
    "topping": _topping,
    "titration": _titration,
    "titrant": _titrant,
    "gas": _gas,
    "measurement": _measurement,
    "addition": _addition,
}
