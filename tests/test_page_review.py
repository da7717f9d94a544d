"""The page's review, asked as a browser and as a program ask it: points, wishes, pictures, sheets, JSON."""

from __future__ import annotations

import html
import json
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_page import Asker, asker
from a_rested_cellar import NOW_MS, RestedCellar
from eventually import eventually
from fastapi import HTTPException

from alerts.errors import PictureFailed
from alerts.page.review.print_size import print_sizes
from alerts.page.review.review_answers import ReviewAnswer
from alerts.page.review.review_pictures import ReviewPictures
from alerts.page.review.review_request import with_fields
from alerts.pictures import Chart, ChartLine, ChartPane
from alerts.review import ReviewAsked, review_json, whole_review
from alerts.review.section import Review, ReviewSection, ReviewVerdict

HTML = {"accept": "text/html"}


@pytest.fixture(scope="module")
def rested(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RestedCellar]:
    cellar = RestedCellar(tmp_path_factory.mktemp("rested"))
    yield cellar
    cellar.store.close()


@pytest.fixture(scope="module")
def page(rested: RestedCellar) -> Iterator[Asker]:
    with asker(rested.cellar, clock=lambda: NOW_MS) as asking:
        yield asking


def test_every_point_is_there_by_word_and_shape(page: Asker) -> None:
    answer = page.get("/review/K1?to=K2", **HTML)
    assert answer.status_code == 200
    titles = re.findall(r"<span>([^<]+):</span> <span class=\"word\">([^<]+)</span>", answer.text)
    assert [title for title, _ in titles] == [
        "Since the last racking",
        "Clarity and lees",
        "Temperature and rest",
        "Blanket",
        "SO2",
        "Space in K2",
        "Purging K2",
        "Pushing from K1",
        "Gas",
        "Room air",
        "Dose after",
        "Open alarms",
    ]
    assert dict(titles)["Blanket"] == "take care"
    marks = re.findall(r"<h2>\s*<svg class=\"mark (\w+)\"", answer.text)
    assert len(marks) == len(titles)
    assert "Racking is due since 24 Nov" in answer.text
    assert "leeside enter" not in answer.text
    assert '<a class="form" href="/enter/racking?from=K1&amp;to=K2">racking</a>' in answer.text
    # Strict rules on content allow no style and no script inside the text.
    assert not re.search(r"<[^>]+ (style|on\w+)=", answer.text)
    assert re.findall("<script[^>]*>", answer.text) == ['<script type="module" src="/static/review.js">']


def test_a_bottling_has_its_own_points_and_wishes(page: Asker) -> None:
    text = page.get("/review/K1?for=bottling&bottle_l=1,5&to=K2", **HTML).text
    assert "<h1>Bottling K1</h1>" in text
    assert "bottles of 1.5 L" in text
    assert 'name="o2_mg_l"' in text
    assert 'name="blanket_kpa"' not in text
    assert 'id="to"' not in text


def test_the_same_as_the_command_prints_in_json(rested: RestedCellar, page: Asker) -> None:
    answer = page.get("/api/review/K1?to=K2&volume_l=10")
    with rested.store.read():
        asked = ReviewAsked(vessel="K1", to="K2")
        whole = whole_review(rested.cellar, rested.store, asked, rested.cellar.file, NOW_MS).review
    assert answer.json()["sections"]["receiver"]["moved_l"] == 10.0
    same = page.get("/api/review/K1?to=K2").json()
    assert same == json.loads(json.dumps(review_json(whole)))
    ReviewAnswer.model_validate(same)
    assert "/api/review/{vessel}" in page.get("/api/openapi.json").json()["paths"]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("volume_l=many", "&#39;many&#39; is not a number"),
        ("volume_l=1e999", "is not a usable number"),
        ("volume_l=25", "K1 holds 18 L"),
        ("to=K9", "no vessel &#39;K9&#39;; there are: K1, K2, C1"),
        ("to=K1", "into itself"),
        ("bore_mm=0", "1 to 100 mm"),
        ("for=bottling&bottle_l=99", "bottles hold 0.05 to 30 L"),
    ],
)
def test_a_wish_that_cannot_be_is_said_beside_the_form(page: Asker, query: str, words: str) -> None:
    answer = page.get(f"/review/K1?{query}", **HTML)
    assert answer.status_code == 400
    assert words in answer.text
    assert '<form class="wishes"' in answer.text
    field = query.rpartition("&")[2].partition("=")[0]
    if field != "to":
        assert re.search(rf'name="{field}"[^>]* aria-invalid="true"', answer.text)
    program = page.get(f"/api/review/K1?{query}")
    assert (program.status_code, set(program.json())) == (400, {"error"})


