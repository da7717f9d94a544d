"""Entries and strikes in any order, as hypothesis strategies, for tests of their combinations."""

from __future__ import annotations

__all__ = ["ACTS", "VESSELS", "said"]

from typing import Any

from hypothesis import strategies as st

VESSELS = ("K1", "C1", "K3")
_volume = st.none() | st.sampled_from([0.004, 0.5, 3.0, 3.003, 8.0, 9.998, 10.0, 19.0])
_vessel = st.sampled_from(VESSELS)


@st.composite
def said(draw: st.DrawFn) -> tuple[str, str | None, str | None, dict[str, Any]]:
    kind = draw(
        st.sampled_from(
            [
                "first-filling",
                "first-filling",
                "racking",
                "racking",
                "topping",
                "sample",
                "bottling",
                "vessel-status",
                "volume",
            ]
        )
    )
    place, volume = draw(_vessel), draw(_volume)
    lot: str | None = draw(st.sampled_from(["A", "B"]))
    if kind == "racking":
        names = draw(st.permutations(VESSELS))
        sources = names[: draw(st.integers(1, 2))]
        return (
            "racking",
            None,
            None,
            {
                "sources": [
                    {"vessel": name, "volume_l": draw(_volume), "emptied": draw(st.sampled_from([None, True, False]))}
                    for name in sources
                ],
                "targets": [
                    {"vessel": name, "volume_l": draw(_volume), "blend": draw(st.booleans())}
                    for name in names[len(sources) : len(sources) + draw(st.integers(1, 2))]
                ],
                "lees_l": draw(st.sampled_from([None, 0.5])),
            },
        )
    if kind == "first-filling":
        return kind, place, lot, {"volume_l": volume, "blend": draw(st.booleans())}
    if kind == "topping":
        source = draw(st.none() | _vessel.filter(lambda name: name != place))
        return kind, place, None if source else lot, {"volume_l": volume, "source": source}
    if kind == "sample":
        return kind, place, None, {"volume_l": volume}
    if kind == "bottling":
        remainder = draw(st.sampled_from([None, 0.0, 1.0]))
        return (
            kind,
            place,
            None,
            {"bottles": [{"number": draw(st.integers(1, 9)), "size_l": 0.75}], "remainder_l": remainder},
        )
    if kind == "vessel-status":
        return kind, place, None, {"status": draw(st.sampled_from(["emptied", "cleaned", "in use", "out of use"]))}
    return "measurement", place, None, {"quantity": "volume", "value": 0.0 if volume is None else volume}


# An entry at a time, or the strike of one of those written so far, alone or with the entries that depend on it.
ACTS = st.tuples(st.integers(0, 20), said()) | st.tuples(st.integers(0, 30), st.booleans())
