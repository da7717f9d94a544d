"""Which form of the page an advice leads to, with what filled in; and that no advice of leeside leads nowhere."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.page.advice_links import advice_links
from alerts.view.entries.advised_forms import About, advice_parts, advised_paths, form_path
from ingest.cellar.due_work import DUE_WORK
from ingest.journal.kinds import KINDS

K1 = About("K1", "keg", "riesling-26")
TOP = Path(__file__).parent.parent


@pytest.mark.parametrize(
    ("text", "shown", "path"),
    [
        ("write it down (leeside enter titration). If", "write it down (titration). If", "titration?vessel=K1"),
        ("down (leeside enter titration FILE --vessel K2 --quantity free ...). For", "down (titration). For",
         "titration?vessel=K2&quantity=free"),
        # What was found is not for leeside to say before.
        ("it: leeside enter inspection FILE --vessel K1 --clarity clear --lees '5 mm' --film no.", "it: inspection.",
         "inspection?vessel=K1"),
        ("(leeside enter measurement FILE --lot LOT --quantity sugar --value '1.5 g/L'); a", "(measurement); a",
         "measurement?vessel=K1&quantity=sugar"),
        ("--vessel: leeside enter measurement FILE --vessel K1 --quantity 'carbon dioxide' --value 3.4), or",
         "--vessel: measurement), or", "measurement?vessel=K1&quantity=carbon+dioxide"),
        ("it: leeside enter racking '/a b/c.toml' --from K1 --to K2 --blend --air 'under gas'", "it: racking",
         "racking?from=K1&to=K2"),
        ("it: leeside enter racking c.toml --from K1=5L --to VESSEL --air closed", "it: racking",
         "racking?from=K1%3D5L"),
        ("saw: leeside enter vessel-status --airlock yes.", "saw: vessel status.", "vessel-status?vessel=K1"),
        ("as complete (leeside enter lot); if", "as complete (lot); if", "lot?lot=riesling-26"),
        ("up (leeside enter topping), or", "up (topping), or", "topping?vessel=K1"),
        ("it: leeside enter calibration.", "it: calibration.", "calibration"),
    ],
)  # fmt: skip
def test_the_name_of_a_form_stands_where_the_command_stood(text: str, shown: str, path: str) -> None:
    assert "".join(part.text for part in advice_parts(text, K1)) == shown
    assert advised_paths(text, K1) == (f"/enter/{path}",)


def test_a_dose_leads_to_the_review_of_the_vessel() -> None:
    text = "(leeside enter titration). If it is low, leeside dose FILE K1 works out what to add"
    assert [(part.text, part.path) for part in advice_parts(text, K1)][2:] == [
        ("). If it is low, ", ""), ("the review of K1", "/review/K1"), (" works out what to add", "")
    ]  # fmt: skip
    assert advised_paths(text, K1) == ("/enter/titration?vessel=K1",)
    assert advice_parts("then ask leeside dose K 2.", K1)[0].text == "then ask leeside dose K 2."
    assert advice_parts("then ask leeside dose K2.", K1)[1] == ("the review of K2", "/review/K2")
    assert [part.path for part in advice_parts("what `leeside dose` works out, or leeside bench dose", K1)] == [""]


def test_two_commands_lead_to_two_forms_and_other_commands_stay() -> None:
    text = "(leeside enter first-filling, leeside enter racking), then leeside now c.toml, not leeside enter wine"
    assert advised_paths(text, K1) == ("/enter/first-filling?vessel=K1", "/enter/racking?from=K1")
    shown = "".join(part.text for part in advice_parts(text, K1))
    assert shown == "(first filling, racking), then leeside now c.toml, not leeside enter wine"


def test_a_place_answers_the_question_that_asks_for_such_a_place() -> None:
    assert form_path("gas", About("CO2", "cylinder")) == "/enter/gas?cylinder=CO2"
    assert form_path("measurement", About("cellar", "room")) == "/enter/measurement?room=cellar"
    assert form_path("titration", About("CO2", "cylinder")) == "/enter/titration"
    assert form_path("titration", About(lot="must 3")) == "/enter/titration?lot=must+3"
    assert form_path("calibration", About("K1", "keg", probe="k1/ph")) == "/enter/calibration/k1%2Fph"
    assert form_path("wine", K1) == ""


def test_every_advice_of_due_work_that_is_written_down_leads_to_a_form() -> None:
    without = {name for name, work in DUE_WORK.items() if not advised_paths(work.action, K1)}
    assert without == {"racking"}, "racking is looked at first"


def test_every_command_in_the_texts_of_alerts_and_ingest_is_understood() -> None:
    """No text names a kind of entry that has no form, or an option in a way that would be left over."""
    seen = 0
    for package in ("alerts", "ingest"):
        for file in (TOP / package).rglob("*.py"):
            if "command" in file.parts or file.name == "advised_forms.py":
                continue
            for name in re.findall(r"leeside enter ([a-z]+(?:-[a-z]+)*)", file.read_text(encoding="utf-8")):
                assert name in KINDS, f"{file}: {name}"
                assert form_path(name, K1), f"{file}: {name}"
                seen += 1
    assert seen > 20


@given(st.text(alphabet=st.sampled_from("<>&'\" -.()\n\u202eab"), max_size=60), st.text(max_size=20))
def test_whatever_stands_in_an_advice_is_text(words: str, place: str) -> None:
    html = str(advice_links(f"{words}leeside enter titration {words}", About(place, "keg")))
    assert re.sub(r'<a class="form" href="[^"<>\n]*">titration</a>', "", html, count=1).find("<") == -1
    assert "\u202e" not in html
    path = re.search(r'href="([^"]*)"', html)
    assert path is not None
    query = urlsplit(path[1].replace("&amp;", "&").replace("&#39;", "'")).query
    if place.strip():
        assert parse_qs(query, keep_blank_values=True)["vessel"] == [place]
