"""Several messages become one."""

from __future__ import annotations

from alerts.message.notices import Notice, combine, gather, stable_message_id
from alerts.message.wording import SAFETY, MessageText
from alerts.watch import Occasion


def notice(name: str, priority: str = "medium", occasion: Occasion = Occasion.RAISED, not_before_ms: int = 0) -> Notice:
    word = {"high": "HIGH", "medium": "MEDIUM", "low": "LOW PRIORITY"}[priority]
    word = "BACK TO NORMAL" if occasion is Occasion.RETURNED else word
    body = f"what {occasion} {name} says\n"
    if priority == "high":
        body = f"{SAFETY}\n\n{body}"
    return Notice((name,), occasion, MessageText(f"{word}: {name} pressure, no data", body), priority, not_before_ms)


def test_three_stay_apart_and_four_become_one() -> None:
    three = [notice(name) for name in ("a", "b", "c")]
    assert gather(three, "Mill Lane") == three
    (one,) = gather([*three, notice("d")], "Mill Lane")
    assert one.occurrences == ("a", "b", "c", "d")
    assert one.draft.subject == "MEDIUM: 4 alarms at Mill Lane, first a pressure, no data"
    assert all(f"what raised {name} says" in one.draft.body for name in "abcd")


def test_the_most_urgent_leads_and_safety_comes_first_and_once() -> None:
    (one,) = gather([notice("a"), notice("b", "low"), notice("c", "high"), notice("d", "high")], "Mill Lane")
    assert one.priority == "high"
    assert one.draft.subject == "HIGH: 4 alarms at Mill Lane, first c pressure, no data"
    assert one.draft.body.startswith(SAFETY)
    assert one.draft.body.count(SAFETY) == 1


def test_what_may_go_out_at_another_moment_is_neither_hurried_nor_held_up() -> None:
    now = [notice(name) for name in "abcd"]
    morning = [notice(name, not_before_ms=7) for name in "ef"]
    gathered = gather([*now, *morning], "Mill Lane")
    assert [(each.occurrences, each.not_before_ms) for each in gathered] == [
        (("a", "b", "c", "d"), 0),
        (("e",), 7),
        (("f",), 7),
    ]


def test_a_raise_and_its_return_in_one_turn_are_one() -> None:
    both = [notice("a", "high"), notice("b"), notice("a", "high", Occasion.RETURNED)]
    one, other = gather(both, "Mill Lane")
    assert one.draft.subject == "CAME AND WENT: a pressure, no data"
    assert one.occasion is Occasion.RETURNED
    assert one.draft.body.index("what returned a says") < one.draft.body.index("what raised a says")
    assert one.draft.body.startswith(SAFETY)
    assert one.draft.body.count(SAFETY) == 1
    assert other == both[1]


def test_a_return_does_not_join_another_alarms_raise_nor_a_later_raise() -> None:
    apart = [notice("a", occasion=Occasion.RETURNED), notice("b"), notice("a")]
    assert gather(apart, "Mill Lane") == apart


def test_a_combined_message_waits_for_the_hour_of_the_raise() -> None:
    one = combine(notice("a", not_before_ms=700), notice("a", occasion=Occasion.RETURNED, not_before_ms=5))
    assert one.not_before_ms == 700


def test_good_news_alone_is_not_an_alarm() -> None:
    (one,) = gather([notice(name, occasion=Occasion.RETURNED) for name in "abcd"], "Mill Lane")
    assert one.draft.subject.startswith("NEWS: 4 alarms at Mill Lane, first ")
    (mixed,) = gather([notice("x", occasion=Occasion.RETURNED), *(notice(name) for name in "abc")], "Mill Lane")
    assert mixed.draft.subject.startswith("MEDIUM: 3 alarms and 1 other news at Mill Lane, first a ")


def test_a_flood_is_told_by_subject_and_the_most_urgent_in_full() -> None:
    flood = [notice(f"k{number}") for number in range(40)] + [notice("urgent", "high")]
    (one,) = gather(flood, "A cellar with a name that is so long that it does not fit into a subject line")
    assert len(one.draft.subject) <= 78
    assert "what raised urgent says" in one.draft.body
    assert "what raised k39 says" not in one.draft.body
    assert "MEDIUM: k39 pressure, no data" in one.draft.body
    assert "The other 31 stand above" in one.draft.body


def test_message_ids_are_stable_and_well_formed() -> None:
    made = stable_message_id("7f3k", "raised", "ana@cellar.example", sender="leeside@cellar.example")
    assert made == "<7f3k.raised.ana-cellar-example@cellar.example>"
    assert stable_message_id("a b", "", "ž", 7, sender="nobody") == "<a-b.x.x.7@nobody>"
    assert stable_message_id("a", sender="") == "<a@leeside.invalid>"
