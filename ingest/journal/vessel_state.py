"""What a vessel holds, what is left after wine was taken, what is there after wine came, and what cannot be. Pure."""

from __future__ import annotations

__all__ = [
    "ROUNDING_L",
    "UNKNOWN",
    "Objection",
    "VesselState",
    "drawing_objections",
    "emptied",
    "left",
    "liters",
    "occupied",
    "received",
    "state_text",
    "too_full",
    "usual_u_l",
]

from typing import Final, NamedTuple

from ingest.journal.wine import STRANGE, Wine, lot_words, mix, root

# Differences up to this are rounding of what people write, not wine.
ROUNDING_L: Final = 0.005
# Where nobody says how well a volume is known: 1 % of it, and not less than 10 mL. This project's choice.
_USUAL_SHARE: Final = 0.01
_USUAL_LEAST_L: Final = 0.01


class Objection(NamedTuple):
    """Why an entry cannot be: the vessel, and what is the matter, with the numbers."""

    vessel: str
    why: str


class VesselState(NamedTuple):
    """What a vessel holds. known: False while the journal never said; then it counts as in use. volume_l 0: empty."""

    known: bool
    volume_l: float | None = None
    u_l: float | None = None
    wine: Wine = Wine()
    since_ms: int | None = None
    racked_ms: int | None = None
    topped_ms: int | None = None
    out_of_use: bool = False

    @property
    def empty(self) -> bool:
        """Whether it is known to be empty."""
        return self.known and self.volume_l == 0.0


UNKNOWN: Final = VesselState(False)
_EMPTY: Final = VesselState(True, 0.0, 0.0)


def usual_u_l(volume_l: float | None) -> float | None:
    """Give the standard uncertainty [L] of a volume that was written without one; None for an unknown volume."""
    return None if volume_l is None else max(_USUAL_SHARE * volume_l, _USUAL_LEAST_L)


def liters(volume_l: float) -> str:
    """Write a volume as messages give it."""
    text = f"{volume_l:.2f}".rstrip("0").rstrip(".")
    return f"{text if float(text) or not volume_l else f'{volume_l:.3f}'} L"


def state_text(vessel: str, state: VesselState) -> str:
    """Say what a vessel holds, for a message."""
    lots = " and ".join(lot_words(lot, is_bought=state.wine.foreign_is_bought) for lot, _ in state.wine.parts) or "wine"
    return f"{vessel} holds " + (
        f"an unknown amount of {lots}" if state.volume_l is None else f"{liters(state.volume_l)} of {lots}"
    )


def emptied(state: VesselState, at_ms: int) -> VesselState:
    """Empty a vessel; one that was empty stays so since then."""
    return state if state.empty else _EMPTY._replace(since_ms=at_ms)


def left(state: VesselState, out_l: float | None, at_ms: int) -> VesselState:
    """Work out what is left after out_l [L, None if unknown] was taken; less than can be written down is nothing."""
    if not state.known or state.volume_l is None:
        return state
    if out_l is None:
        return state._replace(volume_l=None, u_l=None)
    rest = state.volume_l - out_l
    if rest <= ROUNDING_L:
        return emptied(state, at_ms)
    return state._replace(volume_l=rest, u_l=root(state.u_l, usual_u_l(out_l)))


def received(
    state: VesselState, volume_l: float | None, u_l: float | None, wine: Wine, *, blend: bool, at_ms: int
) -> VesselState:
    """Work out what is there after wine came in: to an empty vessel, to wine, or to unknown contents.

    In the last case the vessel is taken to have been empty, unless somebody says blend.
    """
    if volume_l is not None and volume_l <= 0.0:
        return state
    if state.known and not state.empty:
        both = None if state.volume_l is None or volume_l is None else state.volume_l + volume_l
        mixed = mix([(state.volume_l, state.wine), (volume_l, wine)])
        u_both = None if both is None else root(state.u_l, u_l)
        return state._replace(volume_l=both, u_l=u_both, wine=mixed, since_ms=at_ms)
    if blend and not state.known:
        return VesselState(True, None, None, mix([(None, STRANGE), (None, wine)]), at_ms)
    return VesselState(True, volume_l, None if volume_l is None else u_l, wine, at_ms)


def drawing_objections(vessel: str, state: VesselState, out_l: float | None, how: str) -> list[Objection]:
    """Find whether out_l [L, None if unknown] cannot have come from a vessel; how: racked, drawn as a sample, ..."""
    if state.empty:
        return [Objection(vessel, f"{vessel} is empty: nothing can be {how} from it")]
    if out_l is not None and state.volume_l is not None and out_l > state.volume_l + ROUNDING_L:
        more = liters(out_l - state.volume_l)
        why = f"{liters(out_l)} {how} from {vessel}, which holds {liters(state.volume_l)}: {more} too much"
        return [Objection(vessel, why)]
    return []


def occupied(vessel: str, state: VesselState, *, blend: bool) -> list[Objection]:
    """Find whether wine cannot have come into a vessel because it holds some and nobody said blend."""
    if blend or not state.known or state.empty:
        return []
    return [Objection(vessel, f"{state_text(vessel, state)}: say that it is a blend, or that it was emptied before")]


def too_full(vessel: str, volume_l: float | None, capacity_l: float | None) -> list[Objection]:
    """Find whether a vessel would hold more than its capacity [L]; what is not known cannot be too much."""
    if volume_l is None or capacity_l is None or volume_l <= capacity_l + ROUNDING_L:
        return []
    more = liters(volume_l - capacity_l)
    return [
        Objection(
            vessel,
            f"{vessel} would hold {liters(volume_l)}, and brimful it takes {liters(capacity_l)}: {more} too much",
        )
    ]