def test_an_empty_vessel_and_one_that_there_is_not(page: Asker) -> None:
    empty = page.get("/review/K2", **HTML)
    assert (empty.status_code, "K2 is empty: there is no wine in it to move" in empty.text) == (400, True)
    assert page.get("/review/k1", **HTML).status_code == 404
    missing = page.get("/api/review/k1")
    assert (missing.status_code, missing.json()["error"]) == (404, "no vessel 'k1'; did you mean K1?")
    assert page.get("/review/N2/temperature.svg").status_code == 404
    assert page.get("/api/review/K1?for=drinking").status_code == 422


def test_pictures_and_sheets(page: Asker) -> None:
    picture = page.get("/review/K1/pressure.svg")
    assert (picture.status_code, picture.headers["content-type"]) == (200, "image/svg+xml")
    assert b"<svg" in picture.content
    # What was drawn in this minute is not drawn again.
    assert page.get("/review/K1/pressure.svg").content == picture.content
    pdf = page.get("/review/K1/sheet.pdf?to=K2")
    assert (pdf.headers["content-type"], len(re.findall(rb"/Type /Page\b(?!s)", pdf.content))) == ("application/pdf", 2)
    png = page.get("/review/K1/sheet-2.png?for=bottling")
    assert png.content.startswith(b"\x89PNG")
    assert page.get("/review/K1/sheet-3.png").status_code == 422
    assert page.get("/review/K1/secret.svg").status_code == 422
    nothing = page.get("/review/C1/pressure.svg")
    assert (nothing.status_code, nothing.json()["error"]) == (404, "There is nothing to draw: C1 has no pressure.")


CHART = Chart(
    title="K1",
    from_ms=0,
    until_ms=1000,
    zone="UTC",
    panes=(ChartPane(title="°C", lines=(ChartLine(at_ms=(0, 1000), values=(1.0, 2.0)),)),),
)


def test_pictures_are_drawn_one_at_a_time_and_a_flood_is_refused() -> None:
    begun, may_end = threading.Event(), threading.Event()
    running: list[str] = []
    most: list[int] = []

    def slow(picture: Any, kind: str, timeout_s: float, *, sheet: int) -> bytes:
        running.append(kind)
        most.append(len(running))
        begun.set()
        may_end.wait(30)
        running.remove(kind)
        return f"{kind}{sheet}".encode()

    pictures = ReviewPictures(slow)
    answers: list[bytes] = []
    threads = [
        threading.Thread(target=lambda number=number: answers.append(pictures.drawn(CHART, "png", number)))
        for number in range(8)
    ]
    for thread in threads:
        thread.start()
    assert begun.wait(30)
    eventually(lambda: pictures.waiting == 8)
    with pytest.raises(HTTPException) as refused:
        pictures.drawn(CHART, "svg")
    assert refused.value.status_code == 503
    may_end.set()
    for thread in threads:
        thread.join(30)
    assert sorted(answers) == [f"png{number}".encode() for number in range(8)]
    assert max(most) == 1


def test_a_picture_that_cannot_be_drawn_is_no_fault_of_the_page() -> None:
    def failing(*_: Any, **__: Any) -> bytes:
        raise PictureFailed("the picture was not drawn within 60 s")

    with pytest.raises(HTTPException, match="503") as refused:
        ReviewPictures(failing).drawn(CHART, "png")
    assert "within 60 s" in refused.value.detail


@pytest.mark.parametrize(
    ("letters", "size"), [(20, "print-8"), (200, "print-7"), (225, "print-6"), (3000, "print-brief")]
)
def test_letters_become_smaller_before_details_are_left_out(letters: int, size: str) -> None:
    section = ReviewSection("x", "Title", ReviewVerdict.IN_ORDER, "a" * letters, ("b" * letters,) * 2)
    review = Review("K1", "", NOW_MS, (section,) * 12, ("c" * 20,) * 12, ("d" * 20,) * 8)
    assert print_sizes(review).points == size
    assert print_sizes(review).work == "print-8"


def test_what_people_wrote_is_shown_as_text(tmp_path: Path) -> None:
    cellar = RestedCellar(tmp_path, readings=False)
    odd = "<script>alert(1)</script> & <img src=x onerror='alert(1)'>"
    cellar.write(0.1, "inspection", "K1", clarity="clear", smell=odd)
    with asker(cellar.cellar, clock=lambda: NOW_MS) as asking:
        text = asking.get("/review/K1", **HTML).text
        assert asking.get("/api/review/K1").json()["sections"]["clarity"]["inspections"][-1]["smell"] == odd
    cellar.store.close()
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;img src=x" in text


def test_options_of_the_command_are_the_fields_of_the_form_on_the_page(page: Asker) -> None:
    text = html.unescape(page.get("/review/K1", **HTML).text)
    assert 'choose one and give it with "Into".' in text or 'Name one with "Into"' in text
    assert "--to" not in text
    assert with_fields("or give --volume-l, not --to-free") == 'or give "How much", not --to-free'
