"""The forms of what is done in the cellar: fill, racking, topping, sample, gas, look, bottling, state."""

from __future__ import annotations

__all__ = ["CELLAR_FORMS", "CYLINDER", "LOT", "REMARK", "UNCERTAIN_VOLUME", "VESSEL"]

from typing import Final

from ingest.cellar import Dimension
from ingest.journal.answers import Bought, Choice, Measure, Number, OfVessel, Whole, WrittenWords, YesNo
from ingest.journal.question import Form, Given, Question, always

_ID: Final = WrittenWords("ID", "K1")

VESSEL: Final = Question("vessel", "Which vessel?", "The vessel's id.", _ID, needed=always)
CYLINDER: Final = Question("cylinder", "Which cylinder?", "The gas cylinder's id.", WrittenWords("ID", "N2"))
LOT: Final = Question("lot", "Which lot?", "The wine: the lot's id.", WrittenWords("ID", "riesling-26"))
REMARK: Final = Question("remark", "A remark?", "A remark.", WrittenWords(), key="remark")
_VOLUME: Final = Measure(Dimension.VOLUME, "L", "16 L")
UNCERTAIN_VOLUME: Final = Question(
    "uncertainty",
    "How well is it known?",
    "Standard uncertainty of the volume.",
    Measure(Dimension.VOLUME, "L", "0.2 L"),
)


def _not_begun(given: Given) -> bool:
    return not given.get("begin")


def _own_wine(given: Given) -> bool:
    return not given.get("from") and not given.get("bottles")


def _no_other_source(given: Given) -> bool:
    return not any(given.get(name) for name in ("from", "bottles", "lot"))


def _bought(given: Given) -> bool:
    return bool(given.get("bottles"))


_FILL: Final = Form(
    "fill",
    "A lot comes into a vessel that was empty.",
    "--vessel K1 --lot riesling-26 --volume '19 L'",
    (
        VESSEL,
        Question("lot", LOT.ask, LOT.help, LOT.answer, needed=always, remembered=True),
        Question(
            "volume", "How much?", "How much; without it the volume is unknown.", _VOLUME, "volume_l", asked=always
        ),
        Question("uncertainty", UNCERTAIN_VOLUME.ask, UNCERTAIN_VOLUME.help, UNCERTAIN_VOLUME.answer, "u_volume_l"),
        Question("blend", "A blend?", "The vessel held wine before.", YesNo(), "blend", flag=True),
        REMARK,
    ),
)

_RACKING: Final = Form(
    "racking",
    "Wine goes from vessels to vessels.",
    "--from K1=16L --from C1=8.5L --to K3 --lees 0.5L",
    (
        Question(
            "from",
            "From which vessel, and how much?",
            "A vessel and what was drawn, lees included; without a volume all of it. Once for each.",
            OfVessel(),
            many=True,
            needed=always,
        ),
        Question(
            "to",
            "Into which vessel?",
            "A vessel and what came into it; without a volume the rest. Once for each.",
            OfVessel("VESSEL[=VOLUME]", "K3"),
            many=True,
            needed=_not_begun,
        ),
        Question(
            "lees",
            "How much was left as lees?",
            "What was drawn and did not arrive.",
            Measure(Dimension.VOLUME, "L", "0.5 L"),
            "lees_l",
            asked=_not_begun,
        ),
        Question("emptied", "Emptied?", "A source that is empty now, whatever its volume was.", _ID, many=True),
        Question("blend", "A blend?", "The vessels it came into held wine before.", YesNo(), flag=True),
        Question(
            "begin", "Only begun?", "It is about to be done; the entry that finishes it follows.", YesNo(), flag=True
        ),
        REMARK,
    ),
)

_TOPPING: Final = Form(
    "topping",
    "A vessel is topped up: from a vessel, with bought bottles, or with wine of a lot.",
    "--vessel K1 --bottles '2 x 0.75 L' --alcohol '12.5 % vol'",
    (
        VESSEL,
        Question(
            "from",
            "From which vessel?",
            "The vessel that the wine came from.",
            WrittenWords("ID", "C1"),
            "source",
            asked=_no_other_source,
        ),
        Question("bottles", "Which bottles?", "Bought bottles, number and size.", Bought(), asked=_no_other_source),
        Question(
            "lot", LOT.ask, "Wine of this lot that stood in no vessel.", LOT.answer, needed=_own_wine, remembered=True
        ),
        Question(
            "volume",
            "How much?",
            "What went in; of bottles by default all.",
            Measure(Dimension.VOLUME, "L", "0.3 L"),
            "volume_l",
            asked=lambda given: not _bought(given),
        ),
        Question("name", "What is it?", "What stands on the bottles.", WrittenWords(), asked=_bought, remembered=True),
        Question(
            "alcohol", "Alcohol?", "Their alcohol.", Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol"), asked=_bought
        ),
        Question("ph", "pH?", "Their pH.", Measure(Dimension.PH, "", "3.4")),
        Question("free", "Free SO2?", "Their free SO2.", Measure(Dimension.CONCENTRATION, "mg/L", "30 mg/L")),
        Question("total", "Total SO2?", "Their total SO2.", Measure(Dimension.CONCENTRATION, "mg/L", "90 mg/L")),
        Question("sugar", "Sugar?", "Their residual sugar.", Number(("g/L", "g/l"), "2 g/L", "AMOUNT")),
        REMARK,
    ),
)

