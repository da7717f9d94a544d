"""The history in a browser: what is drawn, and moving in it by wheel, touch, keyboard and buttons."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings
from a_store import NOW
from a_winter import DAY_MS, LOT, Winter, winter_cellar
from playwright.sync_api import Locator, Page, expect

from ingest.times import iso_utc, parse_rfc3339

pytestmark = pytest.mark.whole

HOUR_MS = 3_600_000


@pytest.fixture(scope="module")
def winter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Winter]:
    """Four months, a reading of each probe every ten minutes."""
    made = Winter(winter_cellar(tmp_path_factory.mktemp("winter")), NOW, cadence_s=600).fill()
    yield made
    made.store.close()


def sheet(page: Page) -> Locator:
    """The chart, once all of it is drawn."""
    expect(page.locator("#history[data-ready]")).to_be_visible()
    return page.get_by_role("group", name=re.compile("^Chart"))


def shown(page: Page) -> tuple[int, int]:
    """From when to when, by the address."""
    parts = parse_qs(urlsplit(page.url).query)
    return parse_rfc3339(parts["from"][0]), parse_rfc3339(parts["to"][0])


def wait_for_span(page: Page) -> tuple[int, int]:
    """The span once the address names both ends."""
    expect(page).to_have_url(re.compile("from=.*&to="))
    return shown(page)


def value(page: Page, title: str) -> Locator:
    return page.locator(".history-pane", has=page.get_by_role("heading", name=title)).locator("output")


def plot(page: Page) -> dict[str, float]:
    """The box of the sheet between axis and margin."""
    box: dict[str, float] = page.evaluate(
        """() => {
            const box = document.querySelector('.history-pane .u-over').getBoundingClientRect();
            return {x: box.x, y: box.y, width: box.width, height: box.height};
        }"""
    )
    return box


def inked(page: Page, title: str) -> int:
    """How many pixels of a pane's canvas are not empty."""
    section = page.locator(".history-pane", has=page.get_by_role("heading", name=title))
    count: int = section.locator("canvas").evaluate(
        """(canvas) => {
            const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
            let count = 0;
            for (let index = 3; index < data.length; index += 4) if (data[index]) count += 1;
            return count;
        }"""
    )
    return count


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_all_panes_fit_and_keep_people_from_nothing(winter: Winter, visit: Visit, width: int) -> None:
    page = visit(winter.cellar, f"/history?lot={LOT}&span=all", width=width)
    sheet(page)
    for title in ("Pressure", "Temperature", "pH", "Free SO2", "Molecular SO2"):
        expect(page.get_by_role("heading", name=title)).to_be_visible()
        assert inked(page, title) > 500
    expect(page.locator(".history-stay")).to_have_text(["K1", "K2"])
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert serious_findings(page) == []


