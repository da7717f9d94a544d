"""How the simulated probes write their numbers: plain and JSON messages, and lines of text."""

from __future__ import annotations

__all__ = ["JsonTopic", "Outlet", "PlainTopic", "SerialText"]

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal


@dataclass(frozen=True, slots=True)
class PlainTopic:
    """One probe's bare number as an MQTT payload."""

    topic: str
    probe: str

    @property
    def probes(self) -> tuple[str, ...]:
        """The probes that one message carries."""
        return (self.probe,)

    def payload(self, at_ms: int, numbers: Mapping[str, float]) -> bytes:
        """Write the message; its time is not in it."""
        del at_ms
        return repr(numbers[self.probe]).encode("ascii")


@dataclass(frozen=True, slots=True)
class JsonTopic:
    """A box with one or more probes: a JSON object (RFC 8259) that also holds the time of measurement.

    fields: a probe's id and the two member names under which its number is; clock: RFC 3339 text or Unix seconds.
    """

    topic: str
    fields: tuple[tuple[str, tuple[str, str]], ...]
    clock: Literal["rfc3339", "unix"] = "rfc3339"
    time_member: str = "at"

    @property
    def probes(self) -> tuple[str, ...]:
        """The probes that one message carries."""
        return tuple(probe for probe, _ in self.fields)

    def pointer(self, probe: str) -> str:
        """Return where the number of a probe is, as a JSON Pointer (RFC 6901; the names here need no escaping)."""
        return "/" + "/".join(dict(self.fields)[probe])

    def payload(self, at_ms: int, numbers: Mapping[str, float]) -> bytes:
        """Write the message; at_ms: UTC milliseconds by the box's own clock."""
        document: dict[str, object] = {self.time_member: at_ms / 1000}
        if self.clock == "rfc3339":
            moment = datetime.fromtimestamp(at_ms // 1000, UTC)
            document[self.time_member] = f"{moment:%Y-%m-%dT%H:%M:%S}.{at_ms % 1000:03d}Z"
        for probe, (outer, inner) in self.fields:
            group = document.setdefault(outer, {})
            assert isinstance(group, dict)
            group[inner] = numbers[probe]
        return json.dumps(document, separators=(",", ":")).encode("ascii")


@dataclass(frozen=True, slots=True)
class SerialText:
    """One probe's line of text on a serial line: a label and the number, such as ``K1 T=13.4``."""

    label: str
    probe: str

    @property
    def probes(self) -> tuple[str, ...]:
        """The probes that one line carries."""
        return (self.probe,)

    @property
    def pattern(self) -> str:
        """The regular expression that matches this line and no other."""
        return f"^{self.label} T=(?P<value>[-+]?[0-9]+[.][0-9]+)$"

    def payload(self, at_ms: int, numbers: Mapping[str, float]) -> bytes:
        """Write the line without its end; its time is not in it."""
        del at_ms
        return f"{self.label} T={numbers[self.probe]!r}".encode("ascii")


Outlet = PlainTopic | JsonTopic | SerialText
