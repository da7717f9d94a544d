"""What a vessel holds: a line for people, an object for programs."""

from __future__ import annotations

__all__ = ["contents_json", "contents_line", "free_text", "lots_text", "volume_text"]

from datetime import tzinfo
from typing import Final

from alerts.view.format import local_time
from ingest.journal.contents import Contents, LotShare
from ingest.journal.titration_outcome import below_mg_l
from ingest.journal.wine import So2Value
from ingest.times import iso_utc, iso_utc_known, short_day

# NIST Handbook 44, appendix C.
_GALLON_L: Final = 3.785411784


def volume_text(volume_l: float, units: str) -> str:
    """Give a volume in liters, or in US gallons for units "us"."""
    return f"{volume_l / _GALLON_L:.2f} gal" if units == "us" else f"{volume_l:.1f} L"


def contents_line(
    contents: Contents, zone: tzinfo, units: str, now_ms: int, *, with_free: bool = True, with_total: bool = True
) -> str:
    """Give volume, lots with their shares, headspace, SO2, and since when.

    What nobody wrote down is given as not known; SO2 that nobody titrated is left out. with_free, with_total: also the
    SO2 that was found last, for where it is not shown otherwise.
    """
    out_of_use = ", out of use" if contents.out_of_use else ""
    if not contents.known:
        return f"contents not entered yet{out_of_use}"
    since = "" if contents.since_ms is None else f", since {local_time(contents.since_ms, zone, now_ms)}"
    if contents.empty:
        return f"empty{since}{out_of_use}"
    volume = "an unknown volume" if contents.volume_l is None else volume_text(contents.volume_l, units)
    lots = lots_text(contents)
    so2 = _so2_text(contents, zone, now_ms, with_free=with_free, with_total=with_total)
    headspace = "" if contents.headspace_l is None else f", headspace {volume_text(contents.headspace_l, units)}"
    return f"{volume} of {lots}{headspace}{so2}{since}{out_of_use}"


def lots_text(contents: Contents) -> str:
    """Name the lots, with the share of each where there are several: "60 % malvasia-26, 40 % rebula-26"."""
    return ", ".join(_share(part, alone=len(contents.lots) == 1) for part in contents.lots)


def free_text(contents: Contents, zone: tzinfo, now_ms: int) -> str:
    """Give the free SO2 that was found last: "33 mg/L free SO2"; "" where nobody titrated it."""
    return _so2_text(contents, zone, now_ms, with_free=True, with_total=False).removeprefix(", ")


def contents_json(contents: Contents) -> dict[str, object]:
    """Give the same as an object; null for what is not known."""
    return {
        "known": contents.known,
        "empty": contents.empty,
        "out_of_use": contents.out_of_use,
        "lots": [{"lot": part.lot, "share": part.share} for part in contents.lots],
        "volume_l": contents.volume_l,
        "u_volume_l": contents.u_volume_l,
        "headspace_l": contents.headspace_l,
        "since": iso_utc_known(contents.since_ms),
        "last_racking": iso_utc_known(contents.last_racking_ms),
        "last_topping": iso_utc_known(contents.last_topping_ms),
        "style": contents.style,
        "alcohol_percent_vol": contents.alcohol_percent_vol,
        "sugar_g_l": contents.sugar_g_l,
        "free_so2": _so2_json(contents.free_so2),
        "total_so2": _so2_json(contents.total_so2),
        "past_free_so2": _so2_json(contents.past_free_so2),
        "past_total_so2": _so2_json(contents.past_total_so2),
    }


def _so2_text(contents: Contents, zone: tzinfo, now_ms: int, *, with_free: bool, with_total: bool) -> str:
    """Give the newest results; what a blend or an addition made of them is marked as worked out, or as past."""
    texts = []
    free, total = contents.free_so2 if with_free else None, contents.total_so2 if with_total else None
    for name, so2 in (("free", free), ("total", total)):
        if so2 is not None:
            amount = f"{so2.mg_l:.0f}"
            if so2.mg_l == 0.0 and so2.u_mg_l is not None and not so2.mixed:
                amount = f"< {below_mg_l(so2.u_mg_l):.0f}"
            texts.append(f", {amount} mg/L {name} SO2" + (" (worked out)" if so2.mixed else ""))
    past = (
        ("free", contents.past_free_so2 if with_free else None),
        ("total", contents.past_total_so2 if with_total else None),
    )
    for name, so2 in past:
        if so2 is not None:
            day = short_day(so2.at_ms, now_ms, zone)
            when = f"worked out from {day}" if so2.mixed else f"on {day}"
            texts.append(f", {name} SO2 was {so2.mg_l:.0f} mg/L {when}, before a dose or blend")
    return "".join(texts)


def _so2_json(so2: So2Value | None) -> dict[str, object] | None:
    if so2 is None:
        return None
    return {"mg_l": so2.mg_l, "u_mg_l": so2.u_mg_l, "at": iso_utc(so2.at_ms), "worked_out": so2.mixed}


def _share(part: LotShare, *, alone: bool) -> str:
    if alone:
        return part.words
    return f"{part.words} (share not known)" if part.share is None else f"{100.0 * part.share:.0f} % {part.words}"
