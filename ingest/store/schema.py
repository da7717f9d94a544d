"""The tables of the store, migration by migration. docs/data.md explains them; a test compares the two.

Times are UTC milliseconds, always named ``..._ms`` or ``at``. Numbers in ``fresh`` are what the wire said; ``scale``
turns them into our units on the way out.
"""

from __future__ import annotations

__all__ = [
    "ABSENCE_SCHEMA",
    "FIRST_SCHEMA",
    "JUDGEMENT_SCHEMA",
    "MIRROR_SCHEMA",
    "RING_SCHEMA",
    "SETTLED_SCHEMA",
]

FIRST_SCHEMA: tuple[str, ...] = (
    """CREATE TABLE migration (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        applied_ms INTEGER NOT NULL
    )""",
    # Every text of the cellar file that ever ran, so that the past is read with the equipment of its time.
    """CREATE TABLE cellar_file (
        id INTEGER PRIMARY KEY,
        from_ms INTEGER NOT NULL,
        digest TEXT NOT NULL,
        text TEXT NOT NULL
    )""",
    # The readings of one probe, at one place, of one quantity. origin: always 'probe'.
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        probe TEXT NOT NULL,
        place TEXT NOT NULL,
        quantity TEXT NOT NULL,
        origin TEXT NOT NULL DEFAULT 'probe',
        begun_ms INTEGER NOT NULL,
        ended_ms INTEGER,
        UNIQUE (probe, place, quantity, origin)
    )""",
    # Names that a series had before `was` renamed its probe or place.
    """CREATE TABLE former_name (
        series INTEGER NOT NULL REFERENCES series (id),
        probe TEXT NOT NULL,
        place TEXT NOT NULL,
        until_ms INTEGER NOT NULL
    )""",
    # The parts of a dated scale, see ingest/store/readings/scales.py: of each kind ('file', 'barometer', 'calibration')
    # the newest row (by from_ms, then id) that is not after a reading counts.
    """CREATE TABLE scale (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL REFERENCES series (id),
        from_ms INTEGER NOT NULL,
        kind TEXT NOT NULL,
        gain REAL NOT NULL,
        offset REAL NOT NULL,
        unit TEXT NOT NULL,
        because TEXT NOT NULL,
        written_ms INTEGER NOT NULL
    )""",
    "CREATE INDEX scale_by_series ON scale (series, from_ms)",
    # A log: appended in the order of arrival, no second index. The same (series, at) may stand twice; the first counts.
    """CREATE TABLE fresh (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL,
        at INTEGER NOT NULL,
        number REAL NOT NULL,
        quality INTEGER NOT NULL
    )""",
    # The change feed: which span of which series changed. Followers keep their place in `cursor`.
    """CREATE TABLE touched (
        seq INTEGER PRIMARY KEY,
        series INTEGER NOT NULL,
        from_ms INTEGER NOT NULL,
        to_ms INTEGER NOT NULL
    )""",
    """CREATE TABLE cursor (
        name TEXT PRIMARY KEY,
        value INTEGER NOT NULL
    ) WITHOUT ROWID""",
    # The last bare numbers that came at QoS 1, so that one which the broker sends again is known.
    """CREATE TABLE delivered (
        packet_id INTEGER PRIMARY KEY,
        digest INTEGER NOT NULL
    )""",
    # Rows after after_id, of uncertain quality for the clock, have times estimated from this anchor.
    """CREATE TABLE undated (
        id INTEGER PRIMARY KEY,
        boot TEXT NOT NULL,
        known_ms INTEGER NOT NULL,
        known_mono REAL NOT NULL,
        after_id INTEGER NOT NULL,
        dated_ms INTEGER
    )""",
    # Samples that could not become readings, counted by who and why.
    """CREATE TABLE reject (
        source TEXT NOT NULL,
        address TEXT NOT NULL,
        probe TEXT NOT NULL,
        reason TEXT NOT NULL,
        count INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        example TEXT NOT NULL,
        PRIMARY KEY (source, address, probe, reason)
    ) WITHOUT ROWID""",
    # A daemon's pulse, every ten seconds. body: JSON of ``ingest.pulse``.
    """CREATE TABLE pulse (
        role TEXT PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        pid INTEGER NOT NULL,
        started_ms INTEGER NOT NULL,
        body TEXT NOT NULL
    ) WITHOUT ROWID""",
    # What a person's hand did to alarms; the next turn applies it and writes what came of it.
    """CREATE TABLE operator_event (
        id INTEGER PRIMARY KEY,
        written_ms INTEGER NOT NULL,
        kind TEXT NOT NULL,
        target TEXT NOT NULL,
        who TEXT NOT NULL,
        note TEXT NOT NULL,
        applied_ms INTEGER,
        outcome TEXT
    )""",
    "CREATE INDEX operator_event_waiting ON operator_event (id) WHERE applied_ms IS NULL",
    # Where each limit stands. entry: JSON, enough for a restart to go on.
    """CREATE TABLE alarm (
        key TEXT PRIMARY KEY,
        state TEXT NOT NULL,
        occurrence TEXT,
        entry TEXT NOT NULL,
        changed_ms INTEGER NOT NULL
    ) WITHOUT ROWID""",
    # The alarm record: every change of state, kept for ever.
    """CREATE TABLE transition (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        key TEXT NOT NULL,
        occurrence TEXT,
        event TEXT NOT NULL,
        from_state TEXT NOT NULL,
        to_state TEXT NOT NULL,
        value REAL,
        who TEXT NOT NULL,
        note TEXT NOT NULL
    )""",
    "CREATE INDEX transition_by_occurrence ON transition (occurrence)",
    # The outbox. state: waiting, sent, gave up, cancelled.
    """CREATE TABLE message (
        id INTEGER PRIMARY KEY,
        message_id TEXT NOT NULL UNIQUE,
        thread_id TEXT,
        occurrence TEXT,
        occasion TEXT NOT NULL,
        channel TEXT NOT NULL,
        recipient TEXT NOT NULL,
        subject TEXT NOT NULL,
        body TEXT NOT NULL,
        created_ms INTEGER NOT NULL,
        not_before_ms INTEGER NOT NULL,
        state TEXT NOT NULL DEFAULT 'waiting',
        attempts INTEGER NOT NULL DEFAULT 0,
        next_try_ms INTEGER NOT NULL,
        last_error TEXT,
        ended_ms INTEGER
    )""",
    "CREATE INDEX message_waiting ON message (next_try_ms) WHERE state = 'waiting'",
    # Slow judgements: the newest of each subject, and one an hour for charts.
    """CREATE TABLE judgement (
        subject TEXT NOT NULL,
        kind TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        body TEXT NOT NULL,
        PRIMARY KEY (subject, kind)
    ) WITHOUT ROWID""",
    """CREATE TABLE judgement_hour (
        subject TEXT NOT NULL,
        kind TEXT NOT NULL,
        hour_ms INTEGER NOT NULL,
        body TEXT NOT NULL,
        PRIMARY KEY (subject, kind, hour_ms)
    ) WITHOUT ROWID""",
    # For a look with the sqlite3 shell: fresh readings in our units, with words for quality.
    """CREATE VIEW fresh_reading AS
        SELECT
            strftime('%Y-%m-%dT%H:%M:%S', fresh.at / 1000, 'unixepoch')
                || printf('.%03dZ', fresh.at % 1000) AS at,
            series.probe, series.place, series.quantity,
            coalesce(
                (SELECT scale.gain * fresh.measured + scale.offset FROM scale
                    WHERE scale.series = fresh.series AND scale.from_ms <= fresh.at AND scale.kind = 'calibration'
                    ORDER BY scale.from_ms DESC, scale.id DESC LIMIT 1),
                fresh.measured) AS value,
            fresh.number,
            CASE fresh.quality & 3 WHEN 0 THEN 'good' WHEN 1 THEN 'uncertain' ELSE 'bad' END AS quality
        FROM (
            SELECT fresh.*,
                (SELECT scale.gain * fresh.number + scale.offset FROM scale
                    WHERE scale.series = fresh.series AND scale.from_ms <= fresh.at AND scale.kind = 'file'
                    ORDER BY scale.from_ms DESC, scale.id DESC LIMIT 1)
                + coalesce(
                    (SELECT scale.offset FROM scale
                        WHERE scale.series = fresh.series AND scale.from_ms <= fresh.at AND scale.kind = 'barometer'
                        ORDER BY scale.from_ms DESC, scale.id DESC LIMIT 1),
                    0) AS measured
            FROM fresh
        ) AS fresh JOIN series ON series.id = fresh.series""",
)

SETTLED_SCHEMA: tuple[str, ...] = (
    # A day of one series, packed: see ingest/store/readings/block.py. day: UTC days since 1970.
    """CREATE TABLE block (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL,
        day INTEGER NOT NULL,
        rows INTEGER NOT NULL,
        from_ms INTEGER NOT NULL,
        to_ms INTEGER NOT NULL,
        data BLOB NOT NULL,
        UNIQUE (series, day)
    )""",
    # Summaries of values by hour and day. span_ms: 3600000 or 86400000.
    """CREATE TABLE summary (
        series INTEGER NOT NULL,
        span_ms INTEGER NOT NULL,
        from_ms INTEGER NOT NULL,
        count INTEGER NOT NULL,
        low REAL,
        high REAL,
        mean REAL,
        first REAL,
        last REAL,
        worst INTEGER NOT NULL,
        PRIMARY KEY (series, span_ms, from_ms)
    ) WITHOUT ROWID""",
    # Summaries of a day's minutes, packed: see ingest/store/readings/summary.py.
    """CREATE TABLE minutes (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL,
        day INTEGER NOT NULL,
        data BLOB NOT NULL,
        UNIQUE (series, day)
    )""",
)

MIRROR_SCHEMA: tuple[str, ...] = (
    # What the mirror has yet to send beyond the change feed: spans of series, both ends included.
    """CREATE TABLE mirror_span (
        series INTEGER NOT NULL,
        from_ms INTEGER NOT NULL,
        to_ms INTEGER NOT NULL,
        PRIMARY KEY (series, from_ms)
    ) WITHOUT ROWID""",
    # What the mirror's server would not take, and what it said. Only the newest are kept.
    """CREATE TABLE mirror_refused (
        id INTEGER PRIMARY KEY,
        line TEXT NOT NULL UNIQUE,
        status INTEGER NOT NULL,
        said TEXT NOT NULL,
        count INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL
    )""",
)

JUDGEMENT_SCHEMA: tuple[str, ...] = (
    # Slow judgements: the newest of each place. lot: whose wine it is about, '' for the place itself; judge: whose
    # answer it is a part of; answer: counts the answers of all judges; details: JSON.
    """CREATE TABLE judgement (
        place TEXT NOT NULL,
        name TEXT NOT NULL,
        lot TEXT NOT NULL,
        judge TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        value REAL,
        low REAL,
        high REAL,
        finding TEXT NOT NULL,
        details TEXT NOT NULL,
        answer INTEGER NOT NULL,
        PRIMARY KEY (place, name)
    ) WITHOUT ROWID""",
    # The last one of each hour, for charts.
    """CREATE TABLE judgement_hour (
        place TEXT NOT NULL,
        name TEXT NOT NULL,
        lot TEXT NOT NULL,
        hour_ms INTEGER NOT NULL,
        at_ms INTEGER NOT NULL,
        value REAL,
        low REAL,
        high REAL,
        finding TEXT NOT NULL,
        PRIMARY KEY (place, name, lot, hour_ms)
    ) WITHOUT ROWID""",
)

ABSENCE_SCHEMA: tuple[str, ...] = (
    # When the owner is away, and who gets the messages instead. ended_ms: when it was ended before its time.
    """CREATE TABLE absence (
        id INTEGER PRIMARY KEY,
        from_ms INTEGER NOT NULL,
        until_ms INTEGER NOT NULL,
        helper TEXT NOT NULL,
        who TEXT NOT NULL,
        written_ms INTEGER NOT NULL,
        ended_ms INTEGER
    )""",
)

RING_SCHEMA: tuple[str, ...] = (
    # The last test message to each recipient. confirmed_ms: when somebody said its code.
    """CREATE TABLE ring (
        code TEXT PRIMARY KEY,
        recipient TEXT NOT NULL UNIQUE,
        message INTEGER NOT NULL,
        written_ms INTEGER NOT NULL,
        confirmed_ms INTEGER
    ) WITHOUT ROWID""",
    # Who got an alarm is asked whenever it takes a step.
    "CREATE INDEX message_of_occurrence ON message (occurrence, recipient)",
)
