"""Default limits on how long a cylinder lasts, and what replaces them."""

from __future__ import annotations

from cellar_text import KEG, MQTT, PROBE, SITE, cellar, cylinder, limit

from ingest.cellar import EffectiveLimit

CARE, SOON = "N2/cylinder_days_left/care", "N2/cylinder_days_left/soon"


def by_key(*pieces: str) -> dict[str, EffectiveLimit]:
    return {each.key: each for each in cellar(SITE, MQTT, KEG, PROBE, *pieces).limits if each.at == "N2"}


def test_a_cylinder_is_watched_in_waking_hours_and_when_nearly_over_at_any() -> None:
    limits = by_key(cylinder())
    assert {key: (each.setpoint, each.priority, each.hours) for key, each in limits.items()} == {
        CARE: (7.0, "medium", "waking"),
        SOON: (1.0, "medium", "any"),
    }
    assert limits[CARE].suppressed_by == (SOON,)
    for each in limits.values():
        assert each.probe == "N2/cylinder_days_left"
        assert each.deadband < each.setpoint
        assert "Air the room" in each.action
        assert "upright" in each.action


def test_carbon_dioxide_and_argon_are_watched_as_well() -> None:
    for gas in ("argon", "carbon dioxide"):
        assert set(by_key(cylinder(gas=gas))) == {CARE, SOON}


def test_a_limit_of_the_file_replaces_care_and_what_it_reaches() -> None:
    mine = {"at": "N2", "quantity": "cylinder_days_left"}
    assert set(by_key(cylinder(), limit(**mine, low="14 d"))) == {"N2/cylinder_days_left/low", SOON}
    assert set(by_key(cylinder(), limit(**mine, low="0.5 d", deadband="0.1 d"))) == {"N2/cylinder_days_left/low"}
    assert set(by_key(cylinder(), limit(**mine, high="400 d"))) == {"N2/cylinder_days_left/high", CARE, SOON}
