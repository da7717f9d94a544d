"""Proposed ``[[probe]]`` tables for samples that nobody takes: valid TOML, with what is not clear left as a comment.

A gap is a line ``# key = "value"  # or ...``: taking away its first ``# `` fills it with the likeliest value.
"""

from __future__ import annotations

__all__ = ["KnownPlace", "ProbeProposal", "Unclaimed", "propose"]

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from alerts.command.found_numbers import FoundNumber, find_numbers
from alerts.command.guess import Guess
from ingest.cellar import QUANTITIES, QUANTITY_NAMES

_LONGEST_ID: Final = 64
_UNITS: Final = {
    "temperature": ("degC", "degF", "K"),
    "pressure": ("kPa", "psi", "mbar", "bar"),
    "barometric_pressure": ("hPa", "kPa"),
    "pH": ("pH",),
}
# Spans that instruments are set to; a measured one is taken up to the next of them.
_EVERY_S: Final = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)


@dataclass(frozen=True, slots=True)
class KnownPlace:
    """A place of the cellar file. kind: a vessel's kind, "cylinder" or "room"."""

    id: str
    kind: str


@dataclass(frozen=True, slots=True)
class Unclaimed:
    """Samples of one address that no probe takes.

    source: ``mqtt``, ``w1`` or a serial line's id; address: topic, chip id or the line's id; payloads: some of them,
    the newest last; encoding: of a serial line's text, else None; every_s: seconds between two of them, None if
    not known.
    """

    source: str
    address: str
    payloads: tuple[bytes, ...]
    encoding: str | None = None
    every_s: float | None = None


class ProbeProposal(NamedTuple):
    """text: for the cellar file, "" where no number stands in the samples; ids: of the probes in it."""

    text: str
    ids: tuple[str, ...]


def propose(
    unclaimed: Unclaimed, places: Sequence[KnownPlace], taken_ids: Collection[str], now_ms: int
) -> ProbeProposal:
    """A table for each number that stands in the samples.

    taken_ids: of probes that are there already. now_ms: UTC milliseconds.
    """
    if unclaimed.source == "w1":
        found = [FoundNumber("w1", (), (unclaimed.address,), "", Guess("temperature"))]
    else:
        found = find_numbers(unclaimed.address, unclaimed.payloads, now_ms, encoding=unclaimed.encoding)
    ids: list[str] = []
    for number in found:
        ids.append(_new_id(unclaimed, number, {*taken_ids, *ids}))
    tables = [_table(unclaimed, number, name, places) for number, name in zip(found, ids, strict=True)]
    return ProbeProposal("\n".join(tables), tuple(ids))


def _table(unclaimed: Unclaimed, found: FoundNumber, name: str, places: Sequence[KnownPlace]) -> str:
    guessed = found.guess
    lines = [f"# {found.example} came here" if found.example else "# a temperature chip"]
    if found.remark:
        lines.append(f"# {found.remark}")
    lines = [_comment(line[2:]) for line in lines]
    lines += ["[[probe]]", f"id = {_quoted(name)}"]
    if guessed.quantity is not None:
        lines.append(_at(places, guessed.quantity, found, unclaimed))
        lines.append(f"quantity = {_quoted(guessed.quantity)}")
    else:
        likely = _possible(guessed)
        lines.append(_at(places, likely[0], found, unclaimed))
        lines.append(_gap("quantity", likely))
    key = {"mqtt": "topic", "w1": "w1"}.get(unclaimed.source, "serial")
    lines.append(f"{key} = {_quoted(unclaimed.address)}")
    lines += [f"{key} = {_quoted(value)}" for key, value in found.keys]
    lines += _unit_lines(guessed) if found.form != "w1" else []  # the kernel's files are in °C
    if unclaimed.every_s is not None:
        lines.append(f'every = "{_every(unclaimed.every_s):g} s"')
    return "\n".join(lines) + "\n"


def _unit_lines(guessed: Guess) -> list[str]:
    if guessed.unit is not None:
        lines = [f"unit = {_quoted(guessed.unit)}"]
        if guessed.unit == "psia" and guessed.quantity == "pressure":
            lines.append('reference = "absolute"  # needs altitude in [site]')
        return lines
    if guessed.quantity == "pH":
        return []
    return [_gap("unit", _UNITS[guessed.quantity or guessed.likely])]


def _possible(guessed: Guess) -> list[str]:
    """The quantities that it may be, the likeliest first; a unit that is clear rules some out."""
    names = [name for name in QUANTITY_NAMES if guessed.unit is None or guessed.unit in _ALLOWED[name]]
    return sorted(names, key=lambda name: name != guessed.likely)


_PRESSURES: Final = frozenset({"kPa", "hPa", "mbar", "bar", "psi", "psig", "Pa", "MPa"})
_ALLOWED: Final = {
    "temperature": frozenset({"degC", "degF", "K"}),
    "pressure": _PRESSURES,
    "barometric_pressure": _PRESSURES - {"psig"},
    "pH": frozenset({"pH"}),
}


def _at(places: Sequence[KnownPlace], quantity: str, found: FoundNumber, unclaimed: Unclaimed) -> str:
    """The place stays a gap, however clear it looks: a probe at the wrong vessel is worse than none."""
    kinds = QUANTITIES[quantity].places
    fitting = [place.id for place in places if place.kind in kinds]
    if not fitting:
        return f"# at: write its place first ({', '.join(sorted(kinds))}), then the place's id here"
    named = [part.lower() for name in (*unclaimed.address.split("/"), *found.names) for part in _parts(name)]
    # A place that is named comes first, and of two the one that is named later: topics go from the whole to the part.
    spoken = {part: number for number, part in enumerate(named, 1)}
    return _gap("at", sorted(fitting, key=lambda place: -spoken.get(place.lower(), 0)))


def _parts(name: str) -> list[str]:
    return [name, *re.split(r"[^A-Za-z0-9]+", name)]


def _gap(key: str, choices: Sequence[str]) -> str:
    others = ", ".join(_quoted(choice) for choice in choices[1:13])
    return f"# {key} = {_quoted(choices[0])}" + (f"  # or {others}" if others else "")


def _new_id(unclaimed: Unclaimed, found: FoundNumber, taken: Collection[str]) -> str:
    """A short name made of what the number is called, that no other probe has."""
    words = [word for name in found.names[-3:] for word in re.findall(r"[a-z0-9]+", name.lower())]
    if found.guess.quantity is not None and found.form in ("line", "w1"):
        words.append(found.guess.quantity.lower())
    slug = re.sub(r"-+", "-", "-".join(words or [*re.findall(r"[a-z0-9]+", unclaimed.address.lower()), "probe"]))
    slug = slug[: _LONGEST_ID - 4].strip("-") or "probe"
    number, name = 1, slug
    while name in taken:
        number += 1
        name = f"{slug}-{number}"
    return name


def _every(seconds: float) -> float:
    return next((step for step in _EVERY_S if seconds <= step * 1.25), 3600)


def _comment(text: str) -> str:
    """Text that is fit for a TOML comment: nothing in it ends the line."""
    return "# " + "".join(letter if letter.isprintable() else "?" for letter in text)


def _quoted(text: str) -> str:
    """A TOML string: literal where the text allows, so that a pattern keeps its backslashes as they are."""
    if "\\" in text and "'" not in text and text.isprintable():
        return f"'{text}'"
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(letter if letter.isprintable() else f"\\U{ord(letter):08X}" for letter in escaped) + '"'
