"""While the store takes no writes: limits are judged in memory, and what matters is sent past the outbox.

The stored state stays what it is. Beside it a copy goes on with what can still be read and with what ingest hands over,
and alarms of high priority go to the channel at once. When the store is back the turn judges everything again from the
stored state; of the messages that this causes, those that went out already are stored as sent.
"""

from __future__ import annotations

__all__ = ["QUIET_NOTE", "STORE", "Shadow", "WithoutStore"]

import logging
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final, Protocol

from alerts.message.direct import DirectMessages
from alerts.message.message_id import stable_message_id
from alerts.message.wording import MessageText, compose, view_of
from alerts.view.format import duration_text
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion, State
from alerts.watch.own_limits import watched_limits
from alerts.watch.turn import Watch
from alerts.watch.turn_inputs import Now, TurnInputs
from alerts.watch.watch_state import WatchState
from ingest.cellar import Cellar
from ingest.errors import StoreGone
from ingest.pulse import PULSE_S
from ingest.reading import Row
from ingest.store.alarms.messages import NewMessage, add_message, mark_sent_directly

log = logging.getLogger("alerts")

# The name of the store in messages; it is not a limit, since there is nothing to keep its state in.
STORE: Final = "leeside/store"
QUIET_NOTE: Final = "the store took no writes"
# A slow disk or a backup of another program is over by then.
PATIENCE_S: Final = 20.0
# After the store is back ingest needs a pulse and a commit before silence means something again.
SETTLE_S: Final = 3 * PULSE_S
# What went out directly is matched with what the turns make of the readings once these are stored, for so long.
MATCH_S: Final = 600.0


class Inputs(Protocol):
    """What a turn would judge. Gives the inputs, and the id of the last row of the store among them."""

    def __call__(self, judged_id: int, unstored: Sequence[Row], now: Now) -> tuple[TurnInputs, int]: ...


class Shadow:
    """A watch that goes on in memory from the state that was stored last."""

    def __init__(
        self, watch: Watch, state: WatchState, judged_id: int, next_occurrence: Callable[[], str], inputs: Inputs
    ) -> None:
        self._watch = watch
        self._state = state
        self._judged_id = judged_id
        self._next_occurrence = next_occurrence
        self._inputs = inputs

    @property
    def alarm_states(self) -> dict[str, State]:
        """The state of each limit's alarm, by its key."""
        return {key: record.alarm.state for key, record in self._state.records.items()}

    def turn(self, unstored: Sequence[Row], now: Now) -> list[Transition]:
        """Judge what is new; give the steps that alarms took."""
        inputs, self._judged_id = self._inputs(self._judged_id, unstored, now)
        result = self._watch.turn(self._state, inputs, now, self._next_occurrence)
        self._state = result.state
        return result.transitions


