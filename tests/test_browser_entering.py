"""Entering in a browser: the result before it is saved, once however often, through a lost connection, by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_browser import PHONE, SCREEN, Visit, serious_findings
from a_form import HOSTILE, NOW, EntryBench
from cellar_text import probe
from playwright.sync_api import Page, expect

from ingest.journal.kinds import body_words
from ingest.journal.kinds.calibration import CalibrationBody
from ingest.probes.binding import declarations
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

pytestmark = pytest.mark.whole


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[EntryBench]:
    bench = EntryBench(tmp_path)
    yield bench
    bench.store.close()


def _clock() -> int:
    return NOW


def _fill(page: Page) -> None:
    """Fill in a titration at K1 of 33 mg/L."""
    page.get_by_role("radio", name="free", exact=True).check()
    page.get_by_role("radio", name="iodometric", exact=True).check()
    page.get_by_label("Which bottle of titrant?").select_option("iodine 3")
    page.get_by_label("How much wine in the flask?").fill("25")
    page.get_by_label("The titre? 1").fill("1.25")
    page.get_by_label("The titre? 2").fill("1,30")
    page.get_by_label("Who did it?").fill("Ana")


def test_a_titration_shows_its_result_is_saved_once_and_stands_in_the_journal(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/titration?vessel=K1", width=PHONE, clock=_clock)
    _fill(page)
    assert serious_findings(page) == []
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".result")).to_contain_text("33 mg/L free SO2")
    expect(page.locator(".result")).to_be_focused()
    assert serious_findings(page) == []
    assert bench.new() == []
    page.get_by_role("button", name="Save").dblclick()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    (entry,) = bench.new()
    assert body_words(entry.body).endswith("33 mg/L free SO2")
    page.get_by_role("link", name="Journal", exact=True).last.click()
    expect(page.locator(f"#no-{entry.id}")).to_contain_text("33 mg/L free SO2")
    assert serious_findings(page) == []
    page.goto(page.url.replace("/journal", "/enter"))
    expect(page.locator("#kept")).to_be_hidden()


def test_a_lost_connection_keeps_the_form_and_saving_again_writes_once(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/titration?vessel=K1", width=PHONE, clock=_clock)
    _fill(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".trouble")).to_contain_text("Leeside does not answer. What you filled in is kept")
    expect(page.get_by_label("The titre? 2")).to_have_value("1,30")
    page.context.set_offline(False)
    page.goto(visit.address(bench.cellar) + "/enter")
    page.get_by_role("link", name="Titration (K1)").click()
    expect(page.locator(".kept")).to_contain_text("This is as you left it")
    expect(page.get_by_label("The titre? 2")).to_have_value("1.30")
    expect(page.get_by_label("Who did it?")).to_have_value("Ana")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".result")).to_contain_text("33 mg/L")
    # The answer to the first save is lost on its way back.
    page.route("**/enter/titration", lambda route: (route.fetch(max_redirects=0), route.abort())[1], times=1)
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".trouble")).to_contain_text("written once, however often you try")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Written down already")).to_be_visible()
    assert len(bench.new()) == 1
    visit.troubles[:] = [trouble for trouble in visit.troubles if "net::ERR" not in trouble]


def test_a_kept_form_can_be_dropped(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/inspection?vessel=C1", clock=_clock)
    page.get_by_label("Smell?").fill("struck match")
    page.reload()
    expect(page.get_by_label("Smell?")).to_have_value("struck match")
    page.get_by_role("button", name="Drop it and begin again").click()
    expect(page.get_by_label("Smell?")).to_have_value("")
    expect(page.locator(".kept")).to_be_hidden()


def test_questions_come_and_go_with_the_answers(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/addition?vessel=K1", width=SCREEN, clock=_clock)
    expect(page.get_by_label("How many?")).to_be_hidden()
    page.get_by_role("radio", name="tablets", exact=True).check()
    expect(page.get_by_label("How many?")).to_be_visible()
    page.get_by_label("How many?").fill("2")
    page.get_by_role("radio", name="metabisulfite", exact=True).check()
    expect(page.get_by_role("radio", name="potassium", exact=True)).to_be_visible()
    page.get_by_role("radio", name="potassium", exact=True).check()
    page.locator("#mass").fill("0,4")
    page.get_by_label("Who did it?").fill("Ana")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".result")).to_contain_text("g SO2")
    page.get_by_role("button", name="Change it").click()
    expect(page.locator("#mass")).to_have_value("0,4")
    page.get_by_role("button", name="Check it").click()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    assert bench.new()[0].kind == "addition"


def test_an_entry_is_written_amended_and_struck_by_keyboard_alone(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/sample?vessel=K1", width=SCREEN, clock=_clock)

    def to(name: str, role: str = "button") -> None:
        """Go on with the tab key until that is in focus."""
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.innerText || document.activeElement.id").strip() == name:
                return
        raise AssertionError(f"the tab key does not come to {name}")

    to("volume")
    page.keyboard.type("60")
    page.keyboard.press("Tab")
    page.keyboard.press("m")  # the unit
    to("form-who")
    page.keyboard.type("Ana")
    to("Check it")
    page.keyboard.press("Enter")
    expect(page.locator(".result")).to_contain_text("16.9 L")
    to("Save")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    (entry,) = bench.new()
    page.goto(f"{visit.address(bench.cellar)}/journal/{entry.id}/amend")
    to("volume")
    page.keyboard.press("Control+a")
    page.keyboard.type("80")
    to("Check it")
    page.keyboard.press("Enter")
    to("Save")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    new = bench.new()[-1]
    page.goto(f"{visit.address(bench.cellar)}/journal/{new.id}/strike")
    to("reason")
    page.keyboard.type("it was water")
    to("Strike it")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Struck")).to_be_visible()
    struck = bench.new()[-1].struck
    assert struck is not None
    assert struck.reason == "it was water"


@pytest.mark.parametrize("width", [PHONE, SCREEN])
def test_no_form_is_wider_than_the_screen_and_all_that_is_touched_is_a_thumb_high(
    bench: EntryBench, visit: Visit, width: int
) -> None:
    page = visit(bench.cellar, "/enter?vessel=K1", width=width, clock=_clock)
    links = page.locator("ul.kinds a")
    paths = [link.get_attribute("href") or "" for link in links.all()]
    for path in [*(path for path in paths if path.startswith("/enter/")), "/journal", "/journal/1/strike"]:
        page.goto(visit.address(bench.cellar) + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        low = page.evaluate(
            "[...document.querySelectorAll('main input:not([type=hidden]), main select, main textarea, main button')]"
            ".filter(each => each.checkVisibility() && each.type !== 'checkbox')"
            ".filter(each => each.getBoundingClientRect().height < 43).map(each => each.outerHTML.slice(0, 80))"
        )
        assert low == [], path


def test_the_form_works_without_script(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/titration?vessel=K1", width=PHONE, script=False, clock=_clock)
    expect(page.get_by_label("The result?")).to_be_visible()
    _fill(page)
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".result")).to_contain_text("33 mg/L")
    page.get_by_role("button", name="Change it").click()
    expect(page.get_by_label("The titre? 1")).to_have_value("1.25")
    page.get_by_role("button", name="Check it").click()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    assert len(bench.new()) == 1


def test_a_test_day_is_checked_row_by_row_and_saved_together(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/test-day", width=PHONE, clock=_clock)
    page.get_by_role("radio", name="free", exact=True).check()
    page.get_by_role("radio", name="iodometric", exact=True).check()
    page.get_by_label("Which bottle of titrant?").select_option("iodine 3")
    page.get_by_label("How much wine in the flask?").fill("25")
    page.get_by_label("K1, flask 1").fill("1.25")
    page.get_by_label("K1, flask 2").fill("1,30")
    page.get_by_label("C1, flask 1").fill("0.9")
    page.get_by_label("Who did it?").fill("Ana")
    assert serious_findings(page) == []
    page.reload()
    expect(page.get_by_label("K1, flask 2")).to_have_value("1,30")
    page.get_by_role("button", name="Check them").click()
    expect(page.locator(".result")).to_contain_text("33 mg/L free SO2")
    expect(page.locator(".result")).to_contain_text("23 mg/L free SO2")
    assert serious_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
    page.get_by_role("button", name="Save all").dblclick()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    assert [entry.place for entry in bench.new()] == ["K1", "C1"]


def test_a_form_whose_session_has_ended_is_kept_until_somebody_logs_in(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/inspection?vessel=C1", clock=_clock)
    page.get_by_label("Smell?").fill("struck match")
    page.route(
        "**/enter/inspection",
        lambda route: route.fulfill(status=401, json={"error": "Log in first: at /login in a browser."}),
    )
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".trouble")).to_contain_text("Log in first: at /login in a browser. What you filled in is kept")
    link = page.locator(".trouble").get_by_role("link", name="Log in")
    expect(link).to_have_attribute("href", "/login?next=%2Fenter%2Finspection%3Fvessel%3DC1")
    page.unroute_all()
    page.reload()
    expect(page.get_by_label("Smell?")).to_have_value("struck match")
    visit.troubles[:] = [trouble for trouble in visit.troubles if "401" not in trouble]


def test_hostile_text_stands_in_forms_and_journal_as_text(bench: EntryBench, visit: Visit) -> None:
    page = visit(bench.cellar, "/enter/inspection?vessel=C1", width=PHONE, clock=_clock)
    page.get_by_label("Smell?").fill(HOSTILE)
    page.get_by_label("Who did it?").fill(HOSTILE)
    page.reload()
    expect(page.get_by_label("Smell?")).to_have_value(HOSTILE)
    page.get_by_role("button", name="Check it").click()
    expect(page.locator(".result")).to_contain_text("<script>alert('K1')</script>")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    page.goto(visit.address(bench.cellar) + "/journal")
    expect(page.locator("main")).to_contain_text("<img src=x onerror=")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
    assert page.locator("main img, main script").count() == 0


# ---- a pH probe in its buffer ----------------------------------------------------------------------------------------

ELECTRODE = "/enter/calibration/k1-ph"


def _forgive_refusals(visit: Visit) -> None:
    """Chromium reports a form that is not ready as an error."""
    visit.troubles[:] = [trouble for trouble in visit.troubles if "422" not in trouble]


class Dipped(EntryBench):
    """A bench with a pH probe; the page's clock stands where the last reading was stored."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, more=probe("k1-ph", "K1", quantity="pH", topic="k1/ph", unit="pH", every="10 s"))
        self.series = declare(self.store, declarations(self.cellar), NOW)["k1-ph"]
        self.now = NOW

    def read(self, *values: float) -> None:
        """Let ten seconds pass before each reading."""
        for ph in values:
            self.now += 10_000
            assert Appender(self.store).append([(self.series, self.now, ph, 0)]).stored == 1


