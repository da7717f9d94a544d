"""One message handed to the library apprise, in a process of its own that can be ended: ``python -m`` this module.

It reads one JSON object from its standard input and writes one to its standard output, so that no secret is in the
arguments, which every user of the machine can see. Only this module imports the library.
"""

from __future__ import annotations

__all__ = ["main"]

import json
import logging
import re
import signal
import sys
from typing import Any, Final
from urllib.parse import unquote, unquote_plus

# Parts of a URL that are shorter say nothing.
_SHORTEST_SECRET: Final = 4
_MOST_WORDS: Final = 300
_BETWEEN_PARTS: Final = re.compile(r"[/?&=@:,#;]+")


class _Words(logging.Handler):
    """Keeps what the library says went wrong."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record.getMessage())


def main() -> int:
    """Read a task: ``url``, ``timeout_s``, and where there is a message to send ``title``, ``body`` and ``kind``.

    Ends by SIGALRM once the service has taken longer than ``timeout_s``. Exit code 0.
    """
    task = json.load(sys.stdin)
    words = _Words()
    log = logging.getLogger("apprise")
    log.addHandler(words)
    log.propagate = False
    try:
        done, line = _work(task)
    except Exception as error:  # noqa: BLE001 - the library should raise nothing; its words may hold the secret
        done, line = False, f"the library apprise fails with this URL ({type(error).__name__})"
        if isinstance(error, UnicodeError):
            line += "; user and password of this service must be of letters that HTTP can carry (Latin-1)"
    text = without_parts_of(task["url"], "; ".join([*([line] if line else []), *words.lines]))
    json.dump({"done": done, "words": text[:_MOST_WORDS]}, sys.stdout)
    return 0


def _work(task: dict[str, Any]) -> tuple[bool, str]:
    import apprise

    signal.setitimer(signal.ITIMER_REAL, task["timeout_s"])
    # One after the other, without plug-ins that lie about on this machine.
    asset = apprise.AppriseAsset(plugin_paths=[], storage_mode="memory", async_mode=False, app_id="leeside")
    service = apprise.Apprise.instantiate(task["url"], asset=asset, suppress_exceptions=True)
    if service is None:
        scheme = task["url"].partition("://")[0].lower() if "://" in task["url"] else ""
        services = apprise.Apprise(asset=asset).details()["schemas"]
        if not any(scheme in (*(each["protocols"] or ()), *(each["secure_protocols"] or ())) for each in services):
            return False, "apprise knows no such service; a URL begins with a service's name, such as ntfy://"
        return False, f"apprise knows {scheme}:// and cannot read what follows it; look at what its service asks for"
    if "title" not in task:
        return True, ""
    notification = apprise.Apprise(asset=asset)
    notification.add(service)
    sent = notification.notify(
        title=task["title"], body=task["body"], notify_type=task["kind"], body_format=apprise.NotifyFormat.TEXT
    )
    return bool(sent), ""


def without_parts_of(url: str, text: str) -> str:
    """Take everything out of a text that stands in a URL behind its scheme."""
    scheme, _, rest = url.partition("://")
    rest = rest or ("" if "://" in url else scheme)
    written = {part for part in _BETWEEN_PARTS.split(rest) if part}
    # The library speaks of a part as it reads it: %40 as "@", and in a query "+" as a space.
    read = {decode(part) for part in written for decode in (unquote, unquote_plus)}
    parts = {part for part in {*written, *read} if len(part) >= _SHORTEST_SECRET}
    for part in sorted({*([url, rest, unquote(rest)] if rest else []), *parts}, key=len, reverse=True):
        text = text.replace(part, "...")
    return text


if __name__ == "__main__":
    sys.exit(main())
