"""Entries for programs: ``/api/entries`` reads, prepares, writes, amends, strikes; ``/api/kinds`` lists questions."""

from __future__ import annotations

__all__ = ["entry_data_routes"]

from collections.abc import Callable, Coroutine
from hashlib import sha256
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Header, HTTPException, Path, Query, Request, Response
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from pydantic import BaseModel

from alerts.page.context import PageContext
from alerts.page.entering.calibration_answers import prepared_calibration, probe_answer
from alerts.page.entering.entry_answers import (
    AmendmentGiven,
    EntriesAnswer,
    EntryAnswer,
    EntryGiven,
    KindsAnswer,
    PreparedAnswer,
    RefusedAnswer,
    StrikeGiven,
    WrongAnswer,
    entry_answer,
    kinds_answer,
    prepared_answer,
)
from alerts.page.entering.journal_filter import MOST_ENTRIES, JournalFilter, chosen_entries, known_names
from alerts.page.entering.later_entries import prepared_with_later
from alerts.page.errors import ErrorAnswer
from ingest.amending import Amendment, prepare_amendment, write_amendment
from ingest.entering import Prepared, answered, prepare, write
from ingest.errors import EntryRefused, IngestError, Problem, StoreError
from ingest.journal.answers import AnswersWrong
from ingest.journal.entry import Entry
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.store import Store
from ingest.store.journal.entries import entry as entry_of_number
from ingest.store.journal.entries import strike
from ingest.store.journal.idempotency_keys import KeyUsed, Once, key_used
from ingest.times import Ambiguous

_Number = Annotated[int, Path(ge=1, le=2**52, description="the number of an entry")]
_Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=100,
        description="of your own for each request; the same request again gives what it wrote and writes nothing",
    ),
]
_AT_FIRST: Final = 200
_REFUSED: Final[dict[int | str, dict[str, Any]]] = {
    409: {"model": RefusedAnswer, "description": "the journal speaks against it"},
    422: {"model": RefusedAnswer, "description": "an answer is not accepted, or a time occurred twice"},
    503: {"model": ErrorAnswer, "description": "the store cannot be read or written"},
}
_WRITES: Final[dict[int | str, dict[str, Any]]] = {
    403: {"model": ErrorAnswer, "description": "without the token for writing"},
    **_REFUSED,
}
_OF_NUMBER: Final[dict[int | str, dict[str, Any]]] = {
    404: {"model": ErrorAnswer, "description": "there is no entry of that number"}
}


class _EntryRoute(APIRoute):
    """A route that answers what cannot be written with the reason."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Handle a request."""
        handle = super().get_route_handler()

        async def answer(request: Request) -> Response:
            try:
                return await handle(request)
            except StoreError:
                raise
            except IngestError as error:
                return _refusal(error)

        return answer


def _refusal(error: IngestError) -> Response:
    answer, status = RefusedAnswer(error=_readable(str(error))), 422
    if isinstance(error, AnswersWrong):
        answer.wrong = [WrongAnswer(field=_readable(wrong.field), why=_readable(wrong.why)) for wrong in error.wrong]
    elif isinstance(error, Ambiguous):
        answer.ways = list(error.ways)
    elif isinstance(error, _Warned):
        status, answer.warnings = 409, list(error.warnings)
    elif isinstance(error, EntryRefused):
        status, answer.later = 409, list(error.later)
    elif isinstance(error, KeyUsed):
        status, answer.entries = 409, [entry.id for entry in error.entries]
    return JSONResponse(answer.model_dump(), status)


def _readable(text: str) -> str:
    # Half a character cannot be sent.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


class _Warned(EntryRefused):
    """An entry with warnings that nobody has accepted."""

    def __init__(self, kind: str, warnings: tuple[str, ...]) -> None:
        self.warnings = warnings
        super().__init__([Problem(kind, "", "", f"{warning}; despite_warnings writes it") for warning in warnings])


