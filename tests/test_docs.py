"""The docs explain all that the command can do and name every library, and their links lead somewhere."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote

import pytest
import typer.main

from alerts.command.main import app
from ingest.errors import Unreadable
from ingest.sources.number import parse_number

TOP: Final = Path(__file__).resolve().parent.parent
PAGES: Final = sorted([*TOP.glob("*.md"), *(TOP / "docs").rglob("*.md")])
# The folder that docs/operations.md installs into: tests that run there must not report its name.
DOCUMENTED_FOLDER: Final = Path("/opt/leeside")


def _commands() -> dict[str, Any]:
    """Each command by its words; a command of a group, such as bench, has two."""
    # Typer carries a click of its own, whose classes are not for import.
    group: Any = typer.main.get_command(app)
    context = group.make_context("leeside", [], resilient_parsing=True)
    found: dict[str, Any] = {}
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        inner: dict[str, Any] = getattr(command, "commands", {})
        found |= {f"{name} {word}": one for word, one in inner.items()} if inner else {name: command}
    return found


_COMMANDS: Final = _commands()
_GROUPS: Final = {name.split()[0] for name in _COMMANDS if " " in name}


def _page(name: str) -> str:
    return (TOP / name).read_text(encoding="utf-8")


def _options(command: str, *, hidden: bool = True) -> set[str]:
    """Options of a command; hidden: also those that help does not list, such as the answers that `amend` takes."""
    chosen = [each for each in _COMMANDS[command].params if hidden or not getattr(each, "hidden", False)]
    return {option for parameter in chosen for option in parameter.opts if option.startswith("--")}


def _command_section(command: str) -> str:
    found = re.search(rf"^## leeside {command}$(.*?)(?=^## |\Z)", _page("docs/commands.md"), re.MULTILINE | re.DOTALL)
    assert found is not None, f"docs/commands.md has no section '## leeside {command}'"
    return found[1]


def _shell_lines(text: str) -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    return [line.strip() for block in blocks for line in block.replace("\\\n", " ").splitlines()]


def _leeside_calls(line: str) -> list[list[str]]:
    """The arguments of each leeside command in a line of shell."""
    calls = []
    for part in line.split("&&"):
        words = shlex.split(part)
        place = next((index for index, word in enumerate(words) if Path(word).name == "leeside"), None)
        if place is not None and words[place + 1 : place + 2] and _split(words[place + 1 :])[0] in _COMMANDS:
            calls.append(words[place + 1 :])
    return calls


def _split(words: list[str]) -> tuple[str, list[str]]:
    """The command's words as one, and its arguments."""
    length = 2 if words[0] in _GROUPS else 1
    return " ".join(words[:length]), words[length:]


def _parse(words: list[str]) -> None:
    """Raise what the command itself would say to these words."""
    command, arguments = _split(words)
    with _COMMANDS[command].make_context(command, arguments):
        pass


def test_there_is_a_section_for_each_command_and_no_other() -> None:
    told = re.findall(r"^## leeside (.+)$", _page("docs/commands.md"), re.MULTILINE)
    assert sorted(told) == sorted(_COMMANDS)


@pytest.mark.parametrize("command", _COMMANDS)
def test_each_option_of_a_command_is_told_in_its_section_and_no_other(command: str) -> None:
    rows = [line.split("|")[1] for line in _command_section(command).splitlines() if line.startswith("| `--")]
    told = set(re.findall(r"`(--[a-z0-9-]+)", " ".join(rows)))
    assert told == _options(command, hidden=False)


@pytest.mark.parametrize("command", _COMMANDS)
def test_each_command_and_parameter_has_help_and_an_example_that_parses(command: str) -> None:
    it = _COMMANDS[command]
    assert it.help
    assert all(parameter.help for parameter in it.params), "a parameter without help"
    example = it.epilog.split("\n\n")[-1]
    assert example.startswith(f"Example: leeside {command}")
    _parse(shlex.split(example.removeprefix("Example: leeside ")))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(TOP)))
