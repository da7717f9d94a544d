"""How much memory this process takes at its highest, while something is done."""

from __future__ import annotations

__all__ = ["PeakMemory"]

from pathlib import Path
from types import TracebackType

_SELF = Path("/proc/self")


def _kilobytes(name: str) -> int:
    lines = dict(line.split(":", 1) for line in (_SELF / "status").read_text().splitlines())
    return int(lines[name].split()[0])


class PeakMemory:
    """Inside the block the kernel notes the peak; ``grown_bytes`` is by how much it lies above the begin."""

    grown_bytes = 0

    def __enter__(self) -> PeakMemory:
        (_SELF / "clear_refs").write_text("5")  # proc(5): the peak begins again at what is used now
        self._before = _kilobytes("VmRSS")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.grown_bytes = 1024 * (_kilobytes("VmHWM") - self._before)
