"""From a limit of the file to limits as they are watched: one on a place is one, one on wine is one at each vessel."""

from __future__ import annotations

__all__ = [
    "ANY_LOT",
    "ByPlace",
    "WinePlaces",
    "file_limit",
    "limit_key",
    "lot_limits",
    "meant_probes",
    "probes_by_place",
    "wine_limit",
]

from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from ingest.cellar.equipment import Probe
from ingest.cellar.limits import USUAL, EffectiveLimit, Hours, LimitKind, LimitSettings, Usual
from ingest.cellar.quantities import JUDGED_QUANTITIES, judged_id

ANY_LOT: Final = "any"

_NO_DATA: Final = Usual(0.0, 0.0, 0.0)
# A change within a time takes its time to show and to fade: it needs no delay to begin, and a short one to end.
_RATE_OFF_DELAY_S: Final = 600.0
_NEVER_NEGATIVE: Final = frozenset({"leak_rate", "gas_gain_rate"})


class WinePlaces(NamedTuple):
    """Where wine lies, by the journal. lots: vessel -> the lots that are in it; empty: vessels known to be empty.

    What is known of neither kind may hold wine that nobody has written down.
    """

    lots: Mapping[str, frozenset[str]] = MappingProxyType({})
    empty: frozenset[str] = frozenset()

    def hold(self, vessel: str, lot: str) -> bool:
        """Say whether a limit on this lot (or on "any" wine) applies to a vessel."""
        if lot == ANY_LOT:
            return vessel not in self.empty
        return lot in self.lots.get(vessel, ())


ByPlace = Mapping[tuple[str, str], Sequence[Probe]]


def probes_by_place(probes: Iterable[Probe]) -> ByPlace:
    """Sort probes by what they measure where: (place, quantity) -> those that measure it there."""
    by_place: dict[tuple[str, str], list[Probe]] = {}
    for probe in probes:
        by_place.setdefault((probe.at, probe.quantity), []).append(probe)
    return by_place


def limit_key(probe: Probe, by_place: ByPlace, word: str) -> str:
    """Make a limit's key: place/quantity/word, and the probe's id after it where two probes measure the same there."""
    key = f"{probe.at}/{probe.quantity}/{word}"
    return f"{key}/{probe.id}" if _is_one_of_several(probe, by_place) else key


def _is_one_of_several(probe: Probe, by_place: ByPlace) -> bool:
    return len(by_place[probe.at, probe.quantity]) > 1


def meant_probes(setting: LimitSettings, probes: Iterable[Probe]) -> list[Probe]:
    """List the probes that a limit of the file on a place can mean; exactly one in a consistent file."""
    return [
        probe
        for probe in probes
        if setting.probe in (None, probe.id)
        and setting.at in (None, probe.at)
        and setting.quantity in (None, probe.quantity)
    ]


def file_limit(setting: LimitSettings, probes: Sequence[Probe], by_place: ByPlace) -> EffectiveLimit:
    """Make the limit of the file on a place as it is watched; it must mean exactly one probe, or a judged quantity.

    by_place: the same probes, sorted.
    """
    word = _kind(setting).replace(" ", "-")
    if setting.quantity in JUDGED_QUANTITIES:
        assert setting.at is not None
        key = setting.id or f"{setting.at}/{setting.quantity}/{word}"
        return _limit(setting, key, setting.at, setting.quantity, judged_id(setting.at, setting.quantity))
    probe = meant_probes(setting, probes)[0]
    return _limit(setting, setting.id or limit_key(probe, by_place, word), probe.at, probe.quantity, probe.id)


def lot_limits(
    settings: Iterable[LimitSettings], vessels: Iterable[str], by_place: ByPlace, wine: WinePlaces
) -> Iterator[EffectiveLimit]:
    """Make the limits that the file's limits on wine are now, one for each probe that they apply to.

    A limit on a lot applies instead of one on "any" wine of the same quantity and kind. Limits on places are passed
    over. vessels: the ids of all.
    """
    on_wine = [setting for setting in settings if setting.lot is not None]
    for vessel in vessels if on_wine else ():
        here = [setting for setting in on_wine if setting.lot is not None and wine.hold(vessel, setting.lot)]
        named = {(setting.quantity, _kind(setting)) for setting in here if setting.lot != ANY_LOT}
        for setting in here:
            if setting.lot != ANY_LOT or (setting.quantity, _kind(setting)) not in named:
                yield from _at_vessel(setting, vessel, by_place)


def wine_limit(setting: LimitSettings) -> EffectiveLimit:
    """Make a limit of the file on wine as it is before it is known where the wine lies: without place and probe."""
    assert setting.quantity is not None
    return _limit(setting, _wine_key(setting), "", setting.quantity, "")


def _wine_key(setting: LimitSettings) -> str:
    return setting.id or f"lot {setting.lot}/{setting.quantity}/{_kind(setting)}"


def _at_vessel(setting: LimitSettings, vessel: str, by_place: ByPlace) -> Iterator[EffectiveLimit]:
    quantity = setting.quantity
    assert quantity is not None
    key = f"{_wine_key(setting)}/{vessel}"
    if quantity in JUDGED_QUANTITIES:
        yield _limit(setting, key, vessel, quantity, judged_id(vessel, quantity))
        return
    for probe in by_place.get((vessel, quantity), ()):
        own_key = f"{key}/{probe.id}" if _is_one_of_several(probe, by_place) else key
        yield _limit(setting, own_key, vessel, quantity, probe.id)


def _limit(setting: LimitSettings, key: str, at: str, quantity: str, probe: str) -> EffectiveLimit:
    kind = _kind(setting)
    usual = _usual(kind, quantity)
    deadband = usual.deadband
    if quantity in _NEVER_NEGATIVE:
        # A rate of 0 must end the alarm.
        deadband = min(deadband, _setpoint(setting) / 2)
    return EffectiveLimit(
        key=key,
        kind=kind,
        at=at,
        quantity=quantity,
        probe=probe,
        setpoint=_setpoint(setting),
        deadband=deadband if setting.deadband is None else setting.deadband,
        on_delay_s=usual.on_delay_s if setting.on_delay_s is None else setting.on_delay_s,
        off_delay_s=usual.off_delay_s if setting.off_delay_s is None else setting.off_delay_s,
        priority=setting.priority,
        hours=setting.hours or _usual_hours(quantity),
        consequence=setting.consequence,
        action=setting.action,
        unit_text=setting.unit_text,
        origin="file",
        within_s=0.0 if setting.rate is None else setting.rate.within_s,
        lot=setting.lot or "",
    )


def _kind(setting: LimitSettings) -> LimitKind:
    if setting.no_data_s is not None:
        return "no data"
    if setting.rate is not None:
        return "rate"
    return "high" if setting.low is None else "low"


def _setpoint(setting: LimitSettings) -> float:
    if setting.no_data_s is not None:
        return setting.no_data_s
    if setting.rate is not None:
        return setting.rate.change
    setpoint = setting.high if setting.low is None else setting.low
    assert setpoint is not None
    return setpoint


def _usual(kind: LimitKind, quantity: str) -> Usual:
    if kind == "no data":
        return _NO_DATA
    if kind == "rate":
        return Usual(USUAL[quantity].deadband, 0.0, _RATE_OFF_DELAY_S)
    return USUAL[quantity]


def _usual_hours(quantity: str) -> Hours:
    """What is judged of wine can wait until the morning; a limit on anything else may speak at any hour."""
    row = JUDGED_QUANTITIES.get(quantity)
    return "waking" if row is not None and row.of == "wine" else "any"
