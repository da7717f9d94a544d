"""A titration's answers worked out: which titrant, how strong, what it gives in mg/L, and what speaks against it."""

from __future__ import annotations

__all__ = ["judged_bottle", "worked_titration"]

from datetime import UTC, datetime
from typing import Any, Final

from ingest.journal.answers import AnswersWrong, WrittenStrength, Wrong
from ingest.journal.entry_context import EntryContext
from ingest.journal.question import Given
from ingest.journal.result_warnings import TitrationRefused, notes_and_warnings
from ingest.journal.titrant import Bottle, Meaning, Titrant, TitrantStrength, bottle_warnings
from ingest.journal.titration import Method, So2Quantity, Style, Titration, titre_ml
from ingest.journal.titration_outcome import titrated

_MOLARITY: Final = {
    Titrant.IODINE: Meaning.IODINE_MOLARITY,
    Titrant.IODATE: Meaning.IODATE_MOLARITY,
    Titrant.NAOH: Meaning.NAOH_MOLARITY,
}
# Burettes that are made to ISO 385 [mL] (from memory); a burette that shows 31 mL is one of 50.
_BURETTES_ML: Final = (25.0, 50.0, 100.0)
_QUESTIONS: Final = {"burette": "end", "end point": "end_point"}
# What only somebody who titrated can say; a laboratory gives its result alone.
_AT_THE_BENCH: Final = (
    "titrant", "strength", "substance", "factor", "sample", "blank", "titre", "start", "end", "end_point"
)  # fmt: skip


def worked_titration(given: Given, data: dict[str, Any], context: EntryContext, at_ms: int) -> tuple[str, ...]:
    """Fill the body of a titration and give what speaks against it. Raises AnswersWrong."""
    if given["method"] == "elsewhere":
        stray = [
            Wrong(name, "does not belong to a result from elsewhere; say it as --result")
            for name in _AT_THE_BENCH
            if name in given
        ]
        if stray:
            raise AnswersWrong(stray)
        return ()
    for name in ("result", "uncertainty"):
        if name in given:
            raise AnswersWrong([Wrong(name, "is worked out from the titre; say it only with method elsewhere")])
    method = Method(given["method"])
    strength_question = "titrant" if "titrant" in given else "strength"
    try:
        bottle = _bottle(given, context, method)
        flasks = _flasks(given)
        titration = Titration(
            method=method,
            quantity=So2Quantity(given["quantity"]),
            style=_style(given, context, at_ms),
            titres_ml=tuple(
                flask["titre_ml"] if "titre_ml" in flask else titre_ml(flask["start_ml"], flask["end_ml"])
                for flask in flasks
            ),
            sample_ml=given["sample"],
            bottle=bottle,
            blank_ml=given.get("blank", 0.0),
            burette_ml=next((size for size in _BURETTES_ML if size >= max(given.get("end", [0.0]))), 25.0),
            end_point_s=given.get("end_point"),
        )
    except TitrationRefused as error:
        question = strength_question if error.field == "strength" else _QUESTIONS.get(error.field, error.field)
        raise AnswersWrong([Wrong(question, str(error))]) from None
    outcome = titrated(titration, at_ms)
    notes, warnings = notes_and_warnings(outcome.warnings)
    data |= {
        "flasks": flasks,
        "titrant": given.get("titrant"),
        "strength": {"number": bottle.strength.number, "meaning": bottle.strength.meaning.value},
        "factor": bottle.factor,
        "so2_mg_l": outcome.so2_mg_l,
        # Below the blank too: how little could have been found.
        "u_so2_mg_l": outcome.u_mg_l,
        "notes": notes,
    }
    return warnings


def judged_bottle(given: Given, data: dict[str, Any], at_ms: int) -> tuple[str, ...]:
    """Fill the strength of a bottle's body and give what speaks against the bottle. Raises AnswersWrong."""
    try:
        strength = _strength(given["strength"], Titrant(given["substance"]))
        bottle = Bottle(
            Titrant(given["substance"]), strength, given.get("factor"), given.get("standardised"), given.get("opened")
        )
    except TitrationRefused as error:
        raise AnswersWrong([Wrong(error.field, str(error))]) from None
    data["strength"] = {"number": strength.number, "meaning": strength.meaning.value}
    data["notes"], warnings = notes_and_warnings(bottle_warnings(bottle, at_ms))
    return warnings


def _strength(answer: WrittenStrength, titrant: Titrant) -> TitrantStrength:
    return TitrantStrength(answer.number, _MOLARITY[titrant] if answer.molar else Meaning.NORMALITY)


def _bottle(given: Given, context: EntryContext, method: Method) -> Bottle:
    if "titrant" not in given:
        usual = Titrant.IODINE if method is Method.IODOMETRIC else Titrant.NAOH
        answer: WrittenStrength = given["strength"]
        if answer.molar and "substance" not in given:
            why = "is missing: a molarity means another strength of each titrant; or write the strength as a normality"
            raise AnswersWrong([Wrong("substance", why)])
        titrant = Titrant(given.get("substance", usual))
        return Bottle(titrant, _strength(answer, titrant), given.get("factor"))
    both = [name for name in ("strength", "substance", "factor") if name in given]
    if both:
        raise AnswersWrong([Wrong(name, "is known from the bottle; leave it out, or the titrant") for name in both])
    known = context.bottles.there.get(given["titrant"])
    if known is None:
        raise AnswersWrong([Wrong("titrant", _no_bottle(given["titrant"], context))])
    strength = TitrantStrength(known.strength.number, known.strength.meaning)
    return Bottle(known.substance, strength, known.factor, known.standardised_ms, known.opened_ms)


def _no_bottle(name: str, context: EntryContext) -> str:
    """Why a bottle cannot be taken, and which can."""
    names = ", ".join(sorted(context.bottles.there)) or "none yet"
    later_ms = context.bottles.later.get(name)
    if later_ms is None:
        return f"there is no bottle '{name}'; write it down as a titrant first. There are: {names}"
    first = datetime.fromtimestamp(later_ms / 1000, UTC).astimezone(context.cellar.site.zone)
    return (
        f"the bottle '{name}' is there only from {first:%Y-%m-%d %H:%M} on, after this titration; write it down with "
        f"an earlier --at or --opened. At that time there are: {names}"
    )


def _flasks(given: Given) -> list[dict[str, float]]:
    titres, starts, ends = (given.get(name, []) for name in ("titre", "start", "end"))
    if titres and (starts or ends):
        raise AnswersWrong([Wrong("titre", "is what burette start and end give; say one or the other")])
    if len(starts) != len(ends):
        raise AnswersWrong(
            [Wrong("end", f"{len(starts)} starts and {len(ends)} ends of the burette; give one of each")]
        )
    if titres:
        return [{"titre_ml": titre} for titre in titres]
    return [{"start_ml": start, "end_ml": end} for start, end in zip(starts, ends, strict=True)]


def _style(given: Given, context: EntryContext, at_ms: int) -> Style | None:
    """The wine's style by what the vessel holds, else by the lot; None if the journal does not say."""
    contents = context.contents.get(given.get("vessel", ""))
    if contents is not None and contents.style is not None:
        return Style(contents.style)
    lot = context.lots.of(given.get("lot", ""), at_ms)
    return None if lot is None else Style(lot.style)
