"""Payloads of every form, grown by coverage: each gives readings or counted refusals, and never an error.

The bytes go the way that a sample goes: a payload through the probes of a cellar file, a serial stream in pieces
through the framer first. Checked for each: nothing is raised; there is a reading or a refusal; numbers, times and
qualities are such as the store takes; what a refusal shows is printable. At the end, memory must not have grown.

It needs atheris, which is no dependency of leeside and comes for CPython 3.11 to 3.13 on Linux:

    pip install 'atheris>=3,<4'
    nice python tests/fuzz/payloads.py --seconds 600

--seconds is processor time, 600 by default. --corpus FOLDER keeps what was found worth trying, for the next
run. Prints executions, coverage and findings; exit code 1 if there are findings. Each finding says which bytes bring it
about: put them into a test of the room that raised, then mend it.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import math
import os
import random
import re
import sys
import time
import traceback
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import Any

# Untyped, and installed by hand: see above.
atheris: Any = importlib.import_module("atheris")

# It reports every module, also those that it does not instrument.
with contextlib.redirect_stderr(io.StringIO()), atheris.instrument_imports(include=["ingest.probes", "ingest.sources"]):
    from ingest.cellar import parse_cellar
    from ingest.probes.binding import bindings
    from ingest.probes.decode import DecodedReading, Decoder, Refusal
    from ingest.sources.framing import LineFramer
    from ingest.sources.sample import Sample

NOW_MS = 1_795_595_400_000
# The engine keeps every input that was worth something; what a payload leaves behind in leeside would be far more.
MOST_GROWTH_BYTES = 32 * 1024 * 1024
WARM_UP_RUNS = 20_000
LOOK_EVERY_RUNS = 500

CELLAR = r"""
[site]
name = "Fuzz"
timezone = "UTC"
[mqtt]
host = "127.0.0.1"
[[serial]]
id = "line"
device = "/dev/null"
[[vessel]]
id = "K1"
kind = "keg"
capacity = "19.5 L"
"""

# (more of the probe, payloads to begin with); the place in this list is the first byte of an input.
PROBES: list[tuple[str, list[bytes]]] = [
    ('quantity = "pressure"\ntopic = "0"\nunit = "psi"', [b"21.5\r\n", b"-1e-3", b".5", b"nan", b"1_0", b"1e400"]),
    ('quantity = "pressure"\ntopic = "1"\nunit = "kPa"\ndecimal = ","', [b"21,5", b"1.000,5"]),
    ('quantity = "pressure"\ntopic = "2"\nsignal = "4-20 mA = 0-30 psi"\ncounts = "0-4095 = 0-20 mA"', [b"819"]),
    ('quantity = "temperature"\ntopic = "3"\nsignal = "Pt1000"', [b"1077.94", b"1e9"]),
    (
        'quantity = "pressure"\ntopic = "4"\npayload = "json"\npointer = "/gas/0/kPa"\n'
        'time_pointer = "/at"\nunit = "kPa"',
        [b'{"gas":[{"kPa":55.2}],"at":"2026-11-25T08:30:00.25+01:00"}', b'{"gas":[{"kPa":1}],"at":1795595400000}'],
    ),
    (
        'quantity = "pressure"\ntopic = "5"\npayload = "json"\npointer = "/v"\nsupply_pointer = "/s"\n'
        'signal = "0.5-4.5 V of 5 V = 0-30 psi"',
        [b'{"v":2.5,"s":4.9}', b'{"v":2.5,"s":1e-320}'],
    ),
    (
        'quantity = "temperature"\ntopic = "6"\npayload = "senml"\nname = "urn:dev:ow:10e2073a01080063"',
        [
            b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.795595e9,"bu":"Cel","v":23.1},{"t":-5,"v":1,"u":"K"}]',
            b'[{"bn":"urn:dev:","bver":26,"bv":2},{"n":"ow:10e2073a01080063","u":"Cel","v":1},{"n":"x","vd":"aGk"}]',
            b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","s":1,"t":60,"ut":5}]',
        ],
    ),
    ('quantity = "pressure"\ntopic = "7"\npayload = "senml"\nname = "p"\nunit = "psi"', [b'[{"n":"p","v":8}]']),
    (
        'quantity = "temperature"\nw1 = "28-3c01f0964f2b"',
        [b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\nt=25062", b"85000"],
    ),
    (
        'quantity = "temperature"\nserial = "line"\npattern = \'K1 T=(?P<value>[-+0-9.eE]+)( V=.*)?\'\nunit = "degC"',
        [b"T=1\r\nK1 T=12.5\r\nK1 T=1e999\r\n\xff\xfe\r\n", b"K1 T=12.5\rK1 T=13\n\n\r"],
    ),
    (
        'quantity = "pressure"\nserial = "line"\npattern = \'P=(?P<value>[^;]*);(?P<supply>[0-9.]*)\'\n'
        'signal = "0.5-4.5 V of 5 V = 0-30 psi"',
        [b"\nP=2.5;4.9\r\nP=2.5;\r\nP=;5\r\n"],
    ),
]
LINES_FROM = len(PROBES) - 2
# Pieces for the engine to put in; coverage alone does not find whole words quickly.
WORDS = """
"bn" "bt" "bu" "bv" "bs" "bver" "n" "u" "v" "vs" "vb" "vd" "s" "t" "ut" "Cel" "hPa" "at" "gas" "kPa" ,"t":1 ,"bt":1
e308 e-324 NaN Infinity true null T=12.5 crc= YES NO t= : K1 P= 2026-11-25T08:30:00Z 268435456 1795595400 [{ }] \\ud800
"""


def build_decoder() -> Decoder:
    """All probes of PROBES on one cellar, bound as the daemon binds them."""
    probes = "".join(f'[[probe]]\nid = "p{place}"\nat = "K1"\n{text}\n' for place, (text, _) in enumerate(PROBES))
    cellar = parse_cellar(CELLAR + probes, file="fuzz.toml", base=Path("/"))
    return Decoder(bindings(cellar, {probe.id: number for number, probe in enumerate(cellar.probe, 1)}))


NUMBER = re.compile(rb"[-+]?[0-9]+(?:\.[0-9]*)?(?:[eE][-+]?[0-9]+)?")
# Where arithmetic ends: of doubles, of times, of counts, of what Python turns into whole numbers and prints.
EDGES = [
    *(
        b"0",
        b"-0.0",
        b"1e-320",
        b"5e-324",
        b"1.7e308",
        b"-1.7e308",
        b"1e306",
        b"-1e306",
        b"1e400",
        b"9" * 400,
        b"9" * 4400,
    ),
    *(b"268435455", b"268435456", b"1795595400", b"253402300799", b"253402300800", b"-62135596801"),
    *(b"1e11", b"99999999999", b"1e14", b"1e17", b"1e18", b"9007199254740993", b"4096", b"26", b"85000", b"-127000"),
]


def mutate(data: bytes, max_size: int, seed: int) -> bytes:
    """The engine's own change, or one of the numbers moved to an edge: by bits alone those are hardly ever hit."""
    chance = random.Random(seed)
    found = list(NUMBER.finditer(data, 2)) if chance.random() < 0.3 else []
    if not found:
        changed: bytes = atheris.Mutate(data, max_size)
        return changed
    place = chance.choice(found)
    return (data[: place.start()] + chance.choice(EDGES) + data[place.end() :])[:max_size]


