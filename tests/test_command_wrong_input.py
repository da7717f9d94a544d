"""Wrong input at the command: a clear error that says what is allowed, exit code 1 or 2, never a traceback."""

from __future__ import annotations

import subprocess
from pathlib import Path

import httpx
import pytest
from a_store import NOW, new_store
from cellar_text import KEG, PROBE, SITE, limit, mqtt, table, write_cellar
from eventually import eventually
from running import Leeside, leeside, leeside_process

from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.simulation.loopback import free_port
from ingest.store.readings.series import declare

GOOD = SITE + mqtt(port=1) + KEG + PROBE


def limited(**keys: str) -> str:
    return GOOD + limit(at="K1", **{"quantity": "pressure", **keys})


MISTAKES = {
    "unknown key": (GOOD.replace("capacity", "capasity"), ["[[vessel]] K1 capasity", "capacity"]),
    "missing unit": (GOOD.replace('"19.5 L"', "19.5"), ["[[vessel]] K1 capacity", '"19.5 L"']),
    "gauge against absolute": (
        GOOD.replace('"200 kPa"', '"300 kPa absolute"'),
        ["[[vessel]] K1 max_pressure", "300 kPa absolute", "gauge"],
    ),
    "two probes take one topic": (
        GOOD + GOOD[GOOD.index("[[probe]]") :].replace("k1-pressure", "other"),
        ["[[probe]] other topic", "k1/p", "k1-pressure"],
    ),
    "a probe at no place": (GOOD.replace('at = "K1"', 'at = "K7"'), ["[[probe]] k1-pressure at", "K7", "K1"]),
    "a limit without probe": (limited(quantity="temperature", high="18 °C"), ["[[limit]]", "temperature", "no probe"]),
    "low above high": (
        limited(low="60 kPa") + limit(at="K1", quantity="pressure", high="50 kPa"),
        ["[[limit]]", "low", "high"],
    ),
    "a deadband that never clears": (
        limited(low="5 kPa", deadband="300 kPa"),
        ["deadband", "make the deadband smaller"],
    ),
    "not TOML": ("[site\nname = 3", ["TOML", "line 1"]),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_in_the_cellar_file_is_told_by_check_and_run(name: str, tmp_path: Path) -> None:
    text, words = MISTAKES[name]
    file = write_cellar(tmp_path, text)
    for command in ("check", "run"):
        result = leeside(command, file)
        assert result.returncode == 1
        assert "Traceback" not in result.stderr
        assert str(file) in result.stderr
        for word in words:
            assert word in result.stderr
    assert not (tmp_path / "cellar.db").exists()


def test_the_good_file_passes(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD)
    result = leeside("check", file)
    assert (result.returncode, result.stderr) == (0, "")
    assert "K1/pressure/air" in result.stdout
    assert "pressure below 5.0 kPa for 1 min: high priority, at any hour, default" in result.stdout


def test_spans_of_time_are_shown_whole(tmp_path: Path) -> None:
    silent, racked = limit(probe="k1-pressure", no_data="150 s"), limit(lot="any", due="racking", after="36 h")
    file = write_cellar(tmp_path, GOOD, silent, racked)
    watched = leeside("check", file).stdout
    assert "no data from k1-pressure for 2 min 30 s: " in watched
    assert "due after 1 d 12 h: " in watched


@pytest.mark.parametrize("command", ["check", "run", "now", "alarms"])
def test_a_path_that_leads_nowhere(command: str, tmp_path: Path) -> None:
    result = leeside(command, tmp_path / "no-such.toml")
    assert result.returncode == 1
    assert "no-such.toml" in result.stderr
    assert "Traceback" not in result.stderr


def test_commands_that_read_say_that_there_is_no_store_yet(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD)
    for command in (("now", file), ("alarms", file), ("history", file, "k1-pressure"), ("acknowledge", file, "7f3k")):
        result = leeside(*command)
        assert result.returncode == 1
        assert "there is no store yet; `leeside run` makes it" in result.stderr


def test_a_store_of_a_newer_leeside_is_left_alone(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD)
    with new_store(tmp_path) as store:
        store.connection.execute("INSERT INTO migration VALUES (999, 'of the future', 0)")
    for result in (leeside_process("run", file), leeside("now", file)):
        assert result.returncode in (1, 2)
        assert "written by a newer leeside" in result.stderr
        assert "Traceback" not in result.stderr


def test_a_second_run_on_one_store_is_told_who_holds_it(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD)
    with Leeside(file) as running:
        second = leeside_process("run", file)
        assert second.returncode == 2
        assert "is already running on this store (process" in second.stderr
        assert "Traceback" not in second.stderr
        # The first one is not disturbed.
        assert "runs" in leeside("now", running.file).stdout


def test_a_store_where_nothing_can_be_written(tmp_path: Path) -> None:
    # /sys takes no new files, whoever asks: to a program it is what a read-only disk is.
    file = write_cellar(tmp_path, GOOD + table("[store]", path="/sys/kernel/cellar.db"))
    result = leeside_process("run", file)
    assert result.returncode == 2
    assert "/sys/kernel/cellar.db" in result.stderr
    assert "cannot be written" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_store_path_in_a_folder_that_is_not_there(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD + table("[store]", path="nowhere/cellar.db"))
    result = leeside_process("run", file)
    assert result.returncode == 2
    assert "nowhere" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("run", "FILE", "--only", "web"), "allowed: ingest, alerts, page"),
        (("history", "FILE", "no-probe"), "there are: k1-pressure"),
        (("history", "FILE", "k1-pressure", "--from", "yesterdayish"), "is not a time"),
        (("history", "FILE", "k1-pressure", "--from", "2026-02-30"), "is not a time"),
        (("history", "FILE", "k1-pressure", "--from", "2026-10-25 02:30"), "occurred twice"),
        (("history", "FILE", "k1-pressure", "--from", "2026-02-02", "--to", "2026-02-01"), "is not before"),
        (("journal", "FILE", "--from", "2026-02-02", "--to", "2026-02-01"), "is not before"),
        (("history", "FILE", "k1-pressure", "--csv", "--json"), "choose one"),
        (("demo", "--for", "soon"), "is not a duration"),
        (("frobnicate",), "No such command"),
        (("now",), "name the cellar file"),
    ],
)
def test_a_wrong_call_says_what_is_allowed(arguments: tuple[str, ...], words: str, tmp_path: Path) -> None:
    file = write_cellar(tmp_path, GOOD)
    if "history" in arguments or "journal" in arguments:
        with new_store(tmp_path) as store:
            declare(store, declarations(load_cellar(file)), NOW)
    result = leeside(*(str(file) if argument == "FILE" else argument for argument in arguments))
    assert result.returncode == 2
    assert words in " ".join(result.stderr.replace("│", " ").split())
    assert "Traceback" not in result.stderr


