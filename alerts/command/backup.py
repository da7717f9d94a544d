"""`leeside backup`: the store in one file, checked by reading it back."""

from __future__ import annotations

__all__ = ["backup", "manifest_json", "span_words"]

import os
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.options import File, Json
from alerts.view.format import local_time
from ingest.cellar import Cellar, load_cellar
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store.backup.archive import Manifest, read_manifest
from ingest.store.backup.making import back_up, rotate
from ingest.times import iso_utc_known

# As low as it goes, short of waiting for an idle machine.
_NICE: Final = 15


EXAMPLE: Final = "leeside backup cellar.toml --to /media/stick"


def backup(
    file: File,
    folder: Annotated[
        Path | None,
        typer.Option("--to", metavar="PATH", help="Into this folder; by default that of [backup], or backups."),
    ] = None,
    low_priority: Annotated[
        bool,
        typer.Option("--low-priority", help="Let all else on the machine run first, as the daily backup does."),
    ] = False,
    as_json: Json = False,
) -> int:
    """Back the store up into one checked file, also while leeside runs. In the folder of [backup], old ones go."""
    cellar = load_cellar(file)
    if low_priority:
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
            "manifest": manifest_json(manifest),
            "removed": [str(path) for path in removed],
        }
        print(json_text(out, indent=2))
        return 0
    size = f"{made.size_bytes / 1e6:.1f} MB"
    print(f"{made.path}: {size}, {span_words(manifest, cellar, now_ms)}; read back and found whole")
    for path in removed:
        print(f"{path}: removed, more than {cellar.backup.keep if cellar.backup else 0} backups are not kept")
    return 0


def span_words(manifest: Manifest, cellar: Cellar, now_ms: int) -> str:
    """How many readings a backup holds, and of which time."""
    if manifest.from_ms is None or manifest.to_ms is None:
        return "no reading yet"
    first, last = (local_time(at_ms, cellar.site.zone, now_ms) for at_ms in (manifest.from_ms, manifest.to_ms))
    return f"{manifest.readings} readings from {first} to {last}"


def manifest_json(manifest: Manifest) -> dict[str, object]:
    """The manifest with its times as text."""
    out = asdict(manifest)
    for name in ("made", "from", "to"):
        at_ms = out.pop(f"{name}_ms")
        out[name] = iso_utc_known(at_ms)
    return out
