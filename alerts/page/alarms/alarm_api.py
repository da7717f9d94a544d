"""Alarms and limits for programs: ``/api/alarms`` with what is done about them, the record, ``/api/limits``."""

from __future__ import annotations

__all__ = ["alarm_api"]

from typing import Annotated, Final

from fastapi import APIRouter, Depends, HTTPException, Query
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from alerts.operator_requests import RequestOutcome
from alerts.page.alarms.alarm_acts import AlarmActs
from alerts.page.alarms.limit_routes import statuses_of
from alerts.page.cellar.cellar_answers import AlarmAnswer, MutedAnswer
from alerts.page.context import PageContext
from alerts.view.alarms.alarm_lines import alarm_json
from alerts.view.alarms.limit_lines import limit_json
from alerts.view.alarms.muted_lines import muted_json
from alerts.view.alarms.record_lines import record_json
from alerts.view.status import cellar_status
from ingest.machine_clock import even_time
from ingest.store.alarms.alarm_record import newest_transitions

_MOST: Final = 1000

_Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
_Names = Annotated[list[_Name], Field(min_length=1, max_length=100)]
_Who = Annotated[_Name, Field(description="the person who asks; kept in the alarm record")]
_Note = Annotated[str, StringConstraints(strip_whitespace=True), Field(description="a remark for the alarm record")]


class AlarmsAnswer(BaseModel):
    """The open alarms, those that stand and are most urgent first, and what people have muted."""

    alarms: list[AlarmAnswer]
    muted: list[MutedAnswer]


class RecordStep(BaseModel):
    """A step of the alarm record, in the words of IEC 62682. number: counts up; value: in the limit's unit inside
    leeside, null where there was none.
    """

    number: int
    at: str
    limit: str
    alarm: str | None
    event: str
    from_state: str
    to_state: str
    value: float | None
    finding: str | None
    who: str | None
    note: str | None


class RecordAnswer(BaseModel):
    """Steps of the alarm record, newest first."""

    steps: list[RecordStep]


class LimitAnswer(BaseModel):
    """A limit and where it stands. The keys of its setpoint and deadband end in their unit: ``setpoint_kpa``."""

    model_config = ConfigDict(extra="allow")

    limit: str
    at: str
    lot: str | None
    quantity: str
    kind: str
    probe: str | None
    within_s: float | None
    on_delay_s: float
    off_delay_s: float
    priority: str
    hours: str
    origin: str
    suppressed_by: list[str]
    state: str | None
    muted: str | None
    alarm: str | None
    last_raised: str | None
    consequence: str
    action: str


class LimitsAnswer(BaseModel):
    """Every limit that is watched now."""

    limits: list[LimitAnswer]


class AcknowledgeGiven(BaseModel):
    """Which alarms somebody has seen: ids of alarms or keys of limits, or all that nobody has acknowledged."""

    model_config = ConfigDict(extra="forbid")

    alarms: _Names | None = None
    all: bool = False
    who: _Who
    note: _Note = ""


class ShelveGiven(BaseModel):
    """Which limits are muted, and until when: one of for_s, until and out_of_service."""

    model_config = ConfigDict(extra="forbid")

    limits: _Names
    for_s: Annotated[float, Field(gt=0, le=1e9, description="for how long")] | None = None
    until: _Name | None = Field(default=None, description="until when, such as 2026-11-28T18:30:00Z, or local 18:30")
    out_of_service: bool = Field(default=False, description="without an end")
    why: _Name
    who: _Who


class UnshelveGiven(BaseModel):
    """Which muted limits are to raise alarms again."""

    model_config = ConfigDict(extra="forbid")

    limits: _Names
    who: _Who
    note: _Note = ""


class OutcomeAnswer(BaseModel):
    """What came of a request. id: as it was sent, null for all alarms; done: whether anything was."""

    id: str | None
    done: bool
    outcome: str


class OutcomesAnswer(BaseModel):
    """What came of each request."""

    results: list[OutcomeAnswer]


def alarm_api(context: PageContext) -> APIRouter:
    """Make the routes."""
    routes = APIRouter(prefix="/api", tags=["alarms"])
    cellar, acts = context.cellar, AlarmActs(context)
    writes = [Depends(context.tokens.check)]

    @routes.get("/alarms", summary="The open alarms, and what is muted")
    def alarms() -> AlarmsAnswer:
        now_ms = context.clock()
        with context.read() as store:
            status = cellar_status(cellar, store, now_ms, even_time())
        return AlarmsAnswer(
            alarms=[AlarmAnswer.model_validate(alarm_json(alarm, now_ms)) for alarm in status.alarms],
            muted=[MutedAnswer.model_validate(muted_json(muted)) for muted in status.muted],
        )

    @routes.get("/alarms/record", summary="What happened to alarms, newest first")
    def record(
        under: Annotated[str, Query(max_length=300, description="a limit's key, or a place")] = "",
        before: Annotated[int, Query(ge=1, le=2**52, description="only steps with a smaller number")] | None = None,
        most: Annotated[int, Query(ge=1, le=_MOST)] = 100,
    ) -> RecordAnswer:
        with context.read() as store:
            steps = newest_transitions(store, most, before=before, under=under)
        return RecordAnswer(
            steps=[RecordStep.model_validate({"number": no, **record_json(step)}) for no, step in steps]
        )

    @routes.get("/limits", summary="Every limit, where it comes from and where it stands")
    def limits() -> LimitsAnswer:
        return LimitsAnswer(limits=[LimitAnswer.model_validate(limit_json(status)) for status in statuses_of(context)])

    @routes.post("/alarms/acknowledge", summary="Say that alarms have been seen", dependencies=writes)
    def acknowledge(given: AcknowledgeGiven) -> OutcomesAnswer:
        if given.all == bool(given.alarms):
            raise HTTPException(400, "say which alarms, or all; not both")
        return _answer(acts.wait(acts.acknowledge(_once(given.alarms or []), given.who, given.note)))

    @routes.post("/alarms/shelve", summary="Mute limits", dependencies=writes)
    def shelve(given: ShelveGiven) -> OutcomesAnswer:
        if [given.for_s is not None, given.until is not None, given.out_of_service].count(True) != 1:
            raise HTTPException(400, "say for how long (for_s), until when (until) or out_of_service; one of them")
        span_s = acts.span_until(given.until) if given.until is not None else given.for_s
        return _answer(acts.wait(acts.shelve(_once(given.limits), span_s, given.why, given.who)))

    @routes.post("/alarms/unshelve", summary="Let muted limits raise alarms again", dependencies=writes)
    def unshelve(given: UnshelveGiven) -> OutcomesAnswer:
        return _answer(acts.wait(acts.unshelve(_once(given.limits), given.who, given.note)))

    return routes


def _once(names: list[str]) -> list[str]:
    return list(dict.fromkeys(names))


def _answer(outcomes: list[RequestOutcome]) -> OutcomesAnswer:
    return OutcomesAnswer(
        results=[
            OutcomeAnswer(id=outcome.name or None, done=outcome.done, outcome=outcome.text) for outcome in outcomes
        ]
    )
