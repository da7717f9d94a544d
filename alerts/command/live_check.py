"""`leeside check --live`: what the cellar file names, tried out."""

from __future__ import annotations

__all__ = ["Finding", "live_findings"]

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from queue import SimpleQueue
from time import monotonic, sleep
from typing import Final

from alerts.command.hearing import Ear, reason_words
from alerts.command.line_holder import held_by_leeside
from alerts.message import try_login
from alerts.view.format import value_text
from ingest.backoff import GOES_ON
from ingest.cellar import Cellar, SerialSettings
from ingest.errors import IngestError, SourceError
from ingest.mirror.check import check_mirror
from ingest.process import wall_ms
from ingest.sources.broker_address import guest_address
from ingest.sources.broker_check import try_broker
from ingest.sources.sample import Sample
from ingest.sources.serial_port import try_line
from ingest.sources.w1 import OneWireChips

# A conversion takes 750 ms at 12 bits (data sheet DS18B20), on a busy board a little longer.
_CHIP_S: Final = 2.0
_LOOK_EVERY_S: Final = 0.05


@dataclass(frozen=True, slots=True)
class Finding:
    """part: broker, topic, line, chip, mail, mirror, store, log, summaries, series, disk or backup; name: which one;
    told: how it is, and what to do next."""

    part: str
    name: str
    ok: bool
    told: str


def live_findings(cellar: Cellar, environ: Mapping[str, str], now_ms: int) -> Iterator[Finding]:
    """Try the broker, each topic, serial line and one-wire chip, mail server and mirror, one after the other.

    now_ms: UTC milliseconds. Nothing is published, no mail is sent, no point is written; the running leeside keeps its
    session and lines.
    """
    yield from _broker(cellar, environ)
    for settings in cellar.serial:
        yield _line(cellar, settings, now_ms)
    yield from _chips(cellar)
    yield from _mail(cellar, environ)
    if cellar.mirror is not None:
        yield Finding("mirror", cellar.mirror.url, *check_mirror(cellar.mirror, environ, cellar.base))


def _broker(cellar: Cellar, environ: Mapping[str, str]) -> Iterator[Finding]:
    settings = cellar.mqtt
    if settings is None:
        return
    name = f"{settings.host}:{settings.port}"
    try:
        address = guest_address(settings, environ, cellar.base)
    except SourceError as error:
        yield Finding("broker", name, False, str(error))
        return
    topics = sorted({probe.topic for probe in cellar.probe if probe.topic is not None})
    trial = try_broker(address, topics)
    if not trial.protocol:
        yield Finding("broker", name, False, trial.error)
        return
    yield Finding("broker", name, True, f"lets us in, {trial.protocol}")
    for topic in topics:
        yield _topic(topic, trial.granted.get(topic), trial.refused.get(topic), trial.error)


def _topic(topic: str, granted: int | None, refused: str | None, error: str) -> Finding:
    if granted == 0:
        told = "granted with QoS 0 only: what is sent while leeside is away is lost; look at the broker's access rules"
        return Finding("topic", topic, True, told)
    if granted is not None:
        return Finding("topic", topic, True, "granted")
    if refused is not None:
        told = f"refused ({refused}): its probes would stay silent; look at the broker's access rules and at the topic"
        return Finding("topic", topic, False, told)
    return Finding("topic", topic, False, error or "the broker did not answer; try again, and look at its log")


def _line(cellar: Cellar, settings: SerialSettings, now_ms: int) -> Finding:
    trial = try_line(settings)
    pid = held_by_leeside(cellar, settings.id, trial, now_ms)
    if pid is not None:
        return Finding("line", settings.id, True, f"{settings.device} is read by leeside itself (process {pid})")
    if trial.error:
        told = trial.error
        if trial.in_use and trial.holder is not None:
            told += " Two readers would get half of the bytes each: stop that program."
        return Finding("line", settings.id, False, told)
    return Finding("line", settings.id, True, f"{settings.device} can be opened")


def _chips(cellar: Cellar) -> Iterator[Finding]:
    """Read each chip of the cellar file once."""
    wanted = [probe.w1 for probe in cellar.probe if probe.w1 is not None]
    if not wanted:
        return
    folder = cellar.base / cellar.w1.path
    samples: SimpleQueue[Sample] = SimpleQueue()
    chips = OneWireChips(
        folder=folder, every_s=dict.fromkeys(wanted, 3600.0), deliver=samples.put, clock=wall_ms, monotonic=monotonic
    )
    chips.start()
    deadline = monotonic() + _CHIP_S * (len(wanted) + 1)
    while monotonic() < deadline and not all(state.reads + state.failures for state in chips.state().values()):
        sleep(_LOOK_EVERY_S)
    chips.stop()
    came: dict[str, Sample] = {}
    while not samples.empty():
        sample = samples.get()
        came[sample.address] = sample
    ear = Ear(cellar)
    for chip, state in chips.state().items():
        if chip not in came:
            error = (
                state.last_error.removesuffix(f" {GOES_ON}")
                or "gave no answer: look at cable, plug and pull-up resistor"
            )
            yield Finding("chip", chip, False, error)
            continue
        heard = ear.hear(came[chip])
        if heard.readings:
            reading = heard.readings[0]
            doubt = f", {reading.quality}" + (f" ({reading.reason})" if reading.reason else "")
            shown = value_text(reading.quantity, reading.value, cellar.site.units)
            yield Finding("chip", chip, True, f"says {shown}{doubt}")
        else:
            yield Finding("chip", chip, False, "; ".join(reason_words(refusal.reason) for refusal in heard.refusals))


def _mail(cellar: Cellar, environ: Mapping[str, str]) -> Iterator[Finding]:
    settings = cellar.mail
    if settings is None:
        return
    name = f"{settings.host}:{settings.port}"
    try:
        password = settings.password(environ, cellar.base)
    except IngestError as error:
        yield Finding("mail", name, False, str(error))
        return
    trouble = try_login(settings, password)
    done = {"none": "connected", "starttls": "connected, encrypted (STARTTLS)", "tls": "connected, encrypted (TLS)"}
    login = "" if settings.user is None else ", logged in"
    yield Finding("mail", name, not trouble, trouble or f"{done[settings.security]}{login}; no mail was sent")
