"""The judge of gas: what lies over the wine in each vessel, for limits, cards and messages."""

from __future__ import annotations

__all__ = ["GasJudge"]

from collections.abc import Sequence
from typing import Literal

from alerts.blanket.cellar_watch import BUILD_S, CellarWatch
from alerts.blanket.judged_rows import GAS_NUMBERS, judged_rows
from alerts.blanket.vessel_watch import Detector
from alerts.gas.blanket_watch import BlanketWatch
from ingest.cellar import Cellar
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.judgements import newest_judgements


class GasJudge:
    """Answers when readings or entries came, a minute apart at most often, and remembers what it has read.

    At a start a large cellar is read in more than one call; a vessel that has yet to be read keeps what was judged of
    it before. detector: makes the detector of a vessel; build_s: how long one call may read the past.
    """

    name: str = "gas"
    needs: frozenset[Literal["readings", "journal"]] = frozenset({"readings", "journal"})

    def __init__(self, detector: Detector = BlanketWatch, build_s: float = BUILD_S) -> None:
        self._detector = detector
        self._build_s = build_s
        self._watch: CellarWatch | None = None
        self._cellar: Cellar | None = None

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        """Give the judgements of every vessel whose gas is judged, as of now (UTC ms)."""
        if self._watch is None or self._cellar is not cellar:
            self._watch, self._cellar = CellarWatch(cellar, detector=self._detector, build_s=self._build_s), cellar
        rows = [row for judged in self._watch.judged(store, now_ms) for row in judged_rows(judged, now_ms)]
        waiting = self._watch.unbuilt
        if waiting:
            rows += [row for row in newest_judgements(store) if row.name in GAS_NUMBERS and row.place in waiting]
        return rows
