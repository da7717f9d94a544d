"""The cellar file: what equipment stands in the cellar and what must stay in range.

Begin with ``tables``, the registry. In reading order:

tables          all tables of the file, each with its model, ids and check: ``Cellar``
units           what may stand behind a number
amounts         from text with a unit to a number
quantities      what probes measure and what is judged, in which unit, in which range
form            what every table shares
secret          passwords and tokens, from the environment or a file
platinum        platinum resistors: resistance and temperature
shown_units     in which units people see values
signal          from milliamperes, volts or ohms to a number
line_pattern    the pattern of a serial line's text
due_work        work that falls due, and after how long
equipment       the models of site, room, cylinder, vessel, probe
gas_line        the model of a gas line
connections     the models of store, broker, lines, mail, mirror
page_settings   the model of the page
digest_settings  the model of the digest
channels        the model of a channel
heartbeat       the model of the heartbeat
people          the model of a person, and everybody on each channel
limits          the model of a limit, and a limit as it is watched
due_rules       limits on work that falls due
file_limits     from the one to the other; where wine lies
table_entry     one table as read, and what is wrong in it
draft           all tables as read
checks          what must hold between keys and between tables
signal_reach    what a signal can say at all
default_pressure_limits     those on the pressure in a vessel
default_temperature_limits  those on the temperature at a vessel
default_blanket_limits      those on the gas over a wine, as it is worked out
default_cylinder_limits     those on how long a cylinder lasts
one_cause       limits at one vessel that a single cause can reach
default_limits  every limit that is watched
toml_text       its text as TOML
load            from the text to a cellar, or to all that is wrong
"""

from ingest.cellar.amounts import PressureKind, as_meant, parse_amount, split_amount
from ingest.cellar.channels import PLACEHOLDER, ChannelSettings
from ingest.cellar.connections import MailSettings, MirrorSettings, MqttSettings, SerialSettings
from ingest.cellar.digest_settings import DigestSettings
from ingest.cellar.due_rules import DueRule, due_rules
from ingest.cellar.due_work import DUE_WORK, NEVER_MEASURED
from ingest.cellar.equipment import Cylinder, Gas, Probe, Room, Vessel
from ingest.cellar.file_limits import ANY_LOT, WinePlaces, wine_limit
from ingest.cellar.form import SENML_NAME, Identifier
from ingest.cellar.gas_line import GasLine
from ingest.cellar.heartbeat import HeartbeatSettings
from ingest.cellar.limits import USUAL, EffectiveLimit, Hours, LimitKind, LimitSettings, Priority, Role
from ingest.cellar.line_pattern import LinePattern
from ingest.cellar.load import load_cellar, parse_cellar
from ingest.cellar.one_cause import is_of_one_cause
from ingest.cellar.page_settings import PageSettings
from ingest.cellar.people import MAIL_CHANNEL, Person, Recipient
from ingest.cellar.platinum import TOLERANCES, resistance_ohm, temperature_c, tolerance_c
from ingest.cellar.quantities import (
    JUDGED_QUANTITIES,
    LIMIT_QUANTITIES,
    NOT_FORESEEN_H,
    QUANTITIES,
    JudgedQuantity,
    difference_in_unit,
    is_judged_id,
    judged_id,
    plausible_range,
    series_unit_conversion,
    value_in_unit,
)
from ingest.cellar.shown_units import shown_unit
from ingest.cellar.signal import Counts, Signal, from_wire
from ingest.cellar.signal_reach import end_of_signal, is_out_of_reach
from ingest.cellar.table_entry import nearest
from ingest.cellar.tables import Cellar
from ingest.cellar.units import Dimension, UnitError, conversion, find_unit, normal_unit

__all__ = [
    "ANY_LOT",
    "DUE_WORK",
    "JUDGED_QUANTITIES",
    "LIMIT_QUANTITIES",
    "MAIL_CHANNEL",
    "NEVER_MEASURED",
    "NOT_FORESEEN_H",
    "PLACEHOLDER",
    "QUANTITIES",
    "SENML_NAME",
    "TOLERANCES",
    "USUAL",
    "Cellar",
    "ChannelSettings",
    "Counts",
    "Cylinder",
    "DigestSettings",
    "Dimension",
    "DueRule",
    "EffectiveLimit",
    "Gas",
    "GasLine",
    "HeartbeatSettings",
    "Hours",
    "Identifier",
    "JudgedQuantity",
    "LimitKind",
    "LimitSettings",
    "LinePattern",
    "MailSettings",
    "MirrorSettings",
    "MqttSettings",
    "PageSettings",
    "Person",
    "PressureKind",
    "Priority",
    "Probe",
    "Recipient",
    "Role",
    "Room",
    "SerialSettings",
    "Signal",
    "UnitError",
    "Vessel",
    "WinePlaces",
    "as_meant",
    "conversion",
    "difference_in_unit",
    "due_rules",
    "end_of_signal",
    "find_unit",
    "from_wire",
    "is_judged_id",
    "is_of_one_cause",
    "is_out_of_reach",
    "judged_id",
    "load_cellar",
    "nearest",
    "normal_unit",
    "parse_amount",
    "parse_cellar",
    "plausible_range",
    "resistance_ohm",
    "series_unit_conversion",
    "shown_unit",
    "split_amount",
    "temperature_c",
    "tolerance_c",
    "value_in_unit",
    "wine_limit",
]
