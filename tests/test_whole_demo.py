"""The demo: ends by itself, and what it promises happens within the promised time; Ctrl-C stops it at once."""

from __future__ import annotations

import re
import signal
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright
from running import COMMAND, leeside

from alerts.command.demo import ALARM_BY_S

pytestmark = pytest.mark.whole

DEMO = (*COMMAND, "demo")


def test_the_demo_shows_alarm_and_mail_in_time_and_ends_by_itself(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    with subprocess.Popen(
        [*DEMO, "--for", "90s", "--folder", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as demo:
        assert demo.stdout is not None
        said = []
        for line in demo.stdout:
            said.append(line)
            if "Subject: HIGH PRIORITY: K2 pressure" in line:
                page = re.search(r"http://127\.0\.0\.1:\d+/", "".join(said))
                assert page is not None
                _look_at_page(page[0], tmp_path)
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


def _look_at_page(address: str, folder: Path) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"],
        )
        page = browser.new_page()
        troubles: list[str] = []
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.on("console", lambda message: troubles.append(message.text) if message.type == "error" else None)
        page.goto(address)
        assert page.title() == "Mill Lane cellar"
        alarm = page.locator(".alarm").filter(has_text="K2 pressure").inner_text()
        assert "High: K2 pressure" in alarm
        assert "bring the blanket back to 55 kPa" in alarm
        for place in ("K1", "K2", "K3", "C1", "N2", "cellar"):
            assert page.get_by_role("heading", name=place, level=2).count() == 1
        page.screenshot(path=str(folder / "page.png"))
        # A missing favicon is the browser's wish, not the page's mistake.
        assert [trouble for trouble in troubles if "favicon" not in trouble and "404" not in trouble] == []
        browser.close()


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