def entry_data_routes(context: PageContext) -> APIRouter:
    """Make the routes."""
    routes = APIRouter(route_class=_EntryRoute, tags=["journal"])
    writes = [Depends(context.tokens.check)]
    cellar = context.cellar

    @routes.get("/api/kinds", summary="The kinds of entries and what each asks")
    def kinds() -> KindsAnswer:
        return kinds_answer(cellar)

    @routes.get("/api/entries", summary="What was written down", responses=_REFUSED)
    def listed(
        vessel: Annotated[str, Query(description="also a cylinder or a room")] = "",
        lot: str = "",
        kind: str = "",
        since: Annotated[str, Query(alias="from", description="a date, a local time, or RFC 3339")] = "",
        until: Annotated[str, Query(alias="to", description="before this")] = "",
        struck: Annotated[bool, Query(description="entries that were struck, too")] = True,
        newest: Annotated[int, Query(ge=1, le=MOST_ENTRIES, description="so many at most")] = _AT_FIRST,
    ) -> EntriesAnswer:
        """The newest entries that are asked for, oldest first. A lot's are also those of vessels while it lay there."""
        now_ms = context.clock()
        wanted = JournalFilter(vessel.strip(), lot.strip(), kind.strip(), since.strip(), until.strip())
        with context.store() as store:
            chosen = chosen_entries(
                store, cellar, wanted, known_names(store, cellar, now_ms), now_ms, newest, struck=struck
            )
        return EntriesAnswer(entries=[entry_answer(entry) for entry in chosen])

    @routes.get("/api/entries/{number}", summary="One entry", responses=_OF_NUMBER)
    def one_entry(number: _Number) -> EntryAnswer:
        with context.store() as store:
            return entry_answer(_there(store, number))

    @routes.post("/api/entries/prepare", summary="What an entry would give", dependencies=writes, responses=_WRITES)
    def prepared_entry(given: EntryGiven) -> PreparedAnswer:
        """Work an entry out and check it; nothing is written."""
        with context.store() as store:
            prepared, later = _prepared(context, store, given)
        return prepared_answer(prepared, later, context.clock())

    @routes.post("/api/entries", summary="Write an entry down", status_code=201, dependencies=writes, responses=_WRITES)
    def new_entry(given: EntryGiven, key: _Key = None) -> EntryAnswer:
        once = _once(key, given, "/api/entries")
        with context.store() as store:
            before = _before(store, once)
            if before is not None:
                return entry_answer(before)
            prepared, later = _prepared(context, store, given)
            _refuse_warned(prepared, given.despite_warnings)
            entry = write(store, cellar, prepared, now_ms=context.clock(), with_later=bool(later), once=once)
        return entry_answer(entry)

    @routes.post(
        "/api/entries/{number}/amend/prepare",
        summary="What an amended entry would give",
        dependencies=writes,
        responses=_WRITES | _OF_NUMBER,
    )
    def prepared_amendment(number: _Number, given: AmendmentGiven) -> PreparedAnswer:
        with context.store() as store:
            _there(store, number)
            amendment = _amendment(context, store, number, given)
        return prepared_answer(amendment.prepared, (), context.clock())

    @routes.post(
        "/api/entries/{number}/amend",
        summary="Put a corrected entry in the place of one",
        status_code=201,
        dependencies=writes,
        responses=_WRITES | _OF_NUMBER,
    )
    def amended_entry(number: _Number, given: AmendmentGiven, key: _Key = None) -> EntryAnswer:
        """The old entry is struck as amended."""
        once = _once(key, given, f"/api/entries/{number}/amend")
        with context.store() as store:
            _there(store, number)
            before = _before(store, once)
            if before is not None:
                return entry_answer(before)
            amendment = _amendment(context, store, number, given)
            _refuse_warned(amendment.prepared, given.despite_warnings)
            entry = write_amendment(
                store, cellar, amendment, now_ms=context.clock(), with_later=given.with_later, once=once
            )
        return entry_answer(entry)

    @routes.post(
        "/api/entries/{number}/strike",
        summary="Cross an entry out",
        dependencies=writes,
        responses=_WRITES | _OF_NUMBER,
    )
    def struck_entries(number: _Number, given: StrikeGiven) -> EntriesAnswer:
        """Give what was struck, the entry first."""
        with context.store() as store:
            _there(store, number)
            struck = strike(store, number, given.who, given.reason, context.clock(), with_later=given.with_later)
        return EntriesAnswer(entries=[entry_answer(entry) for entry in struck])

    return routes


def _there(store: Store, number: int) -> Entry:
    entry = entry_of_number(store, number)
    if entry is None:
        raise HTTPException(404, f"There is no entry no. {number}.")
    return entry


def _prepared(context: PageContext, store: Store, given: EntryGiven) -> tuple[Prepared, tuple[int, ...]]:
    """What would be written, and the later entries that would be struck with it, where that is wished."""
    if given.kind == CALIBRATION.name:
        probe, texts = probe_answer(context.cellar, answered(given.answers))
        now_ms = context.clock()
        return prepared_calibration(store, context.cellar, probe, texts, who=given.who, at=given.at, now_ms=now_ms), ()

    def of(with_later: bool) -> Prepared:
        return prepare(
            store,
            context.cellar,
            given.kind,
            given.answers,
            who=given.who,
            now_ms=context.clock(),
            at=given.at,
            with_later=with_later,
        )

    return prepared_with_later(of, with_later=given.with_later)


def _amendment(context: PageContext, store: Store, number: int, given: AmendmentGiven) -> Amendment:
    return prepare_amendment(
        store,
        context.cellar,
        number,
        given.answers,
        who=given.who,
        now_ms=context.clock(),
        without=given.without,
        at=given.at,
        reason=given.reason,
        with_later=given.with_later,
    )


def _refuse_warned(prepared: Prepared, despite_warnings: bool) -> None:
    if prepared.warnings and not despite_warnings:
        raise _Warned(prepared.draft.kind, prepared.warnings)


def _once(key: str | None, given: BaseModel, address: str) -> Once | None:
    if key is None:
        return None
    return Once(key, sha256(f"{address} {given.model_dump_json()}".encode()).hexdigest())


def _before(store: Store, once: Once | None) -> Entry | None:
    """What the same request wrote before. Raises KeyUsed."""
    return None if once is None else next(iter(key_used(store, once)), None)
