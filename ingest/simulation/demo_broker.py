"""The demo's MQTT broker: amqtt in its own thread, on loopback, with a password.

It keeps nothing when it restarts and drops what is not acknowledged within 5 s, so it is not fit for a real cellar.
"""

from __future__ import annotations

__all__ = ["DemoBroker"]

import asyncio
import logging
import os
from collections.abc import Mapping
from pathlib import Path
from threading import Event, Thread
from typing import Any
from weakref import WeakSet

from ingest.errors import SourceError
from ingest.simulation.loopback import LOOPBACK, free_port

_log = logging.getLogger(__name__)

_ATTEMPTS = 5
_START_S = 15.0
_STOP_S = 5.0
_NOISY = ("amqtt", "transitions")


class DemoBroker:
    """An MQTT 3.1.1 broker on 127.0.0.1 for the named users only.

    passwords: user -> password; folder: where the file with their hashes is written, readable only by its owner.
    ``start`` returns once it listens on ``port``; ``stop`` disconnects everybody. Needs the ``demo`` extra.
    """

    def __init__(self, passwords: Mapping[str, str], folder: Path) -> None:
        self.port = 0
        self._passwords = dict(passwords)
        self._hashes = folder / "broker-users"
        self._thread: Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._leave: asyncio.Event | None = None
        self._listening = Event()
        self._failure: Exception | None = None
        self._writers: WeakSet[asyncio.StreamWriter] = WeakSet()

    def start(self) -> None:
        """Start listening. SourceError if the broker cannot, or amqtt is not installed."""
        try:
            import amqtt.broker  # noqa: F401 - only to report early that it is missing
        except ImportError as error:
            raise SourceError("the demo's broker needs amqtt: install leeside with its demo extra") from error
        for name in _NOISY:
            # amqtt logs each refused client and each packet; a demo prints what leeside does.
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        self._write_hashes()
        self._thread = Thread(target=self._run, name="demo-broker", daemon=True)
        self._thread.start()
        if not self._listening.wait(_START_S):
            self.stop()
            raise SourceError(f"the demo's broker does not listen after {_START_S:g} s; try again")
        if self._failure is not None:
            self._thread.join()
            raise SourceError(f"the demo's broker cannot listen on {LOOPBACK}: {self._failure}") from self._failure

    def stop(self) -> None:
        """Disconnect everybody and end the thread; do nothing if it is not running."""
        if self._loop is not None and self._leave is not None and not self._loop.is_closed():
            try:
                self._loop.call_soon_threadsafe(self._leave.set)
            except RuntimeError:  # the loop closed between the check and the call
                pass
        if self._thread is not None:
            self._thread.join(2 * _STOP_S)
            self._thread = None

    def _write_hashes(self) -> None:
        from pwdlib.hashers.argon2 import Argon2Hasher

        # Less memory than the library's 64 MiB for a hash: the password is only used during the demo.
        hasher = Argon2Hasher(time_cost=2, memory_cost=8192, parallelism=1)
        text = "".join(f"{user}:{hasher.hash(password)}\n" for user, password in self._passwords.items())
        self._hashes.touch(mode=0o600)
        os.chmod(self._hashes, 0o600)  # noqa: PTH101 - also for a file that was there before
        self._hashes.write_text(text, encoding="utf-8")

    def _run(self) -> None:
        loop = asyncio.new_event_loop()
        loop.set_exception_handler(_quiet)
        self._loop = loop
        try:
            loop.run_until_complete(self._serve())
        except Exception as error:  # noqa: BLE001 - top of the thread: handed to start(), which raises it
            self._failure = error
        finally:
            _close(loop)
            self._listening.set()

    async def _serve(self) -> None:
        from amqtt.errors import BrokerError

        self._leave = asyncio.Event()
        for attempt in range(_ATTEMPTS):
            port = free_port()
            broker = self._broker(port)
            try:
                await broker.start()
            except BrokerError:
                if attempt == _ATTEMPTS - 1:
                    raise
                continue
            self.port = port
            break
        self._listening.set()
        await self._leave.wait()
        try:
            await asyncio.wait_for(broker.shutdown(), _STOP_S)
        except TimeoutError:
            _log.debug("the demo's broker did not shut down within %g s; its connections are cut", _STOP_S)
        # amqtt keeps half-open and refused connections until the garbage collector finds them, after the loop is gone.
        for writer in list(self._writers):
            writer.transport.abort()
        await asyncio.sleep(0)  # one turn of the loop closes what was aborted

    def _broker(self, port: int) -> Any:
        from amqtt.broker import Broker

        broker: Any = Broker(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{port}"}},
                "plugins": {"amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(self._hashes)}},
            }
        )
        take = broker.stream_connected

        async def remember(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, listener_name: str) -> None:
            self._writers.add(writer)
            await take(reader, writer, listener_name)

        broker.stream_connected = remember
        return broker


def _quiet(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """Log what asyncio would print for each task and socket that amqtt leaves to the garbage collector."""
    del loop
    _log.debug("demo broker: %s", context.get("message"))


def _close(loop: asyncio.AbstractEventLoop) -> None:
    """Cancel what amqtt left running and close the loop."""
    left = asyncio.all_tasks(loop)
    for task in left:
        task.cancel()
    if left:
        loop.run_until_complete(asyncio.wait(left, timeout=_STOP_S))
    loop.run_until_complete(loop.shutdown_asyncgens())
    loop.close()
