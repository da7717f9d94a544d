"""Makes the small stores of former versions beside this file, each with the code of its own commit.

    python tests/data/stores/make.py

It needs git and a clone with its whole history, takes some seconds, and was run once: what a former version wrote does
not change any more. A version after the last one in COMMITS is added there, and only its store is new.
"""

from __future__ import annotations

import gzip
import io
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

FOLDER = Path(__file__).parent

# The first commit of each schema, and those that changed one without giving it a number of its own.
COMMITS = (
    "9635c75", "e93b2f0", "7a9eb5e", "b26497b", "3d575ef", "1519900", "07622b8", "a9c9ea3", "fb48e97", "a07cad8",
    "a85516a", "a0e188e", "4c7b3c8",
)  # fmt: skip
# From this one on the store's subjects have packages of their own.
SINCE_PACKAGES = ("fb48e97", "a07cad8", "a85516a", "a0e188e", "4c7b3c8")
# From this one on a filling is of the kind "first-filling".
SINCE_FIRST_FILLING = ("a0e188e", "4c7b3c8")

# Run with the code of a commit; only what all of them have.
WRITE = """
import sys
from pathlib import Path
from ingest.cellar import parse_cellar
from ingest.store import create_or_open
from ingest.store.alarms import AlarmRow, TransitionRow, add_transition, put_alarm
from ingest.store.cellar_history import keep_cellar_file
from ingest.store.fresh import Appender
from ingest.store.operator import append_event
from ingest.store.pulse import Reject, add_rejects, write_pulse
from ingest.store.series import Declaration, declare

NOW = 1_764_547_200_000  # 2025-12-01T00:00:00Z
text = Path(sys.argv[2]).read_text()
cellar = parse_cellar(text, file="cellar.toml", base=Path("."))
store = create_or_open(Path(sys.argv[1]), NOW)
keep_cellar_file(store, text, NOW)
series = declare(store, [
    Declaration("k1-pressure", "K1", "pressure", 6.894757293168361, 0.0, "psi", "k1-pressure", "K1"),
    Declaration("k1-temperature", "K1", "temperature", 1.0, 0.0, "degC", "k1-temperature", "K1"),
], NOW)
appender = Appender(store)
rows = [(series["k1-pressure"], NOW + 10_000 * n, 8.0 + n / 16, n % 3) for n in range(100)]
rows += [(series["k1-temperature"], NOW + 10_000 * n, 12.0 + n / 8, 0) for n in range(50)]
appender.append(rows)
with store.write() as connection:
    put_alarm(connection, AlarmRow("K1/pressure/low", "normal", None, "{}", NOW))
    add_transition(connection, TransitionRow(NOW, "K1/pressure/low", "322", "condition began", "normal",
                                             "unacknowledged", 3.5, "", ""))
    write_pulse(connection, "ingest", NOW, NOW, {"samples": 150})
    add_rejects(connection, [Reject("mqtt", "cellar/K1/pressure", "k1-pressure", "not a number", 2, NOW, NOW, "error")])
append_event(store, "acknowledge", "322", "Ana", "on my way", NOW)
try:
    from ingest.journal.entry import Draft
    from ingest.journal.bodies import parse_body
    from ingest.store.journal import write_entry, strike
except ImportError:
    pass
else:
    def write(kind, data, place=None, lot=None, after=0):
        draft = Draft(kind, NOW + after, "Ana", parse_body(kind, data), place, lot)
        return write_entry(store, draft, cellar, NOW + after)
    write("lot", {"name": "Riesling", "style": "white"}, lot="riesling")
    write("fill", {"volume_l": 19.0}, "K1", "riesling", 1000)
    wrong = write("sample", {"volume_l": 0.1, "purpose": "titration"}, "K1", None, 2000)
    strike(store, wrong.id, "Ana", "wrong vessel", NOW + 3000)
store.close()
"""

# The same with the packages that the store's subjects have since.
_RENAMED = {
    "from ingest.store.alarms import AlarmRow, TransitionRow, add_transition, put_alarm":
        "from ingest.store.alarms.alarm_record import AlarmRow, TransitionRow, add_transition, put_alarm",
    "ingest.store.cellar_history": "ingest.store.cellar_files",
    "ingest.store.fresh": "ingest.store.readings.fresh",
    "ingest.store.operator import append_event": "ingest.store.alarms.operator_events import append_event",
    "from ingest.store.pulse import Reject, add_rejects, write_pulse":
        "from ingest.pulse import IngestPulse\nfrom ingest.store.pulse_rows import write_pulse\n"
        "from ingest.store.rejects import Reject, add_rejects",
    "from ingest.store.series import Declaration, declare":
        "from ingest.reading import Declaration\nfrom ingest.store.readings.series import declare",
    'write_pulse(connection, "ingest", NOW, NOW, {"samples": 150})':
        "write_pulse(connection, IngestPulse(samples=150), NOW, NOW)",
    "ingest.journal.bodies": "ingest.journal.kinds",
    "from ingest.store.journal import write_entry, strike":
        "from ingest.store.journal.entries import write_entry, strike",
}  # fmt: skip

CELLAR = """[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"

[store]
path = "cellar.db"

[mqtt]
host = "127.0.0.1"
port = 1883

[[vessel]]
id = "K1"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"

[[probe]]
id = "k1-pressure"
at = "K1"
quantity = "pressure"
topic = "cellar/K1/pressure"
unit = "psi"

[[probe]]
id = "k1-temperature"
at = "K1"
quantity = "temperature"
topic = "cellar/K1/temperature"
mounted = "wall"
unit = "degC"
"""


def make(commit: str) -> Path:
    """The store of one commit, packed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        packed = subprocess.run(
            ["git", "archive", commit, "ingest"], cwd=FOLDER.parents[2], check=True, capture_output=True
        ).stdout
        with tarfile.open(fileobj=io.BytesIO(packed)) as tree:
            tree.extractall(folder, filter="data")
        (folder / "cellar.toml").write_text(CELLAR, encoding="utf-8")
        subprocess.run(
            [sys.executable, "-c", _script(commit), "cellar.db", "cellar.toml"],
            cwd=folder, check=True, env={"PYTHONPATH": name, "PATH": "/usr/bin:/bin"},
        )  # fmt: skip
        target = FOLDER / f"{commit}.db.gz"
        target.write_bytes(gzip.compress((folder / "cellar.db").read_bytes(), mtime=0))
        return target


def _script(commit: str) -> str:
    """What is run with the code of a commit."""
    script = WRITE
    if commit in SINCE_PACKAGES:
        for former, present in _RENAMED.items():
            assert former in script
            script = script.replace(former, present)
        if commit in SINCE_FIRST_FILLING:
            script = script.replace('write("fill"', 'write("first-filling"')
        script = script.replace("except ImportError:\n    pass", "except ImportError:\n    raise")
    return script


if __name__ == "__main__":
    for commit in sys.argv[1:] or COMMITS:
        print(make(commit))
