"""Kinds of answers: how the text that a person gives becomes what a body keeps, and how that is written as text again.

Amounts carry their unit, as in the cellar file. Pure.
"""

from __future__ import annotations

__all__ = [
    "AnswerForm",
    "AnswersWrong",
    "BottleCount",
    "Choice",
    "Clock",
    "Day",
    "Measure",
    "Number",
    "TitrantStrengthText",
    "UsualWords",
    "VesselVolume",
    "Whole",
    "WrittenStrength",
    "WrittenWords",
    "Wrong",
    "YesNo",
    "each_answer",
]

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, Protocol
from zoneinfo import ZoneInfo

from ingest.cellar import Dimension, PressureKind, as_meant, parse_amount, split_amount
from ingest.errors import IngestError
from ingest.journal.bench_units import bench_units
from ingest.journal.bench_words import CHOICE_WORDS, in_known_units
from ingest.times import iso_utc, spoken_moment


class Clock(NamedTuple):
    """The cellar's time zone, and now (UTC ms)."""

    zone: ZoneInfo
    now_ms: int


class Wrong(NamedTuple):
    """One answer that will not do. field: its name; why: what is wrong and what would be right."""

    field: str
    why: str


class AnswersWrong(IngestError):
    """Answers of which no entry can be made: each with its field."""

    def __init__(self, wrong: Sequence[Wrong]) -> None:
        self.wrong = tuple(wrong)
        super().__init__("\n".join(f"{field}: {why}" for field, why in self.wrong))


class AnswerForm(Protocol):
    """How one kind of answer is read. metavar: what stands for it in help; example: how one is written."""

    @property
    def metavar(self) -> str:
        """What stands for it in help."""
        ...

    @property
    def example(self) -> str:
        """How one is written."""
        ...

    def read(self, text: str, clock: Clock) -> Any:
        """What the text means, in the body's unit. Raises ValueError or IngestError that says how to write it."""
        ...

    def write(self, value: Any) -> str:
        """The text that ``read`` would make the value of."""
        ...


def each_answer(form: AnswerForm, text: str) -> list[str]:
    """Take apart a text that gives several answers at once, such as "K1 and K2"; one that does not stays whole."""
    if not isinstance(form, VesselVolume):
        return [text]
    parts = [part.strip() for part in _BETWEEN_VESSELS.split(text)]
    return parts if all(parts) else [text]


@dataclass(frozen=True, slots=True)
class WrittenWords:
    """Words as they are."""

    metavar: str = "TEXT"
    example: str = "as you like"

    def read(self, text: str, _: Clock) -> str:
        """The words without outer spaces."""
        plain = text.strip()
        if not plain:
            raise ValueError("is empty; leave it out, or say something")
        return plain

    def write(self, value: Any) -> str:
        """The words."""
        return str(value)


