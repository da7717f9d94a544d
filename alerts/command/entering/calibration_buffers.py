"""A pH probe's buffers for `leeside enter calibration`: asked at a terminal, read from options, made into points."""

from __future__ import annotations

__all__ = ["BufferAnswers", "ask_buffers", "buffer_points", "celsius_of"]

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal, cast

import typer

from alerts.command.benches.answer import finite_number
from alerts.command.terminal import MOST_TRIES, Terminal
from alerts.errors import NotWritten
from ingest.cellar import QUANTITIES, Dimension, parse_amount
from ingest.errors import IngestError
from ingest.journal.kinds.calibration import CalibrationPoint
from ingest.journal.ph_buffers import BUFFER_SETS, PRINTED, buffer_ph

_SETS: Final = (*BUFFER_SETS, PRINTED)
_USUAL_SET: Final = "technical"
_MOST_BUFFERS: Final = 5
_MV: Final = "mv"
# Beyond this what was shown is a slip (a choice of this project).
_SHOWN_PH: Final = (-1.0, 15.0)
_READING: Final = "What did leeside show in it? (such as 4.03; or its voltage, such as 168.5 mV{now})"


@dataclass(slots=True)
class BufferAnswers:
    """What a person gave, as text; buffers, reads and mv: one for each buffer, of reads and mv at least one list."""

    temperature: str | None = None
    buffer_set: str | None = None
    buffers: list[str] = field(default_factory=list)
    reads: list[str] = field(default_factory=list)
    mv: list[str] = field(default_factory=list)

    @property
    def known_set(self) -> Literal["technical", "nist", "printed"]:
        """The set that was named, by default the technical one. Raises typer.BadParameter for an unknown one."""
        named = self.buffer_set or _USUAL_SET
        if named not in _SETS:
            raise typer.BadParameter(f"there is no '{named}'; allowed: {', '.join(_SETS)}", param_hint="--buffer-set")
        return cast("Literal['technical', 'nist', 'printed']", named)


def ask_buffers(terminal: Terminal, given: BufferAnswers, steady_ph: Callable[[], float] | None) -> BufferAnswers:
    """Ask for temperature and set where they were not given, then for two to five buffers and what was read in each.

    steady_ph: what the probe shows now, which an empty answer takes; None where the calibration was earlier.
    """
    asked = BufferAnswers(given.temperature, given.buffer_set)
    if asked.temperature is None:
        asked.temperature = _ask(terminal, "How warm are the buffers? (such as 20 °C)", celsius_of)
    celsius = celsius_of(asked.temperature)
    if asked.buffer_set is None:
        question = f"Which set of buffers? ({', '.join(_SETS)}: the pH on the bottle)"
        asked.buffer_set = _ask(
            terminal, question, lambda text: BufferAnswers(buffer_set=text).known_set, offered=_USUAL_SET
        )
    known = ", ".join(f"{buffer.name}" for buffer in BUFFER_SETS.get(asked.buffer_set, ())) or "such as 4.00"
    while len(asked.buffers) < _MOST_BUFFERS:
        enough = len(asked.buffers) >= 2
        question = f"Which buffer{' next' if asked.buffers else ''}? ({known}{'; empty: no more' if enough else ''})"
        buffer = _ask(terminal, question, lambda text: _known(text, asked.known_set, celsius), may_be_empty=enough)
        if not buffer:
            break
        reading = _ask_reading(terminal, asked, steady_ph)
        asked.buffers.append(buffer)
        if _is_mv(reading):
            asked.mv.append(_without_mv(reading))
        else:
            asked.reads.append(reading)
    return asked


