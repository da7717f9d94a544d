"""A thread for each channel: what is due in the outbox, and what goes past the store. None waits for another."""

from __future__ import annotations

__all__ = ["Sending"]

import logging
import random
from collections.abc import Callable, Mapping
from threading import Event, Thread
from time import monotonic
from typing import Final

from alerts.channels.open_channel import message_channels, open_channel
from alerts.message import Collector, DirectMessages, Outbox
from alerts.message.outbox import Delivered, DeliveryFailure
from ingest.cellar import MAIL_CHANNEL, Cellar
from ingest.errors import IngestError
from ingest.first_traces import FirstTraces
from ingest.store import Store, open_existing
from ingest.store.alarms.messages import MessageRow, cancel_other_channels, cancel_other_recipients

log = logging.getLogger("alerts")

OUTBOX_S: Final = 1.0
_STOPS_WITHIN_S: Final = 5.0


class Sending:
    """Works until ``stop``. environ: where secrets may be; direct: what goes past the store; clock: gives UTC ms."""

    def __init__(
        self, cellar: Cellar, environ: Mapping[str, str], direct: DirectMessages, clock: Callable[[], int]
    ) -> None:
        self._cellar = cellar
        self._environ = environ
        self._direct = direct
        self._clock = clock
        self._stop = Event()
        self._wakes = {channel: Event() for channel in message_channels(cellar)}
        self._threads: dict[str, Thread] = {}

    def start(self) -> None:
        """Start the threads. What waits for a channel or a person that has left the cellar file is taken back."""
        try:
            with open_existing(self._cellar.store_path) as store:
                count = cancel_other_channels(store, list(self._wakes), self._clock())
                for channel in self._wakes:
                    # Mail goes to an address, whoever has it; elsewhere nobody knows the address any more.
                    if channel != MAIL_CHANNEL:
                        names = [each.name for each in self._cellar.recipients if each.channel == channel]
                        count += cancel_other_recipients(store, channel, names, self._clock())
        except IngestError as error:
            log.warning("whether messages wait for a channel or a person that is gone could not be seen: %s", error)
        else:
            if count:
                log.warning(
                    "messages that waited for a channel or a person that has left the cellar file: %d, not sent", count
                )
        for channel in self._wakes:
            self._start(channel)

    @property
    def wakes(self) -> tuple[Event, ...]:
        """Set while a channel has not looked yet at what there may be to send."""
        return tuple(self._wakes.values())

    def wake(self) -> None:
        """There may be something to send."""
        for wake in self._wakes.values():
            wake.set()

    def look_after(self) -> None:
        """Start a thread again that has ended."""
        for channel, thread in self._threads.items():
            if not thread.is_alive() and not self._stop.is_set():
                log.error("the thread of channel %s has ended; it is started again", channel)
                self._start(channel)

    def stop(self) -> None:
        """Let what is being sent finish, for a while."""
        self._stop.set()
        self.wake()
        until = monotonic() + _STOPS_WITHIN_S
        for thread in self._threads.values():
            thread.join(max(0.0, until - monotonic()))

    def _start(self, channel: str) -> None:
        thread = Thread(target=self._work, args=(channel,), name=f"channel {channel}", daemon=True)
        self._threads[channel] = thread
        thread.start()

    def _work(self, channel: str) -> None:
        traces = FirstTraces()
        while not self._stop.is_set():
            try:
                with open_existing(self._cellar.store_path) as store:
                    self._send(channel, store, traces)
            except IngestError as error:
                log.warning("channel %s: the store could not be opened; it is tried again: %s", channel, error)
            except Exception as error:  # noqa: BLE001 - top of a turn: logged with its trace, and it goes on
                _say_once(traces, channel, error)
            self._stop.wait(OUTBOX_S)

    def _send(self, channel: str, store: Store, traces: FirstTraces) -> None:
        """Send what is due until the end."""
        wake = self._wakes[channel]
        opened = open_channel(self._cellar, channel, self._environ, store, self._clock)
        collect = Collector(store, self._cellar.site.name).collect

        def deliver(message: MessageRow, now_ms: int) -> Delivered | DeliveryFailure:
            try:
                return opened.deliver(message, now_ms)
            except IngestError:
                raise
            except Exception as error:  # noqa: BLE001 - top of a turn: logged with its trace, and it goes on
                # One message that cannot be handed over must not hold up those behind it.
                _say_once(traces, channel, error)
                return DeliveryFailure(False, f"channel {channel} failed: {error!r}")

        outbox = Outbox(store, deliver, random.random, collect, channel)
        while not self._stop.is_set():
            wake.wait(OUTBOX_S)
            wake.clear()
            try:
                self._direct.work(self._clock(), deliver, channel)
                outbox.work(self._clock())
                opened.send_late(self._clock())
            except IngestError as error:
                log.warning("channel %s could not note what became of its messages: %s", channel, error)
            except Exception as error:  # noqa: BLE001 - top of a turn: logged with its trace, and it goes on
                _say_once(traces, channel, error)


def _say_once(traces: FirstTraces, channel: str, error: Exception) -> None:
    """Log an unexpected error, with its traceback where that is new."""
    if traces.is_new(error):
        log.exception("channel %s failed; it goes on", channel)
    else:
        log.error("channel %s failed again: %r", channel, error)
