"""`leeside bench calibrate-ph`: slope, offset and uncertainty of a pH probe from its buffers."""

from __future__ import annotations

__all__ = ["EXAMPLE", "calibrate_ph"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.options import Json
from alerts.command.so2_options import optional_number
from ingest.errors import IngestError
from ingest.journal.ph_buffers import BUFFER_SETS, PRINTED, U_BUFFER_SETS, find_buffer
from ingest.journal.ph_calibration import (
    TYPICAL_WINE_PH,
    U_BUFFER_PH,
    PhCalibration,
    PhCalibrationRefused,
    PhGrade,
    PhPoint,
    calibrated,
    nernst_mv,
    shown_as_mv,
)
from ingest.journal.ph_drift import PhDrift, ph_drift

EXAMPLE: Final = "Example: leeside bench calibrate-ph --buffer 7.00 --mv -6.0 --buffer 4.01 --mv 168.5 --temperature 25"

# Beyond these a number is a slip (choices of this project).
_WINE_C: Final = (-5.0, 50.0)
_EARLIER_PERCENT: Final = (50.0, 150.0)
_OPTIONS: Final = {
    "buffers": "--buffer",
    "readings": "--mv, --reads",
    "temperature": "--temperature",
    "days": "--earlier-days",
}


def calibrate_ph(
    buffer: Annotated[
        list[str], typer.Option("--buffer", metavar="BUFFER", help="A buffer, such as 7.00; once for each, 2 to 5.")
    ],
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="How warm the buffers were, 0 to 50 °C.")
    ],
    mv: Annotated[
        list[str] | None, typer.Option("--mv", metavar="MV", help="What the probe gave in it, in mV; one for each.")
    ] = None,
    reads: Annotated[
        list[str] | None, typer.Option("--reads", metavar="PH", help="Or the pH that was shown; one for each.")
    ] = None,
    buffer_set: Annotated[
        str,
        typer.Option(
            "--buffer-set",
            metavar="SET",
            help="technical, nist, or printed: the pH on the bottle for that temperature.",
        ),
    ] = "technical",
    wine_mv: Annotated[
        str | None, typer.Option("--wine-mv", metavar="MV", help="What the probe gives in wine: its pH is shown.")
    ] = None,
    wine_reads: Annotated[
        str | None, typer.Option("--wine-reads", metavar="PH", help="Or the pH that it shows in wine.")
    ] = None,
    wine_temperature: Annotated[
        str | None,
        typer.Option("--wine-temperature", metavar="CELSIUS", help="How warm that wine is; as the buffers by default."),
    ] = None,
    earlier_slope: Annotated[
        str | None,
        typer.Option("--earlier-slope-percent", metavar="PERCENT", help="The slope of an earlier calibration."),
    ] = None,
    earlier_offset: Annotated[
        str | None, typer.Option("--earlier-offset-mv", metavar="MV", help="Its offset at pH 7.")
    ] = None,
    earlier_days: Annotated[
        str | None, typer.Option("--earlier-days", metavar="DAYS", help="How many days before it was.")
    ] = None,
    as_json: Json = False,
) -> int:
    """Work out slope, offset and uncertainty of a pH probe from buffers, and how good it is.

    The exit code is 1 if the probe is not to be used.
    """
    celsius = finite_number(temperature, "--temperature")
    if bool(mv) == bool(reads):
        raise typer.BadParameter(
            "give what the probe gave: either in mV, or the pH that was shown", param_hint="--mv, --reads"
        )
    readings, option = (mv, "--mv") if mv else (reads or [], "--reads")
    if len(readings) != len(buffer):
        raise typer.BadParameter(
            f"{len(buffer)} --buffer and {len(readings)} {option}; give one for each", param_hint=f"--buffer, {option}"
        )
    places = [_buffer_ph(text, buffer_set, celsius) for text in buffer]
    numbers = [finite_number(text, option) for text in readings]
    try:
        found = calibrated(
            [
                PhPoint(ph, number if mv else shown_as_mv(number, celsius))
                for ph, number in zip(places, numbers, strict=True)
            ],
            celsius,
            U_BUFFER_SETS.get(buffer_set, U_BUFFER_PH),
        )
        drift = _drift(found, earlier_slope, earlier_offset, earlier_days)
    except PhCalibrationRefused as error:
        raise typer.BadParameter(str(error), param_hint=_OPTIONS.get(error.field)) from error
    wine_ph, wine_c = _wine(
        found, bool(mv), wine_mv, wine_reads, optional_number(wine_temperature, "--wine-temperature")
    )
    at_ph = TYPICAL_WINE_PH if wine_ph is None else wine_ph
    u_ph = found.u_at(at_ph, wine_c)
    grade = found.grade
    text = (
        f"slope {found.slope_percent:.1f} % ({found.slope_mv:.2f} mV per pH at {celsius:g} °C), offset at pH 7 "
        f"{found.offset_mv:+.1f} mV: {'not to be used' if grade is PhGrade.REFUSED else grade}"
    )
    if not mv:
        text += f"\nshown pH becomes {_gain(found):.4f} x shown {_offset_ph(found):+.3f}"
    if wine_ph is None:
        text += f"\nstandard uncertainty near pH {at_ph:g}: {u_ph:.3f}"
    else:
        text += f"\nthe wine has pH {wine_ph:.3f}, standard uncertainty {u_ph:.3f}"
    if drift is not None:
        text += f"\n{drift.text}"
    result = {
        "slope_percent": found.slope_percent,
        "slope_mv_per_ph": found.slope_mv,
        "nernst_mv_per_ph": nernst_mv(celsius),
        "offset_mv": found.offset_mv,
        "zero_point_ph": found.zero_point_ph,
        "grade": grade.value,
        "temperature_c": celsius,
        "buffers_ph": places,
        "residuals_ph": list(found.residuals_ph),
        "gain": None if mv else _gain(found),
        "offset_ph": None if mv else _offset_ph(found),
        "wine_ph": wine_ph,
        "u_ph": u_ph,
        "u_ph_at": at_ph,
        "drift_slope_percent": None if drift is None else drift.slope_percent,
        "drift_offset_mv": None if drift is None else drift.offset_mv,
        "drift_ph": None if drift is None else drift.ph,
        "drift_ph_per_30_days": None if drift is None else drift.ph_per_30_days,
    }
    print_answer(text, result, found.warnings, as_json)
    return 1 if grade is PhGrade.REFUSED else 0