def buffer_points(given: BufferAnswers) -> list[CalibrationPoint]:
    """Make points of buffers and of what was read in them. Raises typer.BadParameter that names the option."""
    celsius = celsius_of(given.temperature)
    for option, texts in (("--reads", given.reads), ("--mv", given.mv)):
        if texts and len(texts) != len(given.buffers):
            raise typer.BadParameter(
                f"{len(given.buffers)} --buffer and {len(texts)} {option}; give one for each", param_hint=option
            )
    if not (given.reads or given.mv):
        raise typer.BadParameter(
            "say what leeside showed in each buffer, or the probe's voltage", param_hint="--reads, --mv"
        )
    points = []
    for index, text in enumerate(given.buffers):
        try:
            name, ph = buffer_ph(text, given.known_set, celsius)
        except IngestError as error:
            raise typer.BadParameter(
                f"{error}; for another bottle give --buffer-set {PRINTED} and the pH that it has at {celsius:g} °C",
                param_hint="--buffer",
            ) from error
        points.append(
            CalibrationPoint(
                truth=ph,
                shown=_ph(given.reads[index]) if given.reads else None,
                mv=finite_number(given.mv[index], "--mv") if given.mv else None,
                buffer=name,
            )
        )
    return points


def celsius_of(text: str | None) -> float:
    """Read the buffers' temperature [°C]. Raises typer.BadParameter."""
    if text is None:
        raise typer.BadParameter("the pH of a buffer depends on its temperature: give it", param_hint="--temperature")
    try:
        celsius = parse_amount(text, dimension=Dimension.TEMPERATURE, unit="°C", example="20 °C").number
    except ValueError as error:
        raise typer.BadParameter(f"'{text}': {error}", param_hint="--temperature") from error
    if not -50.0 <= celsius <= 150.0:
        raise typer.BadParameter(f"'{text}': must be from -50 to 150 °C", param_hint="--temperature")
    return celsius


def _ask(
    terminal: Terminal, question: str, check: Callable[[str], object], *, offered: str = "", may_be_empty: bool = False
) -> str:
    """Ask until the answer passes the check, which raises for one that does not."""
    for _ in range(MOST_TRIES):
        answer = terminal.ask(question, offered)
        if not answer:
            if may_be_empty:
                return ""
            terminal.say("This one is needed; Ctrl-D ends without writing.")
            continue
        try:
            check(answer)
        except typer.BadParameter as error:
            terminal.say(error.message)
        except IngestError as error:
            terminal.say(str(error))
        else:
            return answer
    raise NotWritten("Too many answers that will not do. Nothing was written.")


def _ask_reading(terminal: Terminal, so_far: BufferAnswers, steady_ph: Callable[[], float] | None) -> str:
    """Ask what was read in a buffer; an empty answer takes what the probe shows now, once that stands still."""
    takes_now = steady_ph is not None and not so_far.mv
    question = _READING.format(now="; empty: what it shows now" if takes_now else "")
    for _ in range(MOST_TRIES):
        answer = _ask(terminal, question, lambda text: _reading(text, so_far), may_be_empty=takes_now)
        if answer or steady_ph is None:
            return answer
        try:
            ph = steady_ph()
        except IngestError as error:
            terminal.say(str(error))
            continue
        terminal.say(f"It shows {ph:.2f}.")
        return f"{ph:.4f}"
    raise NotWritten("Too many answers that will not do. Nothing was written.")


def _known(text: str, buffer_set: str, celsius: float) -> None:
    buffer_ph(text, buffer_set, celsius)


def _reading(text: str, so_far: BufferAnswers) -> None:
    if so_far.reads if _is_mv(text) else so_far.mv:
        raise typer.BadParameter("read all buffers in mV, or all in pH")
    if _is_mv(text):
        finite_number(_without_mv(text), "--mv")
    else:
        _ph(text)


def _is_mv(text: str) -> bool:
    return text.lower().endswith(_MV)


def _without_mv(text: str) -> str:
    return text[: -len(_MV)].strip()


def _ph(text: str) -> float:
    row, (low, high) = QUANTITIES["pH"], _SHOWN_PH
    try:
        ph = parse_amount(text, dimension=row.dimension, unit=row.unit, example=row.example).number
    except ValueError as error:
        raise typer.BadParameter(f"'{text}': {error}", param_hint="--reads") from error
    if not low <= ph <= high:
        raise typer.BadParameter(
            f"'{text}': no pH meter shows that; allowed are {low:g} to {high:g}", param_hint="--reads"
        )
    return ph
