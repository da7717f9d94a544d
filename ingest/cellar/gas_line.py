"""Gas lines: the table ``[[gas_line]]``, which joins a cylinder and its regulator with the vessels that it feeds."""

from __future__ import annotations

__all__ = ["GasLine"]

from typing import Annotated, Final

from pydantic import Field

from ingest.cellar.amounts import Span, amount
from ingest.cellar.form import Identifier, Table, Text
from ingest.cellar.units import Dimension

_PRESSURES: Final = Span(0.0, 1000.0, above=True)


class GasLine(Table):
    """``[[gas_line]]``: a cylinder, its regulator, and the vessels behind it.

    regulator_kpa, relief_kpa: gauge pressures at which the regulator and the relief valve behind it are set, relief
    None where there is none; other_gas: why the vessels have another gas than the cylinder.
    """

    id: Identifier = Field(description="a short name of the line, such as N2-line")
    cylinder: Identifier = Field(description="the id of the cylinder that feeds it")
    regulator_kpa: Annotated[float, amount(Dimension.PRESSURE, "kPa", "55 kPa", _PRESSURES, pressure="gauge")] = Field(
        alias="regulator", description='the pressure that its regulator is set to, such as "55 kPa"'
    )
    relief_kpa: Annotated[float | None, amount(Dimension.PRESSURE, "kPa", "100 kPa", _PRESSURES, pressure="gauge")] = (
        Field(default=None, alias="relief")
    )
    vessels: Annotated[tuple[Identifier, ...], Field(min_length=1)] = Field(
        description='the ids of the vessels on it, such as ["K1", "K2"]'
    )
    other_gas: Text | None = None
