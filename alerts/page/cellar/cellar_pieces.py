"""The cellar view in pieces: HTML by the id of the element that it is, so that each can be replaced when it changes.

A piece holds no age, since that changes every second: it has an empty ``<time data-at="...">``, which ``with_ages``
fills for a page and the browser for what comes later.
"""

from __future__ import annotations

__all__ = ["CellarPieces", "with_ages"]

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from alerts.page.cellar.trend_drawing import draw_trend
from alerts.page.context import PageContext
from alerts.view.absence_lines import absence_line
from alerts.view.format import age, local_time, quantity_name, value_text
from alerts.view.mail_lines import undelivered_head, undelivered_line
from alerts.view.own_state import OwnPart, own_parts
from alerts.view.places.day_trend import DayTrend, day_trends
from alerts.view.places.place_line import PlaceLine, alarm_note, place_line
from alerts.view.so2.so2_lines import So2Summary, done_words, free_words, molecular_words
from alerts.view.status import CellarStatus, PlaceStatus, ReadingStatus
from ingest.cellar import EffectiveLimit, Probe
from ingest.store import Store
from ingest.store.readings.series import all_series

# A day's picture changes little in this time; what has happened since is in the newest value beside it.
_TREND_LASTS_MS: Final = 60_000
# So many old pictures are made again at a time, so that they do not all become old together.
_TRENDS_AT_ONCE: Final = 3
# Beyond this age a picture is made again in any case.
_TREND_OLD_MS: Final = 180_000
_MOST_REJECTS: Final = 20
# A sample that was not understood within this time is worth a word.
_LATELY_MS: Final = 600_000
_AGE: Final = re.compile(r'<time data-at="(-?\d+)"></time>')


def with_ages(html: str, now_ms: int) -> str:
    """Fill in how long ago each time was, as of now (UTC ms)."""
    return _AGE.sub(lambda found: f'<time data-at="{found[1]}">{age(now_ms - int(found[1]))}</time>', html)


