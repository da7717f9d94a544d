"""Several messages become one."""

from __future__ import annotations

from dataclasses import replace

from alerts.message.bundle import Notice, combine, fold, gather
from alerts.message.cautions import GAS
from alerts.message.message_id import stable_message_id
from alerts.message.subject import PRIORITY_WORDS
from alerts.message.wording import MessageText
from alerts.watch import Occasion


def notice(name: str, priority: str = "medium", occasion: Occasion = Occasion.RAISED, not_before_ms: int = 0) -> Notice:
    word = "BACK TO NORMAL after" if occasion is Occasion.RETURNED else PRIORITY_WORDS[priority]
    body = f"what {occasion} {name} says\n"
    is_active = occasion is Occasion.RAISED
    if priority == "high" and is_active:
        body += f"{GAS}\n"
    text = MessageText(f"{word}: {name} pressure, no data", body)
    return Notice((name,), occasion, text, priority, not_before_ms, is_active, "waking" if not_before_ms else "")


def test_three_stay_apart_and_four_become_one() -> None:
    three = [notice(name) for name in ("a", "b", "c")]
    assert gather(three, "Mill Lane") == three
    (one,) = gather([*three, notice("d")], "Mill Lane")
    assert one.occurrences == ("a", "b", "c", "d")
    assert one.draft.subject == "4 ALARMS of MEDIUM PRIORITY at Mill Lane: a pressure, no data"
    assert all(f"what raised {name} says" in one.draft.body for name in "abcd")


def test_the_most_urgent_leads_and_the_caution_follows_what_it_is_about_once() -> None:
    (one,) = gather([notice("a"), notice("b", "low"), notice("c", "high"), notice("d", "high")], "Mill Lane")
    assert one.priority == "high"
    assert one.draft.subject == "4 ALARMS, 2 of HIGH PRIORITY at Mill Lane: c pressure, no data"
    assert one.draft.body.startswith("4 alarms, 2 of high priority at Mill Lane at once:\n  HIGH PRIORITY: c ")
    assert one.draft.body.count(GAS) == 1
    assert one.draft.body.index("a pressure") < one.draft.body.index(GAS) < one.draft.body.index("what raised c")


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
    one, other = fold(both)
    assert one.draft.subject == "CAME AND WENT: a pressure, no data"
    assert one.occasion is Occasion.RETURNED
    assert one.draft.body.index("what returned a says") < one.draft.body.index("what raised a says")
    assert GAS not in one.draft.body, "it is over"
    assert other == both[1]


def test_a_return_does_not_join_another_alarms_raise_nor_a_later_raise() -> None:
    apart = [notice("a", occasion=Occasion.RETURNED), notice("b"), notice("a")]
    assert fold(apart) == apart


def test_a_combined_message_waits_for_the_hour_of_the_raise() -> None:
    one = combine(notice("a", not_before_ms=700), notice("a", occasion=Occasion.RETURNED, not_before_ms=5))
    assert one.not_before_ms == 700


def test_a_raise_whose_limit_was_removed_before_it_went_out_is_not_said_to_be_over() -> None:
    removed = notice("a", occasion=Occasion.REMOVED)
    text = MessageText("LIMIT REMOVED: a pressure, no data", removed.draft.body)
    one = combine(notice("a", not_before_ms=700), replace(removed, draft=text))
    assert one.draft.subject == "LIMIT REMOVED: a pressure, no data"
    assert "what raised a says" in one.draft.body
    assert "over" not in one.draft.body


def test_a_bundle_says_first_what_it_is() -> None:
    clears = [notice(name, occasion=Occasion.RETURNED) for name in "abcd"]
    (good,) = gather(clears, "Mill Lane")
    assert good.draft.subject == "4 ALL-CLEARS at Mill Lane: a pressure, no data"
    assert not good.is_active
    (mixed,) = gather([clears[0], *(notice(name) for name in "xyz")], "Mill Lane")
    assert mixed.draft.subject == "3 ALARMS of MEDIUM PRIORITY and 1 ALL-CLEAR at Mill Lane: x pressure, no data"
    (several,) = gather([*clears[:2], notice("r", occasion=Occasion.REMOVED), notice("x"), notice("y", "low")], "M")
    assert several.draft.body.startswith(
        "2 alarms, 1 of medium priority, 2 all-clears and 1 limit removed at M at once:"
    )


def test_a_flood_is_told_by_subject_and_the_most_urgent_in_full() -> None:
    flood = [notice(f"k{number}") for number in range(40)] + [notice("urgent", "high")]
    (one,) = gather(flood, "A cellar with a name that is so long that it does not fit into a subject line")
    assert len(one.draft.subject) <= 78
    assert "what raised urgent says" in one.draft.body
    assert "what raised k39 says" not in one.draft.body
    assert "MEDIUM PRIORITY: k39 pressure, no data" in one.draft.body
    assert "The other 31 stand above" in one.draft.body


def test_message_ids_are_stable_and_well_formed() -> None:
    made = stable_message_id("7f3k", "raised", "ana@cellar.example", sender="leeside@cellar.example")
    assert made == "<7f3k.raised.ana-cellar-example@cellar.example>"
    assert stable_message_id("a b", "", "ž", 7, sender="nobody") == "<a-b.x.x.7@nobody>"
    assert stable_message_id("a", sender="") == "<a@leeside.invalid>"
