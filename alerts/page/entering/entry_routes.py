"""Entering: ``/enter`` lists the kinds of entries, ``/enter/KIND`` is the form of one."""

from __future__ import annotations

__all__ = ["entry_routes"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from fastapi.responses import HTMLResponse
from pydantic import Field
from starlette.datastructures import FormData

from alerts.page.context import PageContext
from alerts.page.entering.buffer_reading import buffer_reading
from alerts.page.entering.calibration_form import calibration_writing
from alerts.page.entering.entry_pages import EntryPages, Writing
from alerts.page.entering.entry_post import EntryPost, checked_form, read_post
from alerts.page.entering.entry_steps import take_step
from alerts.view.entries.advised_forms import NOTHING, About, form_path
from alerts.view.format import age, quantity_name, value_text, with_capital
from alerts.view.status import cellar_status
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Probe
from ingest.entering import Prepared, prepare, write
from ingest.journal.entry import Entry, kind_words
from ingest.journal.kinds import KINDS
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.journal.kinds.kind import EntryKind
from ingest.machine_clock import even_time
from ingest.store import Store
from ingest.store.journal.idempotency_keys import Once
from ingest.store.journal.stored_ledger import contents

# What is written most comes first.
_GROUPS: Final = (
    ("Tested and looked at", ("titration", "measurement", "inspection", "sample", "titrant")),
    ("Done to the wine", ("addition", "topping", "racking", "bottling", "first-filling", "lot")),
    ("Done to vessels and probes", ("gas", "vessel-status", "calibration")),
)
# The numbers of entries are exact in every program.
_Number = Annotated[int, Field(ge=1, le=2**52)]


def entry_routes(context: PageContext) -> APIRouter:
    """Make the routes of entering."""
    routes = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    cellar = context.cellar
    checked = Depends(checked_form(context.tokens))

    @routes.get("/enter")
    def kinds_page(request: Request, vessel: str = "") -> Response:
        """The kinds. vessel: where something was done, also a cylinder or a room."""
        now_ms = context.clock()
        kinds_of_places = {place.id: place.kind for place in cellar.places}
        place = kinds_of_places.get(vessel)
        with context.store() as store:
            held = contents(store, now_ms, cellar).get(vessel)
        return context.page(
            request,
            "enter.html",
            title="Write down",
            groups=_grouped(),
            name=lambda kind: with_capital(kind_words(kind.name)),
            path=lambda kind: form_path(kind.name, About(vessel, place) if place else NOTHING),
            place=vessel if place else "",
            holds="" if held is None else contents_line(held, cellar.site.zone, cellar.site.units, now_ms),
        )

    @routes.get("/enter/calibration")
    def probes_page(request: Request) -> Response:
        now_ms, even = context.clock(), even_time()
        with context.read() as store:
            status = cellar_status(cellar, store, now_ms, even)
        shown = {reading.probe: reading for place in status.places for reading in place.readings}
        return context.page(
            request,
            "enter_calibration.html",
            title="Calibration",
            says=CALIBRATION.says,
            probes=[(probe, shown.get(probe.id)) for probe in cellar.probe],
            quantity=lambda probe: quantity_name(probe.quantity),
            value=lambda reading: value_text(reading.quantity, reading.value, cellar.site.units),
            age=lambda reading: age(now_ms - reading.at_ms),
        )

    @routes.get("/enter/calibration/{probe_id}")
    def calibration_form(request: Request, probe_id: str) -> Response:
        with context.store() as store:
            writing = calibration_writing(context, _probe(context, probe_id), store)
            return EntryPages(context, request, writing, store).begin()

    @routes.get("/enter/calibration/{probe_id}/now")
    def reading_now(
        probe_id: str,
        buffer: Annotated[Sequence[str], Query()] = (),
        reads: Annotated[Sequence[str], Query()] = (),
        taken: Annotated[int | None, Query(ge=0, le=2**52)] = None,
    ) -> Response:
        """What a pH probe shows now, as the piece of its form that a script renews."""
        probe = _probe(context, probe_id)
        if probe.quantity != "pH":
            raise HTTPException(404, "Only a pH probe is watched in its buffers.")
        with context.read() as store:
            shown = buffer_reading(context, probe, store, _filled(buffer), _filled(reads), taken)
        return HTMLResponse(context.parts("buffer_reading.html").buffer_reading(shown) if shown else "")

    @routes.post("/enter/calibration/{probe_id}")
    def sent_calibration(request: Request, probe_id: str, sent: tuple[FormData, str] = checked) -> Response:
        form, refusal = sent
        with context.store() as store:
            writing = calibration_writing(context, _probe(context, probe_id), store)
            return take_step(EntryPages(context, request, writing, store), read_post(writing.kind, form), refusal)

    @routes.get("/enter/{kind_name}")
    def empty_form(request: Request, kind_name: str) -> Response:
        writing = _writing(context, _kind(kind_name), request)
        with context.store() as store:
            return EntryPages(context, request, writing, store).begin()

    @routes.post("/enter/{kind_name}")
    def sent_form(request: Request, kind_name: str, sent: tuple[FormData, str] = checked) -> Response:
        kind, (form, refusal) = _kind(kind_name), sent
        with context.store() as store:
            pages = EntryPages(context, request, _writing(context, kind, request), store)
            return take_step(pages, read_post(kind, form), refusal)

    return routes


def _filled(texts: Sequence[str]) -> list[str]:
    return [text for text in texts if text.strip()]


def _grouped() -> list[tuple[str, list[EntryKind[Any]]]]:
    """The kinds under their heads; one that has no place there comes last."""
    groups = [(head, [KINDS[name] for name in names]) for head, names in _GROUPS]
    placed = {name for _, names in _GROUPS for name in names}
    groups[-1][1].extend(kind for kind in KINDS.values() if kind.name not in placed)
    return groups


def _probe(context: PageContext, id: str) -> Probe:
    """A probe of the cellar file. Raises HTTPException 404."""
    for probe in context.cellar.probe:
        if probe.id == id:
            return probe
    known = ", ".join(probe.id for probe in context.cellar.probe) or "none"
    raise HTTPException(404, f"There is no such probe; there are: {known}.")


def _kind(name: str) -> EntryKind[Any]:
    """The kind of a form. Raises HTTPException 404 where there is none."""
    kind = KINDS.get(name)
    if kind is None or not kind.questions:
        known = ", ".join(each.name for each in KINDS.values() if each.questions)
        raise HTTPException(404, f"there is no form of that name; there are: {known}")
    return kind


def _writing(context: PageContext, kind: EntryKind[Any], request: Request) -> Writing:
    """What the form of a kind writes. The address may answer questions: ``?vessel=K1``."""
    cellar = context.cellar

    def prepared(store: Store, post: EntryPost, with_later: bool) -> Prepared:
        # What was looked at as of now is saved as of then.
        at = post.at or (post.now if post.step == "save" else None) or None
        return prepare(
            store, cellar, kind.name, post.texts, who=post.who, now_ms=context.clock(), at=at, with_later=with_later
        )

    def written(store: Store, _: EntryPost, prepared: Prepared, with_later: bool, once: Once | None) -> Entry:
        return write(store, cellar, prepared, now_ms=context.clock(), with_later=with_later, once=once)

    asked = {question.name for question in kind.questions}
    start = {name: request.query_params.getlist(name) for name in request.query_params if name in asked}
    title = with_capital(kind_words(kind.name))
    action = f"/enter/{kind.name}"
    return replace(Writing(kind, title, action, prepared, written), start=start)
