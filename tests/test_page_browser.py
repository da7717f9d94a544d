"""The page in a browser: every view reads well for everybody, on a phone and a screen, and asks nobody else."""

from __future__ import annotations

from a_browser import Visit, serious_findings
from a_cellar_on_disk import CellarOnDisk
from playwright.sync_api import expect


def test_what_a_browser_complains_of_is_noticed(on_disk: CellarOnDisk, visit: Visit) -> None:
    page = visit(on_disk.cellar)
    page.evaluate("fetch('http://elsewhere.example/1').catch(() => 0)")
    with page.context.expect_page() as other:
        page.evaluate("void window.open('http://elsewhere.example/2')")
    expect(other.value.locator("body")).to_be_attached()
    page.evaluate("document.head.appendChild(document.createElement('script')).textContent = 'alert(1)'")
    page.evaluate("document.body.innerHTML += '<img src=\"/missing\">'")
    expect(page.locator("img")).to_be_attached()
    page.wait_for_load_state("networkidle")
    findings = serious_findings(page)
    page.context.close()  # after which no complaint can follow
    troubles = "\n".join(visit.troubles)
    visit.troubles.clear()
    assert "left the machine: http://elsewhere.example/2" in troubles
    assert "Connecting to 'http://elsewhere.example/1' violates" in troubles
    assert "Executing inline script violates" in troubles
    assert "/missing" in troubles
    assert "image-alt" in "".join(findings)
