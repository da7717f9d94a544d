"""`leeside check --live`: whether all that the cellar file names can be reached."""

from __future__ import annotations

__all__ = ["check_live"]

from collections.abc import Iterator, Mapping
from queue import SimpleQueue
from time import monotonic, sleep
from typing import Final

from alerts.command.checks.check_channels import live_channels
from alerts.command.checks.check_page import check_page
from alerts.command.checks.check_result import CheckResult, failed, passed
from alerts.command.line_holder import held_by_leeside
from alerts.command.sample_outcome import TrialDecoder, reason_words
from alerts.message import try_login
from alerts.view.format import age, quality_text, value_text
from ingest.backoff import GOES_ON
from ingest.cellar import Cellar, SerialSettings
from ingest.errors import IngestError, SourceError, StoreError
from ingest.mirror.check import check_mirror
from ingest.process import wall_ms
from ingest.sources.broker_address import guest_address
from ingest.sources.broker_check import try_broker
from ingest.sources.sample import Sample
from ingest.sources.serial_port import try_line
from ingest.sources.w1 import OneWireChips
from ingest.store import open_existing
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import latest

# A conversion takes 750 ms at 12 bits (data sheet DS18B20), on a busy board a little longer.
_CHIP_S: Final = 2.0
_LOOK_EVERY_S: Final = 0.05


def check_live(cellar: Cellar, environ: Mapping[str, str], now_ms: int) -> Iterator[CheckResult]:
    """Try the broker, each topic, serial line and one-wire chip, mail server, channel and mirror, one after the other.

    now_ms: UTC milliseconds. Nothing is published, no mail is sent, no point is written; the running leeside keeps its
    session and lines.
    """
    yield from _broker(cellar, environ, now_ms)
    for settings in cellar.serial:
        yield _line(cellar, settings, now_ms)
    yield from _chips(cellar)
    yield from _mail(cellar, environ)
    yield from live_channels(cellar, environ)
    if cellar.page is not None:
        yield from check_page(cellar.page, environ, cellar.base)
    if cellar.mirror is not None:
        yield CheckResult("mirror", cellar.mirror.url, *check_mirror(cellar.mirror, environ, cellar.base))


def _broker(cellar: Cellar, environ: Mapping[str, str], now_ms: int) -> Iterator[CheckResult]:
    settings = cellar.mqtt
    if settings is None:
        return
    name = f"{settings.host}:{settings.port}"
    try:
        address = guest_address(settings, environ, cellar.base)
    except SourceError as error:
        yield failed("broker", name, str(error))
        return
    topics = sorted({probe.topic for probe in cellar.probe if probe.topic is not None})
    trial = try_broker(address, topics)
    if not trial.protocol:
        yield failed("broker", name, trial.error)
        return
    yield passed("broker", name, f"lets us in, {trial.protocol}")
    heard = _last_heard_ms(cellar) if trial.granted else {}
    for topic in topics:
        last_ms = heard.get(topic)
        last = "nothing heard yet" if last_ms is None else f"last heard {age(now_ms - last_ms)} ago"
        yield _topic(topic, last, trial.granted.get(topic), trial.refused.get(topic), trial.error)


def _last_heard_ms(cellar: Cellar) -> dict[str, int]:
    """When the newest stored reading of each topic's probes was taken [UTC ms], of topics that were heard at all."""
    topics = {probe.id: probe.topic for probe in cellar.probe if probe.topic is not None}
    heard: dict[str, int] = {}
    try:
        with open_existing(cellar.store_path) as store:
            for series in all_series(store):
                reading = latest(store, [series.id]).get(series.id)
                if reading is not None and series.probe in topics:
                    topic = topics[series.probe]
                    heard[topic] = max(reading.at_ms, heard.get(topic, reading.at_ms))
    except StoreError:
        pass  # before the first run there is none; --store says what is wrong with one
    return heard


def _topic(topic: str, last: str, granted: int | None, refused: str | None, error: str) -> CheckResult:
    if granted == 0:
        text = "with QoS 0 only: what is sent while leeside is away is lost; look at the broker's access rules"
        return passed("topic", topic, f"allowed {text}; {last}")
    if granted is not None:
        return passed("topic", topic, f"allowed, {last}")
    if refused is not None:
        text = f"refused ({refused}): its probes would stay silent; look at the broker's access rules and at the topic"
        return failed("topic", topic, text)
    return failed("topic", topic, error or "the broker did not answer; try again, and look at its log")


def _line(cellar: Cellar, settings: SerialSettings, now_ms: int) -> CheckResult:
    trial = try_line(settings)
    pid = held_by_leeside(cellar, settings.id, trial, now_ms)
    if pid is not None:
        return passed("line", settings.id, f"{settings.device} is read by leeside itself (process {pid})")
    if trial.error:
        text = trial.error
        if trial.in_use and trial.holder is not None:
            text += " Two readers would get half of the bytes each: stop that program."
        return failed("line", settings.id, text)
    return passed("line", settings.id, f"{settings.device} can be opened")


def _chips(cellar: Cellar) -> Iterator[CheckResult]:
    """Read each chip of the cellar file once."""
    chip_ids = [probe.w1 for probe in cellar.probe if probe.w1 is not None]
    if not chip_ids:
        return
    folder = cellar.base / cellar.w1.path
    samples: SimpleQueue[Sample] = SimpleQueue()
    chips = OneWireChips(
        folder=folder, every_s=dict.fromkeys(chip_ids, 3600.0), deliver=samples.put, clock=wall_ms, monotonic=monotonic
    )
    chips.start()
    deadline = monotonic() + _CHIP_S * (len(chip_ids) + 1)
    while monotonic() < deadline and not all(state.reads + state.failures for state in chips.state().values()):
        sleep(_LOOK_EVERY_S)
    chips.stop()
    arrived: dict[str, Sample] = {}
    while not samples.empty():
        sample = samples.get()
        arrived[sample.address] = sample
    decoder = TrialDecoder(cellar)
    for chip, state in chips.state().items():
        if chip not in arrived:
            error = (
                state.last_error.removesuffix(f" {GOES_ON}")
                or "gave no answer: look at cable, plug and pull-up resistor"
            )
            yield failed("chip", chip, error)
            continue
        outcome = decoder.decode(arrived[chip])
        if outcome.readings:
            reading = outcome.readings[0]
            value = value_text(reading.quantity, reading.value, cellar.site.units)
            yield passed("chip", chip, f"says {value}, {quality_text(reading.quality, reading.reason)}")
        else:
            yield failed("chip", chip, "; ".join(reason_words(refusal.reason) for refusal in outcome.refusals))


def _mail(cellar: Cellar, environ: Mapping[str, str]) -> Iterator[CheckResult]:
    settings = cellar.mail
    if settings is None:
        return
    name = f"{settings.host}:{settings.port}"
    try:
        password = settings.password(environ, cellar.base)
    except IngestError as error:
        yield failed("mail", name, str(error))
        return
    trouble = try_login(settings, password)
    if trouble:
        yield failed("mail", name, trouble)
        return
    security = {"none": "", "starttls": ", encrypted (STARTTLS)", "tls": ", encrypted (TLS)"}[settings.security]
    login = "" if settings.user is None else ", logged in"
    yield passed("mail", name, f"connected{security}{login}; no mail was sent")
