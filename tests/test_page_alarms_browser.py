"""Alarms in a browser: with a thumb, by keyboard, without script, and as they change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings
from a_mill_lane import MillLaneOnDisk, running_turns
from playwright.sync_api import Page, expect

from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.store.alarms.operator_events import append_events

LEAK = "K2/hours_to_air_floor/soon"
# The smallest side of what is touched, CSS pixels: WCAG 2.2, 2.5.5.
THUMB = 44


@pytest.fixture
def lane(tmp_path: Path) -> Iterator[MillLaneOnDisk]:
    made = MillLaneOnDisk(tmp_path, days=1)
    yield made
    made.store.close()


def _fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))


@pytest.mark.parametrize("width", [PHONE, SCREEN])
@pytest.mark.parametrize("path", ["/alarms", "/alarms/record", "/limits", f"/alarms/shelve?limit={LEAK}", "/nothing"])
def test_everybody_can_use_it(lane: MillLaneOnDisk, visit: Visit, path: str, width: int) -> None:
    page = visit(lane.cellar, path, width=width)
    assert serious_findings(page) == []
    assert _fits(page)
    for each in page.locator("main button, main .button, main input:visible, main select").all():
        box = each.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= THUMB, each.inner_text()
    visit.troubles = [trouble for trouble in visit.troubles if "/nothing" not in trouble]


@pytest.mark.parametrize("script", [True, False])
def test_a_thumb_acknowledges_mutes_and_ends_the_mute(lane: MillLaneOnDisk, visit: Visit, script: bool) -> None:
    page = visit(lane.cellar, "/alarms", width=PHONE, script=script)
    with running_turns(lane.cellar):
        page.get_by_role("button", name="Acknowledge K2: loses its blanket").tap()
        page.get_by_label("Your name").fill("Ana")
        page.get_by_role("button", name="Acknowledge K2: loses its blanket").tap()
        expect(page.get_by_text("high alarm, seen by Ana")).to_be_visible()
        page.get_by_role("link", name="Mute … K2: loses its blanket").tap()
        page.get_by_label("Why").fill("the lid is off for work")
        page.get_by_label("For").select_option("3600")
        page.get_by_role("button", name="Mute it").tap()
        expect(page.get_by_text("by Ana: the lid is off for work")).to_be_visible()
        page.get_by_role("button", name=f"End the mute of {LEAK}").tap()
        expect(page.get_by_role("heading", name="Muted by people")).to_have_count(0)


def test_all_of_it_works_by_keyboard(lane: MillLaneOnDisk, visit: Visit) -> None:
    page = visit(lane.cellar, "/alarms")
    with running_turns(lane.cellar):
        page.get_by_label("Your name").focus()
        page.keyboard.type("Ana")
        for _ in range(40):
            page.keyboard.press("Tab")
            focused = page.evaluate("document.activeElement.innerText") or ""
            if focused.startswith("Acknowledge all"):
                break
        page.keyboard.press("Enter")
        expect(page.get_by_text("seen by Ana")).to_have_count(3)


def test_the_list_changes_by_itself_and_not_under_a_hand(lane: MillLaneOnDisk, visit: Visit) -> None:
    page = visit(lane.cellar, "/alarms")
    expect(page.locator(".call")).to_have_count(3)
    page.wait_for_function("performance.getEntriesByType('resource').length > 2")

    def acknowledged(key: str) -> None:
        append_events(lane.store, [OperatorRequest(OperatorEventKind.ACKNOWLEDGE, key)], "Ben", lane.now_ms)
        lane.turn(lane.now_ms)

    acknowledged(LEAK)
    expect(page.get_by_text("high alarm, seen by Ben")).to_be_visible(timeout=15_000)
    page.get_by_label("Your name").focus()
    acknowledged("K1/molecular_so2/low")
    expect(page.get_by_text("The alarms have changed.")).to_be_visible(timeout=15_000)
    expect(page.get_by_text("medium alarm, seen by Ben")).to_have_count(0)
    page.get_by_role("link", name="Show them").click()
    expect(page.get_by_text("medium alarm, seen by Ben")).to_be_visible()
