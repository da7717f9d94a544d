"""victoria-metrics as a peer: started on an empty folder, filled through its import, asked over HTTP."""

from __future__ import annotations

__all__ = ["SETTINGS", "Peer"]

import json
import shutil
import subprocess
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

import numpy as np
import numpy.typing as npt
import requests

from ingest.simulation.loopback import free_port

_LONGEST_S = 60.0
_SLICE = 20_000

# Ten years of retention instead of a month, or it would drop the year. No cache of answers, which would answer a
# repeated question without looking. All else as it comes.
SETTINGS = ("-retentionPeriod=10y", "-search.disableCache")


class Peer:
    """Runs from entering to leaving; ``data`` is its folder."""

    def __init__(self, folder: Path) -> None:
        self.data = folder / "victoria-metrics"
        self._port = free_port()
        self._url = f"http://127.0.0.1:{self._port}"
        self._session = requests.Session()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        program = shutil.which("victoria-metrics")
        if program is None:
            raise SystemExit("victoria-metrics is not installed: apt install victoria-metrics")
        self._process = subprocess.Popen(
            [program, f"-storageDataPath={self.data}", f"-httpListenAddr=127.0.0.1:{self._port}", *SETTINGS],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + _LONGEST_S
        while time.monotonic() < deadline:
            try:
                if self._session.get(f"{self._url}/health", timeout=1).ok:
                    return
            except requests.ConnectionError:
                time.sleep(0.1)
        raise SystemExit("victoria-metrics does not answer")

    def stop(self) -> None:
        """Stop it; what it holds in memory is written."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(_LONGEST_S)
            self._process = None

    def __enter__(self) -> Peer:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
        self._session.close()

    def fill(self, name: str, times: npt.NDArray[np.int64], values: npt.NDArray[np.float64]) -> None:
        """Import one series through /api/v1/import (JSON lines)."""
        self._post("/api/v1/import", self._lines(name, times, values))

    def _lines(self, name: str, times: npt.NDArray[np.int64], values: npt.NDArray[np.float64]) -> Iterable[bytes]:
        for start in range(0, len(times), _SLICE):
            part = slice(start, start + _SLICE)
            numbers = ",".join(map(repr, values[part].tolist()))
            stamps = ",".join(map(str, times[part].tolist()))
            yield f'{{"metric":{{"__name__":"{name}"}},"values":[{numbers}],"timestamps":[{stamps}]}}\n'.encode()

    def _post(self, path: str, body: Iterable[bytes]) -> None:
        answer = self._session.post(self._url + path, data=body, timeout=600)
        answer.raise_for_status()

    def merge(self) -> None:
        """Write out what is in memory and merge the parts of each month into one, as days of running would."""
        # A restart writes all of it out, so that the merge meets files only.
        self.stop()
        self.start()
        self._session.get(f"{self._url}/internal/force_merge", timeout=600).raise_for_status()
        before, calm = -1, 0
        deadline = time.monotonic() + 600
        while calm < 5 and time.monotonic() < deadline:
            time.sleep(1.0)
            now = self.bytes_on_disk()
            calm = calm + 1 if now == before else 0
            before = now

    def bytes_on_disk(self) -> int:
        """Sizes of the files in its folder, indexes included."""
        total = 0
        for path in self.data.rglob("*"):
            try:
                total += path.stat().st_size if path.is_file() else 0
            except FileNotFoundError:
                continue  # merged away between the look and the question
        return total

    def ask(self, query: str, from_ms: int, to_ms: int, step: str) -> int:
        """/api/v1/query_range, answer read and parsed; gives how many points came."""
        answer = self._session.get(
            f"{self._url}/api/v1/query_range",
            params={
                "query": query,
                "start": str(from_ms / 1000),
                "end": str(to_ms / 1000),
                "step": step,
                "nocache": "1",
            },
            timeout=60,
        )
        answer.raise_for_status()
        return sum(len(row["values"]) for row in answer.json()["data"]["result"])

    def export(self, name: str, from_ms: int, to_ms: int) -> int:
        """/api/v1/export of raw readings, parsed; gives how many came."""
        answer = self._session.get(
            f"{self._url}/api/v1/export",
            params={"match[]": name, "start": str(from_ms / 1000), "end": str(to_ms / 1000)},
            timeout=60,
        )
        answer.raise_for_status()
        return sum(len(json.loads(line)["values"]) for line in answer.text.splitlines())
