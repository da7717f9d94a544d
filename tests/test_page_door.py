"""The door of the page: what is closed and what is open, logging in and out, and what survives a restart."""

from __future__ import annotations

import json
import stat
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from a_page import ADDRESS, PASSWORD, PASSWORD_HASH, Asker, asker, hidden_token

from alerts.page.doors.known_browsers import KNOWN_COOKIE
from alerts.page.doors.passwords import hash_of
from alerts.page.doors.sessions import SESSION_COOKIE, SESSION_DAYS, Sessions, session_file

HTML = "text/html,application/xhtml+xml"


class Doors:
    """Visitors of one cellar's page with a password; each gets the page as made after a restart."""

    def __init__(self, cellar: CellarOnDisk, stack: ExitStack) -> None:
        self.on_disk = cellar
        self.now_ms = NOW
        self.file = session_file(cellar.cellar.store_path)
        self._stack = stack

    def visitor(self, password_hash: str = PASSWORD_HASH, client: str = "127.0.0.1", url: str = ADDRESS) -> Asker:
        made = asker(
            self.on_disk.cellar,
            password_hash=password_hash,
            sessions_file=self.file,
            clock=lambda: self.now_ms,
            client=client,
            base_url=url,
        )
        return self._stack.enter_context(made)


@pytest.fixture
def doors(on_disk: CellarOnDisk) -> Iterator[Doors]:
    with ExitStack() as stack:
        yield Doors(on_disk, stack)


def test_nothing_is_seen_without_the_password(doors: Doors) -> None:
    ana = doors.visitor()
    asked = ana.get("/", Accept=HTML)
    assert (asked.status_code, asked.headers["location"]) == (303, "/login")
    asked = ana.get("/alarms?at=K1", Accept=HTML)
    assert (asked.status_code, asked.headers["location"]) == (303, "/login?next=%2Falarms%3Fat%3DK1")
    for path in ("/", "/api/openapi.json", "/api/nothing", "/nothing", "/static", "/Static/leeside.css", "/login/x"):
        refused = ana.get(path)
        assert refused.status_code == 401, path
        assert refused.json() == {
            "error": "Log in first: at /login in a browser, or with POST /api/session from a program."
        }
    sent = ana("POST", "/enter/sample", headers={"Accept": HTML})
    assert (sent.status_code, sent.headers["location"]) == (303, "/login?next=%2Fenter%2Fsample")
    assert ana("POST", "/enter/sample").status_code == 401
    assert ana.get("/static/leeside.css").status_code == 200


def test_a_person_logs_in_and_is_where_they_wanted_to_be(doors: Doors) -> None:
    ana = doors.visitor()
    sheet = ana.get("/login?next=/api/openapi.json", Accept=HTML)
    assert sheet.status_code == 200
    form = {"password": PASSWORD, "next": "/api/openapi.json", "token": hidden_token(sheet.text)}
    done = ana("POST", "/login", data=form)
    assert (done.status_code, done.headers["location"]) == (303, "/api/openapi.json")
    cookie = next(line for line in done.headers.get_list("set-cookie") if line.startswith(SESSION_COOKIE))
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Secure" not in cookie
    assert ana.get("/api/openapi.json").status_code == 200
    assert "Log out" in ana.get("/", Accept=HTML).text
    assert ana.get("/login", Accept=HTML).status_code == 303


@pytest.mark.parametrize(
    "elsewhere", ["//evil.example", "https://evil.example", "/\\evil.example", "evil", "", "/a\r\nX: 1", "/ä"]
)
def test_a_log_in_leads_to_this_page_only(doors: Doors, elsewhere: str) -> None:
    ana = doors.visitor()
    sheet = ana("GET", "/login", params={"next": elsewhere})
    form = {"password": PASSWORD, "next": elsewhere, "token": hidden_token(sheet.text)}
    assert ana("POST", "/login", data=form).headers["location"] == "/"


def test_a_wrong_password_and_none_are_refused_alike(doors: Doors) -> None:
    ana = doors.visitor()
    for password in ("", "four dry words herE", PASSWORD + " ", "x" * 256):
        refused = doors.visitor().log_in(password)
        assert (refused.status_code, refused.json()) == (401, {"error": "That is not the password."}), password
    form = {"password": "no", "token": hidden_token(ana.get("/login").text)}
    sheet = ana("POST", "/login", data=form, headers={"Accept": HTML})
    assert sheet.status_code == 401
    assert "That is not the password." in sheet.text
    assert SESSION_COOKIE not in ana.cookies
    assert ana.post("/api/session", {"password": "x" * 300}).status_code == 422


