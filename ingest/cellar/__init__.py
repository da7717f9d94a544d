"""The cellar file: what equipment stands in the cellar and what must stay in range.

Begin with ``tables``, the registry. In reading order:

tables          all tables of the file, each with its model, ids and check: ``Cellar``
units           what may stand behind a number
amounts         from text with a unit to a number
quantities      what probes measure and what is judged, in which unit, in which range
form            what every table shares
secret          passwords and tokens, from the environment or a file
platinum        platinum resistors: resistance and temperature
signal          from milliamperes, volts or ohms to a number
line_pattern    the pattern of a serial line's text
due_work        work that falls due, and after how long
equipment       the models of site, room, cylinder, vessel, probe
connections     the models of store, broker, lines, mail, mirror, page
limits          the model of a limit, and a limit as it is watched
table_entry     one table as read, and what is wrong in it
draft           all tables as read
checks          what must hold between keys and between tables
default_limits  every limit that is watched
load            from the text to a cellar, or to all that is wrong
"""

from ingest.cellar.amounts import PressureKind, parse_amount, split_amount
from ingest.cellar.connections import MailSettings, MirrorSettings, MqttSettings, SerialSettings
from ingest.cellar.due_work import DUE_WORK, DueRule, due_rules
from ingest.cellar.equipment import Cylinder, Gas, Probe, Room, Vessel
from ingest.cellar.form import SENML_NAME, Identifier
from ingest.cellar.limits import EffectiveLimit, Priority, Role
from ingest.cellar.line_pattern import LinePattern
from ingest.cellar.load import load_cellar, parse_cellar
from ingest.cellar.platinum import TOLERANCES, resistance_ohm, temperature_c, tolerance_c
from ingest.cellar.quantities import (
    JUDGED_QUANTITIES,
    LIMIT_QUANTITIES,
    QUANTITIES,
    JudgedQuantity,
    difference_in_unit,
    is_judged_id,
    judged_id,
    plausible_range,
    series_unit_conversion,
    value_in_unit,
)
from ingest.cellar.signal import Counts, Signal, from_wire
from ingest.cellar.tables import Cellar
from ingest.cellar.units import Dimension, UnitError, conversion, find_unit, normal_unit

__all__ = [
    "DUE_WORK",
    "JUDGED_QUANTITIES",
    "LIMIT_QUANTITIES",
    "QUANTITIES",
    "SENML_NAME",
    "TOLERANCES",
    "Cellar",
    "Counts",
    "Cylinder",
    "Dimension",
    "DueRule",
    "EffectiveLimit",
    "Gas",
    "Identifier",
    "JudgedQuantity",
    "LinePattern",
    "MailSettings",
    "MirrorSettings",
    "MqttSettings",
    "PressureKind",
    "Priority",
    "Probe",
    "Role",
    "Room",
    "SerialSettings",
    "Signal",
    "UnitError",
    "Vessel",
    "conversion",
    "difference_in_unit",
    "due_rules",
    "find_unit",
    "from_wire",
    "is_judged_id",
    "judged_id",
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
