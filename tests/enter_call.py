"""Calls of ``leeside enter`` in the own process, for tests."""

from __future__ import annotations

__all__ = ["EnterCall", "two_lots"]


from a_journal import JournalOnDisk
from running import leeside


class EnterCall:
    """A call in this process: quick, and with the same exit codes and texts."""

    def __init__(self, journal: JournalOnDisk) -> None:
        self._journal = journal

    def __call__(self, kind: str, *options: str) -> tuple[int, str]:
        result = leeside("enter", kind, self._journal.file, *options)
        return result.returncode, result.stdout + result.stderr


def two_lots(call: EnterCall, first: str, second: str) -> None:
    for lot in ("ries", "sylv"):
        assert call("lot", "--lot", lot, "--name", lot, "--style", "white", "--alcohol", "12 % vol")[0] == 0
    assert call("first-filling", "--vessel", "K1", "--lot", "ries", "--volume", first)[0] == 0
    assert call("first-filling", "--vessel", "C1", "--lot", "sylv", "--volume", second)[0] == 0