class CellarPieces:
    """Makes the pieces of one cellar, and keeps the pictures of the last day for a while. One thread at a time."""

    def __init__(self, context: PageContext) -> None:
        self._cellar = context.cellar
        self._macros: Any = context.parts("cellar_pieces.html")
        self._trends: dict[str, tuple[int, DayTrend]] = {}

    def make(self, store: Store, status: CellarStatus) -> dict[str, str]:
        """Make every piece; call inside the read that the status is of."""
        self._renew_trends(store, status.now_ms)
        lines = [place_line(status, place, self._cellar) for place in status.places]
        pieces = dict(self._general(status, lines))
        for index, (place, line) in enumerate(zip(status.places, lines, strict=True)):
            pieces.update(self._of_place(f"p{index}", status, place, line))
        return {name: str(html) for name, html in pieces.items()}

    def _general(self, status: CellarStatus, lines: list[PlaceLine]) -> Iterator[tuple[str, Any]]:
        zone, units, now_ms = self._cellar.site.zone, self._cellar.site.units, status.now_ms
        places = {line.id for line in lines}
        others = [
            (alarm.at, alarm_note(alarm, zone, units, now_ms)) for alarm in status.alarms if alarm.at not in places
        ]
        calling = sorted((line for line in lines if line.state.tone != "quiet"), key=lambda line: line.state.rank)
        away = "" if status.absence is None else absence_line(status.absence, self._cellar, now_ms)
        muted = [each for each in status.muted if each.at not in places]
        parts = own_parts(status, self._cellar, lambda at_ms: f"at {local_time(at_ms, zone, now_ms)}")
        yield (
            "needs",
            self._macros.needs("needs", self._troubles(status), away, others, calling),
        )
        yield "own-head", self._own_head(status, parts)
        # Apart from the rest, since the pulses in it change every quarter of a minute.
        yield "own-parts", self._macros.own_parts("own-parts", parts, muted)
        rejects = status.rejects[:_MOST_REJECTS]
        yield (
            "own-rest",
            self._macros.own_rest("own-rest", status.messages, rejects, lambda at: local_time(at, zone, now_ms)),
        )

    def _own_head(self, status: CellarStatus, parts: Sequence[OwnPart]) -> Any:
        does = "reads, watches and sends" if self._cellar.mail or self._cellar.channel else "reads and watches"
        lately_ms = status.now_ms - _LATELY_MS
        is_puzzled = any(reject.last_ms > lately_ms for reject in status.rejects)
        return self._macros.own_head("own-head", parts, does, self._backup_ms(status), is_puzzled)

    def _troubles(self, status: CellarStatus) -> list[str]:
        """What stands above all else: nothing is stored, read, watched or sent."""
        zone, now_ms = self._cellar.site.zone, status.now_ms
        if status.store_trouble:
            troubles = [f"Nothing can be stored: {status.store_trouble}."]
        else:
            troubles = []
            for daemon in status.daemons:
                if not daemon.responds:
                    what = "Probes are not being read" if daemon.role == "ingest" else "Limits are not being watched"
                    since = " yet" if daemon.pulse is None else f" since {local_time(daemon.pulse.at_ms, zone, now_ms)}"
                    troubles.append(f"{what}: the {daemon.role} part of leeside has not responded{since}.")
        if status.undelivered is not None:
            head = undelivered_head(status.undelivered)
            troubles.append(f"{head[:1].upper()}{head[1:]}: {undelivered_line(status.undelivered, now_ms)}")
        return troubles

    @staticmethod
    def _backup_ms(status: CellarStatus) -> int | None:
        for daemon in status.daemons:
            backup = getattr(daemon.pulse.body, "backup", None) if daemon.pulse is not None else None
            if backup is not None:
                return backup.last_ms  # type: ignore[no-any-return]  # of a BackupPulse
        return None

    def _of_place(
        self, id: str, status: CellarStatus, place: PlaceStatus, line: PlaceLine
    ) -> Iterator[tuple[str, Any]]:
        yield f"{id}-state", self._macros.state(f"{id}-state", line.state)
        yield f"{id}-outline", self._macros.vessel(f"{id}-outline", line)
        yield f"{id}-wine", self._macros.wine(f"{id}-wine", line)
        yield f"{id}-notes", self._macros.notes(f"{id}-notes", line.notes)
        yield f"{id}-judged", self._macros.judged(f"{id}-judged", line, self._so2_words(line.so2, status, place))
        probes = self._cellar.probes_at(place.id)
        for number, (probe, reading, words) in enumerate(zip(probes, place.readings, line.readings, strict=True)):
            yield f"{id}-r{number}", self._macros.reading(f"{id}-r{number}", words)
            yield f"{id}-t{number}", self._trend(f"{id}-t{number}", status, probe, reading)

    def _so2_words(self, so2: So2Summary | None, status: CellarStatus, place: PlaceStatus) -> dict[str, Any] | None:
        if so2 is None:
            return None
        return {
            "free": free_words(so2),
            "done": ", ".join(done_words(so2, self._cellar.site.zone)),
            "molecular": molecular_words(so2),
            "band": (so2.free_low_80_mg_l, so2.free_mg_l, so2.free_high_80_mg_l),
            "limit": _least_free_mg_l(so2, place.id, status.limits),
        }

    def _trend(self, id: str, status: CellarStatus, probe: Probe, reading: ReadingStatus) -> Any:
        _, trend = self._trends.get(probe.id, (0, DayTrend(0)))
        limits = _limits_of(probe, status.limits)
        newest = reading.value if reading.quality == "good" and not reading.silent else None
        drawing = draw_trend(trend, probe.quantity, limits, probe.every_s, newest)
        words = day = ""
        if drawing is not None:
            units = self._cellar.site.units
            low, high = (value_text(probe.quantity, value, units) for value in (trend.lowest, trend.highest))
            day = f"lowest {low}, highest {high}"
            words = f"{quantity_name(probe.quantity)} at {probe.at}, last day: {day}"
            for limit in limits:
                side = "below" if limit.kind == "low" else "above"
                words += f"; limit: {side} {value_text(probe.quantity, limit.setpoint, units)}"
        return self._macros.trend(id, drawing, words, day)

    def _renew_trends(self, store: Store, now_ms: int) -> None:
        series = {(row.probe, row.place, row.quantity): row.id for row in all_series(store)}
        ages = {probe.id: now_ms - self._trends.get(probe.id, (0, None))[0] for probe in self._cellar.probe}
        old = sorted((id for id, old_ms in ages.items() if old_ms > _TREND_LASTS_MS), key=lambda id: -ages[id])
        chosen = {id for number, id in enumerate(old) if number < _TRENDS_AT_ONCE or ages[id] > _TREND_OLD_MS}
        probes = {
            series[key]: probe.id
            for probe in self._cellar.probe
            if probe.id in chosen and (key := (probe.id, probe.at, probe.quantity)) in series
        }
        for number, trend in day_trends(store, probes, now_ms):
            self._trends[probes[number]] = (now_ms, trend)


def _limits_of(probe: Probe, limits: Mapping[str, EffectiveLimit]) -> list[EffectiveLimit]:
    """The low and high limits on a probe's value."""
    return [limit for limit in limits.values() if limit.probe == probe.id and limit.kind in ("low", "high")]


def _least_free_mg_l(so2: So2Summary, place: str, limits: Mapping[str, EffectiveLimit]) -> float | None:
    """The free SO2 below which a limit is passed [mg/L]; None without one.

    That of a limit on molecular SO2 is what makes so much of it at the present ratio of the two.
    """
    least = []
    for limit in limits.values():
        if limit.at != place or limit.kind != "low":
            continue
        if limit.quantity == "free_so2":
            least.append(limit.setpoint)
        elif limit.quantity == "molecular_so2" and so2.molecular_mg_l:
            least.append(limit.setpoint * so2.free_mg_l / so2.molecular_mg_l)
    return max(least, default=None)
