"""`leeside shelve`: mute limits for a time, or take them out of service."""

from __future__ import annotations

__all__ = ["shelve"]

from collections.abc import Mapping, Sequence
from typing import Annotated, Final

import typer

from alerts.command.asking import Ids, ask, named_limits
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, duration_s, refuse_given, user_name
from alerts.errors import ShelvingRefused
from alerts.limits.limits_now import limits_now
from alerts.operator_requests import NamedLimit, shelve_requests
from alerts.view.format import local_time
from ingest.cellar import Cellar, EffectiveLimit
from ingest.errors import IngestError
from ingest.operator_event import OperatorRequest
from ingest.process import wall_ms
from ingest.times import spoken_moment

EXAMPLE: Final = "leeside shelve cellar.toml K1/pressure/air --for 2h --why 'new lid seal'"


def shelve(
    file: File,
    ids: Ids,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason; it is kept and shown.")] = "",
    span_s: Annotated[
        float | None,
        typer.Option("--for", metavar="SPAN", parser=duration_s, help="For how long, such as 30min, 2h or 3d."),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="TIME", help="Until when, such as 18:30 or '2026-11-25 18:30'.")
    ] = None,
    out_of_service: Annotated[
        bool, typer.Option("--out-of-service", help="Without an end, until `leeside unshelve`: for maintenance.")
    ] = False,
    who: Who = None,
    as_json: Json = False,
) -> int:
    """Mute limits for a time: they are judged and recorded as before, but raise no alarm until then.

    A limit is muted for at most 7 days, overpressure for at most 1 h at a time. Exit code 1 if it could not be done, or
    leeside is not running.
    """
    names = list(dict.fromkeys(ids))
    with open_cellar(file) as (cellar, store):
        now_ms = wall_ms()
        with store.read():
            limits = limits_now(cellar, store, now_ms)
        targets = named_limits(store, limits, names)
        who = who or user_name()
        if out_of_service:
            refuse_given({"--for": span_s, "--until": until}, "out of service has no end")
        else:
            span_s = _span_s(span_s, until, cellar, now_ms)
        requests = _requests(targets, limits, span_s, why)
        ending = ""
        if span_s is not None:
            ending = f", until {local_time(now_ms + round(span_s * 1000), cellar.site.zone, now_ms)}"
        return ask(store, requests, who, as_json=as_json, names=names, ending=ending)


def _span_s(span_s: float | None, until: str | None, cellar: Cellar, now_ms: int) -> float:
    if (span_s is None) == (until is None):
        raise typer.BadParameter(
            "say for how long (--for) or until when (--until), not both", param_hint="--for, --until"
        )
    if span_s is not None:
        return span_s
    try:
        return (spoken_moment(until or "", cellar.site.zone, now_ms) - now_ms) / 1000
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--until") from error


def _requests(
    targets: Sequence[NamedLimit], limits: Mapping[str, EffectiveLimit], span_s: float | None, why: str
) -> list[OperatorRequest]:
    """The requests. span_s: None for out of service. Raises typer.BadParameter for what no turn would do."""
    try:
        return shelve_requests(targets, limits, span_s, why)
    except ShelvingRefused as error:
        of_span = "--out-of-service" if span_s is None else "--for, --until"
        if error.about == "why":
            raise typer.BadParameter("say why, such as --why 'new lid seal'", param_hint="--why") from error
        raise typer.BadParameter(str(error), param_hint="ID" if error.about == "limit" else of_span) from error
