"""What a vessel holds, as people read it in one line, and as an object for programs."""

from __future__ import annotations

__all__ = ["contents_json", "contents_line", "volume_text"]

from typing import Final
from zoneinfo import ZoneInfo

from alerts.view.format import local_time
from ingest.journal.ledger import Contents, LotShare
from ingest.journal.titration_outcome import below_mg_l
from ingest.journal.wine import So2Value
from ingest.times import iso_utc

# NIST Handbook 44, appendix C.
_GALLON_L: Final = 3.785411784


def volume_text(volume_l: float, units: str) -> str:
    """A volume in liters, or in US gallons for units "us"."""
    return f"{volume_l / _GALLON_L:.2f} gal" if units == "us" else f"{volume_l:.1f} L"


def contents_line(held: Contents, zone: ZoneInfo, units: str, now_ms: int) -> str:
    """Lots with their shares, volume, headspace, SO2 and since when; what nobody wrote down is told as not known, and
    SO2 that nobody titrated is left out.
    """
    out = ", out of use" if held.out_of_use else ""
    if not held.known:
        return f"contents not known: the journal does not say{out}"
    since = "" if held.since_ms is None else f", since {local_time(held.since_ms, zone, now_ms)}"
    if held.empty:
        return f"empty{since}{out}"
    volume = "an unknown volume" if held.volume_l is None else volume_text(held.volume_l, units)
    lots = ", ".join(_share(part, alone=len(held.lots) == 1) for part in held.lots)
    headspace = "" if held.headspace_l is None else f", headspace {volume_text(held.headspace_l, units)}"
    return f"{volume} of {lots}{headspace}{_so2(held)}{since}{out}"


def contents_json(held: Contents) -> dict[str, object]:
    """The same as an object; null for what is not known."""
    return {
        "known": held.known,
        "empty": held.empty,
        "out_of_use": held.out_of_use,
        "lots": [{"lot": part.lot, "share": part.share} for part in held.lots],
        "volume_l": held.volume_l,
        "u_volume_l": held.u_volume_l,
        "headspace_l": held.headspace_l,
        "since": _moment(held.since_ms),
        "last_racking": _moment(held.last_racking_ms),
        "last_topping": _moment(held.last_topping_ms),
        "style": held.style,
        "alcohol_percent_vol": held.alcohol_percent_vol,
        "sugar_g_l": held.sugar_g_l,
        "free_so2": _found(held.free_so2),
        "total_so2": _found(held.total_so2),
    }


def _so2(held: Contents) -> str:
    """What was found last; what a blend or an addition made of it is marked as worked out."""
    told = []
    for name, found in (("free", held.free_so2), ("total", held.total_so2)):
        if found is not None:
            amount = f"{found.mg_l:.0f}"
            if found.mg_l == 0.0 and found.u_mg_l is not None and not found.mixed:
                amount = f"< {below_mg_l(found.u_mg_l):.0f}"
            told.append(f"{amount} mg/L {name} SO2" + (" (worked out)" if found.mixed else ""))
    return "".join(f", {text}" for text in told)


def _moment(at_ms: int | None) -> str | None:
    return None if at_ms is None else iso_utc(at_ms)


def _found(found: So2Value | None) -> dict[str, object] | None:
    if found is None:
        return None
    return {"mg_l": found.mg_l, "u_mg_l": found.u_mg_l, "at": iso_utc(found.at_ms), "worked_out": found.mixed}


def _share(part: LotShare, *, alone: bool) -> str:
    lot = part.lot or "wine of no lot"
    if alone:
        return lot
    return f"{lot} (share not known)" if part.share is None else f"{100.0 * part.share:.0f} % {lot}"
