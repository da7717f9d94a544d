"""`leeside page`: where the page is, the code for a phone, the password."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from a_terminal import AtTheTerminal
from cellar_text import SITE, problems, table, write_cellar
from running import COMMAND, leeside

from alerts.page.doors.passwords import is_password

WORDS = "four dry words here"


def _file(folder: Path, **keys: object) -> Path:
    return write_cellar(folder, SITE, table("[page]", **keys))


def test_a_page_for_this_machine_has_no_code_for_a_phone(tmp_path: Path) -> None:
    file = _file(tmp_path)
    result = leeside("page", file)
    assert result.returncode == 0
    assert result.stdout.startswith("The page: http://127.0.0.1:8420/\nOnly this machine can reach it.")
    result = leeside("page", file, "--code")
    assert result.returncode == 1
    assert "█" not in result.stdout


@pytest.mark.parametrize(
    ("keys", "address"),
    [
        ({"address": "192.0.2.5:8420"}, "http://192.0.2.5:8420/"),
        ({"address": "[2001:db8::5]:8420"}, "http://[2001:db8::5]:8420/"),
        ({"address": "0.0.0.0:8420", "names": ["cellar.local"]}, "http://cellar.local:8420/"),
        ({"address": "192.0.2.5:443", "certificate": "c", "key": "k"}, "https://192.0.2.5:443/"),
        ({"url": "https://cellar.example"}, "https://cellar.example/"),
    ],
)
def test_a_phone_gets_the_address_that_it_can_reach(tmp_path: Path, keys: dict[str, object], address: str) -> None:
    file = _file(tmp_path, password_hash_env="X", **keys)
    result = leeside("page", file, "--code")
    assert result.returncode == 0
    assert result.stdout.startswith(f"The page: {address}\n")
    assert result.stdout.count("█") > 100
    out = json.loads(leeside("page", file, "--json").stdout)
    assert (out["address"], out["this_machine_only"], out["password"]) == (address, False, True)


def test_without_a_page_it_says_what_to_add(tmp_path: Path) -> None:
    result = leeside("page", write_cellar(tmp_path, SITE))
    assert result.returncode == 1
    assert "has no [page]; add one" in result.stderr
    assert leeside("page", _file(tmp_path), "--password", "--json").returncode == 2


def _piped(file: Path, text: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, "page", str(file), "--password"], input=text, capture_output=True, text=True, check=False, timeout=60
    )


def test_a_password_from_a_pipe_becomes_a_hash_in_the_file(tmp_path: Path) -> None:
    file = _file(tmp_path, password_hash_file="page-password")
    secret = tmp_path / "page-password"
    assert _piped(file, WORDS + "\n").returncode == 0
    assert secret.stat().st_mode & 0o777 == 0o600
    assert is_password(secret.read_text().strip(), WORDS)
    secret.chmod(0o640)
    assert _piped(file, WORDS + " again\n").returncode == 0
    assert secret.stat().st_mode & 0o777 == 0o640, "who may read it stays as it was"
    assert is_password(secret.read_text().strip(), WORDS + " again")
    refused = _piped(file, "short\n")
    assert refused.returncode == 1
    assert "it has 5 characters; at least 15 are needed" in refused.stderr
    assert is_password(secret.read_text().strip(), WORDS + " again")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cellar.toml", "page-password"]


def test_without_a_file_for_it_the_hash_is_printed(tmp_path: Path) -> None:
    result = _piped(_file(tmp_path), WORDS)
    assert is_password(result.stdout.strip(), WORDS)
    assert "name it in the cellar file" in result.stderr
    result = _piped(_file(tmp_path, password_hash_env="PAGE_HASH"), WORDS)
    assert is_password(result.stdout.strip(), WORDS)
    assert "Set PAGE_HASH to this" in result.stderr


def test_a_person_is_asked_twice_and_nothing_is_shown(tmp_path: Path) -> None:
    file = _file(tmp_path, password_hash_file="page-password")
    person = AtTheTerminal("page", str(file), "--password")
    try:
        for answer in ("too short", WORDS):
            person.until("New password of the page: ")
            person.say(answer)
        person.until("The same again: ")
        person.say("something else")
        person.until("New password of the page: ")  # until it asks, what is typed would be shown
        assert "The two were not the same." in person.seen
        person.say(WORDS)
        person.until("The same again: ")
        person.say(WORDS)
        assert person.end() == 0
    finally:
        person.close()
    assert WORDS not in person.seen
    assert is_password((tmp_path / "page-password").read_text().strip(), WORDS)


@pytest.mark.parametrize(
    ("keys", "key"),
    [
        ({"address": "0.0.0.0:8420"}, "address"),
        ({"url": "https://cellar.example"}, "url"),
        ({"names": ["cellar.local"]}, "names"),
        ({"trusted_proxy": ["127.0.0.1"]}, "trusted_proxy"),
    ],
)
def test_a_page_that_others_can_reach_needs_a_password(keys: dict[str, object], key: str) -> None:
    (problem,) = problems(SITE, table("[page]", **keys))
    assert problem.startswith(f"[page] {key} = ")
    assert "other machines can reach the page, so it needs a password" in problem


@pytest.mark.parametrize(
    ("keys", "problem"),
    [
        (
            {"password_hash_env": "X", "password_hash_file": "x"},
            "give password_hash_env or password_hash_file, not both",
        ),
        ({"certificate": "x"}, '[page] certificate = "x": needs key, the file of the other half, for https://'),
        ({"key": "x"}, '[page] key = "x": needs certificate'),
        ({"names": ["http://x"]}, 'a name without scheme, port and path, such as "cellar.local"'),
        ({"names": ["localhost"]}, "a name without scheme"),
        ({"names": ["*"]}, "a name without scheme"),
        ({"trusted_proxy": ["*"]}, "the address of the proxy"),
    ],
)
def test_keys_of_the_page_that_do_not_fit_are_named(keys: dict[str, object], problem: str) -> None:
    (found,) = problems(SITE, table("[page]", **keys))
    assert problem in found


def test_a_password_that_others_can_read_on_the_network_is_warned_of(tmp_path: Path) -> None:
    plain = _file(tmp_path, address="0.0.0.0:8420", password_hash_env="X")
    assert "the page's password crosses the network in the clear" in leeside("check", plain).stdout
    for keys in ({"certificate": "c", "key": "k"}, {"trusted_proxy": ["192.0.2.1"]}):
        file = _file(tmp_path, address="0.0.0.0:8420", password_hash_env="X", **keys)
        assert "in the clear" not in leeside("check", file).stdout
