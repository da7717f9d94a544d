"""What an entry is understood by: the bottles, lots and vessels that it names, and the entry before it."""

from __future__ import annotations

__all__ = ["EntryContext"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ingest.cellar import Cellar
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.lots import Lots
from ingest.journal.open_rackings import OpenRacking
from ingest.journal.titrant_bottles import TitrantBottles


@dataclass(frozen=True)
class EntryContext:
    """What is known at the time of an entry.

    contents: what each vessel holds then; lots: what is said of each; bottles: the titrants of that time; last: the
    newest entry of the same kind; begun: rackings that were begun and not finished, newest first.
    """

    cellar: Cellar
    contents: Mapping[str, Contents]
    lots: Lots
    bottles: TitrantBottles
    last: Entry | None
    begun: Sequence[OpenRacking]
