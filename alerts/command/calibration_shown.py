"""What `leeside enter calibration` shows before and after it writes: slope, drift, warnings, the effect on values."""

from __future__ import annotations

__all__ = ["drift_since_last", "line_json", "print_effect", "show_calibration"]

from typing import Final

from alerts.command.doubt import show_remarks
from alerts.command.terminal import Terminal
from alerts.view.format import value_text
from ingest.cellar import QUANTITIES, Cellar, Probe
from ingest.journal.kinds import body_words, spread_words
from ingest.journal.kinds.calibration import (
    CALIBRATION,
    CalibrationBody,
    Correction,
    Point,
    calibration_notes,
    drift_warnings,
)
from ingest.journal.kinds.kind import NamedVessels
from ingest.journal.ph_calibration import TYPICAL_WINE_PH
from ingest.journal.ph_drift import PhDrift, ph_drift
from ingest.store import Store
from ingest.store.journal.ph_records import ph_records

_DAY_MS: Final = 86_400_000


def drift_since_last(store: Store, declared: Probe, body: CalibrationBody, from_ms: int) -> PhDrift | None:
    """Give what became of a pH probe since its last calibration; None where there is none with a slope, or on the
    same day.
    """
    line, record = body.ph_line, ph_records(store.connection).get(declared.id)
    last = None if record is None else record.newest_line(from_ms - 1, in_mv=body.is_in_mv)
    if line is None or last is None or from_ms - last[0] < _DAY_MS:
        return None
    return ph_drift(last[1], line, (from_ms - last[0]) / _DAY_MS)


def show_calibration(
    terminal: Terminal,
    declared: Probe,
    body: CalibrationBody,
    correction: Correction | None,
    measured: list[Point],
    drift: PhDrift | None,
) -> CalibrationBody:
    """Show what a person should know before it is written. Gives the body with these warnings and notes."""
    caution = CALIBRATION.caution(body, NamedVessels())
    if caution:
        terminal.say(f"Caution: {caution}.")
    if body.ph_line is not None:
        terminal.say(f"  {body_words(body)}; {spread_words(body)}")
    if drift is not None:
        terminal.say(f"  {drift.text}")
    moves = []
    if correction is not None:
        moves = [(point.measured, correction.gain * point.measured + correction.offset) for point in measured]
    warnings = drift_warnings(declared.quantity, QUANTITIES[declared.quantity].unit, moves)
    notes = calibration_notes(body)
    show_remarks(terminal, warnings, notes)
    return body.model_copy(update={"warnings": warnings, "notes": notes})


def line_json(body: CalibrationBody, drift: PhDrift | None) -> dict[str, object]:
    """Give what a pH probe's buffers say of it; nothing for other probes."""
    line = body.ph_line
    if line is None:
        return {}
    return {
        "slope_percent": line.slope_percent,
        "offset_mv": line.offset_mv,
        "grade": line.grade.value,
        "u_ph": line.u_at(TYPICAL_WINE_PH),
        "u_ph_at": TYPICAL_WINE_PH,
        "drift_days": None if drift is None else drift.days,
        "drift_ph": None if drift is None else drift.ph,
        "warnings": list(line.warnings),
    }


def print_effect(cellar: Cellar, declared: Probe, correction: Correction | None, points: list[Point]) -> None:
    """Print what the points count as from now on."""
    units = cellar.site.units
    if correction is None:
        print(f"What leeside shows of {declared.id} stays as it is: mV say how good it is, --reads what to correct.")
        return
    for point in points:
        print(
            f"{declared.id}: {value_text(declared.quantity, point.measured, units)} now counts as "
            f"{value_text(declared.quantity, correction.gain * point.measured + correction.offset, units)}"
        )
