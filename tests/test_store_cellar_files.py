"""Every cellar file that ran is kept once."""

from __future__ import annotations

from pathlib import Path

from a_store import NOW, new_store

from ingest.store.cellar_files import keep_cellar_file


def test_a_text_is_kept_when_it_differs_from_the_last(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        kept = [keep_cellar_file(store, text, NOW + at) for at, text in enumerate(["a", "a", "b žlahtno", "a"])]
        assert kept == [True, False, True, True]
        rows = store.connection.execute("SELECT from_ms, text, length(digest) FROM cellar_file ORDER BY id").fetchall()
        assert rows == [(NOW, "a", 64), (NOW + 2, "b žlahtno", 64), (NOW + 3, "a", 64)]
