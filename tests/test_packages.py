"""The table of packages in DEVELOPERS.md and the docstrings of packages, held against the code."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from alerts.command.main import COMMANDS
from ingest.journal.kinds import KINDS

TOP = Path(__file__).parent.parent
# Whatever else a package imports, these may be imported by all.
BOTTOM = {
    "ingest.backoff",
    "ingest.errors",
    "ingest.first_traces",
    "ingest.json_text",
    "ingest.judgement",
    "ingest.machine_clock",
    "ingest.operator_event",
    "ingest.plain_text",
    "ingest.pulse",
    "ingest.reading",
    "ingest.retry_after",
    "ingest.times",
    "ingest.token_bucket",
    "ingest.validation_words",
    "ingest.watchdog",
}


class Row(NamedTuple):
    """A row of the table: a package, what it may import, and the libraries that are its own."""

    package: str
    may_import: set[str]
    libraries: set[str]


def rows() -> dict[str, Row]:
    """The table of DEVELOPERS.md; a cell that says "all" stands for every package of it."""
    found = {}
    cells = [
        [cell.strip() for cell in line.split("|")][1:-1]
        for line in (TOP / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()
    ]
    packages = {
        named[1]: row for row in cells if row and (named := re.fullmatch(r"`((?:ingest|alerts)\.\w+)`", row[0]))
    }
    for package, row in packages.items():
        may_import = set(packages) if row[2] == "all" else set(re.findall(r"`([\w.]+)`", row[2]))
        found[package] = Row(package, may_import, set(re.findall(r"`([\w.]+)`", row[3])))
    return found


def files() -> dict[str, Path]:
    """The file of each module."""
    paths = [path for top in ("ingest", "alerts") for path in sorted((TOP / top).rglob("*.py"))]
    return {".".join(path.relative_to(TOP).with_suffix("").parts).removesuffix(".__init__"): path for path in paths}


@cache
def modules() -> dict[str, ast.Module]:
    return {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in files().items()}


def package_of(module: str) -> str:
    return ".".join(module.split(".")[:2])


def imported(tree: ast.AST) -> Iterator[tuple[str, str]]:
    """(module, name) of every import in a tree; name is "" for a plain import."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            yield from ((node.module, alias.name) for alias in node.names)


def at_import_time(tree: ast.Module) -> Iterator[ast.stmt]:
    """The statements that run when a module is imported; what only type checkers read is left out."""
    for node in tree.body:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        if not isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node


ROWS = rows()


def target(module: str, name: str) -> str:
    return f"{module}.{name}" if f"{module}.{name}" in modules() else module


def test_the_table_names_every_package() -> None:
    assert set(ROWS) == {package_of(module) for module in modules() if "." in module}


@pytest.mark.parametrize("package", sorted(ROWS))
def test_a_package_imports_only_what_its_row_names(package: str) -> None:
    allowed = ROWS[package].may_import | BOTTOM | {package}
    wrong = {
        f"{module} imports {target(*line)}"
        for module, tree in modules().items()
        if package_of(module) == package
        for line in imported(tree)
        if line[0].split(".")[0] in ("ingest", "alerts") and package_of(target(*line)) not in allowed
    }
    assert not wrong


@pytest.mark.parametrize("package", sorted(ROWS))
def test_a_row_names_nothing_that_its_package_does_not_import(package: str) -> None:
    row = ROWS[package]
    used = {
        package_of(target(*line))
        for module, tree in modules().items()
        if package_of(module) == package
        for line in imported(tree)
    }
    if row.may_import != set(ROWS):
        assert row.may_import <= used


def test_ingest_never_imports_alerts() -> None:
    assert not {
        f"{module} imports {line[0]}"
        for module, tree in modules().items()
        if module.split(".")[0] == "ingest"
        for line in imported(tree)
        if line[0].split(".")[0] == "alerts"
    }


def test_a_library_stays_in_the_packages_that_own_it() -> None:
    owners: dict[str, set[str]] = {}
    for row in ROWS.values():
        for library in row.libraries:
            owners.setdefault(library, set()).add(row.package)
    wrong = []
    for module, tree in modules().items():
        for name, what in imported(tree):
            owning = owners.get(name.split(".")[0])
            # A connection is handed from package to package inside one transaction; only the store makes one.
            a_type = name == "sqlite3" and what == "" and _names_of_sqlite(tree) <= {"Connection", "Error"}
            if owning is not None and package_of(module) not in owning and not a_type:
                wrong.append(f"{module} imports {name}")
    assert not wrong


def _names_of_sqlite(tree: ast.Module) -> set[str]:
    attributes = (node for node in ast.walk(tree) if isinstance(node, ast.Attribute))
    return {node.attr for node in attributes if isinstance(node.value, ast.Name) and node.value.id == "sqlite3"}


def test_there_is_no_circle_of_imports() -> None:
    """Modules that import each other at import time, directly or around corners."""
    edges = {
        module: {
            target(*line)
            for statement in at_import_time(tree)
            for line in imported(statement)
            if target(*line) in modules() and target(*line) != module
        }
        for module, tree in modules().items()
    }
    done: set[str] = set()

    def walk(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, " -> ".join((*path[path.index(module) :], module))
        if module not in done:
            for other in sorted(edges[module]):
                walk(other, (*path, module))
            done.add(module)

    for module in modules():
        walk(module, ())


def test_one_class_name_means_one_thing() -> None:
    seen: dict[str, str] = {}
    twice = []
    for module, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                name = node.name.lstrip("_")
                if name in seen:
                    twice.append(f"{name}: {seen[name]} and {module}")
                seen[name] = module
    assert not twice


def test_what_the_cellar_file_offers_is_imported_from_its_package() -> None:
    wrong = {
        f"{module} imports from {name}"
        for module, tree in modules().items()
        if package_of(module) != "ingest.cellar"
        for name, _ in imported(tree)
        if name.startswith("ingest.cellar.")
    }
    assert not wrong


def _listed(package: str) -> list[str]:
    """The names that a package's docstring lists: those at the beginning of a line, with their meaning behind."""
    return re.findall(r"^([a-z]\w*) {2,}\S", ast.get_docstring(modules()[package]) or "", re.MULTILINE)


PACKAGES = sorted({module.rpartition(".")[0] for module in files()} - {""})
# The kinds of entries and the commands are listed by tables of their own, in the code.
IN_TABLES = {f"ingest.journal.kinds.{name.replace('-', '_')}" for name in KINDS} | {
    where.partition(":")[0] for where, _ in COMMANDS.values()
}


@pytest.mark.parametrize("package", PACKAGES)
def test_the_docstring_of_a_package_lists_each_of_its_files_once(package: str) -> None:
    inside = {module.removeprefix(f"{package}.") for module in modules() if module.rpartition(".")[0] == package}
    in_tables = {name for name in inside if f"{package}.{name}" in IN_TABLES}
    listed = _listed(package)
    assert len(listed) == len(set(listed))
    assert set(listed) - in_tables == inside - in_tables
