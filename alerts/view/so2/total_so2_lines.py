"""The total SO2 of the wine in a vessel: lines for people, an object for programs."""

from __future__ import annotations

__all__ = ["total_done_words", "total_so2_json", "total_so2_line", "total_so2_lines"]

from collections.abc import Mapping
from datetime import tzinfo
from typing import Final

from alerts.so2.vessel_total import VesselTotal
from alerts.view.due_lines import day_text
from ingest.times import iso_utc

_DONE: Final[Mapping[str, str]] = {
    "addition": "dosed",
    "racking": "racked",
    "topping": "topped",
    "first-filling": "blended",
}


def total_so2_line(total: VesselTotal, zone: tzinfo) -> str:
    """Say the total, how it is known, and the legal limit, in one line.

    Such as "total SO2 about 96 mg/L, titrated 82 on 3 Oct, since then dosed; legal limit 200 mg/L (eu)".
    """
    if total.total is not None:
        about = "about " if total.total.mixed else ""
        amount = f"total SO2 {about}{total.total.mg_l:.0f} mg/L"
    elif total.least_mg_l >= 0.5:
        amount = f"total SO2 at least {total.least_mg_l:.0f} mg/L"
    else:
        amount = "total SO2 not known"
    parts = [amount]
    if total.found is None:
        parts.append("never titrated")
    else:
        parts.append(f"titrated {total.found.mg_l:.0f} on {day_text(total.found.at_ms, zone, total.at_ms)}")
        if done := total_done_words(total):
            parts.append(f"since then {' and '.join(done)}")
    legal = total.legal
    limit = "" if legal is None else f"; legal limit {legal.total_mg_l:g} mg/L ({legal.rules.id})"
    return f"{', '.join(parts)}{limit}"


def total_done_words(total: VesselTotal) -> list[str]:
    """Say what was done to the wine since its total SO2 was titrated: "dosed"."""
    return [_DONE.get(kind, kind) for kind in total.since_then]


def total_so2_lines(total: VesselTotal, zone: tzinfo) -> list[str]:
    """Say all that is known of a vessel's total SO2, line by line; what the law says only where it matters."""
    lines = [total_so2_line(total, zone)]
    verdict, legal = total.verdict, total.legal
    if legal is not None and verdict is not None and (verdict.above or not verdict.told_apart):
        lines.append(f"{verdict.words}; no legal advice")
        lines += [f"note: for the legal limit, {assumed}" for assumed in legal.assumed]
    # That nobody titrated it stands in the line above.
    remarks = () if total.total is None and total.found is None else total.remarks
    return [*lines, *(f"note: {remark}" for remark in remarks)]


def total_so2_json(total: VesselTotal) -> dict[str, object]:
    """Give the same as an object; null for what is not known."""
    known, found, legal, verdict = total.total, total.found, total.legal, total.verdict
    return {
        "mg_l": None if known is None else round(known.mg_l, 4),
        "u_mg_l": None if known is None else round(total.u_mg_l, 4),
        "at_least_mg_l": round(total.least_mg_l, 4),
        "worked_out": known is not None and known.mixed,
        "last_titration": None
        if found is None
        else {"at": iso_utc(found.at_ms), "mg_l": found.mg_l, "u_mg_l": found.u_mg_l},
        "since_then": list(total.since_then),
        "legal": None
        if legal is None
        else {
            "rules": legal.rules.id,
            "as_of": legal.rules.as_of.isoformat(),
            "limit_mg_l": legal.total_mg_l,
            "wine": legal.wine,
            "assumed": list(legal.assumed),
            "above": None if verdict is None else verdict.above,
            "told_apart": None if verdict is None else verdict.told_apart,
            "must_declare": total.must_declare,
        },
        "remarks": list(total.remarks),
    }
