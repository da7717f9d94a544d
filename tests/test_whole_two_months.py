"""Two months of a small cellar, typed at a terminal with the mistakes of a person; the journal, cards and mails of it.

What it leads to was read against what was expected and then kept in ``data/two-months``.
``PYTHONPATH=tests python tests/test_whole_two_months.py`` writes it again: read the difference before it is kept.
"""

from __future__ import annotations

import shutil
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pytest
from a_shell import AtTheShell
from turning_bench import well
from two_months import CELLAR, END, live

from alerts.judging.judges import judges
from alerts.message.collecting import Collector
from alerts.message.outbox import Delivered, Outbox
from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import load_cellar
from ingest.pulse import IngestPulse
from ingest.store import open_existing
from ingest.store.alarms.messages import MessageRow
from ingest.store.journal.entries import entries
from ingest.store.judgements import keep_judgements
from ingest.store.pulse_rows import write_pulse

pytestmark = pytest.mark.whole

KEPT: Final = Path(__file__).parent / "data" / "two-months"
_STEP_S: Final = 45


def mails_of(file: Path) -> str:
    """The mails that go out from the evening of the last day until the next morning, one after the other."""
    cellar = load_cellar(file)
    letters: list[str] = []

    def deliver(message: MessageRow, _: int) -> Delivered:
        letters.append(f"Subject: {message.subject}\n\n{message.body.rstrip()}\n")
        return Delivered()

    with open_existing(cellar.store_path) as store:
        began = datetime.fromisoformat(END).replace(tzinfo=ZoneInfo("Europe/Ljubljana"))
        morning = (began + timedelta(days=1)).replace(hour=7, minute=5)
        began = morning - timedelta(minutes=25)
        now_ms, end_ms = (round(moment.timestamp() * 1000) for moment in (began, morning))
        for judge in judges():
            found = judge.judge(cellar, store, now_ms)
            with store.write() as connection:
                keep_judgements(connection, judge.name, found)
        moment = Now(now_ms, 1000.0, "two months")
        outbox = Outbox(store, deliver, lambda: 0.5, Collector(store, cellar.site.name).collect)
        turner = Turner(cellar, store, moment, judges=well)
        while moment.utc_ms < end_ms:
            moment = Now(moment.utc_ms + _STEP_S * 1000, moment.mono + _STEP_S, moment.boot)
            with store.write() as connection:
                write_pulse(connection, IngestPulse(), moment.utc_ms, now_ms, moment.even)
            turner.turn(moment)
            outbox.work(moment.utc_ms)
    return "\n----\n\n".join(letters).replace(str(file.parent), "FOLDER")


def lived(folder: Path) -> tuple[dict[str, str], dict[str, str]]:
    """Live the two months in a folder: what each mistake was answered, and what the whole leads to, by file name."""
    file = folder / "cellar.toml"
    file.write_text(CELLAR, encoding="utf-8")
    with AtTheShell(folder, "2026-10-01 17:00") as shell:
        told = live(shell)
        journal = shell.call("leeside journal")
        cards = "".join(shell.call(f"leeside now {vessel}") for vessel in ("K1", "K2", "K3", "C1"))
    return told, {"journal.txt": _read(journal), "cards.txt": _read(cards), "mails.txt": mails_of(file)}


def _read(seen: str) -> str:
    """What was printed, without the call itself and the line about the cellar file."""
    lines = [line for line in seen.splitlines() if not line.startswith(("leeside ", "Cellar file: "))]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def life(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str], dict[str, str]]:
    folder = tmp_path_factory.mktemp("two-months")
    return folder, *lived(folder)


@pytest.mark.parametrize("name", ["journal.txt", "cards.txt", "mails.txt"])
def test_it_leads_to_what_was_kept(name: str, life: tuple[Path, dict[str, str], dict[str, str]]) -> None:
    assert life[2][name] == (KEPT / name).read_text(encoding="utf-8")


_TOLD: Final = {
    "vintage": "'12.5' is not a whole number; write one, such as 2026",
    "comma": 'write the decimal as a point, without thousands separators: "18.5 L"',
    "vessel in small letters": '"k2" is not in any cellar file of this store; did you mean K2?',
    "lot misspelt": "Did you mean ref?",
    "too full": "K3 would hold 25 L, and brimful it takes 19.5 L: 5.5 L too much",
    "400 kPa": "warning: 400 kPa is more than the 200 kPa that are stamped on K1",
    "strength without a unit": "write N behind a normality, mol/L behind a molarity",
    "pH 34": "warning: pH 34 is not of wine",
    "dose": "nothing to add: the wine has as much already",
    "45 g": "look at the amount and its unit",
    "wrong vessel": "K3 is empty",
    "no such entry": "there is no entry of that number",
    "over the brim": "C1 would hold 23.19 L, and brimful it takes 23 L",
    "to the brim": "To the brim it is 0.31 L by the headspace of C1",
    "twice the filling": "Written as no. 38; no. 5 is struck as amended.",
    "how often": "How many times it was purged",
    "target that is not there": '--to: "G9" is not in any cellar file of this store',
    "a litre lost": "19 L drawn, 18 L came in: 1 L lost on the way",
    "amended": "no. 41 is struck as amended",
    "what is left is gone": "warning: C1 held 3.8 L, all of which is then gone",
    "bottle amended": "Worked out again as no. 49, no. 50, no. 51, no. 52, no. 53, no. 54, no. 55, no. 56.",
    "two at once": "1 L from K1 and 1 L from K2 into C1, open",
    "a date of 1999": "warning: that was in 1999: look at the date",
    "more than there is": "which holds 17.24 L: 5.26 L too much",
    "history from today": "Nothing was read or found in that time.",
    "everything": "2026-11-05 19:30 CET  35.7 ± 1.9 mg/L  K2",
}


def test_each_mistake_was_answered_with_what_helps(life: tuple[Path, dict[str, str], dict[str, str]]) -> None:
    told = life[1]
    missing = {what: told[what] for what, words in _TOLD.items() if words not in told[what]}
    assert missing == {}
    assert all("Nothing was written." in told[what] for what in ("400 kPa", "pH 34", "45 g", "a date of 1999"))


def test_nothing_of_a_mistake_is_in_the_journal(life: tuple[Path, dict[str, str], dict[str, str]]) -> None:
    with open_existing(load_cellar(life[0] / "cellar.toml").store_path) as store:
        written = entries(store)
    assert [entry.id for entry in sorted(written, key=lambda entry: entry.id)] == list(range(1, len(written) + 1))
    assert {entry.who for entry in written} == {"ana"}


if __name__ == "__main__":
    place = Path(tempfile.mkdtemp())
    KEPT.mkdir(parents=True, exist_ok=True)
    for title, text in lived(place)[1].items():
        (KEPT / title).write_text(text, encoding="utf-8")
    shutil.rmtree(place)