@pytest.fixture
def dipped(tmp_path: Path) -> Iterator[Dipped]:
    bench = Dipped(tmp_path)
    yield bench
    bench.store.close()


def test_a_ph_probe_is_watched_in_its_buffers_and_taken_with_one_press(dipped: Dipped, visit: Visit) -> None:
    dipped.read(6.9, 7.0)
    page = visit(dipped.cellar, ELECTRODE, width=PHONE, clock=lambda: dipped.now)
    shows = page.locator("#buffer-reading")
    expect(shows).to_contain_text("still moves")
    page.get_by_label("How warm are the buffers?").fill("20")
    page.get_by_label("Which buffers did it stand in? 1").fill("7.00")
    page.get_by_label("Which buffers did it stand in? 2").fill("4.01")
    assert serious_findings(page) == []
    # Pressed too early it takes nothing, and says why beside the readings.
    take = page.get_by_role("button", name="Take it for buffer 7.00")
    take.click()
    expect(page.locator("#wrong-reads")).to_contain_text("it still moves: 6.90 to 7.00 in the last minute")
    dipped.read(7.05, 7.05, 7.05, 7.05, 7.05, 7.05, 7.05)
    expect(shows).to_contain_text("stands still")
    expect(shows.locator(".value")).to_have_text("7.05")
    assert serious_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
    take.click()
    expect(page.get_by_label("What was read in each? 1")).to_have_value("7.050")
    expect(shows).to_contain_text("Rinse the probe, put it into the next buffer")
    expect(page.get_by_role("button", name="Take it for buffer 4.01")).to_be_focused()
    dipped.read(4.15, 4.15, 4.15, 4.15)
    expect(shows).to_contain_text("stands still")
    # What was taken outlives the page.
    page.reload()
    expect(page.get_by_label("What was read in each? 1")).to_have_value("7.050")
    expect(shows).to_contain_text("stands still")
    page.get_by_role("button", name="Take it for buffer 4.01").click()
    expect(page.get_by_label("What was read in each? 2")).to_have_value("4.150")
    page.get_by_label("Who did it?").fill("Ana")
    # Enter checks the form; it does not take a reading.
    page.get_by_label("Who did it?").press("Enter")
    expect(page.locator(".result")).to_be_visible()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Written down")).to_be_visible()
    (entry,) = dipped.new()
    assert isinstance(entry.body, CalibrationBody)
    assert [point.shown for point in entry.body.points] == [7.05, 4.15]
    _forgive_refusals(visit)


