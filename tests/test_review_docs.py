"""docs/review.md: the racking that it walks through is what the commands print, entry by entry."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest
from a_rested_cellar import NOW_MS, RestedCellar
from running import leeside

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "review.md").read_text(encoding="utf-8")
MINUTE_MS = 60_000
READ_THE_CLOCK = ("due", "review", "enter", "opened_cellar", "entering.entry_dialog")


class Walk:
    """The commands of one racking, by a clock that is set; what they print."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_ms = NOW_MS
        for name in READ_THE_CLOCK:
            module = importlib.import_module(f"alerts.command.{name}")
            if hasattr(module, "wall_ms"):
                monkeypatch.setattr(module, "wall_ms", lambda: self.now_ms)
        cellar = RestedCellar(folder)
        cellar.store.close()
        self._folder = folder
        self._file = cellar.file

    def says(self, command: str, *words: str, code: int = 0) -> str:
        done = leeside(*command.split(), self._file, *words)
        assert done.returncode == code, done.stderr
        self.now_ms += 10 * MINUTE_MS
        return (done.stdout + done.stderr).replace(f"{self._folder}/", "").strip()


def walked(folder: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Walk from the reminder to the entry; give what each command of the page prints, as the page shows it."""
    walk = Walk(folder, monkeypatch)
    by_ana = ("--who", "Ana", "--yes")
    shown = [walk.says("due", code=1)]
    whole = walk.says("review", "K1", "--to", "K2")
    shown.append(whole)
    found = ("--method", "elsewhere", "--result", "22 mg/L", "--uncertainty", "1.5 mg/L")
    shown.append(walk.says("enter titration", "--vessel", "K1", "--quantity", "free", *found, *by_ana))
    again = walk.says("review", "K1", "--to", "K2").split("\n\n")
    shown.append("\n\n".join(part for part in again if part.lstrip().startswith(("ok  SO2:", "ok  Dose after:"))))
    poured = ("--from", "K1", "--to", "K2=17.8L", "--lees", "0.2L", "--air", "under gas")
    shown.append(walk.says("enter racking", *poured, *by_ana))
    shown.append(walk.says("due"))
    return shown


def test_the_racking_of_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    section = PAGE.partition("## One racking")[2].partition("\n## ")[0]
    blocks = re.findall(r"```text\n(.*?)\n```", section, re.DOTALL)
    shown = walked(tmp_path, monkeypatch)
    assert len(blocks) == len(shown)
    # The page breaks long lines.
    for block, said in zip(blocks, shown, strict=True):
        assert block.split() == said.split()
