"""The cellar as it stands, and a vessel's card, as objects for programs."""

from __future__ import annotations

__all__ = ["card_json", "cellar_json"]

from collections.abc import Mapping

from alerts.so2.vessel_so2 import VesselSo2
from alerts.so2.vessel_total import VesselTotal
from alerts.view.absence_lines import absence_json
from alerts.view.alarms.alarm_lines import alarm_json
from alerts.view.alarms.muted_lines import muted_json
from alerts.view.gas.blanket_lines import blanket_json, blanket_of
from alerts.view.gas.cylinder_lines import cylinder_json, cylinder_of
from alerts.view.gas.supply_lines import supply_json
from alerts.view.places.vessel_card import VesselCard
from alerts.view.racking_lines import racking_json
from alerts.view.reading_lines import reading_json
from alerts.view.ring_lines import ring_json
from alerts.view.so2.so2_lines import so2_json
from alerts.view.so2.total_so2_lines import total_so2_json
from alerts.view.status import CellarStatus, DaemonStatus, PlaceStatus
from alerts.view.vessel_contents import contents_json
from ingest.cellar import Cellar
from ingest.store.alarms.messages import Undelivered
from ingest.times import iso_utc


def cellar_json(
    status: CellarStatus, cellar: Cellar, so2: Mapping[str, VesselSo2], totals: Mapping[str, VesselTotal]
) -> dict[str, object]:
    """Give the whole cellar; null for what is not known. so2, totals: by vessel."""
    return {
        "site": status.site,
        "at": iso_utc(status.now_ms),
        "all_well": status.all_well,
        "store_trouble": status.store_trouble or None,
        "places": [
            _place_json(place, cellar, so2.get(place.id), totals.get(place.id), status.now_ms)
            for place in status.places
        ],
        "alarms": [alarm_json(alarm, status.now_ms) for alarm in status.alarms],
        "muted": [muted_json(muted) for muted in status.muted],
        "rejects": [
            {**reject._asdict(), "first": iso_utc(reject.first_ms), "last": iso_utc(reject.last_ms)}
            for reject in status.rejects
        ],
        "daemons": [_daemon_json(daemon) for daemon in status.daemons],
        "mail": None if status.undelivered is None else _mail_json(status.undelivered),
        "unconfirmed_rings": [ring_json(ring) for ring in status.rings],
        "away": None if status.absence is None else absence_json(status.absence),
        "cellar_file_is_newer": status.file_is_newer,
    }


def _mail_json(mail: Undelivered) -> dict[str, object]:
    return {
        "not_sent": mail.messages,
        "since": iso_utc(mail.since_ms),
        "tries": mail.attempts,
        "last_error": mail.error,
        "channel": mail.channel,
    }


def _place_json(
    place: PlaceStatus, cellar: Cellar, so2: VesselSo2 | None, total: VesselTotal | None, now_ms: int
) -> dict[str, object]:
    return {
        "id": place.id,
        "kind": place.kind,
        "name": place.name,
        "holds": None if place.contents is None else contents_json(place.contents),
        "rackings_not_finished": [racking_json(racking) for racking in place.open_rackings],
        "readings": [reading_json(reading) for reading in place.readings],
        "so2": None if so2 is None else so2_json(so2, cellar.site.zone),
        "total_so2": None if total is None else total_so2_json(total),
        "blanket": None if (shown := blanket_of(place.judgements, now_ms)) is None else blanket_json(shown),
        "gas_supply": None if place.supply is None else supply_json(place.supply),
        "cylinder": None if (cylinder := cylinder_of(place.judgements, now_ms)) is None else cylinder_json(cylinder),
    }


def _daemon_json(daemon: DaemonStatus) -> dict[str, object]:
    return {
        "role": daemon.role,
        "lives": daemon.responds,
        "last_sign": None if daemon.pulse is None else iso_utc(daemon.pulse.at_ms),
        "counters": None if daemon.pulse is None else daemon.pulse.as_json(),
    }


def card_json(card: VesselCard, cellar: Cellar, now_ms: int) -> dict[str, object]:
    """Give a vessel's card; null for what is not known. now_ms: the present time, UTC ms."""
    return {
        "id": card.id,
        "kind": card.kind,
        "name": card.name,
        "in_the_future": card.at_ms > now_ms,
        "holds": contents_json(card.contents),
        "rackings_not_finished": [racking_json(racking) for racking in card.open_rackings],
        "readings": [reading_json(reading) for reading in card.readings],
        "so2": None if card.so2 is None else so2_json(card.so2, cellar.site.zone),
        "total_so2": None if card.total_so2 is None else total_so2_json(card.total_so2),
        "blanket": None if card.blanket is None else blanket_json(card.blanket),
        "gas_supply": None if card.supply is None else supply_json(card.supply),
        "why_no_so2": card.why_no_so2 or None,
    }
