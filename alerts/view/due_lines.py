"""Work that is due, in words: what it is done to, since when it is due, and when it was done last."""

from __future__ import annotations

__all__ = ["day_text", "due_name", "due_task", "due_text", "due_words"]

from datetime import UTC, datetime, tzinfo
from typing import Final

from alerts.view.format import days_text, with_capital
from alerts.watch.due import DAY_MS
from ingest.cellar import EffectiveLimit

_WORDS: Final = {"airlock": "airlock check", "pH": "measurement of the pH", "titrant": "titrant check"}
# A day without its year is of the last or the next months.
_WITHOUT_YEAR_MS: Final = 300 * DAY_MS


def due_name(limit: EffectiveLimit) -> str:
    """Name the work and what it is done to: "titration of lot A1 (K2)"."""
    subject = limit.probe.removesuffix(f"/{limit.quantity}")
    if limit.lot:
        subject = f"lot {limit.lot}"
    place = f" ({limit.at})" if limit.at and limit.at not in (subject, limit.lot) else ""
    return f"{_WORDS.get(limit.quantity, limit.quantity)} of {subject}{place}"


def due_task(limit: EffectiveLimit) -> str:
    """Say what is to be done, as a calendar shows it: "Titrate K2 (lot A1)"."""
    subject = limit.probe.removesuffix(f"/{limit.quantity}")
    wine = f"{limit.at} (lot {limit.lot})" if limit.lot and limit.at != limit.lot else limit.at or subject
    tasks = {
        "titration": f"Titrate {wine}",
        "re-test": f"Titrate {wine} again after the addition",
        "pH": f"Measure the pH of {wine}",
        "racking": f"Rack {wine}, or look at its lees",
        "topping": f"Look at the level of {subject}, top up",
        "airlock": f"Check the airlock of {subject}",
        "calibration": f"Calibrate {subject}" + (f" ({limit.at})" if limit.at not in ("", subject) else ""),
        "titrant": f"Check the titrant, {subject}",
    }
    return tasks.get(limit.quantity) or with_capital(due_name(limit))


def due_words(limit: EffectiveLimit) -> str:
    """Say when the work falls due: "due after 35 d"."""
    return f"due after {days_text(limit.setpoint)}"


def due_text(limit: EffectiveLimit, since_ms: int, finding: str, zone: tzinfo, now_ms: int) -> str:
    """Say since when the work is due and when it was done last: "titration of lot A1 (K2) due since 12 Nov: last
    titrated 3 Oct".
    """
    text = f"{due_name(limit)} due since {day_text(since_ms, zone, now_ms)}"
    done_ms = since_ms - round(limit.setpoint * DAY_MS)
    return f"{text}: {finding} {day_text(done_ms, zone, now_ms)}" if finding else text


def day_text(at_ms: int, zone: tzinfo, now_ms: int) -> str:
    """Give the day of a moment, with its year where that is not plain: "3 Oct", "3 Oct 2025"."""
    day = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone)
    year = "" if abs(now_ms - at_ms) < _WITHOUT_YEAR_MS else f" {day.year}"
    return f"{day.day} {_MONTHS[day.month - 1]}{year}"


# Not those of the machine's locale.
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
