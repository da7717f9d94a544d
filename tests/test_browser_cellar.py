"""The cellar view in a browser: as the cellar is, without being loaded again, for everybody and by keyboard alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings, served
from a_cellar_on_disk import NOW, CellarOnDisk
from a_mill_lane import MillLaneOnDisk
from a_page import PASSWORD, PASSWORD_HASH
from cellar_text import table
from playwright.sync_api import Page, expect

from alerts.page.cellar import board as board_module
from alerts.watch.alarm_table import State

pytestmark = pytest.mark.whole

_VIEWS = ("/", "/vessel/K2", "/cylinder/N2", "/room/cellar")


@pytest.fixture(scope="module")
def lane(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MillLaneOnDisk]:
    """Mill Lane with a leak in K2; nothing in this file changes it."""
    lane = MillLaneOnDisk(tmp_path_factory.mktemp("lane"))
    yield lane
    lane.store.close()


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let what changes be shown as soon as it can be."""
    monkeypatch.setattr(board_module, "_LOOK_EVERY_S", 0.05)
    monkeypatch.setattr(board_module, "_MAKE_EVERY_S", 0.0)


def _line(page: Page, place: str) -> str:
    """The selector of a place's line."""
    return f"article[aria-labelledby='at-{place}']"


@pytest.mark.parametrize("width", [PHONE, SCREEN])
@pytest.mark.parametrize("path", _VIEWS)
def test_a_view_fits_its_screen_and_is_for_everybody(lane: MillLaneOnDisk, visit: Visit, path: str, width: int) -> None:
    page = visit(lane.cellar, path, width=width)
    expect(page.locator("#link")).to_have_text("live,")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


@pytest.mark.parametrize(
    "path", ["/", "/vessel/K2", "/alarms", "/limits", "/journal", "/enter/titration?vessel=K1", "/review/K1", "/login"]
)
def test_a_device_that_wants_it_dark_gets_a_dark_sheet_that_can_be_read(
    lane: MillLaneOnDisk, visit: Visit, path: str
) -> None:
    page = visit.browser(width=PHONE).new_page()
    page.emulate_media(color_scheme="dark")
    page.goto(visit.address(lane.cellar) + path)
    shade = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(shade) == "rgb(27, 25, 22)"
    assert serious_findings(page) == []
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).color") in ("rgb(38, 35, 31)", "rgb(0, 0, 0)")


def test_no_name_of_a_reading_lies_over_its_value(lane: MillLaneOnDisk, visit: Visit) -> None:
    for width in (PHONE, SCREEN):
        page = visit(lane.cellar, width=width)
        overlaps = page.evaluate(
            """[...document.querySelectorAll(".reading")].filter((reading) => {
                 const range = document.createRange();
                 range.selectNodeContents(reading.querySelector(".quantity"));
                 const value = reading.querySelector(".value")?.getBoundingClientRect();
                 const meets = (name) => name.right > value.left && name.left < value.right
                   && name.bottom > value.top && name.top < value.bottom;
                 return value && [...range.getClientRects()].some(meets);
               }).map((reading) => reading.textContent)"""
        )
        assert overlaps == []
        expect(page.locator("main")).to_contain_text("barometric pressure")


def test_an_alarm_changes_the_word_and_shape_without_a_reload(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.pulse("ingest")
    on_disk.pulse("alerts")
    on_disk.reading("k1-pressure", 55.0, 5)
    page = visit(on_disk.cellar)
    page.evaluate("window.sameDocument = true")
    state = page.locator(f"{_line(page, 'K1')} .state")
    expect(state).to_have_text("in order")
    calm = state.locator("svg").inner_html()
    expect(page.locator("#needs")).to_have_text("Nothing needs you.")
    on_disk.reading("k1-pressure", 3.5, 1)
    on_disk.alarm()
    expect(state).to_have_text("high alarm")
    assert state.locator("svg").inner_html() != calm, "the shape says it too, for those who see no colour"
    expect(page.locator(f"{_line(page, 'K1')} .notes")).to_contain_text("pressure 3.5 kPa, below 5.0 kPa")
    expect(page.locator(f"{_line(page, 'K1')} .read")).to_contain_text("3.5 kPa")
    expect(page.locator("#needs a")).to_have_text("K1 high alarm")
    expect(page).to_have_title(re.compile("^1 alarm · Cellar · "))
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by="Ana")
    expect(state).to_have_text("high alarm, seen")
    expect(state.locator("svg")).to_have_class(re.compile("seen"))
    assert page.evaluate("window.sameDocument") is True


