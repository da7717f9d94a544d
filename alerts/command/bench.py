"""`leeside bench`: arithmetic without a cellar. A file for each command of the group."""

from __future__ import annotations

__all__ = ["app"]

from functools import partial
from typing import Final

import typer

from alerts.command.benches import blanket as bench_blanket
from alerts.command.benches import calibrate_ph as bench_calibrate_ph
from alerts.command.benches import cylinder as bench_cylinder
from alerts.command.benches import dose as bench_dose
from alerts.command.benches import leak as bench_leak
from alerts.command.benches import molecular as bench_molecular
from alerts.command.benches import pressure as bench_pressure
from alerts.command.benches import pt100 as bench_pt100
from alerts.command.benches import purge as bench_purge
from alerts.command.benches import push as bench_push
from alerts.command.benches import room as bench_room
from alerts.command.benches import signal as bench_signal
from alerts.command.benches import siphon as bench_siphon
from alerts.command.benches import titration as bench_titration
from alerts.command.plain_help import PlainHelpCommand

app = typer.Typer(help="Do arithmetic without a cellar.", no_args_is_help=True, rich_markup_mode=None)

# A number may be negative: without this, -5 would be taken for an option.
_NEGATIVE: Final = {"ignore_unknown_options": True}
_command: Final = partial(app.command, cls=PlainHelpCommand)

_command(epilog=bench_titration.EXAMPLE)(bench_titration.titration)
_command(epilog=bench_molecular.EXAMPLE)(bench_molecular.molecular)
_command("free-needed", epilog=bench_molecular.NEEDED_EXAMPLE)(bench_molecular.free_needed_)
_command(epilog=bench_dose.EXAMPLE)(bench_dose.dose)
_command("calibrate-ph", epilog=bench_calibrate_ph.EXAMPLE)(bench_calibrate_ph.calibrate_ph)
_command(epilog=bench_signal.EXAMPLE, context_settings=_NEGATIVE)(bench_signal.signal)
_command(epilog=bench_pt100.EXAMPLE, context_settings=_NEGATIVE)(bench_pt100.pt100)
_command(epilog=bench_pressure.EXAMPLE, context_settings=_NEGATIVE)(bench_pressure.pressure)
_command("blanket", epilog=bench_blanket.EXAMPLE, context_settings=_NEGATIVE)(bench_blanket.blanket_)
_command(epilog=bench_leak.EXAMPLE, context_settings=_NEGATIVE)(bench_leak.leak)
_command(epilog=bench_purge.EXAMPLE, context_settings=_NEGATIVE)(bench_purge.purge)
_command(epilog=bench_cylinder.EXAMPLE, context_settings=_NEGATIVE)(bench_cylinder.cylinder)
_command(epilog=bench_room.EXAMPLE, context_settings=_NEGATIVE)(bench_room.room)
_command(epilog=bench_push.EXAMPLE, context_settings=_NEGATIVE)(bench_push.push)
_command(epilog=bench_siphon.EXAMPLE, context_settings=_NEGATIVE)(bench_siphon.siphon)