def test_a_ph_probe_that_cannot_be_heard_any_more_is_not_shown_as_still(dipped: Dipped, visit: Visit) -> None:
    dipped.read(7.05, 7.05, 7.05, 7.05)
    page = visit(dipped.cellar, ELECTRODE, clock=lambda: dipped.now)
    shows = page.locator("#buffer-reading")
    expect(shows).to_contain_text("stands still")
    page.context.set_offline(True)
    expect(shows).to_contain_text("not live")
    expect(shows).to_contain_text("Leeside does not answer")
    page.context.set_offline(False)
    expect(shows).to_contain_text("stands still")
    visit.troubles[:] = [trouble for trouble in visit.troubles if "net::ERR" not in trouble]


def test_a_ph_reading_is_taken_without_scripts(dipped: Dipped, visit: Visit) -> None:
    dipped.read(7.05, 7.05, 7.05, 7.05)
    page = visit(dipped.cellar, ELECTRODE, width=PHONE, script=False, clock=lambda: dipped.now)
    expect(page.locator("#buffer-reading")).to_contain_text("stands still")
    page.get_by_role("button", name="Take it for buffer no. 1").click()
    expect(page.get_by_label("What was read in each? 1")).to_have_value("7.050")
    page.get_by_label("Which buffers did it stand in? 1").fill("7.00")
    page.get_by_label("Which buffers did it stand in? 1").press("Enter")
    expect(page.get_by_text("How warm are the buffers?").first).to_be_visible()
    expect(page.locator(".problems")).to_contain_text("temperature")
    _forgive_refusals(visit)
