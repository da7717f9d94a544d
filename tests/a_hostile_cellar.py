"""A cellar with hostile text wherever a person, a probe or a file can put some: markup, direction marks, 10 kB."""

from __future__ import annotations

__all__ = ["LONG", "RTL", "SCRIPT", "hostile_cellar"]

from pathlib import Path
from typing import Final

from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import keg, room, site

from alerts.watch.alarm_table import State
from alerts.watch.shelving import Shelving
from ingest.entering import enter
from ingest.pulse import IngestPulse, MirrorPulse
from ingest.store.pulse_rows import write_pulse

SCRIPT: Final = "<script>alert(1)</script><img src=x onerror=\"alert('2')\">&amp;{{7*7}}${7*7}'\"--></textarea></title>"
LONG: Final = "x<i>" * 2500
RTL: Final = "\u202egnol\u2066"


def hostile_cellar(folder: Path) -> CellarOnDisk:
    """Make it; close its store in the end."""
    on_disk = CellarOnDisk(
        folder,
        site=site(name=SCRIPT),
        more="\n".join((keg("K2", name=LONG), keg("K3", name=SCRIPT), room())),
    )
    acts: list[tuple[str, dict[str, str | bool | list[str]]]] = [
        ("lot", {"lot": "A1", "name": SCRIPT, "style": "white", "remark": SCRIPT}),
        ("first-filling", {"vessel": "K1", "lot": "A1", "volume": "18 L", "remark": LONG[:2000]}),
        ("first-filling", {"vessel": "K2", "lot": "A1", "volume": "10 L"}),
        (
            "titration",
            {"vessel": "K1", "quantity": "free", "method": "elsewhere", "result": "33 mg/L", "remark": SCRIPT},
        ),
        ("racking", {"from": ["K1"], "begin": True}),
        ("inspection", {"vessel": "K1", "remark": SCRIPT}),
    ]
    for kind, answers in acts:
        try:
            enter(on_disk.store, on_disk.cellar, kind, answers, who=SCRIPT[:190], now_ms=NOW - 3_600_000)
        except Exception as error:  # noqa: BLE001  what the journal refuses cannot reach the page
            assert type(error).__name__ in ("EntryRefused", "TextRefused"), error
    on_disk.reading("k1-pressure", 55.0)
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by=SCRIPT + RTL)
    on_disk.alarm("K1/temperature/high", occurrence="a2c", state=State.SHELVED,
        shelving=Shelving(SCRIPT, NOW, RTL + SCRIPT, 7200.0, NOW + 7_200_000))  # fmt: skip
    for number, text in enumerate((SCRIPT, RTL, LONG)):
        on_disk.reject(example=text, address=f"{number}{text[:200]}", reason=text[:300])
    on_disk.message(SCRIPT + RTL)
    with on_disk.store.write() as connection:
        write_pulse(connection, IngestPulse(mirror=MirrorPulse(state="shut", last_error=SCRIPT + LONG)), NOW, NOW)
    return on_disk
