"""`leeside restore`: the store of a backup takes the place of the cellar's store."""

from __future__ import annotations

__all__ = ["restore"]

from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.backup import manifest_json, span_words
from alerts.command.options import File, Json
from alerts.view.format import local_time
from ingest.cellar import load_cellar
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store.backup import restoring

EXAMPLE: Final = "leeside restore cellar.toml backups/cellar-20261125T023000Z.tar.gz --replace"


def restore(
    file: File,
    archive: Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The backup.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="If there is a store already: put it aside under another name.")
    ] = False,
    as_json: Json = False,
) -> int:
    """Replace the cellar's store by that of a backup, while leeside is stopped."""
    cellar = load_cellar(file)
    now_ms = wall_ms()
    restored = restoring.restore(archive, cellar.store_path, now_ms, replace=replace)
    if as_json:
        out = {
            "store": str(cellar.store_path),
            "manifest": manifest_json(restored.manifest),
            "replaced": None if restored.replaced is None else str(restored.replaced),
        }
        print(json_text(out, indent=2))
        return 0
    manifest = restored.manifest
    made = local_time(manifest.made_ms, cellar.site.zone, now_ms)
    print(f"{cellar.store_path}: as it was at {made}, {span_words(manifest, cellar, now_ms)}")
    if manifest.site != cellar.site.name:
        print(f"The backup was made of a cellar called '{manifest.site}', this one is called '{cellar.site.name}'.")
    if restored.replaced is not None:
        print(f"The store of before is kept as {restored.replaced}. Delete it once you are sure.")
    print("`leeside run` takes it from here.")
    return 0
