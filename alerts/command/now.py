"""`leeside now`: every place as it is now, the alarms, and how leeside is."""

from __future__ import annotations

__all__ = ["now"]

from collections.abc import Mapping
from typing import Final

from alerts.command.now_cards import show_cards
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import AsOf, File, Json, OneVessel, as_of_ms
from alerts.command.terminal import print_plain
from alerts.so2.vessel_so2 import VesselSo2, so2_inside
from alerts.so2.vessel_total import totals_inside
from alerts.view.alarms.alarm_lines import alarm_line
from alerts.view.alarms.muted_lines import muted_line
from alerts.view.format import age, local_time
from alerts.view.gas.blanket_lines import blanket_line, blanket_of
from alerts.view.gas.cylinder_lines import cylinder_lines, cylinder_of
from alerts.view.gas.supply_lines import supply_line
from alerts.view.own_state import own_parts
from alerts.view.places.cellar_json import cellar_json
from alerts.view.racking_lines import racking_line
from alerts.view.reading_lines import reading_line
from alerts.view.so2.so2_lines import so2_line
from alerts.view.status import CellarStatus, PlaceStatus, cellar_status
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar
from ingest.json_text import json_text
from ingest.machine_clock import even_time
from ingest.process import wall_ms

EXAMPLE: Final = "leeside now cellar.toml"


def now(file: File, vessel: OneVessel = None, at: AsOf = None, as_json: Json = False) -> int:
    """Show every place as it is now. Exit code 1 while there is an alarm, something is silent, or mail is held up.

    With a VESSEL or --at: what vessels held, read and had as SO2 at a time, by what had happened until then.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store), store.read():
        if vessel is not None or at is not None:
            show_cards(cellar, store, vessel, as_of_ms(at, cellar.site.zone, now_ms), now_ms, as_json=as_json)
            return 0
        status = cellar_status(cellar, store, now_ms, even_time())
        so2 = so2_inside(cellar, store, now_ms)
        totals = totals_inside(cellar, store, now_ms) if as_json else {}
    if as_json:
        print(json_text(cellar_json(status, cellar, so2, totals), indent=2))
    else:
        _print(status, cellar, so2)
    return 0 if status.all_well else 1


def _print(status: CellarStatus, cellar: Cellar, so2: Mapping[str, VesselSo2]) -> None:
    zone, units, now_ms = cellar.site.zone, cellar.site.units, status.now_ms
    print_plain(f"{status.site}, {local_time(now_ms, zone, now_ms)}")
    for place in status.places:
        _print_place(place, cellar, so2.get(place.id), now_ms)
    print_plain("\nAlarms")
    for alarm in status.alarms:
        print_plain("  " + alarm_line(alarm, zone, units, now_ms))
    if not status.alarms:
        print_plain("  none")
    if status.muted:
        print_plain("\nMuted")
    for muted in status.muted:
        print_plain("  " + muted_line(muted, zone, now_ms))
    if status.rejects:
        print_plain("\nNot understood")
        for reject in status.rejects[:20]:
            print_plain(
                f"  {reject.times} x {reject.reason}: {reject.probe or 'no probe'}, {reject.source} {reject.address}, "
                f"last {age(now_ms - reject.last_ms)} ago: {reject.example}"
            )
    print_plain("\nLeeside")
    for part in own_parts(status, cellar, lambda at_ms: f"{age(now_ms - at_ms)} ago"):
        print_plain("  " + part.line)


def _print_place(place: PlaceStatus, cellar: Cellar, so2: VesselSo2 | None, now_ms: int) -> None:
    zone, units = cellar.site.zone, cellar.site.units
    print_plain(f"\n{place.id}  ({place.name or place.kind})")
    if place.contents is not None:
        print_plain("  " + contents_line(place.contents, zone, units, now_ms, with_free=so2 is None))
    if so2 is not None:
        print_plain("  " + so2_line(so2, zone))
    if (blanket := blanket_of(place.judgements, now_ms)) is not None:
        print_plain("  " + blanket_line(blanket, zone, units, now_ms))
    if place.supply is not None and (supply := supply_line(place.supply, zone, now_ms)):
        print_plain("  " + supply)
    if (cylinder := cylinder_of(place.judgements, now_ms)) is not None:
        for line in cylinder_lines(cylinder, zone, units, now_ms):
            print_plain("  " + line)
    for racking in place.open_rackings:
        print_plain("  " + racking_line(racking, zone, now_ms))
    if not place.readings:
        print_plain("  no probe")
    for reading in place.readings:
        print_plain("  " + reading_line(reading, units, now_ms))