def test_each_leeside_call_in_a_page_is_one_that_the_command_takes(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = page.read_text(encoding="utf-8")
    monkeypatch.setenv("LEESIDE_CELLAR", "cellar.toml")  # so that a call may leave the file out
    for line in _shell_lines(text):
        for words in _leeside_calls(line):
            _parse(words)
    for quoted in re.findall(r"`((?:\.venv/bin/)?leeside [a-z][^`]*)`", text):
        command, arguments = _split(shlex.split(quoted)[1:])
        if command in _GROUPS:
            continue
        assert command in _COMMANDS, f"{page.name}: there is no command '{command}'"
        for option in arguments:
            if option.startswith("--") and option != "--help":
                assert option in _options(command), f"{page.name}: leeside {command} has no {option}"


def test_the_readme_calls_of_the_command_are_found() -> None:
    calls = [words for line in _shell_lines(_page("README.md")) for words in _leeside_calls(line)]
    assert {words[0] for words in calls} == {"demo", "check", "run", "now", "alarms", "acknowledge", "enter", "journal"}


@pytest.mark.parametrize(
    "line",
    [
        "python3 -m venv .venv && .venv/bin/pip install '.[demo]' && .venv/bin/leeside demo",
        "bash tests/run",
    ],
)
def test_the_two_commands_stand_in_the_readme(line: str) -> None:
    assert line in _shell_lines(_page("README.md"))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(TOP)))
def test_each_relative_link_leads_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, heading = unquote(link).partition("#")
        target = (page.parent / path).resolve() if path else page
        assert target.exists(), f"{page.name}: {link} leads nowhere"
        if heading:
            assert heading in _anchors(target), f"{page.name}: {link}: no such heading"


def _anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as forges make them: lower case, spaces to hyphens, punctuation dropped."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def _wiring_patterns() -> list[tuple[str, str]]:
    rows = re.findall(r"^\| `(.+?)` \| (.+) \|$", _page("docs/wiring.md"), re.MULTILINE)
    return [(line, pattern) for line, cell in rows for pattern in re.findall(r"`([^`]*\(\?P<value>[^`]*)`", cell)]


def test_the_patterns_of_the_wiring_page_take_their_lines() -> None:
    pairs = _wiring_patterns()
    assert len(pairs) == 5
    for line, pattern in pairs:
        found = re.fullmatch(pattern, line)
        assert found is not None, f"{pattern} does not take the whole of {line!r}"
        parse_number(found["value"], decimal="," if "," in found["value"] else ".")


def test_the_wiring_page_says_which_plain_payloads_are_taken() -> None:
    text = _page("docs/wiring.md")
    found = re.search(r"^Taken are (.+?), with blanks.*?Refused are (.+?), an empty", text, re.MULTILINE | re.DOTALL)
    assert found is not None
    taken, refused = found.groups()
    for payload in re.findall(r"`([^`]+)`", taken):
        parse_number(payload)
    for payload in re.findall(r"`([^`=]+)`", refused):
        with pytest.raises(Unreadable):
            parse_number(payload)


def test_the_index_names_every_page_of_docs() -> None:
    links = set(re.findall(r"\]\(([a-z-]+\.md)\)", _page("docs/README.md")))
    assert {page.name for page in (TOP / "docs").glob("*.md")} - {"README.md"} <= links


def test_each_dependency_has_its_line_among_the_libraries() -> None:
    project = tomllib.loads(_page("pyproject.toml"))["project"]
    wanted = [*project["dependencies"]]
    for extra in project["optional-dependencies"].values():
        wanted += extra
    names = {re.split(r"[\[<>=~;! ]", text, maxsplit=1)[0] for text in wanted} - {"leeside"}
    rows = set(re.findall(r"^\| ([a-z][a-z0-9-]+) \|", _page("docs/libraries.md"), re.MULTILINE)) - {"library"}
    assert rows == names


def test_no_file_holds_a_path_of_this_machine() -> None:
    folders = {TOP, Path.home()} - {DOCUMENTED_FOLDER, Path("/")}
    own = "|".join(re.escape(str(folder)) for folder in folders)
    paths = re.compile(rf"(?<![\w./-])(?:{own}|/(?:home|Users)/\w+)(?![\w-])")
    for file in _own_files():
        for number, line in enumerate(file.read_text(encoding="utf-8", errors="replace").splitlines(), 1):
            assert not paths.search(line), f"{file.relative_to(TOP)}:{number}: {line.strip()}"


def _own_files() -> list[Path]:
    named = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "pyproject.toml", "LICENSE", ".gitignore")
    folders = ("ingest", "alerts", "tests", "config_examples", "docs", ".ci")
    files = [TOP / name for name in named]
    files += [file for folder in folders for file in (TOP / folder).rglob("*") if file.is_file()]
    return [file for file in files if "__pycache__" not in file.parts and file.suffix not in {".db", ".lock"}]
