"""The demo: ends by itself, and what it promises happens within the promised time; Ctrl-C stops it at once."""

from __future__ import annotations

import re
import signal
import subprocess
from pathlib import Path

import httpx
import pytest
from a_browser import Visit
from eventually import eventually
from playwright.sync_api import Page, expect
from running import COMMAND, leeside

from alerts.command.demo import ALARM_BY_S

pytestmark = pytest.mark.whole

DEMO = (*COMMAND, "demo")


def test_the_demo_shows_alarm_and_mail_in_time_and_ends_by_itself(tmp_path: Path, visit: Visit) -> None:
    folder = tmp_path / "demo"
    with subprocess.Popen(
        [*DEMO, "--for", "90s", "--folder", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as demo:
        assert demo.stdout is not None
        said = []
        page: Page | None = None
        for line in demo.stdout:
            said.append(line)
            if address := re.search(r"The page: (http://127\.0\.0\.1:\d+/)", line):
                page = _opened(visit, address[1])
                _looks_calm_elsewhere(page)
            if "Subject: HIGH PRIORITY: K2 pressure" in line:
                assert page is not None
                _shows_the_leak(page)
                page.close()
        assert demo.wait(30) == 0, "".join(said)
    told = "".join(said)
    arrival = re.search(
        r"^ *([0-9.]+) s +A mail arrives for cellarhand@cellar\.example:\n +\| Subject: HIGH PRIORITY: K2 pressure",
        told,
        re.MULTILINE,
    )
    assert arrival is not None, told
    assert float(arrival[1]) < ALARM_BY_S
    assert re.search(r"\| Subject: HIGH PRIORITY: K2 pressure [0-9.]+ kPa, below 5 kPa", told)
    assert told.count("Subject: MEDIUM PRIORITY: K1 molecular SO2 (simple) 0.4") == 1
    assert told.count("Subject: LOW PRIORITY: re-test of lot rebula-26 (K2) is due") == 1
    assert len(re.findall(r"\| Subject: ", told)) == 5, told
    assert "K2/pressure/low: alarm raised." in told
    assert "K2/hours_to_air_floor/soon: muted while K2/pressure/low is active." in told
    assert "K2/hours_to_air_floor/soon: no longer muted, alarm raised." in told
    assert "unacknowledged (" not in told
    assert "The end. 5 mails were sent." in told
    _last_day_of(told)
    _advice_of(folder / "cellar.toml")
    assert "past readings are in the store." in told
    assert (folder / "broker-password").stat().st_mode & 0o077 == 0


def _last_day_of(told: str) -> None:
    """A cold night that is found to be one, then a leak that is found as one before the gauge is under any limit."""
    assert re.search(r"K2 cooling, no gas lost; gauge [0-9.]+ kPa, [0-9.]+ ± [0-9.]+ kPa at 15 °C", told)
    assert "No alarm in that night" in told
    found = re.search(r"alarm, high priority: K2 loses its blanket, .* It has leaked for (\d+) min\.", told)
    assert found is not None, told
    assert 1 <= int(found[1]) <= 17
    assert re.search(r"K2 fast leak, [0-9]+ to [0-9]+ mL a minute, .*air floor of 5 kPa in ", told)
    mail = told.partition("| Subject: HIGH PRIORITY: K2 loses its blanket, at least ")[2]
    assert "| Finding:     fast leak, since" in mail
    assert told.index("No alarm in that night") < told.index("begins to leak") < told.index("Leeside runs")


def _advice_of(file: Path) -> None:
    """What the demo proposes to try in another terminal."""
    result = leeside("dose", file, "K1")
    assert result.returncode == 0, result.stderr
    assert "to 17.5 L: weigh 0." in result.stdout
    assert "molecular 0.4" in result.stdout


def _opened(visit: Visit, address: str) -> Page:
    """The page, once its process listens."""

    def answers() -> bool:
        try:
            return httpx.get(address).status_code == 200
        except httpx.TransportError:
            return False

    eventually(answers)
    return visit.open(address)


def _looks_calm_elsewhere(page: Page) -> None:
    """The cellar view while the demo runs: each place has its line, and nothing else than K1 and K2 needs anybody."""
    expect(page).to_have_title(re.compile("Cellar · Mill Lane cellar$"))
    for place in ("K1", "K2", "K3", "C1", "N2", "cellar"):
        expect(page.get_by_role("heading", name=place, level=2)).to_have_count(1)
    expect(page.locator("article[aria-labelledby='at-K3'] .state")).to_have_text("in order")
    expect(page.locator("#link")).to_have_text("live,")
    page.evaluate("window.sameDocument = true")


def _shows_the_leak(page: Page) -> None:
    """What the mail says shows on the page, which was not loaded again."""
    line = page.locator("article[aria-labelledby='at-K2']")
    expect(line.locator(".state")).to_have_text("high alarm")
    expect(line.locator(".notes")).to_contain_text("below 5.0 kPa")
    expect(line.locator(".notes")).to_contain_text("bring the blanket back to 55 kPa")
    assert page.evaluate("window.sameDocument") is True


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_ctrl_c_a_kill_or_a_closed_terminal_stops_the_demo_and_leaves_nothing(
    tmp_path: Path, ending: signal.Signals
) -> None:
    folder = tmp_path / "demo"
    with subprocess.Popen(
        [*DEMO, "--days", "1", "--folder", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as demo:
        assert demo.stdout is not None
        for line in demo.stdout:
            if "Leeside runs" in line:
                break
        demo.send_signal(ending)
        _, errors = demo.communicate(timeout=20)
        assert demo.returncode == 0
        assert "Traceback" not in errors
    left = subprocess.run(["pgrep", "-f", str(folder)], capture_output=True, text=True, check=False)
    assert left.stdout == ""


def test_a_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep me")
    result = leeside("demo", "--folder", tmp_path)
    assert result.returncode == 1
    assert "is not an empty folder" in result.stderr
    assert (tmp_path / "mine.txt").read_text() == "keep me"