def test_a_page_port_that_is_taken_does_not_stop_the_watch(tmp_path: Path) -> None:
    port = free_port()
    file = write_cellar(tmp_path, GOOD + table("[page]", address=f"127.0.0.1:{port}"))
    server = subprocess.Popen(["socat", f"TCP-LISTEN:{port},fork,bind=127.0.0.1", "/dev/null"])
    try:
        with Leeside(file) as running:
            assert "runs" in leeside("now", running.file).stdout
            eventually(lambda: "is another program using that port?" in running.said())
            assert f"/127.0.0.1:{port}/ (address already in use): is" in running.said().replace("http:/", "")
            assert "uvicorn" not in running.said(), "the web server's own message says nothing more"
            server.kill()
            server.wait()
            # Once the port is free the page is there, without a restart.
            eventually(lambda: _page_title(port) == "Cellar · Mill Lane cellar", within_s=40)
    finally:
        server.kill()
        server.wait()


def _page_title(port: int) -> str:
    try:
        text = httpx.get(f"http://127.0.0.1:{port}/", timeout=5).text
    except httpx.TransportError:
        return ""
    return text.partition("<title>")[2].partition("</title>")[0]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("history", "{file}", "--lot", "x", "--quantity", "pH", "--share", "abc"), "'abc' must be a number"),
        (("strike", "{file}", "abc", "--reason", "x"), "'abc' must be a whole number"),
        (("strike", "{file}", "1.5", "--reason", "x"), "'1.5' must be a whole number"),
        (("strike", "{file}", "0", "--reason", "x"), "'0' must be at least 1"),
        (("demo", "--days", "abc"), "'abc' must be a whole number"),
        (("demo", "--days", "91"), "'91' must be at most 90"),
    ],
)
def test_a_word_that_is_no_number_is_refused_in_plain_words(
    words: tuple[str, ...], message: str, tmp_path: Path
) -> None:
    file = write_cellar(tmp_path, SITE)
    refused = leeside(*(word.format(file=file) for word in words))
    assert refused.returncode == 2
    assert message in refused.stderr
    assert "Input should" not in refused.stderr
