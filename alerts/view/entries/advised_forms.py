"""Which form of the page serves what a text advises: "leeside enter titration" leads to ``/enter/titration``.

Advice is written once, with the command to use. The page shows the form's name instead, as a link that has place and
lot filled in, and for a dose the vessel's review; a message gives the form's address beside the command.
"""

from __future__ import annotations

__all__ = ["NOTHING", "About", "AdvicePart", "about_limit", "advice_parts", "advised_paths", "form_path"]

import re
import shlex
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple
from urllib.parse import quote, urlencode

from ingest.cellar import EffectiveLimit
from ingest.journal.entry import kind_words
from ingest.journal.kinds import KINDS
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.journal.kinds.kind import place_question

_COMMAND: Final = re.compile(r"leeside enter ([a-z]+(?:-[a-z]+)*)")
# The cellar file stands behind the kind, if it is named at all.
_FILE: Final = re.compile(r" (?:FILE\b|'[^']*'|[^\s'()]+\.toml\b|[^\s'()-][^\s'()]*(?= --[a-z]))")
_OPTION: Final = re.compile(r" --([a-z]+(?:-[a-z]+)*)(?: ('[^']*'|(?!--|\.\.\.)[^\s'(),;]*[^\s'(),;.]))?")
# The dose has no form: on the page it is a point of the vessel's review.
_REVIEW: Final = re.compile(
    r"leeside (?:dose|review) (?:(?:FILE|'[^']*'|[^\s'()]+\.toml) (?P<vessel>[^\s'(),;]*[^\s'(),;.])"
    r"|(?P<last>[^\s'(),;]*[^\s'(),;.])(?=[.,;)]|$))"
)
_AND_SO_ON: Final = re.compile(r" \.\.\.")
# What a text says of the matter itself; anything else behind a command is an example of what may be found.
_GIVEN: Final = frozenset({"vessel", "cylinder", "room", "lot", "from", "to", "quantity"})
# What the texts write where an id is to be put.
_STANDS_FOR_AN_ID: Final = frozenset({"LOT", "VESSEL", "ID", "FILE"})


class About(NamedTuple):
    """What an advice is about, "" where that is not known. place_kind: cylinder, room, or that of a vessel."""

    place: str = ""
    place_kind: str = ""
    lot: str = ""
    probe: str = ""


NOTHING: Final = About()


class AdvicePart(NamedTuple):
    """A part of a text. path: of the form that it names, "" for plain text."""

    text: str
    path: str = ""


def about_limit(limit: EffectiveLimit, place_kind: str = "") -> About:
    """Say what the advice of a limit is about."""
    lot = "" if limit.lot == "any" else limit.lot
    is_calibration = limit.kind == "due" and limit.quantity == CALIBRATION.name
    return About(limit.at, place_kind, lot, limit.probe.removesuffix(f"/{limit.quantity}") if is_calibration else "")


def form_path(kind_name: str, about: About, given: Mapping[str, Sequence[str]] | None = None) -> str:
    """Give the path of a kind's form with place, lot, and what else is given in the answers to its questions.

    A lot is filled in where the form asks for it and no place answers that already. "" where there is no such form.
    """
    kind = KINDS.get(kind_name)
    if kind is None:
        return ""
    if kind_name == CALIBRATION.name:
        return f"/enter/{kind_name}" + (f"/{quote(about.probe, safe='')}" if about.probe else "")
    if not kind.questions:
        return ""
    answers = {name: texts for name, texts in (given or {}).items() if kind.question(name) is not None}
    question = place_question(about.place_kind)
    asked = [name for name in (question, *(("from",) if question == "vessel" else ())) if kind.question(name)]
    named = {"vessel", "cylinder", "room", "from"} & answers.keys()
    if about.place and asked and not named:
        answers = {asked[0]: [about.place], **answers}
    elif about.lot and not named and kind.question("lot") is not None:
        answers.setdefault("lot", [about.lot])
    pairs = [(name, text) for name, texts in answers.items() for text in texts]
    return f"/enter/{kind_name}" + (f"?{urlencode(pairs)}" if pairs else "")


def advice_parts(text: str, about: About = NOTHING) -> tuple[AdvicePart, ...]:
    """Take a text apart into plain parts and the names of forms and reviews, in place of the commands for the same."""
    named: list[tuple[int, int, AdvicePart]] = []
    for command in _COMMAND.finditer(text):
        given, end = _options(text, command.end())
        if path := form_path(command[1], about, given):
            named.append((command.start(), end, AdvicePart(kind_words(command[1]), path)))
    for command in _REVIEW.finditer(text):
        vessel = command["vessel"] or command["last"]
        part = AdvicePart(f"the review of {vessel}", f"/review/{quote(vessel, safe='')}")
        named.append((command.start(), command.end(), part))
    parts: list[AdvicePart] = []
    done = 0
    for start, end, part in sorted(named):
        parts += [AdvicePart(text[done:start]), part]
        done = end
    parts.append(AdvicePart(text[done:]))
    return tuple(part for part in parts if part.text)


def advised_paths(text: str, about: About = NOTHING) -> tuple[str, ...]:
    """Give the paths of the forms that a text advises, each once."""
    parts = advice_parts(text, about)
    return tuple(dict.fromkeys(part.path for part in parts if part.path.startswith("/enter/")))


def _options(text: str, at: int) -> tuple[dict[str, list[str]], int]:
    """What the options behind a command answer, and where the command ends."""
    given: dict[str, list[str]] = {}
    if file := _FILE.match(text, at):
        at = file.end()
    while option := _OPTION.match(text, at):
        at = option.end()
        values = shlex.split(option[2] or "")
        if option[1] in _GIVEN and values and values[0] not in _STANDS_FOR_AN_ID:
            given.setdefault(option[1], []).append(values[0])
    if more := _AND_SO_ON.match(text, at):
        at = more.end()
    return given, at