_SAMPLE: Final = Form(
    "sample",
    "Wine is drawn for a test and does not go back.",
    "--vessel K1 --volume '60 mL' --purpose titration",
    (
        VESSEL,
        Question(
            "volume",
            "How much?",
            "How much.",
            Measure(Dimension.VOLUME, "L", "60 mL"),
            "volume_l",
            asked=always,
            remembered=True,
        ),
        Question("purpose", "What for?", "What for.", WrittenWords(), "purpose", asked=always, remembered=True),
        REMARK,
    ),
)

_GAS: Final = Form(
    "gas",
    "Something is done with gas at a vessel or a cylinder.",
    "--vessel K1 --act charged --pressure '55 kPa' --cylinder N2",
    (
        Question(
            "vessel",
            VESSEL.ask,
            "The vessel's id; without it the entry is about the cylinder.",
            _ID,
            needed=lambda given: not given.get("cylinder"),
        ),
        Question(
            "act",
            "What was done?",
            "charged, purged, gas changed, pushed, vented, supply opened, supply shut.",
            Choice(("charged", "purged", "gas changed", "pushed", "vented", "supply opened", "supply shut")),
            "act",
            needed=always,
            remembered=True,
        ),
        Question(
            "pressure",
            "To what pressure?",
            "Gauge pressure that it was charged or vented to.",
            Measure(Dimension.PRESSURE, "kPa", "55 kPa", "gauge"),
            "pressure_kpa",
            needed=lambda given: given.get("act") == "charged",
            asked=lambda given: given.get("act") == "vented",
            remembered=True,
        ),
        Question(
            "times",
            "How often?",
            "How often it was purged.",
            Whole("3"),
            "times",
            needed=lambda given: given.get("act") == "purged",
            remembered=True,
        ),
        Question(
            "gas",
            "Which gas?",
            "nitrogen, argon, carbon dioxide.",
            Choice(("nitrogen", "argon", "carbon dioxide")),
            "gas",
            needed=lambda given: given.get("act") == "gas changed",
        ),
        Question(
            "cylinder",
            "From which cylinder?",
            "The gas cylinder's id.",
            CYLINDER.answer,
            asked=lambda given: given.get("act") in ("charged", "purged", "pushed"),
            remembered=True,
        ),
        REMARK,
    ),
)

_LOOK: Final = Form(
    "look",
    "What the wine looks and smells like.",
    "--vessel C1 --clarity clear --lees '5 mm' --film no",
    (
        VESSEL,
        Question(
            "clarity",
            "Clarity?",
            "bright, clear, hazy, cloudy.",
            Choice(("bright", "clear", "hazy", "cloudy")),
            "clarity",
            asked=always,
        ),
        Question("turbidity", "Turbidity?", "Turbidity in NTU.", Number(("NTU",), "2 NTU", "AMOUNT"), "turbidity_ntu"),
        Question(
            "lees",
            "Depth of the lees?",
            "Depth of the lees.",
            Measure(Dimension.LENGTH, "mm", "5 mm"),
            "lees_mm",
            asked=always,
        ),
        Question("smell", "Smell?", "What it smells of.", WrittenWords(), "smell", asked=always),
        Question("film", "A film?", "Whether there is a film.", YesNo(), "film", asked=always),
        Question("photo", "A photo?", "The name of a photo's file.", WrittenWords("NAME", "k1.jpg"), "photo"),
        REMARK,
    ),
)

_BOTTLING: Final = Form(
    "bottling",
    "A vessel is bottled.",
    "--vessel K1 --bottles '24 x 0.75 L' --closure cork --waste '0.2 L' --remainder '0 L'",
    (
        VESSEL,
        Question(
            "bottles",
            "Which bottles?",
            "Number and size; once for each size.",
            Bought(example="24 x 0.75 L"),
            "bottles",
            many=True,
            needed=always,
        ),
        Question(
            "closure", "Closed with what?", "The closure.", WrittenWords(), "closure", asked=always, remembered=True
        ),
        Question(
            "waste",
            "How much was lost?",
            "What was lost.",
            Measure(Dimension.VOLUME, "L", "0.2 L"),
            "waste_l",
            asked=always,
        ),
        Question(
            "remainder",
            "How much stays in the vessel?",
            "What stays in the vessel; 0 L for nothing.",
            Measure(Dimension.VOLUME, "L", "1 L"),
            "remainder_l",
            asked=always,
        ),
        REMARK,
    ),
)

_STATE: Final = Form(
    "state",
    "The state of a vessel, its airlock, or a remark about it.",
    "--vessel K1 --state cleaned",
    (
        VESSEL,
        Question(
            "state",
            "Which state?",
            "emptied, cleaned, out of use, in use.",
            Choice(("emptied", "cleaned", "out of use", "in use")),
            "state",
            asked=always,
        ),
        Question(
            "lock",
            "Liquid in the airlock?",
            "Whether the airlock was seen to have liquid.",
            YesNo(),
            "lock_liquid_seen",
            asked=lambda given: not given.get("state"),
        ),
        Question(
            "remark",
            REMARK.ask,
            REMARK.help,
            REMARK.answer,
            "remark",
            asked=lambda given: not given.get("state") and given.get("lock") is None,
        ),
    ),
)

CELLAR_FORMS: Final = (_FILL, _RACKING, _TOPPING, _SAMPLE, _GAS, _LOOK, _BOTTLING, _STATE)
