"""What a transmitter's label makes of mA, V, ohm and counts, and how each is judged."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ingest.cellar import Counts, Signal, from_wire
from ingest.errors import Unreadable
from ingest.reading import Quality, Reason, quality_class, quality_code, quality_reason

GOOD = quality_code(Quality.GOOD)
FAULT = quality_code(Quality.BAD, Reason.FAULT)
SATURATED = quality_code(Quality.UNCERTAIN, Reason.SATURATED)
SUPPLY = quality_code(Quality.UNCERTAIN, Reason.FAULT)
RAIL = quality_code(Quality.BAD, Reason.RAIL)

CURRENT = Signal.parse("4-20 mA = 0-4 bar")
RATIO = Signal.parse("0.5-4.5 V of 5 V = 0-6 bar")
PT100 = Signal.parse("Pt100")

# ---- labels --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("4-20 mA = 0-30 psi", ("current", 4, 20, "mA", 0, 30, "psi", None)),
        ("0-20mA=0-30psi", ("current", 0, 20, "mA", 0, 30, "psi", None)),
        ("4 to 20 mA = -1 to 3 bar", ("current", 4, 20, "mA", -1, 3, "bar", None)),
        ("4-20 mA = -1-3 bar", ("current", 4, 20, "mA", -1, 3, "bar", None)),
        ("4–20 mA = −10–60 °C", ("current", 4, 20, "mA", -10, 60, "°C", None)),
        ("4-20 mA = -10-60 °C", ("current", 4, 20, "mA", -10, 60, "°C", None)),
        ("4-20 mA = -40--10 degC", ("current", 4, 20, "mA", -40, -10, "degC", None)),
        ("4 - 20 mA = -40 - -10 degC", ("current", 4, 20, "mA", -40, -10, "degC", None)),
        ("0-10 V = 60-0 ºC", ("voltage", 0, 10, "V", 60, 0, "°C", None)),
        ("-5-+5 V = 0-14 pH", ("voltage", -5, 5, "V", 0, 14, "pH", None)),
        ("0.5-4.5 V of 5 V = 0-30 psi", ("ratiometric", 0.5, 4.5, "V", 0, 30, "psi", 5)),
        (
            ".33 to 2.97 V of 3.3V = 0 to 2.5 bar absolute",
            ("ratiometric", 0.33, 2.97, "V", 0, 2.5, "bar absolute", 3.3),
        ),
    ],
)
def test_a_label_is_read_as_it_is_written(text: str, ends: tuple[object, ...]) -> None:
    found = Signal.parse(text)
    assert (
        found.kind,
        found.wire_low,
        found.wire_high,
        found.wire_unit,
        found.low,
        found.high,
        found.unit,
        found.supply_v,
    ) == ends


@pytest.mark.parametrize(("text", "zero"), [("Pt100", 100.0), ("PT 1000", 1000.0), (" pt100 ", 100.0)])
def test_a_platinum_resistor_needs_no_ends(text: str, zero: float) -> None:
    found = Signal.parse(text)
    assert (found.kind, found.wire_unit, found.unit, found.ohms_at_zero) == ("platinum", "ohm", "°C", zero)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", 'one "=", and what it means: "4-20 mA = 0-30 psi"'),
        ("4-20 mA", 'one "="'),
        ("4-20 mA = 0-30 psi = 0-2 bar", 'one "="'),
        ("Pt50", 'one "="'),
        ("4-20 = 0-30 psi", '"4-20" is not a signal: write a range in mA or V'),
        ("4-20 A = 0-30 psi", "write a range in mA or V"),
        ("4 mA = 0-30 psi", "write a range in mA or V"),
        ("0,5-4,5 V = 0-30 psi", "write the decimal as a point"),
        ("4-20 mA = 0-2,5 bar", "write the decimal as a point"),
        ("20-4 mA = 0-30 psi", "on the wire the lower end comes first: 20 mA is not below 4 mA"),
        ("4-4 mA = 0-30 psi", "the lower end comes first"),
        ("4-20 mA = 0-30", 'the unit is missing behind "0-30"'),
        ("4-20 mA = 30 psi", 'is not a range: write two numbers and a unit, such as "0-30 psi"'),
        ("4-20 mA = psi", "is not a range"),
        ("4-20 mA = 3-3 psi", "the two ends must differ"),
        ("4-20 mA of 5 V = 0-30 psi", "only a voltage can follow its supply"),
        ("0.5-4.5 V of 0 V = 0-30 psi", "the supply must be above 0 V"),
        ("0.5-5.5 V of 5 V = 0-30 psi", "lies within 0 to 5 V, not 0.5 to 5.5 V"),
        ("-1-4 V of 5 V = 0-30 psi", "lies within 0 to 5 V"),
        ("4-20 mA = 0-30 psi" + " " * 200, "longer than 120 characters"),
    ],
)
def test_what_is_no_label_is_told_with_what_is_allowed(text: str, told: str) -> None:
    with pytest.raises(ValueError) as caught:
        Signal.parse(text)
    assert told in str(caught.value)


@given(st.text(max_size=130) | st.text("0123456789.-+ tomAV=fPp", max_size=40))
def test_any_text_is_a_label_or_a_told_mistake(text: str) -> None:
    with suppress(ValueError):
        assert Signal.parse(text).text
    with suppress(ValueError):
        assert Counts.parse(text).text


_ENDS = st.integers(-9999, 9999).map(lambda hundredths: hundredths / 100)


@given(_ENDS, _ENDS, st.sampled_from(["-", " - ", " to ", "–"]))
def test_every_range_is_read_back(low: float, high: float, between: str) -> None:
    assume(low != high)
    found = Signal.parse(f"4-20 mA = {low:.2f}{between}{high:.2f} kPa")
    assert (found.low, found.high, found.unit) == (low, high, "kPa")


# ---- currents ------------------------------------------------------------------------------------------------------

# The line of IEC 60381-1 between its ends, the limits of NAMUR NE 43 (2003, from memory): mA, bar on 0-4 bar, °C on
# -10-60 °C, judged.
NE_43 = [
    (3.5, -0.125, -12.1875, FAULT),
    (3.6, -0.1, -11.75, FAULT),
    (3.61, -0.0975, -11.70625, SATURATED),
    (3.79, -0.0525, -10.91875, SATURATED),
    (3.8, -0.05, -10.875, GOOD),
    (4.0, 0.0, -10.0, GOOD),
    (8.0, 1.0, 7.5, GOOD),
    (12.0, 2.0, 25.0, GOOD),
    (16.0, 3.0, 42.5, GOOD),
    (20.0, 4.0, 60.0, GOOD),
    (20.5, 4.125, 62.1875, GOOD),
    (20.51, 4.1275, 62.23125, SATURATED),
    (20.99, 4.2475, 64.33125, SATURATED),
    (21.0, 4.25, 64.375, FAULT),
    (21.5, 4.375, 66.5625, FAULT),
    (0.0, -1.0, -27.5, FAULT),
]


@pytest.mark.parametrize(("milliampere", "bar", "celsius", "code"), NE_43)
def test_4_to_20_ma_by_ne_43(milliampere: float, bar: float, celsius: float, code: int) -> None:
    assert CURRENT.linearise(milliampere) == pytest.approx((bar, code), abs=1e-9)
    warm = Signal.parse("4-20 mA = -10-60 °C")
    assert warm.linearise(milliampere) == pytest.approx((celsius, code), abs=1e-9)


def test_ne_43_is_for_4_to_20_ma_only() -> None:
    dead_zero = Signal.parse("0-20 mA = 0-4 bar")
    assert dead_zero.linearise(0.0) == (0.0, GOOD)
    assert dead_zero.linearise(-0.39)[1] == GOOD
    assert dead_zero.linearise(-0.41)[1] == SATURATED
    assert dead_zero.linearise(20.41)[1] == SATURATED


# ---- voltages ------------------------------------------------------------------------------------------------------


def test_the_supply_cancels_only_where_it_is_measured() -> None:
    """2.45 V of a true 4.90 V on 0-6 bar are 3.000 bar; with 5 V assumed 2.925 bar."""
    assert RATIO.linearise(2.45, 4.9) == pytest.approx((3.0, GOOD))
    assert RATIO.linearise(2.45) == pytest.approx((2.925, GOOD))


@pytest.mark.parametrize(
    ("volt", "code"),
    [
        (0.0, FAULT),
        (0.249, FAULT),
        (0.251, SATURATED),
        (0.419, SATURATED),
        (0.421, GOOD),
        (4.579, GOOD),
        (4.581, SATURATED),
        (4.749, SATURATED),
        (4.751, FAULT),
        (5.0, FAULT),
    ],
)
def test_a_part_of_the_supply_is_judged_by_its_share(volt: float, code: int) -> None:
    assert RATIO.linearise(volt)[1] == code
    assert RATIO.linearise(volt * 0.96, 4.8)[1] == code  # the same share of another supply


def test_fault_bands_leave_room_for_a_wide_signal() -> None:
    whole = Signal.parse("0-5 V of 5 V = 0-14 pH")
    assert whole.linearise(0.0) == (0.0, GOOD)
    assert whole.linearise(5.0) == (14.0, GOOD)
    assert whole.linearise(5.2)[1] == SATURATED


@pytest.mark.parametrize(("supply", "code"), [(4.49, SUPPLY), (4.51, GOOD), (5.49, GOOD), (5.51, SUPPLY)])
def test_a_supply_far_from_nominal_is_in_doubt(supply: float, code: int) -> None:
    assert RATIO.linearise(supply / 2, supply) == pytest.approx((3.0, code))
    assert RATIO.linearise(0.0, supply)[1] == FAULT


@pytest.mark.parametrize("supply", [0.0, -5.0])
def test_without_a_supply_there_is_no_share(supply: float) -> None:
    with pytest.raises(Unreadable) as caught:
        RATIO.linearise(2.5, supply)
    assert caught.value.reason == "no supply voltage"


def test_a_plain_voltage_has_no_supply() -> None:
    plain = Signal.parse("0-10 V = 0-60 °C")
    assert plain.linearise(2.5) == (15.0, GOOD)
    assert [plain.linearise(volt)[1] for volt in (-0.21, -0.19, 10.19, 10.21)] == [SATURATED, GOOD, GOOD, SATURATED]
    with pytest.raises(ValueError, match='only a signal "of 5 V" has a supply'):
        plain.linearise(2.5, 5.0)


def test_a_value_may_fall_as_the_signal_rises() -> None:
    assert Signal.parse("0-10 V = 60-0 °C").linearise(2.5) == (45.0, GOOD)


@given(st.floats(-50, 50), st.floats(-50, 50), st.floats(0, 1))
def test_the_line_runs_through_both_ends(low: float, high: float, share: float) -> None:
    signal = Signal("", "current", 4.0, 20.0, "mA", low, high, "kPa")
    value, code = signal.linearise(4.0 + 16.0 * share)
    assert value == pytest.approx(low + share * (high - low), abs=1e-9)
    assert code == GOOD


# ---- platinum ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ohm", "celsius", "code"),
    [(107.7935, 20.0, GOOD), (92.1599, -20.0, GOOD), (18.0, -200.0, FAULT), (-1.0, -200.0, FAULT), (5e3, 850.0, FAULT)],
)
def test_ohms_become_degrees_and_a_broken_wire_a_fault(ohm: float, celsius: float, code: int) -> None:
    """IEC 60751, its table."""
    assert PT100.linearise(ohm) == pytest.approx((celsius, code), abs=5e-4)


# ---- counts --------------------------------------------------------------------------------------------------------


def test_counts_become_volts_before_the_signal() -> None:
    counts = Counts.parse("0-4095 = 0-5 V")
    assert counts.wire(2047.5) == (2.5, False)
    assert from_wire(RATIO, counts, 2047.5, None) == pytest.approx((3.0, GOOD))
    assert from_wire(RATIO, counts, 2006.55, 4.9) == pytest.approx((3.0, GOOD))  # 2.45 V
    assert from_wire(RATIO, None, 2.5, None) == pytest.approx((3.0, GOOD))


def test_counts_may_lie_below_zero_and_mean_milliamperes() -> None:
    counts = Counts.parse("-32768 to 32767 = -25-25 mA")
    assert (counts.low, counts.high, counts.wire_low, counts.wire_high) == (-32768, 32767, -25.0, 25.0)
    assert counts.wire(-0.5)[0] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("count", "at_end"), [(-1, True), (0, True), (1, False), (4094, False), (4095, True), (9999, True)]
)
def test_the_two_end_counts_are_rails(count: float, at_end: bool) -> None:
    counts = Counts.parse("0-4095 = 0-10 V")
    assert counts.wire(count)[1] is at_end
    _, code = from_wire(Signal.parse("0-10 V = 0-60 °C"), counts, count, None)
    assert (code == RAIL) is at_end


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0-4095", 'one "=", and what it means: "0-4095 = 0-5 V"'),
        ("0.5-4095 = 0-5 V", "write the two end counts as whole numbers"),
        ("4095 = 0-5 V", "write the two end counts as whole numbers"),
        ("4095-0 = 0-5 V", "the lower end count comes first: 4095 is not below 0"),
        ("0-4095 = 5-0 V", "the lower end comes first"),
        ("0-4095 = 0-5", "must be a range in V or mA"),
        ("0-4095 = 0-5 V of 5 V", "must be a range in V or mA"),
        ("0-4095 = 0-2,5 V", "write the decimal as a point"),
    ],
)
def test_what_are_no_counts_is_told(text: str, told: str) -> None:
    with pytest.raises(ValueError) as caught:
        Counts.parse(text)
    assert told in str(caught.value)


# ---- whatever the wire says ----------------------------------------------------------------------------------------

_FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(
    st.sampled_from([CURRENT, RATIO, PT100, Signal.parse("0-10 V = 60-0 °C")]),
    st.none() | st.just(Counts.parse("0-4095 = -5-25 V")),
    _FINITE,
    st.none() | _FINITE,
)
def test_any_number_gives_a_finite_value_or_is_unreadable(
    signal: Signal, counts: Counts | None, number: float, supply: float | None
) -> None:
    try:
        value, code = from_wire(signal, counts, number, supply if signal.supply_v else None)
    except Unreadable as error:
        assert error.reason in ("no supply voltage", "not finite")
        return
    assert math.isfinite(value)
    assert quality_class(code) in Quality
    assert quality_reason(code) in Reason
