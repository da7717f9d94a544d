"""`leeside now` for one vessel, or as of a time: the cards of vessels."""

from __future__ import annotations

__all__ = ["show_cards"]

import typer

from alerts.command.terminal import print_plain
from alerts.view.format import long_time
from alerts.view.gas.blanket_lines import blanket_lines
from alerts.view.gas.supply_lines import supply_line
from alerts.view.places.cellar_json import card_json
from alerts.view.places.vessel_card import VesselCard, known_vessels, vessel_cards
from alerts.view.racking_lines import racking_line
from alerts.view.reading_lines import reading_line
from alerts.view.so2.so2_lines import so2_lines
from alerts.view.so2.total_so2_lines import total_so2_lines
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar, nearest
from ingest.json_text import json_text
from ingest.store import Store
from ingest.times import iso_utc


def show_cards(cellar: Cellar, store: Store, vessel: str | None, at_ms: int, now_ms: int, *, as_json: bool) -> None:
    """Print the card of a vessel, or of all of them, as of a time (UTC ms); now_ms: the present time.

    Call inside ``store.read()``. Raises typer.BadParameter for a vessel that no cellar file has.
    """
    known = known_vessels(cellar, store)
    if vessel is not None and vessel not in known:
        near = nearest(vessel, known)
        there = f"there are: {', '.join(known)}" if known else "the cellar file has none"
        there = f"did you mean {near}?" if near else there
        raise typer.BadParameter(f"no vessel '{vessel}'; {there}", param_hint="VESSEL")
    cards = vessel_cards(cellar, store, at_ms, [v.id for v in cellar.vessel] if vessel is None else [vessel])
    if as_json:
        head = {"site": cellar.site.name, "at": iso_utc(at_ms)}
        answer = {**head, "places": [card_json(card, cellar, now_ms) for card in cards]}
        print(json_text(answer if vessel is None else {**head, **card_json(cards[0], cellar, now_ms)}, indent=2))
        return
    ahead = ", which has not come yet: what is expected if nothing is done until then" if at_ms > now_ms else ""
    print_plain(f"{cellar.site.name}, {long_time(at_ms, cellar.site.zone)}{ahead}")
    for card in cards:
        _print_card(card, cellar)


def _print_card(card: VesselCard, cellar: Cellar) -> None:
    zone, units = cellar.site.zone, cellar.site.units
    print_plain(f"\n{card.id}  ({card.name or card.kind})")
    with_free, with_total = card.so2 is None, card.total_so2 is None
    line = contents_line(card.contents, zone, units, card.at_ms, with_free=with_free, with_total=with_total)
    print_plain(f"  {line}")
    for racking in card.open_rackings:
        print_plain("  " + racking_line(racking, zone, card.at_ms))
    for name, done_ms in (("racked", card.contents.last_racking_ms), ("topped", card.contents.last_topping_ms)):
        if done_ms is not None:
            print_plain(f"  last {name} {long_time(done_ms, zone)}")
    for line in _gas_lines(card, cellar):
        print_plain("  " + line)
    if card.so2 is None:
        print_plain(f"  SO2 not known: {card.why_no_so2}")
    else:
        for line in so2_lines(card.so2, zone):
            print_plain("  " + line)
    if card.total_so2 is not None:
        for line in total_so2_lines(card.total_so2, zone):
            print_plain("  " + line)
    if not card.readings:
        print_plain("  no probe")
    for reading in card.readings:
        print_plain("  " + reading_line(reading, units, card.at_ms))


def _gas_lines(card: VesselCard, cellar: Cellar) -> list[str]:
    zone, units = cellar.site.zone, cellar.site.units
    lines = [] if card.blanket is None else blanket_lines(card.blanket, zone, units, card.at_ms)
    supply = "" if card.supply is None else supply_line(card.supply, zone, card.at_ms)
    return [*lines, supply] if supply else lines
