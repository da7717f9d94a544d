"""`leeside bench`: arithmetic without a cellar. A file for each command of the group."""

from __future__ import annotations

__all__ = ["app"]

from typing import Final

import typer

from alerts.command import (
    bench_blanket,
    bench_calibrate_ph,
    bench_cylinder,
    bench_dose,
    bench_molecular,
    bench_pressure,
    bench_pt100,
    bench_purge,
    bench_push,
    bench_room,
    bench_signal,
    bench_siphon,
    bench_titration,
)

app = typer.Typer(help="Do arithmetic without a cellar.", no_args_is_help=True, rich_markup_mode=None)

# A number may be negative: without this, -5 would be taken for an option.
_NEGATIVE: Final = {"ignore_unknown_options": True}

app.command(epilog=bench_titration.EXAMPLE)(bench_titration.titration)
app.command(epilog=bench_molecular.EXAMPLE)(bench_molecular.molecular)
app.command("free-needed", epilog=bench_molecular.NEEDED_EXAMPLE)(bench_molecular.free_needed_)
app.command(epilog=bench_dose.EXAMPLE)(bench_dose.dose)
app.command("calibrate-ph", epilog=bench_calibrate_ph.EXAMPLE)(bench_calibrate_ph.calibrate_ph)
app.command(epilog=bench_signal.EXAMPLE, context_settings=_NEGATIVE)(bench_signal.signal)
app.command(epilog=bench_pt100.EXAMPLE, context_settings=_NEGATIVE)(bench_pt100.pt100)
app.command(epilog=bench_pressure.EXAMPLE, context_settings=_NEGATIVE)(bench_pressure.pressure)
app.command("blanket", epilog=bench_blanket.EXAMPLE, context_settings=_NEGATIVE)(bench_blanket.blanket_)
app.command(epilog=bench_purge.EXAMPLE, context_settings=_NEGATIVE)(bench_purge.purge)
app.command(epilog=bench_cylinder.EXAMPLE, context_settings=_NEGATIVE)(bench_cylinder.cylinder)
app.command(epilog=bench_room.EXAMPLE, context_settings=_NEGATIVE)(bench_room.room)
app.command(epilog=bench_push.EXAMPLE, context_settings=_NEGATIVE)(bench_push.push)
app.command(epilog=bench_siphon.EXAMPLE, context_settings=_NEGATIVE)(bench_siphon.siphon)
