"""Under which names the page answers."""

from __future__ import annotations

import pytest
from a_cellar_on_disk import CellarOnDisk
from a_page import asker
from cellar_text import SITE, cellar, table
from hypothesis import given
from hypothesis import strategies as st

from alerts.page.doors.hosts import host_of, names_of


@pytest.mark.parametrize(
    ("header", "host"),
    [
        ("127.0.0.1:8420", "127.0.0.1"),
        ("Cellar.LOCAL.", "cellar.local"),
        ("[::1]:8420", "::1"),
        ("[::1]", "::1"),
        ("[::1", ""),
        ("[::1]evil.example", ""),
        ("", ""),
        (":8420", ""),
    ],
)
def test_the_host_is_read_without_its_port(header: str, host: str) -> None:
    assert host_of(header) == host


@given(st.text(max_size=60))
def test_any_header_is_read(header: str) -> None:
    host_of(header)


def test_the_page_answers_under_its_names_only(on_disk: CellarOnDisk) -> None:
    for host in ("127.0.0.1", "localhost:8420", "[::1]:8420", "LOCALHOST"):
        with asker(on_disk.cellar, base_url="http://127.0.0.1") as ana:
            assert ana.get("/", Host=host).status_code == 200, host
            refused = ana.get("/", Host="evil.example")
            assert refused.status_code == 400
            assert "The page does not answer under the name 'evil.example'." in refused.text
            assert refused.headers["content-security-policy"].startswith("default-src 'none'")
            assert ana.get("/", Host="192.0.2.1").status_code == 400


def test_beyond_this_machine_it_answers_under_addresses_and_the_names_of_file_and_machine() -> None:
    keys = {"password_hash_env": "X", "names": ["Wine.example"], "url": "https://cellar.example"}
    page = cellar(SITE, table("[page]", address="0.0.0.0:8420", **keys)).page
    assert names_of(page, "pi.home") >= {"wine.example", "cellar.example", "pi.home", "pi", "pi.local", "localhost"}
    behind_proxy = cellar(SITE, table("[page]", **keys)).page
    assert "pi" not in names_of(behind_proxy, "pi")


def test_an_address_of_the_machine_is_a_name_where_it_listens_on_the_network() -> None:
    page = cellar(SITE, table("[page]", address="192.0.2.5:8420", password_hash_env="X"))
    with asker(page, base_url="http://192.0.2.5:8420") as ana:
        assert ana.get("/static/leeside.css").status_code == 200
        assert ana.get("/static/leeside.css", Host="[2001:db8::1]:8420").status_code == 200
        assert ana.get("/static/leeside.css", Host="evil.example").status_code == 400
