"""What a visitor asks for about alarms: written down for the next turn, as the commands do, and what came of it."""

from __future__ import annotations

__all__ = ["AlarmActs", "WrittenRequests"]

from collections.abc import Sequence
from typing import NamedTuple

from alerts.errors import NoAnswer, ShelvingRefused
from alerts.limits.limits_now import limits_now
from alerts.operator_requests import (
    NamedLimit,
    RequestOutcome,
    limit_of,
    no_answer,
    outcomes_of,
    shelve_requests,
    unshelve_requests,
    wait_for,
    write_down,
)
from alerts.page.context import PageContext
from ingest.cellar import EffectiveLimit
from ingest.errors import IngestError
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.store import Store
from ingest.times import spoken_moment


class WrittenRequests(NamedTuple):
    """Requests that were written down. names: what each is about; events: their numbers in the store."""

    names: tuple[str, ...]
    events: tuple[int, ...]


class AlarmActs:
    """Writes requests about alarms of one cellar.

    Raises UnknownLimit for a name of nothing, ShelvingRefused, and TextRefused for a name or note that is too long or
    not one plain line.
    """

    def __init__(self, context: PageContext) -> None:
        self._context = context

    def acknowledge(self, names: Sequence[str], who: str, note: str = "") -> WrittenRequests:
        """Say that alarms have been seen; all where no name is given."""
        with self._context.store() as store:
            limits = self._limits(store)
            for name in names:
                limit_of(store, limits, name)
            requests = [OperatorRequest(OperatorEventKind.ACKNOWLEDGE, name.strip(), note) for name in names]
            return self._write(
                store, names or [""], requests or [OperatorRequest(OperatorEventKind.ACKNOWLEDGE_ALL, "", note)], who
            )

    def shelve(self, names: Sequence[str], span_s: float | None, why: str, who: str) -> WrittenRequests:
        """Mute limits. span_s: for how long, seconds; None takes them out of service."""
        with self._context.store() as store:
            limits = self._limits(store)
            targets = [limit_of(store, limits, name) for name in names]
            return self._write(store, names, shelve_requests(targets, limits, span_s, why), who)

    def unshelve(self, names: Sequence[str], who: str, note: str = "") -> WrittenRequests:
        """Let muted limits raise alarms again."""
        with self._context.store() as store:
            limits = self._limits(store)
            targets = [limit_of(store, limits, name) for name in names]
            of, requests = unshelve_requests(store, limits, targets, note)
            return self._write(store, of, requests, who)

    def limit(self, name: str) -> tuple[NamedLimit, dict[str, EffectiveLimit]]:
        """Find a limit, with all limits beside it."""
        with self._context.store() as store:
            limits = self._limits(store)
            return limit_of(store, limits, name), limits

    def span_until(self, moment: str) -> float:
        """Give how far off a moment is, in seconds, such as "18:30". Raises ShelvingRefused."""
        now_ms = self._context.clock()
        try:
            return (spoken_moment(moment, self._context.cellar.site.zone, now_ms) - now_ms) / 1000
        except IngestError as error:
            raise ShelvingRefused(str(error), about="span") from error

    def wait(self, asked: WrittenRequests) -> list[RequestOutcome]:
        """Wait until a turn has applied it. Raises NoAnswer where leeside does not run."""
        with self._context.store() as store:
            return wait_for(store, asked.names, asked.events, self._context.clock)

    def outcomes(self, events: Sequence[int]) -> list[str]:
        """Give in words what has come of requests by now."""
        with self._context.read() as store:
            names = [""] * len(events)
            outcomes = outcomes_of(store, names, events)
            if outcomes is None:
                return [str(no_answer(store, self._context.clock()))]
        return [outcome.text for outcome in outcomes]

    def wait_a_while(self, asked: WrittenRequests) -> None:
        """Wait until a turn has applied it, or has not for a few seconds."""
        try:
            self.wait(asked)
        except NoAnswer:
            return  # the page that comes next says so

    def _limits(self, store: Store) -> dict[str, EffectiveLimit]:
        with store.read():
            return limits_now(self._context.cellar, store, self._context.clock())

    def _write(
        self, store: Store, names: Sequence[str], requests: Sequence[OperatorRequest], who: str
    ) -> WrittenRequests:
        return WrittenRequests(tuple(names), tuple(write_down(store, requests, who, self._context.clock())))
