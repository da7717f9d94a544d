"""The review in a browser: on a phone and a screen, by keyboard, and on exactly two pages of A4."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings
from a_rested_cellar import NOW_MS, RestedCellar
from eventually import eventually
from playwright.sync_api import Page, Route, expect

# A child process draws each, and the machine may be busy.
_DRAWN_WITHIN_S = 90.0
_PICTURES_ARE_THERE = "[...document.querySelectorAll('.pictures img')].every(each => each.naturalWidth > 0)"


@pytest.fixture(scope="module")
def rested(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RestedCellar]:
    cellar = RestedCellar(tmp_path_factory.mktemp("rested"))
    yield cellar
    cellar.store.close()


def reviewed(visit: Visit, rested: RestedCellar, query: str, *, width: int = SCREEN) -> Page:
    page = visit(rested.cellar, f"/review/K1{query}", width=width, clock=lambda: NOW_MS)
    expect(page.locator(".point").first).to_be_visible()
    return page


def printed_pages(page: Page) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(prefer_css_page_size=True)))


@pytest.mark.parametrize("query", ["?to=K2", "?for=bottling", ""])
def test_it_prints_to_two_pages(rested: RestedCellar, visit: Visit, query: str) -> None:
    page = reviewed(visit, rested, query)
    expect(page.locator(".pictures img")).to_have_count(3)
    eventually(lambda: page.evaluate(_PICTURES_ARE_THERE), within_s=_DRAWN_WITHIN_S)
    assert printed_pages(page) == 2


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_the_page_is_there_before_its_pictures_and_does_not_jump_when_they_come(
    rested: RestedCellar, visit: Visit, width: int
) -> None:
    page = visit.browser(width=width).new_page()
    held: list[Route] = []
    page.route("**/*.svg", lambda route: held.append(route) if "/review/" in route.request.url else route.continue_())
    # It waits for the event that a page has loaded.
    page.goto(visit.address(rested.cellar, clock=lambda: NOW_MS) + "/review/K1?to=K2")
    expect(page.locator(".point").first).to_be_visible()
    # Nobody has looked that far down yet; they come all the same, for the printer.
    eventually(lambda: page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd > 0"))
    eventually(lambda: page.evaluate("1") and len(held) == 3, within_s=_DRAWN_WITHIN_S)
    before = page.evaluate("document.documentElement.scrollHeight")
    for route in held:
        route.continue_()
    eventually(lambda: page.evaluate(_PICTURES_ARE_THERE), within_s=_DRAWN_WITHIN_S)
    assert page.evaluate("document.documentElement.scrollHeight") == before


def test_a_picture_that_is_refused_is_asked_for_again(rested: RestedCellar, visit: Visit) -> None:
    page = visit.browser().new_page()
    page.clock.install()
    refused: list[str] = []

    def refuse_once(route: Route) -> None:
        if route.request.url in refused:
            route.continue_()
        else:
            refused.append(route.request.url)
            route.fulfill(status=503)

    page.route("**/review/K1/*.svg", refuse_once)
    page.goto(visit.address(rested.cellar, clock=lambda: NOW_MS) + "/review/K1?to=K2")
    expect(page.locator(".pictures .coming")).to_have_count(3)
    eventually(lambda: page.evaluate("1") and len(refused) == 3)
    for number in range(3):
        expect(page.locator(".pictures .coming").nth(number)).to_be_visible()

    def all_have_come() -> object:
        page.clock.fast_forward(10_000)
        return page.locator(".pictures .coming").count() == 0

    eventually(all_have_come, within_s=_DRAWN_WITHIN_S)
    assert page.evaluate(_PICTURES_ARE_THERE)
    visit.troubles[:] = [trouble for trouble in visit.troubles if "503" not in trouble]


def test_long_texts_print_to_two_pages_too(tmp_path: Path, visit: Visit) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    cellar.write(0.2, "inspection", "K1", clarity="clear", smell="many words " * 80)
    cellar.write(0.1, "inspection", "K1", clarity="hazy", smell="wordwithoutanend" * 60)
    page = visit(cellar.cellar, "/review/K1?to=K2", clock=lambda: NOW_MS)
    assert printed_pages(page) == 2
    cellar.store.close()


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_it_reads_well_for_everybody(rested: RestedCellar, visit: Visit, width: int) -> None:
    page = reviewed(visit, rested, "?to=K2", width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


def test_wishes_by_keyboard(rested: RestedCellar, visit: Visit) -> None:
    page = reviewed(visit, rested, "")
    page.get_by_label("Into").focus()
    page.keyboard.type("K2")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("9")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Racking K1 into K2")
    expect(page.locator(".points")).to_contain_text("9 L fit into K2")
    expect(page.get_by_label("How much, L")).to_have_value("9")


def test_from_the_vessels_card(rested: RestedCellar, visit: Visit) -> None:
    page = visit(rested.cellar, "/vessel/K1", clock=lambda: NOW_MS)
    page.get_by_role("link", name="Review").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Racking K1")