def test_the_values_of_a_moment_stand_in_all_panes(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month")
    sheet(page)
    box = plot(page)
    titrated = box["x"] + box["width"] * (30 - 8) / 30
    page.mouse.move(titrated - 40, box["y"] + 20)
    page.mouse.move(titrated, box["y"] + 20)
    expect(value(page, "Free SO2")).to_contain_text(
        re.compile(r"estimated 2\d \(.* titrated 28\.5 ± 1\.\d+ \(no\. 15\)")
    )
    expect(value(page, "Pressure")).to_contain_text(
        re.compile(r"5\d\.\d \(5\d\.\d to .*at the reference temperature 5")
    )
    expect(value(page, "Temperature")).to_contain_text("(")
    expect(value(page, "pH")).to_contain_text("3.4")
    expect(value(page, "Molecular SO2")).to_contain_text(re.compile("estimated 0"))
    expect(page.locator(".history-at")).to_contain_text("titration K2: 2.85 mL of 0.0078125 N")
    page.mouse.move(5, 5)
    expect(page.locator(".history-at")).to_contain_text("the newest row")


def test_the_one_low_reading_of_a_minute_is_marked_in_a_span_of_months(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=season")
    sheet(page)
    box = plot(page)
    page.mouse.move(box["x"] + box["width"] * (91 - 9.6) / 91, box["y"] + 20)
    expect(value(page, "Pressure").locator(".is-out")).to_contain_text("(3.3 to")
    expect(page.locator(".history-at")).to_contain_text("high alarm: K2 pressure 3.3 kPa, below 5.0 kPa")


def test_the_wheel_zooms_at_the_pointer_and_moves_in_time(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month")
    sheet(page)
    box = plot(page)
    part = 0.25
    at_ms = NOW - 30 * DAY_MS + part * 30 * DAY_MS
    page.mouse.move(box["x"] + part * box["width"], box["y"] + 20)
    page.keyboard.down("Control")
    for _ in range(4):
        page.mouse.wheel(0, -200)
    page.keyboard.up("Control")
    wait_for_span(page)
    # Each turn of the wheel halves the span or nearly so; the address follows the last of the four.
    page.wait_for_url(lambda url: shown(page)[1] - shown(page)[0] < 3 * DAY_MS)
    from_ms, to_ms = shown(page)
    assert abs(from_ms + part * (to_ms - from_ms) - at_ms) < HOUR_MS
    page.keyboard.down("Shift")
    page.mouse.wheel(0, -300)
    page.keyboard.up("Shift")
    page.wait_for_url(lambda url: shown(page)[0] < from_ms - HOUR_MS)
    assert abs((shown(page)[1] - shown(page)[0]) - (to_ms - from_ms)) < 1000
    # A plain wheel moves the page and nothing else.
    before = page.url
    page.mouse.wheel(0, 200)
    page.wait_for_function("scrollY > 100")
    assert page.url == before


def test_dragging_moves_in_time(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, f"/history?vessel=K2&from={iso_utc(NOW - 20 * DAY_MS)}&to={iso_utc(NOW - 10 * DAY_MS)}")
    sheet(page)
    box = plot(page)
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 20)
    page.mouse.move(box["x"] + 0.7 * box["width"], box["y"] + 20, steps=3)
    page.mouse.up()
    # The address follows while the pointer moves, and a moment later it has all of it.
    page.wait_for_url(lambda url: abs(shown(page)[0] - (NOW - 22 * DAY_MS)) < 6 * HOUR_MS)
    from_ms, to_ms = shown(page)
    assert abs(to_ms - from_ms - 10 * DAY_MS) < 1000


def test_the_keyboard_alone_moves_zooms_and_reads(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month")
    sheet(page).focus()
    page.keyboard.press("+")
    from_ms, to_ms = wait_for_span(page)
    assert to_ms - from_ms == 15 * DAY_MS
    page.keyboard.press("ArrowLeft")
    page.wait_for_url(lambda url: shown(page)[0] < from_ms)
    assert shown(page)[0] == pytest.approx(from_ms - 15 * DAY_MS / 8, abs=2)
    page.keyboard.press("End")
    page.wait_for_url(lambda url: shown(page)[1] == NOW)
    page.keyboard.press("-")
    page.wait_for_url(lambda url: shown(page)[1] - shown(page)[0] == 30 * DAY_MS)
    page.keyboard.press("Home")
    page.wait_for_url(lambda url: shown(page)[0] < NOW - 117 * DAY_MS)
    page.keyboard.press("0")
    page.wait_for_url(re.compile("span=all"))
    expect(page.get_by_role("link", name="all", exact=True)).to_have_attribute("aria-current", "true")
    expect(page.locator(".history-when summary")).to_contain_text("Jul 2026 to 25 Nov 2026")
    page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Shift+ArrowLeft")
    expect(page.locator(".history-line")).to_be_visible()
    expect(page.locator("[aria-live=polite]")).to_contain_text("Pressure 5")
    page.keyboard.press("Escape")
    expect(page.locator(".history-line")).to_be_hidden()
    # What was written down is reached by Tab, and read aloud.
    page.keyboard.press("Tab")
    mark = page.locator(".history-mark").first
    expect(mark).to_be_focused()
    expect(page.locator(".history-at")).to_contain_text("Ana (no. ")


def test_fingers_drag_pinch_and_tap(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month", width=PHONE)
    sheet(page)
    box = plot(page)
    page.touchscreen.tap(box["x"] + 0.5 * box["width"], box["y"] + 20)
    expect(page.locator(".history-line")).to_be_visible()
    expect(value(page, "Temperature")).to_contain_text("(")
    finger = page.context.new_cdp_session(page)

    def touch(kind: str, *parts: float) -> None:
        points = [
            {"x": box["x"] + part * box["width"], "y": box["y"] + 30, "id": number} for number, part in enumerate(parts)
        ]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 0.4, 0.6)
    for step in range(1, 9):
        touch("touchMove", 0.4 - step / 40, 0.6 + step / 40)
    touch("touchEnd")
    wait_for_span(page)
    # The address follows the fingers: they were 0.2 of the month apart, and are 0.6 of what is shown.
    page.wait_for_url(lambda url: abs(shown(page)[1] - shown(page)[0] - 10 * DAY_MS) < HOUR_MS)
    from_ms, to_ms = shown(page)
    middle_ms = (from_ms + to_ms) / 2
    assert abs(middle_ms - (NOW - 15 * DAY_MS)) < 2 * DAY_MS
    touch("touchStart", 0.3)
    for step in range(1, 9):
        touch("touchMove", 0.3 + step / 20)
    touch("touchEnd")
    page.wait_for_url(lambda url: shown(page)[0] < from_ms - HOUR_MS)
    assert abs(shown(page)[1] - shown(page)[0] - (to_ms - from_ms)) < 1000


def test_buttons_fields_and_links_lead_to_a_span_that_can_be_shared(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month")
    sheet(page)
    page.get_by_role("link", name="week", exact=True).click()
    page.wait_for_url(re.compile("span=week"))
    page.get_by_role("button", name="Earlier").click()
    from_ms, to_ms = wait_for_span(page)
    assert abs(from_ms - (NOW - 10.5 * DAY_MS)) < HOUR_MS
    assert abs(to_ms - from_ms - 7 * DAY_MS) < 1000
    expect(page.get_by_role("link", name="As a table")).to_have_attribute("href", re.compile("/history/table.*from="))
    again = visit.open(page.url)
    sheet(again)
    assert shown(again) == (from_ms, to_ms)
    page.locator(".history-when summary").click()
    page.get_by_label("From", exact=True).fill("2026-10-01T00:00")
    page.get_by_label("To", exact=True).fill("2026-10-20T12:00")
    page.get_by_role("button", name="Show").click()
    sheet(page)
    expect(page.locator(".history-when summary")).to_contain_text("1 Oct 2026 to 20 Oct 2026")
    page.get_by_role("link", name="As a table").click()
    expect(page.get_by_role("row").nth(1)).to_contain_text("2026-10-2")


def test_what_is_titrated_now_appears(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=week", clock=lambda: NOW + HOUR_MS)
    sheet(page)
    before = page.locator(".history-mark").count()
    entry = winter.titrate(0.01, "K2", 27.0)
    page.reload()
    sheet(page)
    expect(page.locator(".history-mark")).to_have_count(before + 1)
    box = plot(page)
    page.mouse.move(box["x"] + box["width"] * (1 - (0.01 + 1 / 24) / 7), box["y"] + 20)
    expect(value(page, "Free SO2")).to_contain_text(f"(no. {entry.id})")


def test_without_a_script_the_table_is_one_link_away(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month", script=False)
    page.get_by_role("link", name="The same as a table").click()
    expect(page.get_by_role("columnheader", name="Free SO2 mg/L, estimated")).to_be_visible()
    assert serious_findings_without_script(page)


def serious_findings_without_script(page: Page) -> bool:
    """No script runs there, so only what is plain is looked at: a heading, a caption, heads of columns."""
    return page.locator("h1").count() == 1 and page.get_by_text("A row is").count() == 1


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_the_table_keeps_people_from_nothing(winter: Winter, visit: Visit, width: int) -> None:
    page = visit(winter.cellar, f"/history/table?lot={LOT}&span=season", width=width)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert serious_findings(page) == []


def test_a_page_that_no_longer_answers_says_so_and_keeps_what_it_drew(winter: Winter, visit: Visit) -> None:
    page = visit(winter.cellar, "/history?vessel=K2&span=month")
    chart = sheet(page)
    page.route("**/api/history**", lambda route: route.abort())
    chart.focus()
    page.keyboard.press("+")
    expect(page.get_by_role("alert")).to_contain_text(
        "The page does not answer; what is drawn is what was known before."
    )
    assert inked(page, "Pressure") > 500
    visit.troubles.clear()
