"""`leeside enter` and `leeside strike`, killed inside the write: all of it is there afterwards, or nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from a_journal import JournalOnDisk
from running import COMMAND
from write_lock import Watched, watched

from ingest.entering import enter
from ingest.store.journal.stored_ledger import contents

_NOW_MS = 1_795_600_000_000
# So many that the write takes some milliseconds, and a kill finds it.
_SAMPLES = 300
# When the kill comes, as a part of the time from first taking the store's write lock to the end of the write. Enter
# tries the entry in a transaction that is taken back before it writes, so its write is the second half.
_PARTS = (0.0, 0.3, 0.5, 0.65, 0.75, 0.85, 2.0)


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a closed store: 16 L in K1 (entry no. 2), and samples of it since."""
    folder = tmp_path_factory.mktemp("many")
    made = JournalOnDisk(folder)
    lot = {"lot": "ries", "name": "Riesling", "style": "white"}
    enter(made.store, made.cellar, "lot", lot, who="Ana", now_ms=_NOW_MS, at="2026-01-01")
    fill = {"vessel": "K1", "lot": "ries", "volume": "16 L"}
    enter(made.store, made.cellar, "first-filling", fill, who="Ana", now_ms=_NOW_MS, at="2026-01-02")
    for number in range(_SAMPLES):
        at = f"2026-02-{1 + number // 24:02} {number % 24:02}:30"
        enter(made.store, made.cellar, "sample", {"vessel": "K1", "volume": "30 mL"}, who="Ana", now_ms=_NOW_MS, at=at)
    made.store.close()
    return folder


def _copy(many: Path, folder: Path) -> JournalOnDisk:
    folder.mkdir()
    shutil.copy(many / "cellar.db", folder)
    return JournalOnDisk(folder)


@pytest.mark.parametrize(
    ("words", "own"),
    [
        (
            (
                "enter",
                "vessel-status",
                "FILE",
                "--vessel",
                "K1",
                "--status",
                "emptied",
                "--at",
                "2026-01-03",
                "--with-later",
            ),
            1,
        ),
        (("strike", "FILE", "2", "--reason", "another vessel", "--with-later"), 0),
    ],
    ids=["enter", "strike"],
)
def test_a_kill_inside_the_write_leaves_all_of_it_or_nothing(
    many: Path, tmp_path: Path, words: tuple[str, ...], own: int
) -> None:
    """own: how many entries the command adds; what it strikes is all samples, and the fill where it adds none."""

    def run(name: str, delay_s: float = -1.0) -> tuple[JournalOnDisk, Watched]:
        journal = _copy(many, tmp_path / name)
        command = [*COMMAND, *(str(journal.file) if word == "FILE" else word for word in words)]
        return journal, watched(Path(f"{journal.cellar.store_path}-shm"), command, delay_s)

    spans = []
    for name in ("first", "second"):
        journal, seen = run(name)
        journal.store.close()
        spans.append(seen.span_s)
    span_s = min(spans)
    inside, whole = 0, 0
    for part in _PARTS:
        journal, killed = run(f"at-{part}", part * span_s)
        entries = journal.written()
        struck = [entry for entry in entries if entry.struck is not None]
        new = [entry for entry in entries if entry.kind == "vessel-status"]
        everything = (len(struck), len(new)) == (_SAMPLES + 1 - own, own)
        assert everything or (len(struck), len(new)) == (0, 0), (part, killed)
        assert everything or "no. " not in killed.said, "nothing is reported as written that is not"
        # What was worked out from the entries went with them.
        now_ms = max(entry.written_ms for entry in entries)
        held = contents(journal.store, now_ms, journal.cellar)["K1"]
        assert held.volume_l == (pytest.approx(16.0 - 0.03 * _SAMPLES) if not everything else 0.0 if own else None)
        assert held.empty == (everything and own == 1)
        assert journal.store.connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        journal.store.close()
        inside += killed.inside
        whole += everything
    span = f"the {1000 * span_s:.1f} ms of writing"
    print(f"{words[0]}: {len(_PARTS)} kills, {inside} inside {span}, {whole} left all of it")
    assert inside >= 2