class Trial:
    """Tries one input after the other, and keeps what went wrong: place of the error -> (its text, the bytes)."""

    def __init__(self, seconds: float, said: Any) -> None:
        self._seconds = seconds
        self._said = said
        self._decoder = build_decoder()
        self.runs = self.readings = self.refusals = 0
        self.findings: dict[str, tuple[str, bytes]] = {}
        self._memory_before = 0

    def __call__(self, data: bytes) -> None:
        """One input: a byte for the form, one for how it came, the rest is payload."""
        self.runs += 1
        try:
            self._try(data)
        except Exception as error:  # noqa: BLE001 - that there is none is what is tried
            last = traceback.extract_tb(error.__traceback__)[-1]
            key = f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno}"
            self.findings.setdefault(key, (str(error), data))
        if self.runs == WARM_UP_RUNS:
            self._memory_before = resident_bytes()
        if self.runs % LOOK_EVERY_RUNS == 0 and time.process_time() > self._seconds:
            self._finish()

    def _try(self, data: bytes) -> None:
        form = data[0] % len(PROBES) if data else 0
        how = data[1] if len(data) > 1 else 0
        payload = data[2:]
        if form < LINES_FROM:
            source, address = ("w1", "28-3c01f0964f2b") if form == LINES_FROM - 1 else ("mqtt", str(form))
            self._decode(Sample(source, address, payload, NOW_MS, 0.0, retained=bool(how & 1), repeat=bool(how & 2)))
            return
        framer, size = LineFramer(64, fresh=bool(how & 1)), 1 + (how >> 1)
        lines = [line for start in range(0, len(payload), size) for line in framer.feed(payload[start : start + size])]
        assert framer.feed(b"") == []
        whole = LineFramer(64, fresh=bool(how & 1))
        assert whole.feed(payload) == lines, "another cut gives other lines"
        for line in lines:
            assert 0 < len(line) <= 64
            self._decode(Sample("line", "line", line, NOW_MS, 0.0))

    def _decode(self, sample: Sample) -> None:
        readings, refusals = self._decoder.decode(sample)
        assert readings or refusals, "neither a reading nor a refusal"
        self.readings += len(readings)
        self.refusals += len(refusals)
        for reading in readings:
            check_reading(reading)
        for refusal in refusals:
            check_refusal(refusal)

    def _finish(self) -> None:
        grown_bytes = resident_bytes() - self._memory_before if self._memory_before else 0
        if grown_bytes > MOST_GROWTH_BYTES:
            self.findings["memory"] = (f"grown by {grown_bytes} bytes", b"")
        sys.stderr.flush()
        self._said.seek(0)
        coverage = re.findall(rb"cov: \d+ ft: \d+ corp: [^ ]+", self._said.read())
        spent_s = time.process_time()
        print(f"{self.runs} executions in {spent_s:.0f} s of processor time, {self.runs / spent_s:.0f} a second")
        print(f"{self.readings} readings, {self.refusals} refusals")
        print(f"coverage: {coverage[-1].decode() if coverage else 'unknown'}")
        print(f"memory: {resident_bytes() / 2**20:.0f} MiB, grown by {grown_bytes / 2**20:.1f} MiB since the warm-up")
        print(f"findings: {len(self.findings)}")
        for key, (text, data) in self.findings.items():
            print(f"  {key}: {text}\n    {data!r}")
        sys.stdout.flush()
        # The engine goes on until it is killed.
        os._exit(1 if self.findings else 0)


