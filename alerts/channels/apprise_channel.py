"""A message to any service that the library apprise knows, by a child process with a bound in time.

The library neither raises nor says whether trying again is of use, so each failure is tried again.
"""

from __future__ import annotations

__all__ = ["AppriseChannel", "ask_apprise", "filled_in"]

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping
from typing import Any, Final
from urllib.parse import quote

from alerts.message.outbox import Delivered, DeliveryFailure
from ingest.cellar import PLACEHOLDER, ChannelSettings, Recipient
from ingest.errors import IngestError
from ingest.plain_text import one_line
from ingest.store.alarms.messages import MessageRow

TIMEOUT_S: Final = 30.0
# Only where the child hangs before it has begun; a small board needs some of it to start Python and the library.
_STARTS_WITHIN_S: Final = 30.0
_LONGEST_WORDS: Final = 300
# What services make a colour or a sound of.
_KINDS: Final = {"high": "failure", "medium": "warning", "low": "info", "": "info"}


class AppriseChannel:
    """The channel that the outbox works with.

    url: read again for each message, so that a corrected one needs no restart; recipients: by their names in the
    outbox.
    """

    def __init__(self, settings: ChannelSettings, url: Callable[[], str], recipients: Mapping[str, Recipient]) -> None:
        self._settings = settings
        self._url = url
        self._recipients = recipients

    def deliver(self, message: MessageRow, now_ms: int) -> Delivered | DeliveryFailure:
        """Have the message sent. now_ms: not used, since the services date their messages."""
        recipient = self._recipients.get(message.recipient)
        if recipient is None:
            return DeliveryFailure(True, f"{message.recipient} is no longer in the cellar file")
        try:
            url = filled_in(self._url(), recipient.address)
        except IngestError as error:
            return DeliveryFailure(False, str(error), unreachable=True)
        kind = "success" if message.occasion == "returned" and not message.priority else _KINDS[message.priority]
        task = {"url": url, "title": message.subject, "body": message.body, "kind": kind}
        words = ask_apprise(task, self._settings.timeout_s or TIMEOUT_S)
        return DeliveryFailure(False, f"channel {self._settings.id}: {words}") if words else Delivered()


def filled_in(url: str, address: str) -> str:
    """Put a person's address into a URL."""
    return url.replace(PLACEHOLDER, quote(address, safe=""))


def ask_apprise(task: Mapping[str, Any], timeout_s: float) -> str:
    """Run the child with a task for it; "" if that is done, else why not, without the URL in it.

    timeout_s: for the task, beside the time in which the child starts.
    """
    command = [sys.executable, "-m", "alerts.channels.apprise_child"]
    try:
        child = subprocess.run(
            command,
            input=json.dumps({**task, "timeout_s": timeout_s}),
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=timeout_s + _STARTS_WITHIN_S,
            check=False,
        )
        if child.returncode == -signal.SIGALRM:
            return f"the service did not answer within {timeout_s:g} s"
        answer = json.loads(child.stdout)
    except subprocess.TimeoutExpired:
        return f"the process that sends it did not end within {timeout_s + _STARTS_WITHIN_S:g} s"
    except OSError as error:
        return f"no process can be started for it: {error.strerror or error}"
    except ValueError:
        # What the child printed may hold the URL.
        return "the library apprise ended without an answer; is it installed?"
    if answer["done"]:
        return ""
    return one_line(" ".join(answer["words"].split()), _LONGEST_WORDS) or "the service did not take the message"