def test_a_log_in_of_another_site_is_not_even_tried(doors: Doors) -> None:
    ana = doors.visitor()
    assert ana("POST", "/login", data={"password": PASSWORD}).status_code == 403
    assert ana("POST", "/api/session", json={"password": PASSWORD}).status_code == 403
    for _ in range(10):
        ana("POST", "/login", data={"password": "guess"})
    assert ana.log_in().status_code == 200, "no try was used up"


def test_a_password_in_another_spelling_of_the_same_letters_is_the_same(doors: Doors) -> None:
    composed, decomposed = "tr\u00e8s bonne ann\u00e9e", "tre\u0300s bonne anne\u0301e"
    assert composed != decomposed
    assert doors.visitor(hash_of(composed)).log_in(decomposed).status_code == 200


def test_guessing_is_slowed_for_one_address_and_the_owner_still_gets_in(doors: Doors) -> None:
    guesser = doors.visitor(client="192.0.2.7")
    codes = [guesser.log_in("guess").status_code for _ in range(7)]
    assert codes == [401] * 5 + [429] * 2
    refused = guesser.log_in(PASSWORD)
    assert refused.status_code == 429, "the right password helps as little"
    assert 1 <= int(refused.headers["retry-after"]) <= 60
    assert refused.json()["error"].startswith("There were too many tries. Wait ")
    owner = Asker(guesser.app, client="192.0.2.8")
    with owner:
        assert owner.log_in().status_code == 200
        assert owner.get("/").status_code == 200


def test_a_flood_of_wrong_passwords_does_not_lock_out_a_browser_that_has_logged_in_before(doors: Doors) -> None:
    owner = doors.visitor(client="192.0.2.8")
    assert owner.log_in().status_code == 200
    assert owner("POST", "/logout", data={"token": owner.token()}).status_code == 303
    for number in range(12):
        with Asker(owner.app, client=f"198.51.100.{number}") as stranger:
            refusals = [stranger.log_in("guess").status_code for _ in range(5)]
    assert refusals == [429] * 5
    with Asker(owner.app, client="192.0.2.8") as unknown:
        assert unknown.log_in().status_code == 429, "the same house, but another browser"
    # It has no more tries than anybody else.
    assert [owner.log_in("mistyped").status_code for _ in range(4)] == [401] * 4
    assert owner.log_in().status_code == 200
    assert [owner.log_in("guess").status_code for _ in range(7)] == [401] * 5 + [429] * 2
    assert owner.log_in().status_code == 429


def test_whoever_makes_up_the_cookie_of_a_known_browser_counts_as_a_stranger(doors: Doors) -> None:
    guesser, codes = doors.visitor(client="192.0.2.7"), []
    for number in range(7):
        guesser.cookies.set(KNOWN_COOKIE, f"{number:022d}.{NOW * 2}.{'0' * 64}")
        codes.append(guesser.log_in("guess").status_code)
    assert codes == [401] * 5 + [429] * 2


def test_a_session_survives_a_restart_ends_in_time_and_by_logging_out(doors: Doors) -> None:
    ana, ben = doors.visitor(), doors.visitor()
    assert ana.log_in().status_code == 200
    again = doors.visitor()
    again.cookies.update(ana.cookies)
    assert again.get("/").status_code == 200
    assert again.token() == ana.token(), "a half-filled form can still be sent after a restart"
    doors.now_ms = NOW + SESSION_DAYS * 86_400_000 - 1
    assert again.get("/").status_code == 200
    doors.now_ms += 1
    assert again.get("/").status_code == 401
    assert again.log_in().status_code == 200
    stolen = dict(again.cookies)
    out = again("POST", "/logout", data={"token": again.token()})
    assert (out.status_code, out.headers["location"]) == (303, "/login")
    assert SESSION_COOKIE not in again.cookies
    ben.cookies.update(stolen)
    assert ben.get("/").status_code == 401, "a copy of the cookie ends with it"


def test_programs_log_in_and_out(doors: Doors) -> None:
    program = doors.visitor()
    assert program.get("/api/session").json() == {
        "password_needed": True,
        "logged_in": False,
        "token": program.token(),
    }
    assert program.log_in().json()["logged_in"] is True
    assert program.get("/api/openapi.json").status_code == 200
    gone = program("DELETE", "/api/session", headers={"X-Leeside-Token": program.token()})
    assert gone.json()["logged_in"] is False
    assert program.get("/api/openapi.json").status_code == 401


