"""The cellar file: what equipment stands in the cellar and what must stay in range.

In reading order: ``units`` (our table of units), ``amounts`` (text -> number), ``quantities`` (what probes measure),
``form`` (what every table shares), ``secret`` (passwords), ``connections`` and ``models`` (the tables), ``draft``
(tables as read, and what is wrong in one), ``defaults`` and ``limits`` (what is watched), ``consistency`` with
``names``, ``wiring``, ``signals`` and ``setpoints`` (what must hold between tables), ``load`` (the whole way).
"""

from ingest.cellar.equipment import (
    Cellar,
    Cylinder,
    EffectiveLimit,
    Gas,
    LimitSettings,
    MailSettings,
    MirrorSettings,
    MqttSettings,
    PageSettings,
    Probe,
    Room,
    SerialSettings,
    Site,
    StoreSettings,
    Vessel,
)
from ingest.cellar.load import load_cellar, parse_cellar
from ingest.cellar.quantities import (
    QUANTITIES,
    Quantity,
    difference_gain,
    plausible_range,
    series_unit_conversion,
    value_in_unit,
)

__all__ = [
    "QUANTITIES",
    "Cellar",
    "Cylinder",
    "EffectiveLimit",
    "Gas",
    "LimitSettings",
    "MailSettings",
    "MirrorSettings",
    "MqttSettings",
    "PageSettings",
    "Probe",
    "Quantity",
    "Room",
    "SerialSettings",
    "Site",
    "StoreSettings",
    "Vessel",
    "difference_gain",
    "load_cellar",
    "parse_cellar",
    "plausible_range",
    "series_unit_conversion",
    "value_in_unit",
]
