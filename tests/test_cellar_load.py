"""From a file to a cellar."""

from __future__ import annotations

import dataclasses
from datetime import time
from pathlib import Path

import pytest
from cellar_text import BASE, CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, cellar, problems
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from ingest.cellar import Cellar, MqttSettings, load_cellar, parse_cellar
from ingest.errors import CellarFileError, IngestError, SourceError

EXAMPLES = sorted((Path(__file__).parent.parent / "config_examples").glob("*.toml"))


def test_there_are_examples() -> None:
    assert {path.name for path in EXAMPLES} >= {"one-keg.toml", "three-kegs-and-a-carboy.toml"}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_each_example_loads(path: Path) -> None:
    read = load_cellar(path)
    assert read.text == path.read_text(encoding="utf-8")
    assert read.base == path.parent
    assert {limit.kind for limit in read.limits} >= {"low", "high", "no data"}


def test_what_a_whole_file_says() -> None:
    read = load_cellar(next(path for path in EXAMPLES if path.name == "three-kegs-and-a-carboy.toml"))
    assert read.site.waking == (time(6, 30), time(22, 0))
    assert read.site.altitude_m == 340.0
    assert read.site.zone.key == "Europe/Ljubljana"
    assert read.store_path == read.base / "three-kegs.db"
    assert read.mqtt is not None
    assert read.mqtt.session_expiry_s == 30 * 86400
    assert (read.mqtt.window, read.mqtt.port, read.mqtt.keep_alive_s) == (2000, 1883, 60)
    assert read.serial[0].settle_s == 2.0
    assert [place.id for place in read.places] == ["K1", "K2", "K3", "C1", "N2", "cellar"]
    assert read.place_kind("C1") == "carboy"
    assert read.place_kind("N2") == "cylinder"
    assert read.place_kind("cellar") == "room"
    assert [probe.id for probe in read.probes_at("K2")] == ["k2-pressure", "k2-temperature"]
    assert read.vessel[2].capacity_l == pytest.approx(9.46352946)
    assert read.vessel[2].max_pressure_kpa == pytest.approx(896.3184481)
    assert (read.vessel[0].material, read.vessel[3].material) == ("steel", "glass")
    assert read.probe[1].time_pointer == "/at"
    assert read.page is not None
    assert (read.page.host, read.page.port) == ("127.0.0.1", 8420)
    assert read.mail is not None
    assert (read.mail.sender, read.mail.timeout_s) == ("leeside@cellar.example", 20.0)


def test_the_smallest_file() -> None:
    read = cellar(SITE)
    assert (read.mqtt, read.mail, read.page, read.limits) == (None, None, None, ())
    assert read.store_path == Path("/srv/cellar/cellar.db")
    assert read.store.commit_s == 2.5
    with pytest.raises(KeyError):
        read.place("K1")


def test_nothing_in_a_cellar_can_be_changed() -> None:
    read = cellar(BASE)
    with pytest.raises(dataclasses.FrozenInstanceError):
        read.file = "other"  # type: ignore[misc]  # that is the point
    with pytest.raises(ValidationError):
        read.vessel[0].capacity_l = 3.0  # type: ignore[misc]  # that is the point


def test_the_page_may_listen_on_ipv6() -> None:
    page = cellar(SITE, '[page]\naddress = "[::1]:9000"').page
    assert page is not None
    assert (page.host, page.port) == ("::1", 9000)


def test_a_byte_order_mark_and_windows_line_ends_are_taken() -> None:
    assert cellar("\ufeff" + BASE.replace("\n", "\r\n")).probe[0].unit == "kPa"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[site]\nname = "x', "end of document: not TOML: Unterminated string"),
        ("[site\n", "line 1, column 6: not TOML: Expected ']' at the end of a table declaration"),
        ("[site]\nname", "end of document: not TOML: Expected '=' after a key in a key/value pair"),
        ("a = " + "[" * 5000, "the file: not TOML: brackets are nested too deep"),
        ("a = " + "9" * 5000, "the file: not TOML: Exceeds the limit"),
    ],
)
def test_what_is_not_toml(text: str, told: str) -> None:
    (found,) = problems(text)
    assert found.startswith(told)


def test_a_mistake_of_toml_tells_line_and_column() -> None:
    assert problems('[site]\nname = "a"\nname = "b"\n') == ["line 3, column 11: not TOML: Cannot overwrite a value"]


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    def told(path: Path) -> str:
        with pytest.raises(CellarFileError) as caught:
            load_cellar(path)
        assert caught.value.file == str(path)
        return str(caught.value).removeprefix(f"{path}: ")

    assert told(tmp_path / "none.toml") == (
        "the file: cannot be read: No such file or directory; look at the path and its permissions"
    )
    assert told(tmp_path) == "the file: is a folder; name the cellar file in it"
    latin = tmp_path / "latin.toml"
    latin.write_bytes('[site]\nname = "12 °C"\n'.encode("latin-1"))
    assert told(latin) == "the file: is not UTF-8: line 2 holds the byte 0xb0; save it as UTF-8"
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * 4_000_001)
    assert told(huge) == "the file: is larger than 4000000 bytes, so it is not a cellar file"


