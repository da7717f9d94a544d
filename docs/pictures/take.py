"""Takes the pictures of the docs: the page of Mill Lane cellar, the one of the demo, in Chromium.

Nothing of leeside runs; the cellar is made with a month of past readings, its journal and what is judged of them, at
one fixed time, so that the pictures change only where the page does. It needs what the tests need::

    PYTHONPATH=tests .venv/bin/python docs/pictures/take.py

About a minute. Arguments are names of pictures, to take only these.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from a_browser import PHONE, SCREEN, Visit, running_browser
from a_mill_lane import MillLaneOnDisk
from PIL import Image
from playwright.sync_api import Page, expect

from ingest.pulse import AlertsPulse, BrokerPulse, IngestPulse, LinePulse
from ingest.store.pulse_rows import write_pulse

FOLDER = Path(__file__).parent
DAYS = 30
# The pictures have at most so many colours: the page has few, and each file stays small.
COLOURS = 128
_LONGEST_MS = 120_000
HEIGHTS = {SCREEN: 900, PHONE: 780}


def _look_at_titration(page: Page) -> None:
    """Fill in a titration, and look at what it gives before it is saved."""
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    for field, text in (("#titre", "1.60"), ("#titre-2", "1.65"), ("#strength", "0.01"), ("#form-who", "Ana")):
        page.locator(field).fill(text)
    page.get_by_role("button", name="Check it").click()
    page.get_by_role("button", name="Save", exact=True).wait_for()


def _await_chart(page: Page) -> None:
    """Wait until the history is drawn."""
    page.locator("canvas").first.wait_for()
    page.wait_for_load_state("networkidle")


def _await_pictures(page: Page) -> None:
    """Wait until all pictures of a sheet have come."""
    expect(page.locator(".pictures .coming")).to_have_count(0, timeout=_LONGEST_MS)


PICTURES: dict[str, tuple[str, int, Callable[[Page], None] | None]] = {
    "cellar": ("/", SCREEN, None),
    "cellar-phone": ("/", PHONE, None),
    "vessel": ("/vessel/K2", SCREEN, None),
    "history": ("/history?vessel=K2&span=month", SCREEN, _await_chart),
    "history-phone": ("/history?vessel=K2&span=month", PHONE, _await_chart),
    "entering-phone": ("/enter/titration?vessel=K1", PHONE, _look_at_titration),
    "alarms-phone": ("/alarms", PHONE, None),
    "review": ("/review/K1", SCREEN, _await_pictures),
    "review-phone": ("/review/K1", PHONE, _await_pictures),
}


def made_cellar(folder: Path) -> MillLaneOnDisk:
    """Make the cellar, with all parts of leeside at work."""
    lane = MillLaneOnDisk(folder, days=DAYS)
    digest = sha256(lane.cellar.text.encode()).hexdigest()
    with lane.store.write() as connection:
        for body in (
            IngestPulse(
                cellar_file_digest=digest, mqtt=BrokerPulse(connected=True), lines={"bench-line": LinePulse(open=True)}
            ),
            AlertsPulse(),
        ):
            write_pulse(connection, body, lane.now_ms, lane.now_ms)
    return lane


def main(names: list[str]) -> None:
    """Take the pictures."""
    with TemporaryDirectory(prefix="leeside-pictures-") as folder, running_browser() as browser, ExitStack() as stack:
        lane = made_cellar(Path(folder))
        stack.callback(lane.store.close)
        visit = Visit(browser, stack)
        address = visit.address(lane.cellar, clock=lambda: lane.now_ms)
        for name, (path, width, act) in PICTURES.items():
            if names and name not in names:
                continue
            page = visit.browser(width=width).new_page()
            page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
            page.goto(address + path, timeout=_LONGEST_MS)
            if act is not None:
                act(page)
            page.wait_for_timeout(500)  # fonts and events that follow the first sight
            picture = Image.open(BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
            file = FOLDER / f"{name}.png"
            picture.save(file, optimize=True)
            sys.stdout.write(f"{file.name}: {file.stat().st_size / 1000:.0f} kB\n")
            page.context.close()
        if visit.troubles:
            sys.exit("\n".join(visit.troubles))


if __name__ == "__main__":
    main(sys.argv[1:])
