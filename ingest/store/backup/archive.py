"""A backup as a file: a gzipped tar archive that any computer can open, also one without leeside.

In it, in this order: ``manifest.json``, ``cellar.toml`` (the cellar file of the time) and ``cellar.db`` (the store, one
whole SQLite file). The manifest comes first, so that it is read without unpacking the rest.
"""

from __future__ import annotations

__all__ = ["Archive", "Manifest", "archives", "read_manifest", "store_name", "take_out", "write_archive"]

import hashlib
import io
import json
import os
import re
import tarfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Annotated, Final

from pydantic import Field, TypeAdapter, ValidationError

from ingest.errors import StoreError, StoreUnwritable

FORM: Final = 1
_MANIFEST: Final = "manifest.json"
_CELLAR: Final = "cellar.toml"
_STORE: Final = "cellar.db"
_PIECE: Final = 1 << 20
# Settled readings are packed already; a higher level costs a small board minutes and saves little.
_LEVEL: Final = 4
_LARGEST_MANIFEST: Final = 100_000

_Count = Annotated[int, Field(ge=0, lt=2**63)]
# UTC milliseconds of the years 1 to 9999, which a time can be shown for.
_Moment = Annotated[int, Field(ge=-62_135_596_800_000, le=253_402_300_799_999)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup says about itself.

    form: of the archive; site: the cellar's name; made_ms, from_ms, to_ms: when it was made, the oldest and the newest
    reading, UTC ms (None without readings); schema: the store's newest migration; readings: rows of ``fresh`` and in
    blocks; store_bytes, store_sha256: of ``cellar.db``.
    """

    form: int
    site: str
    made_ms: _Moment
    schema: _Count
    readings: _Count
    from_ms: _Moment | None
    to_ms: _Moment | None
    store_bytes: _Count
    store_sha256: str


@dataclass(frozen=True, slots=True)
class Archive:
    """A finished backup. made_ms: from its name, UTC ms."""

    path: Path
    made_ms: int
    size_bytes: int


def store_name(store_path: Path, at_ms: int) -> str:
    """Name a backup of this store made at at_ms (UTC ms), such as ``cellar-20261125T183000Z.tar.gz``."""
    return f"{store_path.stem}-{stamp(at_ms)}.tar.gz"


def stamp(at_ms: int) -> str:
    """Write UTC milliseconds as ``20261125T183000Z`` (ISO 8601, basic form), fit for a file's name."""
    return f"{datetime.fromtimestamp(at_ms // 1000, UTC):%Y%m%dT%H%M%SZ}"


def archives(folder: Path, store_path: Path) -> list[Archive]:
    """List the finished backups of a store in a folder, newest first. Other files are passed over."""
    form = re.compile(re.escape(store_path.stem) + r"-(\d{8}T\d{6})Z\.tar\.gz")
    backups = []
    try:
        files = list(folder.iterdir())
    except OSError:
        return []
    for file in files:
        named = form.fullmatch(file.name)
        if named is None:
            continue
        try:
            made = datetime.strptime(named[1], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
            backups.append(Archive(file, round(made.timestamp() * 1000), file.stat().st_size))
        except (ValueError, OSError):
            continue  # not a time, or gone a moment ago
    return sorted(backups, key=lambda archive: archive.made_ms, reverse=True)


def write_archive(file: IO[bytes], manifest: Manifest, cellar_text: str, store: Path) -> None:
    """Write an archive of a copy of the store into an open file."""
    with tarfile.open(fileobj=file, mode="w:gz", compresslevel=_LEVEL) as tar:
        for name, text in ((_MANIFEST, json.dumps(asdict(manifest), indent=2) + "\n"), (_CELLAR, cellar_text)):
            data = text.encode()
            tar.addfile(_member(name, len(data), manifest.made_ms), io.BytesIO(data))
        with store.open("rb") as copy:
            tar.addfile(_member(_STORE, manifest.store_bytes, manifest.made_ms), copy)


def _member(name: str, size: int, at_ms: int) -> tarfile.TarInfo:
    member = tarfile.TarInfo(name)
    member.size, member.mtime, member.mode = size, at_ms // 1000, 0o640
    return member


def read_manifest(archive: Path) -> Manifest:
    """Read what a backup says about itself. Raises StoreError for a file that is not a backup."""
    with _opened(archive) as tar:
        return _manifest(tar, archive)


def take_out(archive: Path, target: Path | None) -> Manifest:
    """Read a whole backup and check its store against the manifest; put the store at target, unless that is None.

    What is put there is on disk when this returns. Raises StoreError for a damaged archive, StoreUnwritable when the
    disk does not take the store.
    """
    digest, size = hashlib.sha256(), 0
    with _opened(archive) as tar:
        manifest = _manifest(tar, archive)
        for member in tar:
            if member.name == _STORE and member.isfile():
                break
        else:
            raise StoreError(f"{archive}: there is no {_STORE} in it; take another backup")
        if member.size != manifest.store_bytes:
            # Before a byte of it is written: room was made for what the manifest says.
            raise StoreError(
                f"{archive}: {_STORE} in it has {member.size} bytes, its {_MANIFEST} says {manifest.store_bytes}; "
                "take another backup"
            )
        source = tar.extractfile(member)
        assert source is not None  # it is a regular file
        with _target(target) as out:
            while piece := source.read(_PIECE):
                digest.update(piece)
                size += len(piece)
                out.write(piece)
    if (size, digest.hexdigest()) != (manifest.store_bytes, manifest.store_sha256):
        if target is not None:
            target.unlink(missing_ok=True)
        raise StoreError(f"{archive}: the store in it is not what was backed up (SHA-256 differs); take another backup")
    return manifest


@contextmanager
def _target(target: Path | None) -> Iterator[IO[bytes]]:
    try:
        if target is not None:
            target.touch(0o600)
        with Path(os.devnull if target is None else target).open("wb") as out:
            yield out
            if target is not None:
                out.flush()
                os.fsync(out.fileno())
    except StoreError:
        raise
    except (tarfile.TarError, zlib.error, EOFError):
        raise
    except OSError as error:
        # gzip's BadGzipFile is one, too, but carries no number of the system's.
        if error.errno is None:
            raise
        raise StoreUnwritable(
            f"{target}: the disk does not take the store ({error.strerror}); free some space"
        ) from error


@contextmanager
def _opened(archive: Path) -> Iterator[tarfile.TarFile]:
    try:
        with tarfile.open(archive, "r:gz") as tar:
            yield tar
    except FileNotFoundError as error:
        raise StoreError(f"{archive}: there is no such file") from error
    except (tarfile.TarError, zlib.error, EOFError, OSError) as error:
        reason = getattr(error, "strerror", None) or error
        raise StoreError(f"{archive}: this is not a readable backup ({reason}); take another one") from error


def _manifest(tar: tarfile.TarFile, archive: Path) -> Manifest:
    member = tar.next()
    if member is None or member.name != _MANIFEST or not member.isfile() or member.size > _LARGEST_MANIFEST:
        raise StoreError(f"{archive}: this is not a backup of leeside: it does not begin with {_MANIFEST}")
    opened = tar.extractfile(member)
    assert opened is not None  # it is a regular file
    try:
        document = json.loads(opened.read())
        form = document["form"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(f"{archive}: its {_MANIFEST} cannot be read ({error}); take another backup") from error
    if form != FORM:
        raise StoreError(f"{archive}: a backup of form {form!r:.20}; this leeside knows form {FORM}; update leeside")
    known = {field.name: document[field.name] for field in fields(Manifest) if field.name in document}
    try:
        return TypeAdapter(Manifest).validate_json(json.dumps(known), strict=True)
    except ValidationError as error:
        wrong = ", ".join(dict.fromkeys(str(detail["loc"][0]) for detail in error.errors()))
        raise StoreError(
            f"{archive}: its {_MANIFEST} is not as leeside writes it ({wrong}); take another backup"
        ) from error