def test_a_probe_that_falls_silent_and_one_that_reads_look_otherwise(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.pulse("ingest")
    on_disk.pulse("alerts")
    on_disk.reading("k1-pressure", 55.0, 3600)
    page = visit(on_disk.cellar)
    reading = page.locator(f"{_line(page, 'K1')} .probe").first
    expect(reading).to_contain_text("silent for 60 min")
    expect(page.locator(f"{_line(page, 'K1')} .state")).to_have_text("silent")
    on_disk.reading("k1-pressure", 55.1, 2)
    expect(reading).to_contain_text(re.compile(r"55\.1 kPa\s*\d+ s ago"))


def test_ages_count_on(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.reading("k1-pressure", 55.0, 5)
    page = visit(on_disk.cellar)
    age = page.locator(f"{_line(page, 'K1')} time").first
    before = int(age.inner_text().removesuffix(" s"))
    expect(age).to_have_text(re.compile(rf"^({before + 1}|{before + 2}|{before + 3}) s$"), timeout=15_000)


def test_a_page_that_is_cut_off_says_so_and_comes_back(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.reading("k1-pressure", 55.0, 5)
    page = visit(on_disk.cellar)
    expect(page.locator("#link")).to_have_text("live,")
    page.clock.install()
    page.reload()
    expect(page.locator("#link")).to_have_text("live,")
    address = page.url
    page.route("**/events*", lambda route: route.abort())
    page.context.set_offline(True)
    page.clock.run_for(40_000)
    expect(page.locator("#link")).to_have_text("not connected since")
    expect(page.locator("#link-time")).to_have_text("19:30:00 CET: what you see is from that time")
    expect(page.locator("#live")).to_have_class("cut-off")
    page.context.set_offline(False)
    page.unroute("**/events*")
    on_disk.reading("k1-pressure", 56.5, 1)
    page.clock.run_for(10_000)
    expect(page.locator("#link")).to_have_text("live,")
    expect(page.locator(f"{_line(page, 'K1')} .read")).to_contain_text("56.5 kPa")
    assert page.url == address
    visit.troubles.clear()  # a request without a network is an error of the browser's console


def test_what_a_person_has_opened_and_where_the_keyboard_is_stays(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by="Ana")
    page = visit(on_disk.cellar)
    note = page.locator(f"{_line(page, 'K1')} .notes details")
    note.locator("summary").click()
    page.locator("#needs a").focus()
    on_disk.alarm(value=2.5, state=State.ACKNOWLEDGED, acknowledged_by="Ana Novak")
    expect(note).to_contain_text("seen by Ana Novak")
    expect(note).to_have_attribute("open", "")
    expect(page.locator("#needs a")).to_be_focused()


def test_everything_is_reached_by_keyboard(lane: MillLaneOnDisk, visit: Visit) -> None:
    page = visit(lane.cellar)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the contents")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.locator("#needs a").first).to_be_focused()
    reached = set()
    for _ in range(60):
        reached.add(page.evaluate("document.activeElement.getAttribute('href') || document.activeElement.tagName"))
        page.keyboard.press("Tab")
    assert {"/vessel/K1", "/cylinder/N2", "/room/cellar", "SUMMARY", "#at-K2"} <= reached
    page.locator(f"{_line(page, 'K1')} h2 a").focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/vessel/K1$"))
    expect(page.get_by_role("heading", level=1)).to_have_text("K1 keg")
    page.get_by_text("limits, where they stand").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("K1/pressure/over")).to_be_visible()


def test_a_card_is_live_too(on_disk: CellarOnDisk, visit: Visit) -> None:
    on_disk.reading("k1-pressure", 55.0, 5)
    page = visit(on_disk.cellar, "/vessel/K1")
    expect(page.locator("#rest")).to_contain_text("K1/pressure/low below 5 kPa, high priority. Not judged yet.")
    on_disk.reading("k1-pressure", 4.4, 1)
    on_disk.alarm()
    expect(page.locator(".read")).to_contain_text("4.4 kPa")
    expect(page.locator(".state")).to_have_text("high alarm")
    expect(page.locator("#rest")).to_contain_text("ALARM a2b")


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_long_names_and_payloads_do_not_widen_the_page(tmp_path: Path, visit: Visit, width: int) -> None:
    vessel = table("[[vessel]]", id="V" + "-" * 50 + "1", kind="barrel", capacity="225 L", name=200 * "W")
    on_disk = CellarOnDisk(tmp_path, more=vessel)
    on_disk.reject(example=10_000 * "x", address=300 * "y", reason="not a number")
    on_disk.message(300 * "z")
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by=200 * "N")
    page = visit(on_disk.cellar, width=width)
    page.locator(".own summary").first.click()
    expect(page.get_by_role("heading", name="Not understood")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.goto(page.url + "vessel/V" + "-" * 50 + "1")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    on_disk.store.close()


def test_a_session_that_has_ended_leads_to_the_door(on_disk: CellarOnDisk, visit: Visit) -> None:
    with served(on_disk.cellar, lambda: NOW, password_hash=PASSWORD_HASH) as address:
        page = visit.open(address)
        page.locator("input[type=password]").fill(PASSWORD)
        page.keyboard.press("Enter")
        expect(page.locator("#link")).to_have_text("live,")
        token = page.evaluate("fetch('/api/session').then((answer) => answer.json()).then((session) => session.token)")
        page.request.delete(f"{address}/api/session", headers={"X-Leeside-Token": token})
        on_disk.reading("k1-pressure", 55.0, 5)
        expect(page.locator("input[type=password]")).to_be_visible(timeout=20_000)
        page.context.close()
    visit.troubles.clear()  # that the stream was refused is an error of the browser's console


def test_without_script_the_page_is_the_same_and_loads_again(lane: MillLaneOnDisk, visit: Visit) -> None:
    page = visit(lane.cellar, script=False)
    expect(page.locator(f"{_line(page, 'K2')} .state")).to_have_text("high alarm")
    expect(page.locator(f"{_line(page, 'K2')} .read")).to_contain_text("89 s ago")
    expect(page.locator("#link")).to_have_text("as of")
    assert page.locator("noscript meta").count() + page.locator("meta[http-equiv=refresh]").count() >= 1


def test_a_cellar_file_that_changed_loads_the_page_again(on_disk: CellarOnDisk, visit: Visit) -> None:
    page = visit(on_disk.cellar)
    expect(page.locator("#link")).to_have_text("live,")
    page.evaluate("document.getElementById('live').dataset.layout = 'another'")
    with page.expect_event("load"):
        on_disk.reading("k1-pressure", 55.0, 5)
    expect(page.locator("#link")).to_have_text("live,")
