"""Proposed ``[[probe]]`` tables: valid TOML, with what is not clear left as a comment.

A gap is a line ``# key = "value"  # or ...``: taking away its first ``# `` fills it with the likeliest value.
"""

from __future__ import annotations

__all__ = ["SampleGroup", "probe_tables"]

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Final

from alerts.command.discovery.numbers import FoundNumber, find_numbers
from alerts.command.discovery.quantity_guess import Guess
from ingest.cellar import QUANTITIES, Cellar, UnitError, series_unit_conversion

_LONGEST_ID: Final = 64
# The units to offer for a quantity, the likeliest first.
_UNITS: Final = {
    "temperature": ("degC", "degF", "K"),
    "pressure": ("kPa", "psi", "mbar", "bar"),
    "barometric_pressure": ("hPa", "kPa"),
    "pH": (),  # it has one unit, which need not be written
}
# Spans that instruments are set to; a measured one is taken up to the next of them.
_EVERY_S: Final = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)


@dataclass(slots=True)
class SampleGroup:
    """Samples of one address that no probe takes; of a serial line, those of one shape.

    source: ``mqtt``, ``w1`` or a serial line's id; address: topic, chip id or the line's id; encoding: of a serial
    line's text, else None; newest: the last payload; arrivals_mono: seconds, of the last few that had just been sent.
    """

    source: str
    address: str
    encoding: str | None = None
    newest: bytes = b""
    arrivals_mono: list[float] = field(default_factory=list)

    @property
    def every_s(self) -> float | None:
        """Seconds between two samples, None if not known."""
        gaps = [later - sooner for sooner, later in zip(self.arrivals_mono, self.arrivals_mono[1:], strict=False)]
        return median(gaps) if gaps else None


def probe_tables(group: SampleGroup, cellar: Cellar, ids: Collection[str], now_ms: int) -> dict[str, str]:
    """Return a table for each number that stands in the newest sample, by the id of its probe.

    ids: of probes that are there already. now_ms: UTC milliseconds.
    """
    if group.source == "w1":
        numbers = [FoundNumber("w1", (), (group.address,), "", Guess("temperature"))]
    else:
        numbers = find_numbers(group.address, group.newest, now_ms, encoding=group.encoding)
    tables: dict[str, str] = {}
    for number in numbers:
        probe_id = _new_id(group, number, {*ids, *tables})
        tables[probe_id] = _table(group, number, probe_id, cellar)
    return tables


def _table(group: SampleGroup, number: FoundNumber, probe_id: str, cellar: Cellar) -> str:
    guess = number.guess
    quantities = [guess.quantity] if guess.quantity is not None else _possible(guess)
    lines = [_comment(f"{number.example} came here" if number.example else "a temperature chip")]
    if number.remark:
        lines.append(_comment(number.remark))
    lines += ["[[probe]]", f"id = {_quoted(probe_id)}", _place(group, number, quantities[0], cellar)]
    lines.append(_choice("quantity", quantities))
    source_key = {"mqtt": "topic", "w1": "w1"}.get(group.source, "serial")
    lines += [f"{key} = {_quoted(value)}" for key, value in ((source_key, group.address), *number.keys)]
    units = [guess.unit] if guess.unit is not None else _UNITS[quantities[0]]
    if units and number.form != "w1":  # the kernel's files are in °C
        lines.append(_choice("unit", units))
    if guess.unit == "psia" and guess.quantity == "pressure":
        lines.append('reference = "absolute"  # needs altitude in [site]')
    if group.every_s is not None:
        every_s = next((step for step in _EVERY_S if group.every_s <= step * 1.25), _EVERY_S[-1])
        lines.append(f'every = "{every_s} s"')
    return "\n".join(lines) + "\n"


def _possible(guess: Guess) -> list[str]:
    """The quantities that it may be, the likeliest first; a unit that is clear rules some out."""
    possible = [name for name in QUANTITIES if guess.unit is None or _measured_in(name, guess.unit)]
    return sorted(possible, key=lambda name: name != guess.likely)


def _measured_in(quantity: str, unit: str) -> bool:
    try:
        series_unit_conversion(quantity, unit)
    except UnitError:
        return False
    return True


def _place(group: SampleGroup, number: FoundNumber, quantity: str, cellar: Cellar) -> str:
    """The place stays a gap, however clear it looks: a probe at the wrong vessel is worse than none."""
    kinds = QUANTITIES[quantity].places
    fitting = [place.id for place in cellar.places if cellar.place_kind(place.id) in kinds]
    if not fitting:
        return f"# at: write its place first ({', '.join(sorted(kinds))}), then the place's id here"
    names = [part.lower() for name in (*group.address.split("/"), *number.names) for part in _parts(name)]
    # A place that is named comes first, and of two the one that is named later: topics go from the whole to the part.
    last_named = {part: position for position, part in enumerate(names, 1)}
    return _gap("at", sorted(fitting, key=lambda place: -last_named.get(place.lower(), 0)))


def _parts(name: str) -> list[str]:
    return [name, *re.split(r"[^A-Za-z0-9]+", name)]


def _choice(key: str, choices: Sequence[str]) -> str:
    return f"{key} = {_quoted(choices[0])}" if len(choices) == 1 else _gap(key, choices)


def _gap(key: str, choices: Sequence[str]) -> str:
    others = ", ".join(_quoted(choice) for choice in choices[1:13])
    return f"# {key} = {_quoted(choices[0])}" + (f"  # or {others}" if others else "")


def _new_id(group: SampleGroup, number: FoundNumber, taken: Collection[str]) -> str:
    """A short name made of what the number is called, that no other probe has."""
    words = [word for name in number.names[-3:] for word in re.findall(r"[a-z0-9]+", name.lower())]
    if number.guess.quantity is not None and number.form in ("line", "w1"):
        words.append(number.guess.quantity.lower())
    slug = re.sub(r"-+", "-", "-".join(words or [*re.findall(r"[a-z0-9]+", group.address.lower()), "probe"]))
    slug = slug[: _LONGEST_ID - 4].strip("-") or "probe"
    count, name = 1, slug
    while name in taken:
        count += 1
        name = f"{slug}-{count}"
    return name


def _comment(text: str) -> str:
    """Text that is fit for a TOML comment: nothing in it ends the line."""
    return "# " + "".join(letter if letter.isprintable() else "?" for letter in text)


def _quoted(text: str) -> str:
    """A TOML string: literal where the text allows, so that a pattern keeps its backslashes as they are."""
    if "\\" in text and "'" not in text and text.isprintable():
        return f"'{text}'"
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(letter if letter.isprintable() else f"\\U{ord(letter):08X}" for letter in escaped) + '"'
