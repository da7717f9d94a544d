"""Hostile text in a browser: nothing of it runs, nothing asks elsewhere, and no view becomes wider than its window."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings
from a_cellar_on_disk import CellarOnDisk
from a_hostile_cellar import hostile_cellar

VIEWS = (
    "/",
    "/vessel/K1",
    "/vessel/K2",
    "/history?vessel=K1",
    "/enter",
    "/enter/titration?vessel=K1",
    "/journal",
    "/test-day",
    "/alarms",
    "/alarms/record",
    "/limits?at=K1",
    "/review/K1",
)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CellarOnDisk]:
    on_disk = hostile_cellar(tmp_path_factory.mktemp("hostile"))
    yield on_disk
    on_disk.store.close()


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_hostile_text_runs_nowhere_and_breaks_no_view(hostile: CellarOnDisk, visit: Visit, width: int) -> None:
    browser = visit.browser(width=width)
    browser.on("dialog", lambda dialog: visit.troubles.append(f"dialog: {dialog.message}"))
    address = visit.address(hostile.cellar)
    page = browser.new_page()
    wide, findings = [], []
    for view in VIEWS:
        page.goto(address + view)
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
            wide.append(view)
        findings += [f"{view}: {finding}" for finding in serious_findings(page)]
        assert page.locator("img[src=x]").count() == 0
    assert wide == []
    assert findings == []