@dataclass(frozen=True, slots=True)
class UsualWords(WrittenWords):
    """Words as they are, some of which are usual."""

    usual: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words; also its beginning, if no other one begins so, without accents, or as the bench says it."""

    options: tuple[str, ...]
    metavar: str = "WORD"

    @property
    def example(self) -> str:
        """All of them."""
        return ", ".join(self.options)

    def read(self, text: str, _: Clock) -> str:
        """The word that is meant."""
        plain = " ".join(text.lower().split())
        if plain in self.options:
            return plain
        if CHOICE_WORDS.get(plain) in self.options:
            return CHOICE_WORDS[plain]
        meant = [option for option in self.options if plain and _unaccented(option).startswith(_unaccented(plain))]
        if len(meant) != 1:
            raise ValueError(f"'{text.strip()}' is not one of: {self.example}")
        return meant[0]

    def write(self, value: Any) -> str:
        """The word."""
        return str(value)


def _unaccented(text: str) -> str:
    return text.replace("é", "e").replace("-", " ")


@dataclass(frozen=True, slots=True)
class Measure:
    """An amount with its unit, such as "16 L", in ``unit``. bare: the unit of a number without one, where only one is
    possible.
    """

    dimension: Dimension
    unit: str
    example: str
    pressure: PressureKind | None = None
    metavar: str = "AMOUNT"
    bare: str = ""

    @property
    def units(self) -> tuple[str, ...]:
        """Units to choose from, that of the example first."""
        return (self.bare,) if self.bare else bench_units(self.dimension, split_amount(self.example)[1])

    def read(self, text: str, clock: Clock) -> float:
        """The number in ``unit``."""
        try:
            return parse_amount(
                in_known_units(text, self.dimension, self.bare),
                dimension=self.dimension,
                unit=self.unit,
                example=self.example,
                pressure=self.pressure,
            ).number
        except ValueError as error:
            # A bare number, or a unit as the bench says it, is put right here only.
            meant = "" if str(error).endswith('"') else as_meant(text, lambda plain: self.read(plain, clock))
            raise ValueError(f"'{text.strip()}': {error}{meant}") from None

    def write(self, value: Any) -> str:
        """The number with ``unit``."""
        return f"{value:.10g} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Number:
    """A number of a unit that the cellar file does not know, or of none. units: what may stand behind it, all of them
    spellings of one unit, which may be left out.
    """

    units: tuple[str, ...]
    example: str
    metavar: str = "NUMBER"

    def read(self, text: str, _: Clock) -> float:
        """The number."""
        try:
            number, unit = split_amount(text)
        except ValueError as error:
            raise ValueError(f"'{text.strip()}': {error}{as_meant(text, self._number)}") from None
        return self._in_a_known_unit(number, unit, text)

    def _number(self, text: str) -> float:
        return self._in_a_known_unit(*split_amount(text), text)

    def _in_a_known_unit(self, number: float, unit: str, text: str) -> float:
        wanted = next((each for each in self.units if each), "")
        if unit and unit not in self.units:
            known = f"write {wanted} behind the number" if wanted else "write the number alone"
            raise ValueError(f"'{text.strip()}': there is no unit \"{unit}\" here; {known}")
        return number

    def write(self, value: Any) -> str:
        """The number with its first unit."""
        return f"{value:.10g} {self.units[0] if self.units else ''}".rstrip()


@dataclass(frozen=True, slots=True)
class Whole:
    """A count."""

    example: str
    metavar: str = "COUNT"

    def read(self, text: str, _: Clock) -> int:
        """The count."""
        if not re.fullmatch(r"\s*[0-9]{1,7}\s*", text):
            raise ValueError(f"'{text.strip()}' is not a whole number; write one, such as {self.example}")
        return int(text)

    def write(self, value: Any) -> str:
        """The count."""
        return str(value)


@dataclass(frozen=True, slots=True)
class YesNo:
    """Yes or no."""

    metavar: str = "YES/NO"
    example: str = "yes or no"

    def read(self, text: str, _: Clock) -> bool:
        """True for yes."""
        plain = text.strip().lower()
        if plain in ("y", "yes", "true"):
            return True
        if plain in ("n", "no", "false"):
            return False
        raise ValueError(f"'{text.strip()}' is neither yes nor no")

    def write(self, value: Any) -> str:
        """The word."""
        return "yes" if value else "no"


@dataclass(frozen=True, slots=True)
class Day:
    """A moment, mostly a date alone, as UTC ms."""

    metavar: str = "TIME"
    example: str = "2026-11-25"

    def read(self, text: str, clock: Clock) -> int:
        """The moment; see ``ingest.times.spoken_moment``."""
        return spoken_moment(text, clock.zone, clock.now_ms)

    def write(self, value: Any) -> str:
        """The moment in UTC."""
        return iso_utc(value)


def _litres(text: str, whole: str, example: str) -> float:
    """A volume [L] that is a part of an answer; whole: all of the answer, for the error."""
    try:
        return parse_amount(text, dimension=Dimension.VOLUME, unit="L", example=example).number
    except ValueError as error:
        raise ValueError(f"'{whole.strip()}': {error}") from None


# What stands between two vessels; a comma between digits is a decimal comma.
_BETWEEN_VESSELS: Final = re.compile(r"\s+and\s+|\s*[;&+]\s*|\s*,(?![0-9])\s*", re.IGNORECASE)
_VOLUME: Final = r"(?P<volume>[0-9][0-9.,]*\s*[A-Za-z]\w*)"
_VOLUME_OF: Final = re.compile(rf"{_VOLUME}\s+(?:of|from|to|into|in)\s+(?P<vessel>\S+)", re.IGNORECASE)
_VESSEL_AND_VOLUME: Final = re.compile(rf"(?P<vessel>[^\s=]+)\s+{_VOLUME}", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class VesselVolume:
    """A vessel, with or without a volume: "K1" or "K1=16 L"."""

    metavar: str = "VESSEL[=VOLUME]"
    example: str = "K1=16L"

    def read(self, text: str, _: Clock) -> dict[str, Any]:
        """``vessel`` and, where there is one, ``volume_l``; also of "16 L from K1" and "K1 16 L"."""
        spoken = _VOLUME_OF.fullmatch(text.strip()) or _VESSEL_AND_VOLUME.fullmatch(text.strip())
        vessel, equals, volume = (spoken["vessel"], "=", spoken["volume"]) if spoken else text.partition("=")
        answer: dict[str, Any] = {"vessel": vessel.strip()}
        if not answer["vessel"]:
            raise ValueError(f"'{text.strip()}' names no vessel; write vessel and volume, such as {self.example}")
        if equals:
            answer["volume_l"] = _litres(volume, text, self.example)
        return answer

    def write(self, value: Any) -> str:
        """Vessel and volume."""
        volume = value.get("volume_l")
        return str(value["vessel"]) + ("" if volume is None else f"={volume:.10g} L")


_BOTTLES: Final = re.compile(r"\s*([0-9]{1,7})\s*[x×*]\s*(.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class BottleCount:
    """Bottles of one size: "6 x 0.75 L"."""

    metavar: str = "NUMBERxSIZE"
    example: str = "6 x 0.75 L"

    def read(self, text: str, _: Clock) -> dict[str, Any]:
        """``number`` and ``size_l``."""
        match = _BOTTLES.fullmatch(text)
        if match is None:
            raise ValueError(f"'{text.strip()}' does not say number and size; write both, such as \"{self.example}\"")
        return {"number": int(match[1]), "size_l": _litres(match[2], text, self.example)}

    def write(self, value: Any) -> str:
        """Number and size."""
        return f"{value['number']} x {value['size_l']:.10g} L"


class WrittenStrength(NamedTuple):
    """A titrant's strength as it was written. molar: in mol/L, else a normality in eq/L."""

    number: float
    molar: bool