def _buffer_ph(text: str, buffer_set: str, celsius: float) -> float:
    """The pH of a buffer at the temperature."""
    if buffer_set == PRINTED:
        return finite_number(text, "--buffer")
    if buffer_set not in BUFFER_SETS:
        allowed = ", ".join((*BUFFER_SETS, PRINTED))
        raise typer.BadParameter(f"there is no '{buffer_set}'; allowed: {allowed}", param_hint="--buffer-set")
    try:
        buffer = find_buffer(text, buffer_set)
    except IngestError as error:
        raise typer.BadParameter(
            f"{error}; for another bottle give --buffer-set {PRINTED} and the pH that it has at {celsius:g} °C",
            param_hint="--buffer",
        ) from error
    try:
        return buffer.ph_at(celsius)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--temperature") from error


def _wine(
    found: PhCalibration, in_mv: bool, wine_mv: str | None, wine_reads: str | None, wine_c: float | None
) -> tuple[float | None, float | None]:
    """The pH of the wine, None where nothing was read in it, and its temperature."""
    right, wrong = (wine_mv, wine_reads) if in_mv else (wine_reads, wine_mv)
    option = "--wine-mv" if in_mv else "--wine-reads"
    if wrong is not None:
        raise typer.BadParameter(
            f"the buffers were read in {'mV' if in_mv else 'pH'}, so give the wine with {option}", param_hint=option
        )
    if wine_c is not None and not _WINE_C[0] <= wine_c <= _WINE_C[1]:
        raise typer.BadParameter(
            f"wine is not at {wine_c:g} °C; allowed are {_WINE_C[0]:g} to {_WINE_C[1]:g}",
            param_hint="--wine-temperature",
        )
    if right is None:
        return None, wine_c
    number = finite_number(right, option)
    # A shown pH is compensated for temperature already: only the line itself is corrected.
    ph = found.ph_of(number, wine_c) if in_mv else found.ph_of(shown_as_mv(number, found.temperature_c))
    if not 0.0 <= ph <= 14.0:
        raise typer.BadParameter(f"that makes pH {ph:.2f}; a probe reads 0 to 14", param_hint=option)
    return ph, wine_c


def _drift(found: PhCalibration, slope: str | None, offset: str | None, days: str | None) -> PhDrift | None:
    given = (slope, offset, days)
    if all(text is None for text in given):
        return None
    options = ("--earlier-slope-percent", "--earlier-offset-mv", "--earlier-days")
    if slope is None or offset is None or days is None:
        raise typer.BadParameter("an earlier calibration needs all three", param_hint=", ".join(options))
    percent, mv, before = (
        finite_number(text, option) for text, option in zip((slope, offset, days), options, strict=True)
    )
    if not _EARLIER_PERCENT[0] <= percent <= _EARLIER_PERCENT[1]:
        raise typer.BadParameter(
            f"a slope of {percent:g} % was never a calibration; allowed are {_EARLIER_PERCENT[0]:g} to "
            f"{_EARLIER_PERCENT[1]:g}",
            param_hint=options[0],
        )
    earlier = PhCalibration(found.temperature_c, -percent / 100.0 * nernst_mv(found.temperature_c), mv)
    return ph_drift(earlier, found, before)


def _gain(found: PhCalibration) -> float:
    """What a shown pH is multiplied with."""
    return -nernst_mv(found.temperature_c) / found.slope_mv


def _offset_ph(found: PhCalibration) -> float:
    """What is then added."""
    return found.ph_of(shown_as_mv(0.0, found.temperature_c))
