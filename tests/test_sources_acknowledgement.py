"""Acknowledgements go out in the order of arrival, each once, and never for another message."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ingest.sources.acknowledgement import AckOrder
from ingest.sources.sample import Ticket


def test_what_is_done_out_of_order_waits_for_its_turn() -> None:
    sent: list[tuple[int, int]] = []
    order = AckOrder(lambda packet_id, qos: sent.append((packet_id, qos)))
    first, second, third = (Ticket(1, packet_id, 1) for packet_id in (7, 8, 9))
    for ticket in (first, second, third):
        order.arrived(ticket)
    order.done([third])
    order.done([second])
    assert sent == []
    order.done([first])
    assert sent == [(7, 1), (8, 1), (9, 1)]
    assert (order.sent, len(order)) == (3, 0)


def test_a_ticket_given_back_twice_does_not_acknowledge_the_next_message_with_its_id() -> None:
    sent: list[int] = []
    order = AckOrder(lambda packet_id, _qos: sent.append(packet_id))
    old = Ticket(1, 7, 1)
    order.arrived(old)
    order.done([old])
    order.arrived(Ticket(1, 7, 1))  # the id is free again, and the broker uses it for another message
    order.done([old])
    order.done([old])
    assert sent == [7]
    assert len(order) == 1


def test_a_refused_message_holds_up_no_later_one() -> None:
    sent: list[int] = []
    order = AckOrder(lambda packet_id, _qos: sent.append(packet_id))
    first, refused, last = (Ticket(1, packet_id, 1) for packet_id in (7, 8, 9))
    order.arrived(first)
    order.arrived(refused)
    order.refused(refused)
    order.arrived(last)
    order.done([first, last])
    assert sent == [7, 9]


@given(st.data(), st.integers(1, 30))
def test_any_order_of_doing_gives_the_order_of_arrival(data: st.DataObject, count: int) -> None:
    sent: list[int] = []
    order = AckOrder(lambda packet_id, _qos: sent.append(packet_id))
    tickets = [Ticket(1, packet_id, 1) for packet_id in range(count)]
    for ticket in tickets:
        order.arrived(ticket)
    for ticket in data.draw(st.permutations(tickets)):
        order.done([ticket])
        assert sent == list(range(len(sent)))
    assert sent == list(range(count))
