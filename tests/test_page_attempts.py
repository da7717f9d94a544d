"""How often a password may be tried, and that counting it takes a bounded memory."""

from __future__ import annotations

from alerts.page.doors.attempts import AttemptLimit


def _tries(limit: AttemptLimit, address: str, count: int, now_s: float = 0.0) -> int:
    """How many of the tries are let through."""
    return sum(limit.wait_s(address, now_s) == 0 for _ in range(count))


def test_one_address_has_five_tries_and_then_one_a_minute() -> None:
    limit = AttemptLimit()
    assert _tries(limit, "192.0.2.1", 20) == 5
    assert limit.wait_s("192.0.2.1", 0.0) == 60
    assert limit.wait_s("192.0.2.1", 45.0) == 15
    assert _tries(limit, "192.0.2.1", 20, 60.0) == 1
    assert _tries(limit, "192.0.2.1", 20, 100_000.0) == 5


def test_one_owner_of_many_addresses_counts_as_one() -> None:
    limit = AttemptLimit()
    assert sum(_tries(limit, f"2001:db8:0:7:{number:x}::1", 1) for number in range(1, 40)) == 5
    assert _tries(limit, "2001:db8:0:8::1", 1) == 1
    assert _tries(limit, "::ffff:192.0.2.1", 3) + _tries(limit, "192.0.2.1", 20) == 5
    assert _tries(limit, "no address", 9) == _tries(AttemptLimit(), "", 9) == 5


def test_many_addresses_together_are_slowed_too() -> None:
    limit = AttemptLimit()
    assert sum(_tries(limit, f"192.0.{net}.{host}", 1) for net in range(50) for host in range(200)) == 30
    day = sum(
        _tries(limit, f"10.{second >> 16}.{second >> 8 & 255}.{second & 255}", 1, second) for second in range(86_400)
    )
    assert 8_600 < day <= 8_640
    assert len(limit._of) <= 1000


def test_who_knows_the_password_is_not_held_up() -> None:
    limit = AttemptLimit()
    for _ in range(100):
        assert _tries(limit, "192.0.2.1", 1) == 1
        limit.succeeded("192.0.2.1")
