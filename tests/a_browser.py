"""The page as a browser shows it: Debian's Chromium, silent and without the network, over a cellar on disk.

A test takes the fixture ``visit`` (in ``conftest.py``) and opens a view of a cellar; the server runs in a thread::

    def test_the_cellar_view_fits_a_phone(on_disk: CellarOnDisk, visit: Visit) -> None:
        page = visit(on_disk.cellar, "/", width=360)
        page.get_by_role("link", name="History").click()
        assert serious_findings(page) == []

``page`` is a page of playwright's sync API, which waits for what it is asked for: use ``expect`` and locators, never a
sleep. The clock of the server stands at ``a_store.NOW`` unless ``clock`` is given. ``script=False`` opens the page in a
browser that runs no script. ``visit.address`` gives the address alone, and ``visit.open`` opens any address of this
machine, such as that of a demo or of ``leeside run`` in processes of their own. ``a_mill_lane.py`` makes a cellar that
has a past, a journal and judgements.

When the test ends it fails if the browser reported an error in its console (a refused script or style is one), or asked
for anything beyond this machine. A test that provokes such an error takes it out of ``visit.troubles``.

``serious_findings`` asks axe-core, which ``bash tests/run`` installs from npm as ``tests/package.json`` says.

While playwright's browser is open no other event loop can run in the thread. So a file of browser tests has no test
that calls ``asyncio.run``.
"""

from __future__ import annotations

__all__ = ["PHONE", "SCREEN", "Visit", "running_browser", "serious_findings", "served"]

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import uvicorn
from a_store import NOW
from eventually import eventually
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, expect, sync_playwright

from alerts.page.app import make_app
from alerts.page.serving import server_settings
from ingest.cellar import Cellar
from ingest.simulation.loopback import free_port

PHONE: Final = 360
SCREEN: Final = 1400
"""Widths that a view must fit, in CSS pixels."""

_AXE: Final = Path(sys.prefix) / "node/node_modules/axe-core/axe.min.js"
# A test must not fail because the machine is busy: for what is looked for, and for a page that opens.
_LONGEST_MS: Final = 90_000
expect.set_options(timeout=_LONGEST_MS)
_SELF: Final = frozenset({"127.0.0.1", "localhost", "::1"})
# Whatever Chromium would like to ask its makers finds no address and no proxy.
_SILENT: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-domain-reliability",
    "--disable-sync",
    "--no-first-run",
    "--no-pings",
    "--no-proxy-server",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost, EXCLUDE ::1",
)


@contextmanager
def running_browser() -> Iterator[Browser]:
    """Start Chromium without a window, and end it."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=list(_SILENT))
        try:
            yield browser
        finally:
            browser.close()


class Visit:
    """Opens views of cellars in a browser. troubles: what the browser complained of; they fail the test in the end."""

    def __init__(self, browser: Browser, stack: ExitStack) -> None:
        self._browser = browser
        self._servers = stack.enter_context(ExitStack())
        # They end before the servers that they might still ask.
        self._contexts = stack.enter_context(ExitStack())
        self._addresses: dict[int, str] = {}
        self.troubles: list[str] = []

    def __call__(
        self,
        cellar: Cellar,
        path: str = "/",
        *,
        width: int = SCREEN,
        script: bool = True,
        clock: Callable[[], int] = lambda: NOW,
    ) -> Page:
        """Serve the cellar's page, if it is not served yet, and open a view of it in a browser without cookies."""
        return self.open(self.address(cellar, clock=clock) + path, width=width, script=script)

    def address(self, cellar: Cellar, *, clock: Callable[[], int] = lambda: NOW) -> str:
        """Serve the cellar's page until the test ends, and give its address without a slash at the end."""
        if id(cellar) not in self._addresses:
            self._addresses[id(cellar)] = self._servers.enter_context(served(cellar, clock))
        return self._addresses[id(cellar)]

    def open(self, url: str, *, width: int = SCREEN, script: bool = True) -> Page:
        """Open an address of this machine in a browser without cookies. width: CSS pixels; script: whether it runs."""
        page = self.browser(width=width, script=script).new_page()
        page.goto(url)
        return page

    def browser(self, *, width: int = SCREEN, script: bool = True) -> BrowserContext:
        """Make a browser of its own, without cookies, for several pages."""
        context = self._browser.new_context(
            viewport={"width": width, "height": 900 if width >= 700 else 640},
            java_script_enabled=script,
            has_touch=width < 700,
            locale="en-GB",
            timezone_id="Europe/Ljubljana",
        )
        self._contexts.callback(context.close)
        context.set_default_timeout(_LONGEST_MS)
        context.on("request", self._look_at_request)
        context.on("console", self._look_at_console)
        context.on("weberror", lambda error: self.troubles.append(f"script: {error.error}"))
        return context

    def _look_at_request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob") and parts.hostname not in _SELF:
            self.troubles.append(f"left the machine: {request.url}")

    def _look_at_console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.troubles.append(f"console: {message.text} ({message.location.get('url', '')})")


@contextmanager
def served(cellar: Cellar, clock: Callable[[], int], *, password_hash: str | None = None) -> Iterator[str]:
    """Serve a cellar's page in a thread, and give its address without a slash at the end."""
    port = free_port()
    app = make_app(cellar, clock, password_hash=password_hash)
    server = uvicorn.Server(server_settings(app, "127.0.0.1", port))
    thread = threading.Thread(target=server.run, name="page under test", daemon=True)
    thread.start()
    try:
        eventually(lambda: server.started)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive(), "the page did not stop"


def serious_findings(page: Page) -> list[str]:
    """Ask axe-core what keeps people from using the page as it stands now: what it calls serious or critical.

    A finding names its rule, what to do, and the first elements that it is about. Source of the rules: WCAG 2.2, A and
    AA, and axe-core's best practices.
    """
    assert _AXE.exists(), f"{_AXE} is missing; `bash tests/run --version` installs it"
    page.evaluate(_AXE.read_text(encoding="utf-8") + "; undefined")
    answer: dict[str, Any] = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{finding['id']}: {finding['help']}: " + "; ".join(node["html"][:160] for node in finding["nodes"][:3])
        for finding in answer["violations"]
        if finding["impact"] in ("serious", "critical")
    ]
