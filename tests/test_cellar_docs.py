"""The reference of the cellar file names every key that exists, and none that does not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ingest.cellar import QUANTITIES, Dimension
from ingest.cellar.table_entry import known_keys
from ingest.cellar.tables import TABLES
from ingest.cellar.units import UNITS

_TEXT = (Path(__file__).parent.parent / "docs" / "cellar-file.md").read_text(encoding="utf-8")
_TABLES = {kind.label: kind.model for kind in TABLES}


def _sections() -> dict[str, str]:
    parts = re.split(r"^## (.+)$", _TEXT, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def _first_table(section: str) -> list[list[str]]:
    """The cells of the rows of a section's first table, without its head."""
    lines = section[section.index("| key |") :].split("\n\n", maxsplit=1)[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_each_table_has_its_section() -> None:
    assert {title for title in _sections() if title.startswith("[")} == set(_TABLES)


@pytest.mark.parametrize("title", _TABLES)
def test_each_key_is_told_with_meaning_value_and_default(title: str) -> None:
    rows = _first_table(_sections()[title])
    assert [row[0].strip("`") for row in rows] == list(known_keys(_TABLES[title]))
    assert all(len(row) == 4 and all(row) for row in rows)


@pytest.mark.parametrize("title", _TABLES)
def test_what_is_needed_is_called_so(title: str) -> None:
    fields = known_keys(_TABLES[title])
    for row in _first_table(_sections()[title]):
        field = fields[row[0].strip("`")]
        assert row[3].startswith("needed") or not field.is_required(), row[0]
        assert field.description or not field.is_required(), row[0]


def test_each_quantity_and_unit_is_told() -> None:
    for quantity in QUANTITIES:
        assert f"| `{quantity}` |" in _TEXT
    named = set(re.findall(r"[^\s,|()]+", _sections()["Units"].lower()))
    for dimension in (Dimension.VOLUME, Dimension.MASS, Dimension.TIME, Dimension.TEMPERATURE, Dimension.LENGTH):
        for unit in UNITS[dimension]:
            assert unit.lower() in named
