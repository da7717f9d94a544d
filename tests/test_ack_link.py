"""Links that acknowledge: what is signed is read back; what is forged, cut off or old is refused with the reason."""

from __future__ import annotations

import stat
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from cellar_text import BASE
from hypothesis import given
from hypothesis import strategies as st

from alerts.ack_link import AckLink, link_key, signed_link, verified_link
from alerts.errors import AlertsError, LinkRefused
from ingest.cellar import parse_cellar

KEY = b"k" * 43
NOW = 1_750_000_000_000
ZONE = ZoneInfo("Europe/Ljubljana")
LINK = AckLink("7f3k", "ana", NOW + 1000)
_LINE = st.text(st.characters(exclude_characters="\n", exclude_categories=["Cs"]), min_size=1)


@given(_LINE, _LINE, st.integers(NOW // 1000 + 1, 2 * NOW // 1000))
def test_what_is_signed_is_read_back(occurrence: str, person: str, until_s: int) -> None:
    link = AckLink(occurrence, person, until_s * 1000)
    token = signed_link(KEY, link)
    assert verified_link(KEY, token, NOW, ZONE) == link
    assert set(token) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.")


@given(st.text() | st.from_regex(r"[A-Za-z0-9_-]{5,80}\.[A-Za-z0-9_-]{27}", fullmatch=True))
def test_nothing_that_somebody_makes_up_is_good(token: str) -> None:
    with pytest.raises(LinkRefused, match="was not made by this leeside, or a part of it is missing"):
        verified_link(KEY, token, NOW, ZONE)


@given(st.data())
def test_a_link_that_is_changed_in_one_place_or_cut_off_is_refused(data: st.DataObject) -> None:
    token = signed_link(KEY, LINK)
    place = data.draw(st.integers(0, len(token) - 1))
    other = data.draw(st.sampled_from("AQgw_-x9.").filter(lambda letter: letter != token[place]))
    for changed in (token[:place] + other + token[place + 1 :], token[:place], token + "A"):
        with pytest.raises(LinkRefused, match="was not made by this leeside"):
            verified_link(KEY, changed, NOW, ZONE)


def test_another_key_and_another_purpose_are_refused() -> None:
    token = signed_link(KEY, LINK)
    with pytest.raises(LinkRefused, match="was not made by this leeside"):
        verified_link(b"another key", token, NOW, ZONE)


def test_an_old_link_is_refused_and_says_until_when_it_was_good() -> None:
    token = signed_link(KEY, LINK)
    assert verified_link(KEY, token, LINK.until_ms - 1, ZONE) == LINK
    with pytest.raises(LinkRefused, match=r"was good until 2025-06-15 17:06:41.*`leeside acknowledge` works without"):
        verified_link(KEY, token, LINK.until_ms, ZONE)


def test_the_key_is_for_its_owner_alone_and_stays(tmp_path: Path) -> None:
    read = parse_cellar(BASE, file="cellar.toml", base=tmp_path)
    key = link_key(read)
    assert link_key(read) == key
    (file,) = tmp_path.glob("*.link-key")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    file.write_text("short\n", encoding="ascii")
    with pytest.raises(AlertsError, match="does not hold the key of links; remove it, and a new one is made"):
        link_key(read)
