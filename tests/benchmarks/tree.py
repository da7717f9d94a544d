"""A process and its children as Linux counts them: processor time, memory that is really theirs, bytes written."""

from __future__ import annotations

__all__ = ["block_device_bytes", "cpu_s", "members", "pss_mb", "written_bytes"]

import os
from pathlib import Path

_TICKS = os.sysconf("SC_CLK_TCK")
_SECTOR = 512  # bytes; the unit of /proc/diskstats on every device (kernel documentation, iostats)


def members(root: int) -> list[int]:
    """The process and all that descend from it."""
    found = [root]
    for process in found:
        for task in Path(f"/proc/{process}/task").iterdir():
            found.extend(int(child) for child in (task / "children").read_text().split())
    return found


def cpu_s(processes: list[int]) -> float:
    """User and system time so far, seconds: proc_pid_stat(5), fields 14 and 15."""
    total = 0
    for process in processes:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / _TICKS


def pss_mb(process: int) -> float:
    """Proportional set size: own pages, and the shared ones divided among who shares them; 1 MB is 1024 KiB."""
    for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024
    raise SystemExit("the kernel has no Pss in /proc/PID/smaps_rollup")


def written_bytes(processes: list[int]) -> int:
    """Bytes that they caused to be sent to the disk: proc_pid_io(5), write_bytes."""
    total = 0
    for process in processes:
        lines = dict(line.split(": ") for line in Path(f"/proc/{process}/io").read_text().splitlines())
        total += int(lines["write_bytes"])
    return total


def block_device_bytes(file: Path) -> int:
    """Bytes written to the block device that holds the file, by everybody: /proc/diskstats, sectors written."""
    number = file.stat().st_dev
    for line in Path("/proc/diskstats").read_text().splitlines():
        fields = line.split()
        if (int(fields[0]), int(fields[1])) == (os.major(number), os.minor(number)):
            return int(fields[9]) * _SECTOR
    raise SystemExit(f"{file} lies on no block device that /proc/diskstats knows")
