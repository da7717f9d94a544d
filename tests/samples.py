"""Bindings of probes, and samples as sources deliver them."""

from __future__ import annotations

__all__ = ["NOW", "a_binding", "a_json_binding", "a_sample"]

from typing import Any

from a_store import NOW

from ingest.probes.decode import Binding
from ingest.sources.json_form import JsonPointer
from ingest.sources.sample import Sample, Ticket


def a_binding(**changes: Any) -> Binding:
    """Bind a probe, by default k1-pressure: series 1, plain numbers on the topic k1/p, plausible from -100 to 1000."""
    settings: dict[str, Any] = {
        "probe": "k1-pressure",
        "series": 1,
        "source": "mqtt",
        "address": "k1/p",
        "form": "plain",
        "low": -100.0,
        "high": 1000.0,
    }
    return Binding(**{**settings, **changes})


def a_json_binding(pointer: str, *, time_pointer: str | None = None, **changes: Any) -> Binding:
    """Bind the same probe to a JSON pointer on the topic box."""
    time = None if time_pointer is None else JsonPointer.parse(time_pointer)
    settings = {"address": "box", "form": "json", "pointer": JsonPointer.parse(pointer), "time_pointer": time}
    return a_binding(**{**settings, **changes})


def a_sample(payload: bytes | str, address: str = "k1/p", *, packet: int | None = None, **changes: Any) -> Sample:
    """Make a sample that arrived at NOW; packet: its packet id, for QoS 1."""
    settings: dict[str, Any] = {
        "source": "mqtt",
        "address": address,
        "payload": payload.encode() if isinstance(payload, str) else payload,
        "arrival_ms": NOW,
        "arrival_mono": 500.0,
        "ticket": None if packet is None else Ticket(1, packet, 1),
    }
    return Sample(**{**settings, **changes})