def test_another_password_ends_all_sessions(doors: Doors) -> None:
    ana = doors.visitor()
    assert ana.log_in().status_code == 200
    changed = doors.visitor(hash_of("another four dry words"))
    changed.cookies.update(ana.cookies)
    assert changed.get("/").status_code == 401


def test_under_tls_cookies_never_travel_in_the_clear(doors: Doors) -> None:
    ana = doors.visitor(url="https://127.0.0.1:8420")
    assert ana.log_in().status_code == 200
    ana.cookies.clear()
    for answer in (ana.get("/api/session"), ana.log_in()):
        for line in answer.headers.get_list("set-cookie"):
            assert "Secure" in line


def test_the_file_of_sessions_is_for_its_owner_and_holds_no_secret(doors: Doors) -> None:
    ana = doors.visitor()
    ana.log_in()
    assert stat.S_IMODE(doors.file.stat().st_mode) == 0o600
    text = doors.file.read_text()
    assert str(ana.cookies[SESSION_COOKIE]) not in text
    assert PASSWORD_HASH not in text
    doors.file.chmod(0o644)
    doors.visitor()
    assert stat.S_IMODE(doors.file.stat().st_mode) == 0o600


@pytest.mark.parametrize("content", ["", "no JSON", '{"key": "short"}', '{"key": 1, "sessions": []}', "\u00e9" * 10])
def test_a_damaged_file_of_sessions_lets_nobody_in_and_stops_nothing(doors: Doors, content: str) -> None:
    ana = doors.visitor()
    ana.log_in()
    doors.file.write_text(content)
    again = doors.visitor()
    again.cookies.update(ana.cookies)
    assert again.get("/").status_code == 401
    assert again.log_in().status_code == 200


def test_a_folder_that_cannot_be_written_only_costs_a_log_in_after_a_restart(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path / "missing" / "file", "hash")
    assert sessions.holds(sessions.begin(NOW), NOW)


def test_sessions_are_bounded_and_the_oldest_goes_first(tmp_path: Path) -> None:
    file = tmp_path / "sessions.json"
    sessions = Sessions(file, "hash")
    first, second = sessions.begin(NOW), sessions.begin(NOW + 1)
    for number in range(99):
        sessions.begin(NOW + 2 + number)
    assert len(json.loads(file.read_text())["sessions"]) == 100
    assert not sessions.holds(first, NOW)
    assert sessions.holds(second, NOW)


def test_a_page_without_a_password_asks_for_none(on_disk: CellarOnDisk) -> None:
    with asker(on_disk.cellar) as ana:
        assert ana.get("/").status_code == 200
        assert ana.get("/api/session").json()["password_needed"] is False
        assert ana.get("/login", Accept=HTML).headers["location"] == "/"
        assert "Log out" not in ana.get("/", Accept=HTML).text


def test_an_answer_that_goes_on_ends_with_its_session(doors: Doors) -> None:
    from fastapi.responses import StreamingResponse

    ana = doors.visitor()
    ana.log_in()

    async def stream() -> StreamingResponse:
        async def events() -> object:
            yield b"data: 1\n\n"
            doors.now_ms = NOW + SESSION_DAYS * 86_400_000
            yield b"data: 2\n\n"

        return StreamingResponse(events(), media_type="text/event-stream")  # type: ignore[arg-type]

    ana.app.add_api_route("/stream", stream)
    assert ana.get("/stream").content == b"data: 1\n\n"


def test_a_link_from_a_mail_is_followed_with_the_cookies(doors: Doors) -> None:
    stranger = doors.visitor()
    followed = stranger.get("/a%3Cb?x=%22", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate", Accept=HTML)
    assert followed.status_code == 200
    assert followed.headers["refresh"] == "0;url=/a%3Cb?x=%22"
    assert "set-cookie" not in followed.headers
    elsewhere = stranger.get(ADDRESS + "//evil.example/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")
    assert elsewhere.headers["refresh"] == "0;url=/evil.example/"
    asked_again = stranger.get("/", Sec_Fetch_Site="same-origin", Sec_Fetch_Mode="navigate", Accept=HTML)
    assert asked_again.status_code == 303
