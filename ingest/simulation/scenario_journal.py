"""What the people of Mill Lane wrote down: two lots, fillings, a racking, a topping, titrations over weeks, a dose.

A dry white lies in K1 and K2, a red in K3 and C1. Three days ago K2 was dosed, and nobody has titrated it since. The
free SO2 of K1 has fallen, and by now its molecular SO2 is below what a white should keep.
"""

from __future__ import annotations

__all__ = ["JOURNAL", "WrittenAct"]

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

Answer = str | Sequence[str]

WHITE: Final = "rebula-26"
RED: Final = "refosk-26"


class WrittenAct(NamedTuple):
    """An entry that somebody made so many days before the demo begins. answers: as a person gives them."""

    days_ago: float
    kind: str
    answers: Mapping[str, Answer]


def _act(days_ago: float, kind: str, answers: Mapping[str, Answer]) -> WrittenAct:
    return WrittenAct(days_ago, kind, MappingProxyType(dict(answers)))


def _titrated(days_ago: float, vessel: str, titre_ml: float) -> WrittenAct:
    """Free SO2 with iodine of 1/128 N on 25 mL of wine: 10 mg/L for each mL."""
    return _act(
        days_ago,
        "titration",
        {
            "vessel": vessel,
            "quantity": "free",
            "method": "iodometric",
            "titre": (f"{titre_ml:.2f} mL",),
            "sample": "25 mL",
            "substance": "iodine",
            "strength": "0.0078125 N",
            "factor": "1.0",
        },
    )


def _at_the_laboratory(days_ago: float, vessel: str, total_mg_l: int) -> WrittenAct:
    answers = {"vessel": vessel, "quantity": "total", "method": "elsewhere", "result": f"{total_mg_l} mg/L"}
    return _act(days_ago, "titration", {**answers, "uncertainty": "3 mg/L"})


JOURNAL: Final[tuple[WrittenAct, ...]] = tuple(
    sorted(
        (
            _act(
                110,
                "lot",
                {
                    "lot": WHITE,
                    "name": "Rebula 2026",
                    "style": "white",
                    "alcohol": "12.5 % vol",
                    "sugar": "1.5 g/L",
                    "malolactic": "prevented",
                },
            ),
            _act(
                110,
                "lot",
                {
                    "lot": RED,
                    "name": "Refošk 2026",
                    "style": "red",
                    "alcohol": "12 % vol",
                    "sugar": "1.5 g/L",
                    "malolactic": "complete",
                },
            ),
            _act(108, "first-filling", {"vessel": "K1", "lot": WHITE, "volume": "17.5 L"}),
            _act(108, "first-filling", {"vessel": "C1", "lot": WHITE, "volume": "18.8 L"}),
            _act(108, "first-filling", {"vessel": "K3", "lot": RED, "volume": "11.9 L"}),
            _act(100, "racking", {"from": ("C1",), "to": ("K2=18.3L",), "lees": "0.5 L"}),
            _act(99, "first-filling", {"vessel": "C1", "lot": RED, "volume": "22.5 L"}),
            _act(90, "measurement", {"lot": WHITE, "quantity": "pH", "value": "3.40", "uncertainty": "0.03"}),
            _act(90, "measurement", {"lot": RED, "quantity": "pH", "value": "3.55", "uncertainty": "0.03"}),
            _at_the_laboratory(90, "K1", 84),
            _at_the_laboratory(90, "K2", 88),
            _at_the_laboratory(90, "K3", 71),
            _at_the_laboratory(90, "C1", 68),
            _act(70, "topping", {"vessel": "C1", "from": "K3", "volume": "0.4 L", "remark": "to the neck"}),
            _titrated(66, "K1", 2.65),
            _titrated(66, "K2", 2.90),
            _titrated(38, "K1", 2.25),
            _titrated(38, "K2", 2.55),
            _titrated(38, "C1", 3.10),
            _titrated(38, "K3", 3.20),
            _titrated(10, "K1", 1.85),
            _titrated(10, "K2", 2.10),
            _titrated(10, "C1", 2.95),
            _titrated(10, "K3", 3.05),
            _act(
                3.6,
                "addition",
                {"vessel": "K2", "form": "metabisulfite", "salt": "potassium", "mass": "0.40 g"},
            ),
            _act(3.5, "gas", {"vessel": "K2", "act": "charged", "pressure": "20.5 kPa", "cylinder": "N2"}),
            _act(2, "gas", {"vessel": "K1", "act": "charged", "pressure": "55 kPa", "cylinder": "N2"}),
            _act(2, "gas", {"vessel": "K3", "act": "charged", "pressure": "55 kPa", "cylinder": "N2"}),
            _act(3, "inspection", {"vessel": "C1", "remark": "full to the neck"}),
            _act(3, "vessel-status", {"vessel": "C1", "airlock": "yes"}),
        ),
        key=lambda act: -act.days_ago,
    )
)
"""Every entry, the oldest first."""
