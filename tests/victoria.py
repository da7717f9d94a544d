"""victoria-metrics on a port of the loopback: a real server of the InfluxDB v2 write protocol."""

from __future__ import annotations

__all__ = ["Victoria"]

import json
import subprocess
import urllib.request
from pathlib import Path
from types import TracebackType
from urllib.parse import urlencode

from eventually import eventually

from ingest.simulation.loopback import free_port


class Victoria:
    """A server with its data in ``folder``. As a context manager it starts and is killed."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def _ask(self, path: str) -> str:
        with urllib.request.urlopen(self.url + path, timeout=10) as answer:
            return str(answer.read().decode())

    def _answers(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, "victoria-metrics did not start"
        try:
            return self._ask("/health") == "OK"
        except OSError:
            return False

    def names(self) -> list[str]:
        """Return the name of every metric that it has."""
        self._ask("/internal/force_flush")
        return [str(name) for name in json.loads(self._ask("/api/v1/label/__name__/values"))["data"]]

    def points(self, name: str) -> dict[tuple[tuple[tuple[str, str], ...], int], float]:
        """Return (tags, time in ms) -> value of a metric, which is named measurement, underscore, field.

        It may have several values for one time; these must be equal.
        """
        self._ask("/internal/force_flush")
        query = urlencode({"match[]": f'{{__name__="{name}"}}', "reduce_mem_usage": "1"})
        found: dict[tuple[tuple[tuple[str, str], ...], int], float] = {}
        for line in self._ask(f"/api/v1/export?{query}").splitlines():
            part = json.loads(line)
            tags = tuple(sorted((key, text) for key, text in part["metric"].items() if key != "__name__"))
            for value, at in zip(part["values"], part["timestamps"], strict=True):
                assert found.setdefault((tags, at), value) == value
        return found

    def __enter__(self) -> Victoria:
        self._process = subprocess.Popen(
            [
                "victoria-metrics",
                f"-storageDataPath={self._folder}",
                f"-httpListenAddr=127.0.0.1:{self.port}",
                "-retentionPeriod=10y",
                "-memory.allowedBytes=64MiB",
                "-loggerLevel=ERROR",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        eventually(self._answers, within_s=30)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
