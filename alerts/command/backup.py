"""`leeside backup` and `leeside restore`."""

from __future__ import annotations

__all__ = ["run_backup", "run_restore"]

import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Final

from alerts.command.opened_cellar import wall_ms
from alerts.view.format import local_time
from ingest.cellar import Cellar, load_cellar
from ingest.store.backup.archive import Manifest, read_manifest
from ingest.store.backup.making import back_up, rotate
from ingest.store.backup.restoring import restore
from ingest.times import iso_utc

# As low as it goes, short of waiting for an idle machine.
_NICE: Final = 15


def run_backup(file: Path, folder: Path | None, *, as_json: bool, gently: bool = False) -> int:
    """Back the store up, to a folder of the caller's or to that of ``[backup]``; in the latter, old ones go."""
    cellar = load_cellar(file)
    if gently:
        os.nice(_NICE)
    now_ms = wall_ms()
    target = cellar.backup_folder if folder is None else folder
    made = back_up(cellar.store_path, target, now_ms, site=cellar.site.name, cellar_text=cellar.text)
    removed = []
    if folder is None and cellar.backup is not None:
        removed = rotate(target, cellar.store_path, cellar.backup.keep, made)
    manifest = read_manifest(made.path)
    if as_json:
        out = {
            "archive": str(made.path),
            "size_bytes": made.size_bytes,
            "manifest": _told(manifest),
            "removed": [str(path) for path in removed],
        }
        print(json.dumps(out, indent=2, ensure_ascii=False))
        return 0
    print(f"{made.path}: {made.size_bytes / 1e6:.1f} MB, {_held(manifest, cellar, now_ms)}; read back and found whole")
    for path in removed:
        print(f"{path}: removed, more than {cellar.backup.keep if cellar.backup else 0} backups are not kept")
    return 0


def run_restore(file: Path, archive: Path, *, replace: bool, as_json: bool) -> int:
    """Make the store of a backup the cellar's store."""
    cellar = load_cellar(file)
    now_ms = wall_ms()
    restored = restore(archive, cellar.store_path, now_ms, replace=replace)
    if as_json:
        out = {
            "store": str(cellar.store_path),
            "manifest": _told(restored.manifest),
            "replaced": None if restored.replaced is None else str(restored.replaced),
        }
        print(json.dumps(out, indent=2, ensure_ascii=False))
        return 0
    manifest = restored.manifest
    made = local_time(manifest.made_ms, cellar.site.zone, now_ms)
    print(f"{cellar.store_path}: as it was at {made}, {_held(manifest, cellar, now_ms)}")
    if manifest.site != cellar.site.name:
        print(f"The backup was made of a cellar called '{manifest.site}', this one is called '{cellar.site.name}'.")
    if restored.replaced is not None:
        print(f"The store of before is kept as {restored.replaced}. Delete it once you are sure.")
    print("`leeside run` takes it from here.")
    return 0


def _held(manifest: Manifest, cellar: Cellar, now_ms: int) -> str:
    if manifest.from_ms is None or manifest.to_ms is None:
        return "no reading yet"
    first, last = (local_time(at_ms, cellar.site.zone, now_ms) for at_ms in (manifest.from_ms, manifest.to_ms))
    return f"{manifest.readings} readings from {first} to {last}"


def _told(manifest: Manifest) -> dict[str, object]:
    """A manifest with its times as text."""
    told = asdict(manifest)
    for name in ("made", "from", "to"):
        at_ms = told.pop(f"{name}_ms")
        told[name] = None if at_ms is None else iso_utc(at_ms)
    return told