class WithoutStore:
    """What the turns know of a store that takes no writes.

    receive: gives the readings that ingest could not store; note: says to other processes why the store takes nothing.
    """

    def __init__(
        self,
        cellar: Cellar,
        direct: DirectMessages,
        receive: Callable[[], Sequence[Row]] = lambda: (),
        note: Callable[[str], None] = lambda text: None,
    ) -> None:
        self._cellar = cellar
        # Also those on wine, wherever it will lie.
        self._limits = {**{limit.key: limit for limit in cellar.possible_limits}, **watched_limits(cellar)}
        self._silences = [key for key, limit in self._limits.items() if limit.kind == "no data"]
        self._direct = direct
        self._receive = receive
        self._note = note
        self._since: Now | None = None
        self._shadow: Shadow | None = None
        self._unstored: dict[tuple[int, int], Row] = {}
        self._trouble = ""
        self._quiet_until = 0.0
        self._match_until = 0.0

    @property
    def is_judging(self) -> bool:
        """Whether limits are judged in memory at present."""
        return self._shadow is not None

    @property
    def alarm_states(self) -> dict[str, State] | None:
        """The state of each alarm, by the key of its limit, as it is judged in memory; None while none is."""
        return None if self._shadow is None else self._shadow.alarm_states

    # ---- the store takes nothing -------------------------------------------------------------------------------

    def failed(self, error: Exception, tried: Now, now: Now, begin: Callable[[], Shadow]) -> None:
        """A turn could not be stored. tried: when it began; begin: makes the shadow, once it is needed."""
        self._note(str(error))
        if self._since is None:
            self._since = tried
        rows = [row for row in self._receive() if row[:2] not in self._unstored]
        self._unstored.update((row[:2], row) for row in rows)
        if self._shadow is None:
            if now.mono - self._since.mono < PATIENCE_S and not isinstance(error, StoreGone):
                return
            self._trouble = str(error)
            log.error("the store takes no writes; alarms of high priority are sent past it: %s", error)
            self._send(STORE, Occasion.RAISED, "store", _raised(self._cellar, self._trouble), now.utc_ms)
            self._shadow = begin()
            rows = list(self._unstored.values())
        for transition in self._shadow.turn(rows, now):
            self._announce(transition, now)

    def _announce(self, transition: Transition, now: Now) -> None:
        limit = self._limits.get(transition.key)
        # Silence has its cause in the store now, for all that is known.
        if limit is None or limit.kind == "no data" or limit.priority != "high" or transition.occasion is None:
            return
        text = compose(transition, limit, view_of(self._cellar, limit.at))
        body = f"{text.body}\nSent past the store, which takes no writes: {self._trouble}\n"
        occurrence = transition.occurrence or transition.key
        self._send(transition.key, transition.occasion, occurrence, MessageText(text.subject, body), now.utc_ms)

    def _send(self, key: str, occasion: Occasion, occurrence: str, text: MessageText, now_ms: int) -> None:
        self._direct.put(key, list(self._messages(occasion, occurrence, text, now_ms)))

    def _messages(self, occasion: Occasion, occurrence: str, text: MessageText, now_ms: int) -> Iterable[NewMessage]:
        for number, recipient in enumerate(self._cellar.recipients):
            if "high" not in recipient.priorities:
                continue
            yield NewMessage(
                message_id=stable_message_id(occurrence, occasion.value, now_ms, number, sender=self._cellar.sender),
                occasion=occasion.value,
                channel=recipient.channel,
                recipient=recipient.name,
                subject=text.subject,
                body=text.body,
                created_ms=now_ms,
                not_before_ms=now_ms,
            )

    # ---- the store is back -------------------------------------------------------------------------------------

    def quiet(self, now: Now) -> dict[str, str]:
        """Limits on silence that say nothing now: ingest could not report, and needs a while after that."""
        if self._shadow is None and now.mono >= self._quiet_until:
            return {}
        return dict.fromkeys(self._silences, QUIET_NOTE)

    def keep(self, connection: sqlite3.Connection, transitions: Iterable[Transition], now: Now) -> None:
        """Inside the transaction of a turn, after its messages were added: mark those as sent that went out already."""
        if self._shadow is None and now.mono >= self._match_until:
            return
        delivered = self._direct.delivered()
        if self._shadow is not None:
            self._keep_store_messages(connection, delivered, now.utc_ms)
        for transition in transitions:
            if transition.occasion is None:
                continue
            for recipient in self._cellar.recipients:
                if delivered[transition.key, transition.occasion.value, recipient.name]:
                    occurrence = transition.occurrence or transition.key
                    mark_sent_directly(connection, occurrence, transition.occasion.value, recipient.name, now.utc_ms)

    def stored(self, now: Now) -> None:
        """A turn was stored."""
        if self._since is not None:
            self._since = None
            self._unstored.clear()
            self._note("")
        if self._shadow is not None:
            log.warning("the store takes writes again")
            self._shadow = None
            self._quiet_until, self._match_until = now.mono + SETTLE_S, now.mono + MATCH_S
            self._direct.drop_waiting()
        elif self._match_until and now.mono >= self._match_until:
            self._match_until = 0.0
            self._direct.forget()

    def _keep_store_messages(
        self, connection: sqlite3.Connection, delivered: Mapping[tuple[str, str, str], int], now_ms: int
    ) -> None:
        """Store that the trouble was reported, and that it is over; one message about both where it could not be."""
        assert self._since is not None
        begun_ms = self._since.utc_ms
        raised = _raised(self._cellar, self._trouble)
        returned = _returned(self._cellar, self._trouble, (now_ms - begun_ms) / 1000)
        for first, second in zip(
            self._messages(Occasion.RAISED, "store", raised, begun_ms),
            self._messages(Occasion.RETURNED, "store", returned, now_ms),
            strict=True,
        ):
            if delivered.get((STORE, Occasion.RAISED.value, first.recipient)):
                add_message(connection, first, sent_ms=now_ms)
                second = second._replace(thread_id=first.message_id)  # noqa: PLW2901  the same message, in its thread
            add_message(connection, second)


def _raised(cellar: Cellar, trouble: str) -> MessageText:
    return MessageText(
        "HIGH PRIORITY: leeside store takes no writes",
        f"At {cellar.site.name} nothing can be stored: {trouble}.\n\n"
        "Until this is put right, alarms of high priority are judged in memory and still sent; others are not, and a "
        "message can come twice. Messages by MQTT at QoS 1 wait at the broker.\n\n"
        f"`leeside now {cellar.file}` says how it stands.\n",
    )


def _returned(cellar: Cellar, trouble: str, span_s: float) -> MessageText:
    return MessageText(
        "BACK TO NORMAL after: leeside store takes no writes",
        f"At {cellar.site.name} the store takes writes again. For {duration_text(span_s)} it did not: {trouble}.\n\n"
        "What waited at the broker and in memory is being stored and judged now.\n",
    )
