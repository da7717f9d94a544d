"""A thread for each channel, with real servers behind them: none waits for another."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from cellar_text import BASE, cellar, mail, table
from eventually import eventually
from hook_server import HOOK_SECRET, Hook, hold, hook_server
from mail_server import STORED, Inbox, mail_server

from alerts.channels.sending import Sending
from alerts.channels.webhook_body import webhook_body
from alerts.message import DirectMessages
from ingest.cellar import Cellar
from ingest.simulation.loopback import free_port
from ingest.store import Store, create_or_open, open_existing
from ingest.store.alarms.messages import MessageRow, NewMessage, add_message, failing_channels, recent_messages

NOW = 1_750_000_000_000


def two_channels(folder: Path, mail_port: int, hook: Hook) -> Cellar:
    channel = {"id": "hook", "kind": "webhook", "url": hook.url, "secret_env": "HOOK", "timeout": "20 s"}
    ana = table("[[person]]", id="ana") + 'channels = { mail = "ana@cellar.example", hook = "" }\n'
    read = cellar(BASE, mail(mail_port, to=None), table("[[channel]]", **channel), ana)
    (folder / "cellar.db").unlink(missing_ok=True)
    create_or_open(folder / "cellar.db", NOW).close()
    object.__setattr__(read, "base", folder)
    return read


def put(store: Store, number: int, channel: str) -> None:
    recipient = "ana@cellar.example" if channel == "mail" else f"ana by {channel}"
    row = STORED._replace(
        message_id=f"<{channel}.{number}@x>",
        thread_id=None,
        occurrence=None,
        channel=channel,
        recipient=recipient,
        created_ms=NOW,
    )
    with store.write() as connection:
        add_message(connection, NewMessage(**{name: getattr(row, name) for name in NewMessage._fields}))


@contextmanager
def sending(read: Cellar) -> Iterator[Sending]:
    works = Sending(read, {"HOOK": HOOK_SECRET}, DirectMessages(lambda: 0.5), lambda: NOW)
    works.start()
    try:
        yield works
    finally:
        works.stop()


def test_a_channel_that_hangs_holds_up_no_other(tmp_path: Path) -> None:
    inbox, mail_port, release = Inbox(), free_port(), threading.Event()
    with hook_server(Hook(before=lambda post: hold(release))) as hook, mail_server(inbox, mail_port):
        read = two_channels(tmp_path, mail_port, hook)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "hook")
            works.wake()
            eventually(lambda: hook.posts)
            for number in range(3):
                put(store, number, "mail")
            works.wake()
            eventually(lambda: len(inbox.mails) == 3)
            release.set()
            eventually(lambda: all(row.state == "sent" for row in recent_messages(store)))
            assert len(hook.posts) == 1


def test_a_mail_server_that_refuses_holds_up_no_webhook_and_is_known_to_fail(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(data_answer="451 4.7.1 greylisted, come back later"), free_port()
    with hook_server(Hook()) as hook, mail_server(inbox, mail_port):
        read = two_channels(tmp_path, mail_port, hook)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "mail")
            put(store, 1, "hook")
            works.wake()
            eventually(lambda: failing_channels(store) == ["mail"] and len(hook.posts) == 1)
            states = {row.channel: (row.state, row.last_error) for row in recent_messages(store)}
            assert states["hook"] == ("sent", None)
            assert states["mail"][0] == "waiting"
            assert "451 4.7.1 greylisted" in (states["mail"][1] or "")


def test_a_server_that_asks_for_patience_is_left_in_peace_by_every_message(tmp_path: Path) -> None:
    with hook_server(Hook(429, {"Retry-After": "3600"})) as hook:
        read = two_channels(tmp_path, free_port(), hook)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "hook")
            works.wake()
            eventually(lambda: failing_channels(store) == ["hook"])
            put(store, 2, "hook")
            works.wake()
            # Another channel's thread has had its turn meanwhile, and so has this one's.
            eventually(lambda: not any(event.is_set() for event in works.wakes))
            waits = [row.next_try_ms for row in recent_messages(store)]
            assert max(waits) == NOW + 3_600_000
        assert len(hook.posts) == 1


def test_the_secret_that_is_wrong_is_corrected_and_the_message_arrives_once(tmp_path: Path) -> None:
    with hook_server(Hook(401)) as hook:
        read = two_channels(tmp_path, free_port(), hook)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "hook")
            works.wake()
            eventually(lambda: failing_channels(store) == ["hook"])
            hook.status = 204
            with store.write() as connection:
                connection.execute("UPDATE message SET next_try_ms = 0")
            works.wake()
            eventually(lambda: [row.state for row in recent_messages(store)] == ["sent"])
        assert len({post.json["id"] for post in hook.posts}) == 1


def test_a_mail_whose_answer_was_lost_comes_again_with_the_same_id(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(data_answer="250 taken"), free_port()
    with hook_server(Hook()) as hook, mail_server(LosesTheFirstAnswer(inbox), mail_port):
        read = two_channels(tmp_path, mail_port, hook)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "mail")
            works.wake()
            eventually(lambda: failing_channels(store) == ["mail"])
            assert len(inbox.mails) == 1, "the server has it, and nobody here knows"
            with store.write() as connection:
                connection.execute("UPDATE message SET next_try_ms = 0")
            works.wake()
            eventually(lambda: [row.state for row in recent_messages(store)] == ["sent"])
    assert [each["Message-ID"] for each in inbox.mails] == ["<mail.1@x>", "<mail.1@x>"]


class LosesTheFirstAnswer:
    """A mail server that takes a mail and hangs up before it says so."""

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox
        self._first = True
        self.handle_RCPT = inbox.handle_RCPT

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        answer = await self._inbox.handle_DATA(server, session, envelope)
        if self._first:
            self._first = False
            server.transport.abort()
        return answer


def test_what_waits_for_a_channel_that_has_left_the_cellar_file_is_taken_back(tmp_path: Path) -> None:
    with hook_server(Hook()) as hook:
        read = two_channels(tmp_path, free_port(), hook)
        with open_existing(read.store_path) as store:
            put(store, 1, "push")
            with sending(read):
                (row,) = recent_messages(store)
    assert (row.state, row.last_error) == ("cancelled", "its channel has left the cellar file")


def test_a_message_that_breaks_its_channel_holds_up_none_behind_it_and_is_known_to_fail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with hook_server(Hook()) as hook:
        read = two_channels(tmp_path, free_port(), hook)

        def broken(message: MessageRow, *rest: Any) -> bytes:
            if message.message_id == "<hook.1@x>":
                raise RuntimeError("a mistake of ours")
            return webhook_body(message, *rest)

        monkeypatch.setattr("alerts.channels.webhook.webhook_body", broken)
        with open_existing(read.store_path) as store, sending(read) as works:
            put(store, 1, "hook")
            put(store, 2, "hook")
            works.wake()
            eventually(lambda: [post.json["id"] for post in hook.posts] == ["<hook.2@x>"])
            eventually(lambda: failing_channels(store) == ["hook"])
            with store.write() as connection:
                connection.execute("UPDATE message SET next_try_ms = 0")
            works.wake()
            eventually(lambda: "channel hook failed again: RuntimeError('a mistake of ours')" in caplog.text)
    assert len([record for record in caplog.records if record.exc_info]) == 1


def test_a_store_that_cannot_be_opened_ends_no_thread(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with hook_server(Hook()) as hook:
        read = two_channels(tmp_path, free_port(), hook)
        aside = read.store_path.rename(tmp_path / "aside.db")
        with sending(read) as works:
            eventually(lambda: "channel hook: the store could not be opened" in caplog.text)
            aside.rename(read.store_path)
            with open_existing(read.store_path) as store:
                put(store, 1, "hook")
                works.wake()
                eventually(lambda: hook.posts)
    assert "has ended" not in caplog.text


def test_what_waits_for_a_person_who_has_left_the_cellar_file_is_taken_back_and_fails_no_channel(
    tmp_path: Path,
) -> None:
    with hook_server(Hook()) as hook:
        read = two_channels(tmp_path, free_port(), hook)
        with open_existing(read.store_path) as store:
            put(store, 1, "hook")
            with store.write() as connection:
                connection.execute("UPDATE message SET recipient = 'bo by hook'")
            with sending(read):
                (row,) = recent_messages(store)
            assert (row.state, row.last_error) == ("cancelled", "its person has left the cellar file")
            assert failing_channels(store) == []
    assert not hook.posts
