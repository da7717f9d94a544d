"""What `leeside enter calibration` shows before and after it writes: slope, drift, warnings, the effect on values."""

from __future__ import annotations

__all__ = ["line_json", "print_effect", "show_calibration"]


from alerts.command.entering.doubt import show_remarks
from alerts.command.terminal import Terminal
from alerts.view.format import value_text
from ingest.calibrating import JudgedCalibration
from ingest.cellar import Cellar, Probe
from ingest.journal.kinds import body_words, spread_words
from ingest.journal.kinds.calibration import (
    CalibrationBody,
)
from ingest.journal.ph_calibration import TYPICAL_WINE_PH
from ingest.journal.ph_drift import PhDrift


def show_calibration(terminal: Terminal, judged: JudgedCalibration) -> None:
    """Show what a person should know before it is written."""
    body = judged.body
    if judged.caution:
        terminal.say(f"Caution: {judged.caution}.")
    if body.ph_line is not None:
        terminal.say(f"  {body_words(body)}; {spread_words(body)}")
    if judged.drift is not None:
        terminal.say(f"  {judged.drift.text}")
    show_remarks(terminal, body.warnings, body.notes)


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


def print_effect(cellar: Cellar, declared: Probe, judged: JudgedCalibration) -> None:
    """Print what the points count as from now on."""
    units = cellar.site.units
    if judged.correction is None:
        print(f"What leeside shows of {declared.id} stays as it is: mV say how good it is, --reads what to correct.")
        return
    for measured, counts_as in judged.moves:
        print(
            f"{declared.id}: {value_text(declared.quantity, measured, units)} now counts as "
            f"{value_text(declared.quantity, counts_as, units)}"
        )
