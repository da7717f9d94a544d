"""What leeside is installed by: its metadata, the systemd unit and the container file under config_examples."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path
from typing import Final

import pytest
from running import leeside

TOP: Final = Path(__file__).resolve().parent.parent
UNIT: Final = TOP / "config_examples" / "systemd" / "leeside.service"
CONTAINER: Final = TOP / "config_examples" / "container" / "Containerfile"
PROGRAM: Final = "/opt/leeside/.venv/bin/leeside"


def verified(unit: str, folder: Path) -> str:
    """What systemd finds wrong in a unit, whose program stands in for leeside's."""
    path = folder / UNIT.name
    path.write_text(unit.replace(PROGRAM, "/usr/bin/true"), encoding="utf-8")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", path], capture_output=True, text=True, timeout=60, check=False
    )
    return done.stderr + done.stdout


def test_systemd_finds_nothing_wrong_in_the_unit(tmp_path: Path) -> None:
    assert verified(UNIT.read_text(encoding="utf-8"), tmp_path) == ""


def test_systemd_would_find_a_key_that_there_is_not(tmp_path: Path) -> None:
    text = UNIT.read_text(encoding="utf-8").replace("WatchdogSec", "WatchdogSeconds")
    assert "WatchdogSeconds" in verified(text, tmp_path)


def test_the_unit_runs_a_call_that_the_command_takes(tmp_path: Path) -> None:
    called = re.findall(rf"^ExecStart={PROGRAM} (.+)$", UNIT.read_text(encoding="utf-8"), re.MULTILINE)
    assert [line.split()[0] for line in called] == ["run"]
    assert "cannot be read" in leeside("run", tmp_path / "cellar.toml").stderr


def test_the_container_file_installs_what_the_project_has() -> None:
    text = CONTAINER.read_text(encoding="utf-8")
    extras = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    named = re.findall(r"/tmp/leeside\[(\w+)\]", text)
    assert named and set(named) <= set(extras)
    assert 'ENTRYPOINT ["leeside"]' in text and 'CMD ["run"]' in text
    assert "LEESIDE_CELLAR=/etc/leeside/cellar.toml" in text


@pytest.mark.parametrize("package", ["ingest", "alerts"])
def test_the_packages_are_marked_as_typed(package: str) -> None:
    assert (TOP / package / "py.typed").is_file()


def test_the_metadata_helps_to_find_it() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert {"wine", "MQTT"} <= set(project["keywords"])
    assert "Typing :: Typed" in project["classifiers"]