@dataclass(frozen=True, slots=True)
class TitrantStrengthText:
    """A titrant's strength with what it means: "0.02 N" (eq/L) or "0.01 mol/L"."""

    metavar: str = "STRENGTH"
    example: str = "0.02 N"
    units: tuple[str, ...] = ("N", "mol/L")

    def read(self, text: str, _: Clock) -> WrittenStrength:
        """The number and what it means."""
        try:
            number, unit = split_amount(text)
        except ValueError as error:
            raise ValueError(f"'{text.strip()}': {error}{as_meant(text, self._strength)}") from None
        return self._of_a_known_meaning(number, unit, text)

    def _strength(self, text: str) -> WrittenStrength:
        return self._of_a_known_meaning(*split_amount(text), text)

    def _of_a_known_meaning(self, number: float, unit: str, text: str) -> WrittenStrength:
        if unit in ("N", "eq/L", "eq/l"):
            return WrittenStrength(number, molar=False)
        if unit in ("M", "mol/L", "mol/l"):
            return WrittenStrength(number, molar=True)
        raise ValueError(
            f"'{text.strip()}' does not say what the number means; write N behind a normality, mol/L behind a molarity"
        )

    def write(self, value: Any) -> str:
        """The number with its unit."""
        return f"{value.number:.10g} {'mol/L' if value.molar else 'N'}"
