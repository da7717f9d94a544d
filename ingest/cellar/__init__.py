"""The cellar file: what equipment stands in the cellar and what must stay in range.

Begin with ``tables``: the one registry of the tables, which is also ``Cellar``. In reading order: ``units`` (our table
of units), ``amounts`` (text -> number), ``quantities`` (what probes measure), ``form`` (what every table shares),
``signal`` with ``platinum`` (from milliamperes, volts or ohms to a number), ``secret`` (passwords). The models:
``equipment``, ``connections``, ``limits``. From text to a cellar: ``table_entry`` (one table, and what is wrong in
it), ``draft`` (all tables as read), ``checks`` (what must hold between keys and tables), ``default_limits`` (what is
watched), ``load`` (the whole way).
"""

from ingest.cellar.amounts import PressureKind, parse_amount, split_amount
from ingest.cellar.connections import MailSettings, MirrorSettings, MqttSettings, SerialSettings
from ingest.cellar.equipment import Cylinder, Gas, Probe, Vessel
from ingest.cellar.form import SENML_NAME, Identifier
from ingest.cellar.limits import EffectiveLimit, Priority
from ingest.cellar.line_pattern import LinePattern
from ingest.cellar.load import load_cellar, parse_cellar
from ingest.cellar.platinum import TOLERANCES, resistance_ohm, temperature_c, tolerance_c
from ingest.cellar.quantities import QUANTITIES, plausible_range, series_unit_conversion, value_in_unit
from ingest.cellar.signal import Counts, Signal, from_wire
from ingest.cellar.tables import Cellar
from ingest.cellar.units import Dimension, UnitError, conversion, find_unit, normal_unit

__all__ = [
    "QUANTITIES",
    "SENML_NAME",
    "TOLERANCES",
    "Cellar",
    "Counts",
    "Cylinder",
    "Dimension",
    "EffectiveLimit",
    "Gas",
    "Identifier",
    "LinePattern",
    "MailSettings",
    "MirrorSettings",
    "MqttSettings",
    "PressureKind",
    "Priority",
    "Probe",
    "SerialSettings",
    "Signal",
    "UnitError",
    "Vessel",
    "conversion",
    "find_unit",
    "from_wire",
    "load_cellar",
    "normal_unit",
    "parse_amount",
    "parse_cellar",
    "plausible_range",
    "resistance_ohm",
    "series_unit_conversion",
    "split_amount",
    "temperature_c",
    "tolerance_c",
    "value_in_unit",
]
