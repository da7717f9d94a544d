"""Trials of ``leeside bench leak`` from outside: CSV files of simulated kegs, and a score of what it printed on them.

    leak_files.py write FOLDER --row '12 h' --headspace 2 --count 10      FOLDER/*.csv, and the options for each
    for each: leeside bench leak FOLDER/K.csv OPTIONS --as-it-goes > FOLDER/K.jsonl
    leak_files.py score FOLDER                                            beside the hidden truth

The rows are those of ``leaks.py``. Writing takes a second for ten kegs.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from leak_scores import Outcome, judged_lines, outcome
from leak_trials import ROWS, Batch, batch_readings
from leaks import print_failing, print_row

from ingest.simulation.keg_trials.keg import TrialKeg
from ingest.simulation.keg_trials.readings import write_csv

_BATCH = "batch.json"


def main() -> None:
    """Write or score."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("verb", choices=("write", "score"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--row", choices=tuple(ROWS), default="12 h")
    parser.add_argument("--headspace", type=float, default=2.0, help="L")
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--days", type=float, default=None, help="for tight kegs: how long each is watched")
    options = parser.parse_args()
    if options.verb == "write":
        write(options.folder, Batch(options.row, options.headspace, 0, options.count, options.seed, options.days))
    else:
        score(options.folder)


def write(folder: Path, batch: Batch) -> None:
    """Write the CSV file of each keg, the options that its owner would give, and which batch it was."""
    folder.mkdir(parents=True, exist_ok=True)
    readings = batch_readings(batch)
    for column, keg in enumerate(readings.kegs):
        with (folder / f"{column}.csv").open("w", encoding="ascii") as file:
            write_csv(readings, column, file)
        (folder / f"{column}.options").write_text(vessel_options(keg) + "\n", encoding="ascii")
    saved = [batch.row, batch.headspace_l, batch.first, batch.count, batch.seed, batch.days]
    (folder / _BATCH).write_text(json.dumps(saved), encoding="ascii")


def vessel_options(keg: TrialKeg) -> str:
    """Write what the owner of a keg knows of it as options of ``leeside bench leak``."""
    gas = {"n2": "nitrogen", "ar": "argon"}[keg.gas]
    options = (
        f"--gas {gas} --capacity-l {keg.capacity_l:g} --wine-l {keg.believed_wine_l:g} --alcohol 12 --material steel "
        f"--mounted {keg.probes.mounted}"
    )
    return options if keg.probes.barometer else f"{options} --barometer-kpa {keg.air.station_kpa:.0f}"


def score(folder: Path) -> None:
    """Score what was printed about each keg."""
    row, headspace_l, first, count, seed, days = json.loads((folder / _BATCH).read_text(encoding="ascii"))
    truths = batch_readings(Batch(row, headspace_l, first, count, seed, days)).truths
    outcomes: list[Outcome] = []
    for column in range(count):
        lines = folder / f"{column}.jsonl"
        if lines.exists():
            trace = judged_lines(lines.read_text(encoding="utf-8").splitlines())
            outcomes.append(outcome(first + column, truths, column, trace))
    if outcomes:
        print_row(ROWS[row], headspace_l, outcomes, 0.0)
        print_failing(ROWS[row], outcomes)
    else:
        print(f"no *.jsonl in {folder}: run leeside bench leak --as-it-goes on each CSV file first")


if __name__ == "__main__":
    main()