@given(st.text())
def test_any_text_is_a_cellar_or_told_problems(text: str) -> None:
    try:
        parse_cellar(text, file="cellar.toml", base=Path())
    except CellarFileError as error:
        assert error.problems


_VALUES = st.sampled_from(['""', '"K1"', '"pressure"', "1", "-1.5", "true", "[]", "{}", '"5 kPa"', '"\\u0000"', "nan"])
_KEYS = st.sampled_from(
    ["id", "at", "kind", "quantity", "low", "high", "no_data", "deadband", "unit", "topic", "pattern", "lot", "probe"]
)


@given(
    st.sampled_from(
        ["site", "store", "mqtt", "serial", "room", "cylinder", "vessel", "probe", "limit", "mail", "page"]
    ),
    st.booleans(),
    st.dictionaries(_KEYS, _VALUES),
)
def test_odd_tables_never_end_in_another_error(table: str, repeated: bool, keys: dict[str, str]) -> None:
    head = f"[[{table}]]" if repeated else f"[{table}]"
    body = "\n".join(f"{key} = {value}" for key, value in keys.items())
    try:
        cellar(KEG, CARBOY, PROBE, head, body) if table in ("vessel", "probe") and repeated else cellar(head, body)
    except CellarFileError as error:
        assert all(str(problem) for problem in error.problems)


def _mqtt(extra: str) -> MqttSettings:
    read = cellar(SITE, MQTT + extra).mqtt
    assert read is not None
    return read


def test_the_password_comes_from_the_environment(tmp_path: Path) -> None:
    settings = _mqtt('user = "u"\npassword_env = "BROKER"\n')
    assert settings.password({"BROKER": "geheim"}, tmp_path) == "geheim"
    with pytest.raises(SourceError) as caught:
        settings.password({}, tmp_path)
    assert str(caught.value) == (
        "[mqtt] password_env: the environment has no BROKER, or it is empty; "
        "set it where leeside is started, or name a file with password_file"
    )
    assert _mqtt("").password({}, tmp_path) is None


def test_the_password_comes_from_a_file(tmp_path: Path) -> None:
    settings = _mqtt('user = "u"\npassword_file = "secret"\n')
    with pytest.raises(SourceError, match="cannot be read: No such file"):
        settings.password({}, tmp_path)
    (tmp_path / "secret").write_text(" two words \n", encoding="utf-8")
    assert settings.password({}, tmp_path) == " two words "
    (tmp_path / "secret").write_text("\n", encoding="utf-8")
    with pytest.raises(SourceError, match="must hold one line"):
        settings.password({}, tmp_path)
    (tmp_path / "secret").write_text("one\ntwo\n", encoding="utf-8")
    with pytest.raises(SourceError, match="must hold one line"):
        settings.password({}, tmp_path)
    (tmp_path / "secret").write_bytes(b"\xff")
    with pytest.raises(SourceError, match="is not UTF-8"):
        settings.password({}, tmp_path)


def test_the_mail_password() -> None:
    mail = '[mail]\nhost = "localhost"\nfrom = "a@b.example"\nto = ["c@d.example"]\nuser = "u"\npassword_env = "MAIL"\n'
    settings = cellar(SITE, mail).mail
    assert settings is not None
    assert settings.password({"MAIL": "geheim"}, Path()) == "geheim"
    with pytest.raises(IngestError, match=r"^\[mail\] password_env: the environment has no MAIL"):
        settings.password({}, Path())


def test_a_password_in_the_file_is_refused_and_never_shown() -> None:
    for text in (MQTT + 'user = "u"\npassword_env = "P"\npassword = "geheim"\n', MQTT + 'passwort = "geheim"\n'):
        with pytest.raises(CellarFileError) as caught:
            cellar(SITE, text)
        assert "geheim" not in str(caught.value) + repr(caught.value)


def test_a_cellar_shows_no_text_of_the_file_in_its_repr() -> None:
    read: Cellar = cellar(SITE, "# geheim")
    assert "geheim" not in repr(read)


def test_a_limit_keeps_the_unit_as_written() -> None:
    low = LIMIT + 'at = "K1"\nquantity = "pressure"\nlow = "2 psi"\ndeadband = "0.1 psi"\n'
    read = cellar(BASE, low)
    assert read.limit[0].unit_text == "psi"
    assert read.limit[0].low == pytest.approx(13.789514586)
    assert read.limit[0].deadband == pytest.approx(0.6894757293)
