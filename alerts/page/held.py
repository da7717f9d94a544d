"""What a vessel holds, as people read it: one line."""

from __future__ import annotations

__all__ = ["contents_line", "volume_shown"]

from typing import Final
from zoneinfo import ZoneInfo

from alerts.page.shown import local_time
from ingest.journal.contents import Contents, LotShare

# NIST Handbook 44, appendix C.
_GALLON_L: Final = 3.785411784


def volume_shown(volume_l: float, units: str) -> str:
    """A volume in liters, or in US gallons for units "us"."""
    return f"{volume_l / _GALLON_L:.2f} gal" if units == "us" else f"{volume_l:.1f} L"


def contents_line(held: Contents, zone: ZoneInfo, units: str, now_ms: int) -> str:
    """Lots with their shares, volume, headspace and since when; what nobody wrote down is told as not known."""
    out = ", out of use" if held.out_of_use else ""
    if not held.known:
        return f"contents not known: the journal does not say{out}"
    since = "" if held.since_ms is None else f", since {local_time(held.since_ms, zone, now_ms)}"
    if held.empty:
        return f"empty{since}{out}"
    volume = "an unknown volume" if held.volume_l is None else volume_shown(held.volume_l, units)
    lots = " and ".join(_share(part, alone=len(held.lots) == 1) for part in held.lots)
    headspace = "" if held.headspace_l is None else f", headspace {volume_shown(held.headspace_l, units)}"
    return f"{volume} of {lots}{headspace}{since}{out}"


def _share(part: LotShare, *, alone: bool) -> str:
    lot = part.lot or "wine of no lot"
    if alone:
        return lot
    return f"{lot} (share not known)" if part.share is None else f"{100.0 * part.share:.0f} % {lot}"
