"""Requests about alarms, by command and page: which limit a person means, and what the next turn makes of them."""

from __future__ import annotations

__all__ = [
    "WAIT_S",
    "NamedLimit",
    "RequestOutcome",
    "limit_of",
    "no_answer",
    "outcomes_of",
    "refuse_shelving",
    "shelve_requests",
    "unshelve_requests",
    "wait_for",
    "write_down",
]

import difflib
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from alerts.errors import NoAnswer, ShelvingRefused, UnknownLimit
from alerts.watch.shelving import out_of_service_problem, shelving_problem
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.store import Store
from ingest.store.alarms.alarm_record import key_of_occurrence
from ingest.store.alarms.operator_events import append_events, outcome_of
from ingest.store.pulse_rows import pulses

WAIT_S: Final = 3.0
_LOOK_EVERY_S: Final = 0.05


class NamedLimit(NamedTuple):
    """name: as the person wrote it; key: of the limit; limit: None where it has left the cellar file."""

    name: str
    key: str
    limit: EffectiveLimit | None


class RequestOutcome(NamedTuple):
    """What came of a request. name: what it was about; done: whether anything was; text: in words."""

    name: str
    done: bool
    text: str


def limit_of(store: Store, limits: Mapping[str, EffectiveLimit], name: str) -> NamedLimit:
    """Find the limit that a short id or a key means. Raises UnknownLimit for a name of nothing."""
    name = name.strip()
    key = name if name in limits else key_of_occurrence(store, name.lower())
    if key is not None:
        return NamedLimit(name, key, limits.get(key))
    near = difflib.get_close_matches(name, limits, n=3, cutoff=0.5)
    meant = f" Did you mean {' or '.join(near)}?" if near else ""
    raise UnknownLimit(f"no alarm and no limit is called '{name}'.{meant}")


def shelve_requests(
    targets: Sequence[NamedLimit], limits: Mapping[str, EffectiveLimit], span_s: float | None, why: str
) -> list[OperatorRequest]:
    """Ask to mute limits. span_s: for how long, seconds; None takes them out of service. Raises ShelvingRefused."""
    for target in targets:
        refuse_shelving(target, limits, span_s, why)
    kind = OperatorEventKind.TAKE_OUT_OF_SERVICE if span_s is None else OperatorEventKind.SHELVE
    return [OperatorRequest(kind, target.key, why, span_s) for target in targets]


def refuse_shelving(target: NamedLimit, limits: Mapping[str, EffectiveLimit], span_s: float | None, why: str) -> None:
    """Raise ShelvingRefused for what no turn would do. Its ``about`` is "limit", "why" or "span"."""
    if target.limit is None:
        raise ShelvingRefused(f"the limit {target.key} is no longer in the cellar file", about="limit")
    if not why.strip():
        raise ShelvingRefused("say why, such as 'new lid seal'", about="why")
    problem = (
        out_of_service_problem(target.limit, limits, why)
        if span_s is None
        else shelving_problem(target.limit, limits, span_s, why)
    )
    if problem:
        raise ShelvingRefused(f"{target.key}: {problem}", about="span")


def unshelve_requests(
    store: Store, limits: Mapping[str, EffectiveLimit], targets: Sequence[NamedLimit], note: str
) -> tuple[list[str], list[OperatorRequest]]:
    """Ask to let muted limits raise alarms again; gives what each request is about, and the requests."""
    from alerts.view.status import muted_limits  # it loads numpy, which acknowledging does not need

    muted = {status.key: status.alarm for status in muted_limits(limits, store)}
    names, requests = [], []
    for target in targets:
        alarm = muted.get(target.key)
        kinds = []
        if alarm is not None and alarm.out_of_service is not None:
            kinds.append(OperatorEventKind.RETURN_TO_SERVICE)
        if alarm is None or alarm.shelving is not None:
            kinds.append(OperatorEventKind.UNSHELVE)
        requests += [OperatorRequest(kind, target.key, note) for kind in kinds]
        names += [target.name] * len(kinds)
    return names, requests


def write_down(store: Store, requests: Sequence[OperatorRequest], who: str, now_ms: int) -> list[int]:
    """Write requests down for the next turn, all or none; gives the numbers of their events. Raises TextRefused."""
    return append_events(store, requests, who, now_ms)


def wait_for(
    store: Store,
    names: Sequence[str],
    events: Sequence[int],
    clock: Callable[[], int],
    wait_s: float | None = None,
) -> list[RequestOutcome]:
    """Wait for the turn that applies the events, for WAIT_S at most, and give what came of each.

    names: what each is about, as the person wrote it. Raises NoAnswer where leeside does not run.
    """
    wait_s = WAIT_S if wait_s is None else wait_s
    deadline = time.monotonic() + wait_s
    while (outcomes := outcomes_of(store, names, events)) is None:
        if time.monotonic() >= deadline:
            raise no_answer(store, clock(), wait_s)
        # Another process writes the answer; SQLite has nothing to wait on.
        time.sleep(_LOOK_EVERY_S)
    return outcomes


def outcomes_of(store: Store, names: Sequence[str], events: Sequence[int]) -> list[RequestOutcome] | None:
    """Read what came of the events, None while one of them waits."""
    outcomes = []
    for name, event in zip(names, events, strict=True):
        text = outcome_of(store, event)
        if text is None:
            return None
        outcomes.append(RequestOutcome(name, not text.startswith(("nothing done", "not done")), text))
    return outcomes


def no_answer(store: Store, now_ms: int, wait_s: float | None = None) -> NoAnswer:
    """Say that no turn has applied what was asked, and when leeside was last heard of."""
    pulse = pulses(store).alerts
    heard = (
        "it has never run on this store"
        if pulse is None
        else f"it was last heard of {max(now_ms - pulse.at_ms, 0) // 1000} s ago"
    )
    waited_s = WAIT_S if wait_s is None else wait_s
    return NoAnswer(
        f"leeside did not answer within {waited_s:g} s: is `leeside run` running ({heard})? "
        "What you wrote is kept and will be applied when it runs."
    )
