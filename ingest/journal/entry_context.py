"""What an entry is understood by: the bottles, lots and vessels that it names, and the entry before it."""

from __future__ import annotations

__all__ = ["EntryContext"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ingest.cellar import Cellar
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.open_rackings import OpenRacking

if TYPE_CHECKING:  # kinds of entries stand on this file
    from ingest.journal.kinds.lot import LotBody
    from ingest.journal.kinds.titrant import TitrantBody


@dataclass(frozen=True)
class EntryContext:
    """What is known at the time of an entry.

    contents: what each vessel holds then; bottles: titrants by name, as the newest entry of each has it by then;
    later_bottles: those that were first written down for a later time, with that time (UTC ms); lots: by id; last: the
    newest entry of the same kind; begun: rackings that were begun and not finished, newest first.
    """

    cellar: Cellar
    contents: Mapping[str, Contents] = field(default_factory=dict)
    bottles: Mapping[str, TitrantBody] = field(default_factory=dict)
    later_bottles: Mapping[str, int] = field(default_factory=dict)
    lots: Mapping[str, LotBody] = field(default_factory=dict)
    last: Entry | None = None
    begun: Sequence[OpenRacking] = ()
