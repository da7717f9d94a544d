"""What the kernel's files of one-wire thermometers say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import Unreadable
from ingest.probes.onewire import Thermometer, crc8, parse_w1

# Scratchpads with their check sums, from the temperature table of the data sheet DS18B20; the sums were worked out.
SCRATCHPADS = [
    (125.0, "d0 07 4b 46 7f ff 0c 10 f4"),
    (85.0, "50 05 4b 46 7f ff 0c 10 1c"),
    (25.062, "91 01 4b 46 7f ff 0c 10 70"),
    (10.125, "a2 00 4b 46 7f ff 0c 10 74"),
    (0.0, "00 00 4b 46 7f ff 0c 10 c8"),
    (-10.125, "5e ff 4b 46 7f ff 0c 10 6a"),
    (-55.0, "90 fc 4b 46 7f ff 0c 10 4f"),
]


def file_text(scratchpad: str, millidegrees: int, verdict: str = "YES") -> bytes:
    """As the kernel's driver writes it."""
    return f"{scratchpad} : crc={scratchpad[-2:]} {verdict}\n{scratchpad} t={millidegrees}\n".encode()


def refused(text: bytes, family: str = "28") -> str:
    with pytest.raises(Unreadable) as caught:
        parse_w1(text, family)
    return caught.value.reason


@pytest.mark.parametrize(("temperature", "scratchpad"), SCRATCHPADS)
def test_check_sums(temperature: float, scratchpad: str) -> None:
    data = bytes.fromhex(scratchpad)
    assert crc8(data[:-1]) == data[-1]
    assert crc8(data) == 0
    assert parse_w1(file_text(scratchpad, round(temperature * 1000))) == temperature


def test_check_sums_of_other_things() -> None:
    assert crc8(b"123456789") == 0xA1  # the usual check value
    assert crc8(bytes.fromhex("10e2073a01080063")) == 0  # the chip id in the examples of RFC 8428
    assert crc8(b"\xff" * 8) == 0xC9
    assert crc8(b"") == 0


def test_a_file_without_the_bytes_and_one_with_the_number_alone() -> None:
    assert parse_w1(b": crc=70 YES\nt=25062\n") == 25.062
    assert parse_w1(b"25062\n") == 25.062
    assert parse_w1(b"-125") == -0.125


def test_a_wrong_check_sum_is_refused_whoever_finds_it() -> None:
    right = SCRATCHPADS[2][1]
    assert refused(file_text(right, 25062, "NO")) == "CRC"
    assert refused(file_text(right.replace("91", "92"), 25125)) == "CRC"
    assert refused(file_text("ff " * 8 + "ff", -62)) == "CRC"


def test_a_shorted_bus_passes_the_check_sum_and_is_refused() -> None:
    zeros = "00 " * 8 + "00"
    for family in ("28", "10"):
        assert refused(file_text(zeros, 0), family) == "bus shorted"


@pytest.mark.parametrize("configuration", range(256))
def test_only_four_configurations_are_possible(configuration: int) -> None:
    data = bytes([0x91, 0x01, 0x4B, 0x46, configuration, 0xFF, 0x0C, 0x10])
    text = file_text((data + bytes([crc8(data)])).hex(" "), 25062)
    if configuration in (0x1F, 0x3F, 0x5F, 0x7F):
        assert parse_w1(text) == 25.062
    else:
        assert refused(text) == refused(text, "22") == "no scratchpad"
    assert parse_w1(text, "10") == 25.062  # the older chip has no such register


def test_the_number_that_means_no_chip_is_refused() -> None:
    assert refused(file_text(SCRATCHPADS[2][1], -127_000)) == "no chip (-127 °C)"
    assert refused(b"-127000\n") == "no chip (-127 °C)"
    assert parse_w1(b"-126999\n") == -126.999


@pytest.mark.parametrize(
    "text",
    [
        b"25.062\n",
        b"YES\nt=25062\n",
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n",
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 MAYBE\n91 01 4b 46 7f ff 0c 10 70 t=25062\n",
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=\n",
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\nt=5\n",
        b"25062" + b" " * 300,
        b"\xff\x00\n",
    ],
)
def test_other_texts_are_refused(text: bytes) -> None:
    assert refused(text) == "not a one-wire file"


@pytest.mark.parametrize("text", [b"", b"\n", b" \n "])
def test_an_empty_file_is_refused(text: bytes) -> None:
    assert refused(text) == "empty"


_PARTS = st.sampled_from(
    [b"91 01 4b 46 7f ff 0c 10 70", b" : crc=70 ", b"YES", b"NO", b"\n", b" t=", b"t=", b"25062", b"-127000", b"00 "]
)


@given(st.one_of(st.lists(_PARTS, max_size=8).map(b"".join), st.binary(max_size=80)), st.sampled_from(["28", "10"]))
def test_any_text_gives_a_temperature_or_a_reason(text: bytes, family: str) -> None:
    try:
        temperature = parse_w1(text, family)
    except Unreadable as error:
        assert error.reason
    else:
        assert abs(temperature) < 10_000


@given(st.binary(min_size=8, max_size=8), st.integers(0, 63))
def test_each_flipped_bit_is_found(data: bytes, bit: int) -> None:
    flipped = bytearray(data)
    flipped[bit // 8] ^= 1 << bit % 8
    assert crc8(bytes(flipped)) != crc8(data)


@pytest.mark.parametrize(
    ("temperatures", "settled"),
    [
        ([85.0], [False]),
        ([85.0, 85.0, 85.0], [False, False, False]),
        ([12.0, 85.0, 12.0], [True, False, True]),
        ([84.0, 85.0, 85.0], [True, True, True]),
        ([79.9, 85.0], [True, False]),
        ([80.0, 85.0], [True, True]),
        ([90.0, 85.0], [True, True]),
        ([85.0, 85.0, 84.937, 85.0], [False, False, True, True]),
        ([84.0, 85.0, 12.0, 85.0], [True, True, True, False]),
        ([85.001], [True]),
    ],
)
def test_the_power_on_value_is_doubted_until_the_neighbourhood_was_measured(
    temperatures: list[float], settled: list[bool]
) -> None:
    thermometer = Thermometer()
    assert [thermometer.settled(temperature) for temperature in temperatures] == settled
