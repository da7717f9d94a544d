"""What the mirror has yet to send: readings, changes of alarms, entries of the journal, and strikes.

Each of these is followed by a cursor, so what is in the queue costs nothing; a cursor moves on only when the server has
the portion. Alarm changes, entries and strikes are only ever added, so their cursor is the number of the last one that
was sent. Readings follow the change feed. What is more than one turn's work there (all that was stored at the start, a
year that was re-scaled, a day without a server) is put off as spans in the table ``mirror_span``, which shrink while
they are sent; so the feed can be pruned, and a restart goes on where it stopped.

A portion is read when its turn comes, never ahead: what is sent is what the store holds then, and what changes later
comes again through the feed.
"""

from __future__ import annotations

__all__ = ["MirrorQueue", "Portion", "RefusedLine", "Unsent"]

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from ingest.journal.entry import Entry
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.change_feed import MIRROR, Touch, cursor, set_cursor, touched_after
from ingest.store.connection import Store
from ingest.store.journal.entry_rows import ENTRY_ROWS, entry_of
from ingest.store.readings.block import Arrays
from ingest.store.readings.series_history import pieces, together
from ingest.store.readings.undated import KNOWN

_TRANSITIONS: Final = "mirror transitions"
_ENTRIES: Final = "mirror entries"
_ENTRIES_COUNTED: Final = "mirror entries counted"
_STRIKES: Final = "mirror strikes"
_DESTINATION: Final = "mirror destination"
_BEHIND_SINCE: Final = "mirror behind since"

# Changes that are taken from the feed together.
MOST_CHANGES: Final = 5000

# Entries in a portion; one can be some kilobytes long.
MOST_ENTRIES: Final = 200

# A change of more than a day is put off.
LONG_MS: Final = 86_400_000

# Spans that begin within this time of the newest reading are read in one look.
NEAR_MS: Final = 10 * 60_000

# Spans of a series that are this near to each other become one: what lies between is sent again, which changes nothing.
JOIN_MS: Final = 3_600_000

MOST_REFUSED: Final = 500
_LONGEST_KEPT: Final = 2000


class ReadingSpan(NamedTuple):
    """Readings of a series from from_ms to to_ms, both included."""

    series: int
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class Portion:
    """Some of what is to be sent: readings in our units by series, alarm changes by number, and entries.

    cursors and span, (series, from_ms, next_ms): what ``MirrorQueue.sent`` keeps.
    """

    readings: Iterable[tuple[int, Arrays]] = ()
    transitions: Sequence[tuple[int, TransitionRow]] = ()
    entries: Sequence[Entry] = ()
    cursors: Mapping[str, int] = field(default_factory=dict)
    span: tuple[int, int, int] | None = None


class Unsent(NamedTuple):
    """What is left. behind: changes of the feed; spans, oldest_unsent_ms: what was put off; records: alarm changes,
    entries and strikes."""

    behind: int
    spans: int
    records: int
    oldest_unsent_ms: int | None


class RefusedLine(NamedTuple):
    """A line that the server would not take, or the first of a batch of which it left something out."""

    line: str
    status: int
    said: str


