"""What a judge is: something that works slowly, aside, from readings and the journal."""

from __future__ import annotations

__all__ = ["Judge", "Need"]

from collections.abc import Sequence
from typing import Literal, Protocol

from ingest.cellar import Cellar
from ingest.judgement import Judgement
from ingest.store import Store

Need = Literal["readings", "journal"]


class Judge(Protocol):
    """Works something out of readings and the journal. It may raise anything."""

    @property
    def name(self) -> str:
        """One word, by which people see it."""

    @property
    def needs(self) -> frozenset[Need]:
        """What its answer rests on."""

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        """Give the whole answer as of now_ms (UTC ms), not only what is new: what it leaves out is forgotten.

        It reads the store in looks that are kept short, and never writes it.
        """