def check_reading(reading: DecodedReading) -> None:
    """A reading is such as the store takes."""
    assert math.isfinite(reading.number), f"number {reading.number}"
    assert 0 <= reading.quality < 256, f"quality {reading.quality}"
    assert reading.own_ms is None or 0 < reading.own_ms < 1 << 53, f"time {reading.own_ms}"


def check_refusal(refusal: Refusal) -> None:
    """A refusal can be counted and shown."""
    assert refusal.reason, "no reason"
    assert len(refusal.reason) < 60, f"a reason that holds what came: {refusal.reason}"
    assert refusal.found.isprintable(), f"not printable: {refusal.found!a}"
    assert len(refusal.found) < 600, f"{len(refusal.found)} characters shown"


def resident_bytes() -> int:
    """Memory of this process that is in use, by the kernel's account."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGESIZE")


def main() -> None:
    """Set up the engine and let it run; it ends in ``Trial._finish``."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=600.0, help="processor time, 600 by default")
    parser.add_argument("--corpus", type=Path, help="a folder that keeps what was found worth trying")
    options = parser.parse_args()
    with TemporaryDirectory() as folder, TemporaryFile() as said:
        corpus = options.corpus or Path(folder) / "corpus"
        corpus.mkdir(parents=True, exist_ok=True)
        seeds = Path(folder) / "seeds"
        seeds.mkdir()
        for form, (_, payloads) in enumerate(PROBES):
            for number, payload in enumerate(payloads):
                (seeds / f"{form}-{number}").write_bytes(bytes([form, number]) + payload)
        words = Path(folder) / "words"
        words.write_text(
            "".join('"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"\n' for word in WORDS.split())
        )
        os.dup2(said.fileno(), 2)
        arguments = [sys.argv[0], str(corpus), str(seeds), f"-dict={words}", "-max_len=6000", "-timeout=20"]
        atheris.Setup(arguments, Trial(options.seconds, said), custom_mutator=mutate)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