class MirrorQueue:
    """The queue of one destination, which is known by a number."""

    def __init__(self, store: Store, destination: int) -> None:
        self._store = store
        self._destination = destination

    def begin(self) -> bool:
        """Queue all that is stored, if this destination got nothing yet or the feed was pruned beyond its cursor.

        Returns whether it did.
        """
        if self._follows():
            return False
        newest = self._newest_change()
        # After the newest change was looked up, so that what comes meanwhile is in the feed or here.
        rows = self._store.connection.execute(
            "SELECT series, min(first), max(last) FROM"
            " (SELECT series, min(at) AS first, max(at) AS last FROM fresh GROUP BY series"
            " UNION ALL SELECT series, min(from_ms), max(to_ms) FROM block GROUP BY series) GROUP BY series"
        ).fetchall()
        with self._store.write() as connection:
            connection.execute("DELETE FROM mirror_span")
            connection.executemany("INSERT INTO mirror_span (series, from_ms, to_ms) VALUES (?, ?, ?)", rows)
            set_cursor(connection, MIRROR, newest)
            for name in (_TRANSITIONS, _ENTRIES, _ENTRIES_COUNTED):
                set_cursor(connection, name, 0)
            # Entries are sent as they are then, struck or not.
            newest_strike = connection.execute("SELECT coalesce(max(id), 0) FROM strike").fetchone()[0]
            set_cursor(connection, _STRIKES, newest_strike)
            set_cursor(connection, _DESTINATION, self._destination)
        return True

    def _follows(self) -> bool:
        place = cursor(self._store, MIRROR)
        if place is None or cursor(self._store, _DESTINATION) != self._destination:
            return False
        oldest = self._store.connection.execute("SELECT min(seq) FROM touched").fetchone()[0]
        return oldest is None or oldest <= place + 1

    def portions(self, most: int, *, changes: bool) -> Iterator[Portion]:
        """Give the next portion of each kind that has one; each is read when it is asked for.

        most: of alarm changes, and of readings that were put off; changes: whether the feed is looked at too.
        """
        if changes:
            yield from self._changes()
        yield from self._transitions(most)
        yield from self._entries()
        yield from self._strikes()
        yield from self._span(most)

    def sent(self, portion: Portion) -> None:
        """Keep that the server has a portion."""
        with self._store.write() as connection:
            for name, place in portion.cursors.items():
                set_cursor(connection, name, place)
            if portion.span is not None:
                # A span that grew meanwhile keeps what came; one that begins elsewhere now is sent again.
                connection.execute(
                    "DELETE FROM mirror_span WHERE series = ? AND from_ms = ? AND to_ms < ?", portion.span
                )
                connection.execute(
                    "UPDATE mirror_span SET from_ms = ?3 WHERE series = ?1 AND from_ms = ?2", portion.span
                )

    def put_off_changes(self) -> None:
        """Turn all changes of the feed into spans, so that a server that is away for weeks costs a few rows."""
        while touches := self._touches():
            self._put_off(map(_span_of, touches), touches[-1].seq)

    def unsent(self) -> Unsent:
        """Count what is left."""
        spans, oldest_ms = self._store.connection.execute("SELECT count(*), min(from_ms) FROM mirror_span").fetchone()
        records = (
            self._count("transition", self._place(_TRANSITIONS))
            + self._count("entry", self._entries_sent()[0])
            + self._count("strike", self._place(_STRIKES))
        )
        return Unsent(max(0, self._newest_change() - self._place(MIRROR)), spans, records, oldest_ms)

    def behind_since(self) -> int | None:
        """Return since when (UTC ms) something has been unsent, None while the mirror is up to date."""
        return self._place(_BEHIND_SINCE) or None

    def note_behind(self, behind: bool, now_ms: int) -> int | None:
        """Keep through restarts whether something is unsent, and return since when (UTC ms); None if nothing is."""
        since_ms = self.behind_since()
        if behind is (since_ms is not None):
            return since_ms
        # A board's clock can be in the past for a while after its start.
        since_ms = max(now_ms, self._place(KNOWN)) if behind else None
        with self._store.write() as connection:
            set_cursor(connection, _BEHIND_SINCE, since_ms or 0)
        return since_ms

    def keep_refused(self, refused: Iterable[RefusedLine], now_ms: int) -> None:
        """Keep the newest of what the server refused."""
        with self._store.write() as connection:
            connection.executemany(
                "INSERT INTO mirror_refused (line, status, said, count, first_ms, last_ms)"
                " VALUES (?1, ?2, ?3, 1, ?4, ?4) ON CONFLICT (line) DO UPDATE SET"
                " status = excluded.status, said = excluded.said, count = count + 1, last_ms = excluded.last_ms",
                [(line[:_LONGEST_KEPT], status, said[:_LONGEST_KEPT], now_ms) for line, status, said in refused],
            )
            connection.execute(
                "DELETE FROM mirror_refused WHERE id IN"
                " (SELECT id FROM mirror_refused ORDER BY last_ms DESC, id DESC LIMIT -1 OFFSET ?)",
                (MOST_REFUSED,),
            )

    def _changes(self) -> Iterator[Portion]:
        touches = self._touches()
        if not touches:
            return
        spans = joined(map(_span_of, touches))
        reached = touches[-1].seq
        if len(touches) == MOST_CHANGES or any(span.to_ms - span.from_ms > LONG_MS for span in spans):
            self._put_off(spans, reached)
        else:
            yield Portion(readings=self._readings(spans), cursors={MIRROR: reached})

    def _readings(self, spans: Sequence[ReadingSpan]) -> Iterator[tuple[int, Arrays]]:
        newest = max(span.to_ms for span in spans)
        yield from together(self._store, [span for span in spans if span.from_ms >= newest - NEAR_MS])
        for span in spans:
            if span.from_ms < newest - NEAR_MS:
                for readings in pieces(self._store, span.series, span.from_ms, span.to_ms + 1):
                    yield span.series, readings

    def _transitions(self, most: int) -> Iterator[Portion]:
        rows = self._store.connection.execute(
            "SELECT id, at_ms, key, occurrence, event, from_state, to_state, value, who, note FROM transition"
            " WHERE id > ? ORDER BY id LIMIT ?",
            (self._place(_TRANSITIONS), most),
        ).fetchall()
        if rows:
            numbered = [(row[0], TransitionRow(*row[1:])) for row in rows]
            yield Portion(transitions=numbered, cursors={_TRANSITIONS: rows[-1][0]})

    def _entries(self) -> Iterator[Portion]:
        last, counted = self._entries_sent()
        rows = self._store.connection.execute(
            f"{ENTRY_ROWS} WHERE entry.id > ? ORDER BY entry.id LIMIT ?", (last, MOST_ENTRIES)
        ).fetchall()
        if rows:
            entries = [entry_of(row) for row in rows]
            cursors = {_ENTRIES: entries[-1].id, _ENTRIES_COUNTED: counted + len(entries)}
            yield Portion(entries=entries, cursors=cursors)

    def _entries_sent(self) -> tuple[int, int]:
        """Return the number of the last entry that was sent, and how many were sent up to it.

        An import can bring entries of lower numbers than that. The count shows it, since no entry is ever deleted; then
        all are sent again, which changes nothing at the mirror.
        """
        last, counted = self._place(_ENTRIES), self._place(_ENTRIES_COUNTED)
        return (last, counted) if self._count("entry") - self._count("entry", last) == counted else (0, 0)

    def _strikes(self) -> Iterator[Portion]:
        strikes = self._store.connection.execute(
            "SELECT id, entry FROM strike WHERE id > ? ORDER BY id LIMIT ?", (self._place(_STRIKES), MOST_ENTRIES)
        ).fetchall()
        if strikes:
            of_entry = f"{ENTRY_ROWS} WHERE entry.id = ?"
            rows = [self._store.connection.execute(of_entry, (entry,)).fetchone() for _, entry in strikes]
            yield Portion(entries=[entry_of(row) for row in rows], cursors={_STRIKES: strikes[-1][0]})

    def _span(self, most: int) -> Iterator[Portion]:
        row = self._store.connection.execute(
            "SELECT series, from_ms, to_ms FROM mirror_span ORDER BY series, from_ms LIMIT 1"
        ).fetchone()
        if row is None:
            return
        series, from_ms, to_ms = row
        readings = _first(pieces(self._store, series, from_ms, to_ms + 1), most)
        next_ms = int(readings.at_ms[-1]) + 1 if len(readings.at_ms) == most else to_ms + 1
        yield Portion(readings=[(series, readings)], span=(series, from_ms, next_ms))

    def _put_off(self, spans: Iterable[ReadingSpan], reached: int) -> None:
        """Take changes up to ``reached`` out of the feed's hands."""
        with self._store.write() as connection:
            known = {ReadingSpan(*row) for row in connection.execute("SELECT series, from_ms, to_ms FROM mirror_span")}
            wanted = set(joined([*known, *spans]))
            connection.executemany(
                "DELETE FROM mirror_span WHERE series = ? AND from_ms = ? AND to_ms = ?", known - wanted
            )
            connection.executemany("INSERT INTO mirror_span (series, from_ms, to_ms) VALUES (?, ?, ?)", wanted - known)
            set_cursor(connection, MIRROR, reached)

    def _touches(self) -> list[Touch]:
        return touched_after(self._store, self._place(MIRROR), MOST_CHANGES)

    def _newest_change(self) -> int:
        return int(self._store.connection.execute("SELECT max(seq) FROM touched").fetchone()[0] or 0)

    def _place(self, name: str) -> int:
        return cursor(self._store, name) or 0

    def _count(self, table: str, after_id: int = 0) -> int:
        query = f"SELECT count(*) FROM {table} WHERE id > ?"  # noqa: S608  a table of ours
        return int(self._store.connection.execute(query, (after_id,)).fetchone()[0])


def joined(spans: Iterable[ReadingSpan]) -> list[ReadingSpan]:
    """Return spans by series and time, those of a series that meet or nearly meet as one."""
    apart: list[ReadingSpan] = []
    for span in sorted(spans):
        if apart and apart[-1].series == span.series and span.from_ms - apart[-1].to_ms <= JOIN_MS:
            apart[-1] = apart[-1]._replace(to_ms=max(apart[-1].to_ms, span.to_ms))
        else:
            apart.append(span)
    return apart


def _span_of(touch: Touch) -> ReadingSpan:
    return ReadingSpan(touch.series, touch.from_ms, touch.to_ms)


def _first(days: Iterable[Arrays], most: int) -> Arrays:
    """Return the first ``most`` readings of several days."""
    parts: list[Arrays] = []
    left = most
    for day in days:
        parts.append(day.part(slice(left)))
        left -= len(parts[-1].at_ms)
        if not left:
            break
    return Arrays.joined(parts)
