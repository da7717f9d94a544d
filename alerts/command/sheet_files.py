"""A sheet as files: one PDF, or a PNG for each page."""

from __future__ import annotations

__all__ = ["write_sheet"]

from pathlib import Path
from typing import Final

import typer

from alerts.pictures import ReviewSheet, draw

_PAGES: Final = 2
# A small board needs its time.
_TIMEOUT_S: Final = 120.0


def write_sheet(sheet: ReviewSheet, pdf: Path | None, png: Path | None) -> list[Path]:
    """Draw a sheet and write it where it is wished; returns the files. Raises PictureFailed, or refuses a file that
    cannot be written.
    """
    for option, path in (("--pdf", pdf), ("--png", png)):
        if path is not None and not path.parent.is_dir():
            raise typer.BadParameter(f"{path} cannot be written: there is no folder {path.parent}", param_hint=option)
    written = []
    if pdf is not None:
        written.append(_write(pdf, draw(sheet, "pdf", _TIMEOUT_S), "--pdf"))
    if png is not None:
        for page in range(_PAGES):
            path = png.with_name(f"{png.stem}-{page + 1}{png.suffix or '.png'}")
            written.append(_write(path, draw(sheet, "png", _TIMEOUT_S, sheet=page), "--png"))
    return written


def _write(path: Path, content: bytes, option: str) -> Path:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise typer.BadParameter(f"{path} cannot be written: {error.strerror}", param_hint=option) from error
    return path
