"""The demo's journal can be written down, and leads to one limit that is passed and one test that is due."""

from __future__ import annotations

from pathlib import Path

import pytest

from alerts.limits.due_feed import due_limits_at
from alerts.limits.limits_now import limits_now
from alerts.so2.judge import So2Judge
from alerts.so2.total_judge import TotalJudge
from ingest.cellar import load_cellar
from ingest.entering import enter
from ingest.simulation.scenario_file import mill_lane_file
from ingest.simulation.scenario_journal import JOURNAL
from ingest.store import create_or_open
from ingest.times import iso_utc


@pytest.mark.parametrize("now_ms", [1_795_867_200_000, 1_775_781_000_000, 1_799_982_000_000])
def test_one_wine_is_low_and_one_test_is_due(tmp_path: Path, now_ms: int) -> None:
    secret = tmp_path / "password"
    secret.write_text("staves", encoding="utf-8")
    file = tmp_path / "cellar.toml"
    text = mill_lane_file(
        broker_port=1883,
        user="cellar",
        password_file=secret,
        serial_device="/dev/null",
        mail_port=2525,
        page_port=8080,
        store_path=tmp_path / "cellar.db",
    )
    file.write_text(text, encoding="utf-8")
    cellar = load_cellar(file)
    with create_or_open(cellar.store_path, now_ms) as store:
        for act in JOURNAL:
            at = iso_utc(now_ms - round(act.days_ago * 86_400_000))
            enter(store, cellar, act.kind, act.answers, who="Ana", now_ms=now_ms, at=at)
        with store.read() as connection:
            due = due_limits_at(cellar, connection, now_ms)
            limits = limits_now(cellar, store, now_ms)
        judged = [*So2Judge().judge(cellar, store, now_ms), *TotalJudge().judge(cellar, store, now_ms)]
    assert [key for key, limit in due.items() if limit.fact.due_ms <= now_ms] == ["rebula-26/re-test"]
    passed = []
    for each in judged:
        assert each.decides
        for kind in ("low", "high"):
            limit = limits.get(f"{each.place}/{each.name}/{kind}")
            if limit is not None and each.value is not None:
                is_low = kind == "low"
                passed += [limit.key] if (each.value < limit.setpoint) == is_low else []
    assert passed == ["K1/molecular_so2/low"]
    assert len(judged) == 12, "free, molecular and total SO2 of four vessels"
