"""Looked at, skipped, not mentioned: what a first visit and a follow-up should look at. All items are invented."""

import pytest
from check_visits import NORMS, old, one, spread

from pipeline.check import State, coverage
from pipeline.check.coverage import Coverage, Entry
from pipeline.model import Age, Dropped, Item
from pipeline.records import PastVisit


def entry(found: Coverage, entry_id: str) -> Entry:
    return next(e for e in found.entries if e.id == entry_id)


def ids(found: Coverage) -> set[str]:
    return {e.id for e in found.entries}


def test_what_was_looked_at_carries_its_first_time_and_its_items() -> None:
    items = spread(
        one("sign.jaundice", "absent", site="skin"),
        one("fontanelle.anterior", "normal", site="fontanelle.anterior"),
        one("fontanelle.anterior", "open", site="fontanelle.anterior"),
    )

    found = entry(coverage(items, old(weeks=6), NORMS), "look.fontanelle")

    assert (found.state, found.at_ms) == (State.LOOKED_AT, 1000)
    assert found.items == (items[1].id, items[2].id)


def test_what_was_skipped_aloud_carries_its_reason() -> None:
    skipped = one("reflex.moro", "not_assessed", site="whole_body", reason="asleep")

    found = entry(coverage((skipped,), old(weeks=6), NORMS), "look.moro")

    assert (found.state, found.why) == (State.SKIPPED, "asleep")


def test_looked_at_wins_over_skipped() -> None:
    items = spread(one("test.ortolani", "not_assessed", site="hip"), one("test.barlow", "negative", site="hip"))

    assert entry(coverage(items, old(weeks=6), NORMS), "look.hip_stability").state is State.LOOKED_AT


def test_not_mentioned_is_a_state_of_its_own() -> None:
    found = coverage((), old(weeks=6), NORMS)

    assert {e.state for e in found.entries} == {State.NOT_MENTIONED}
    assert all(e.at_ms is None and not e.items for e in found.entries)
    assert "normal" not in " ".join(e.state for e in found.entries)


@pytest.mark.parametrize(
    ("entry_id", "inside", "outside"),
    [
        ("look.hip_stability", old(weeks=6), old(months=4)),
        ("look.knee_height", old(months=4), old(weeks=6)),
        ("look.moro", old(months=3), old(months=7)),
        ("look.parachute", old(months=10), old(months=5)),
        ("look.jaundice", old(weeks=3), old(months=5)),
        ("look.moro", old(months=7, born_at=28), old(months=7)),
    ],
)
def test_the_age_decides_what_should_be_looked_at(entry_id: str, inside: Age, outside: Age) -> None:
    assert entry_id in ids(coverage((), inside, NORMS))
    assert entry_id not in ids(coverage((), outside, NORMS))


def test_without_an_age_nothing_is_left_out_and_the_age_is_asked_for() -> None:
    found = coverage((), None, NORMS)

    assert ids(found) >= {"look.hip_stability", "look.gait"}
    assert entry(found, "look.hip_stability").state is State.ASK_AGE
    assert entry(found, "look.vomit").state is State.NOT_MENTIONED, "looked at whatever the age"


def test_a_site_narrows_what_counts() -> None:
    knee = one("exam.overall", "normal", site="knee")

    assert entry(coverage((knee,), old(weeks=6), NORMS), "look.feet").state is State.NOT_MENTIONED
    toe = one("exam.overall", "normal", site="toe")
    assert entry(coverage((toe,), old(weeks=6), NORMS), "look.feet").state is State.LOOKED_AT


LAST = PastVisit(
    id="v1",
    age=old(weeks=6),
    items=spread(
        one("symptom.latch", "poor", site="mouth", quote="the latch is poor"),
        one("tissue.tension", "tight", site="sternocleidomastoid", side="left", quote="left SCM tight"),
        one("reflex.moro", "present", site="whole_body"),
        one("plan.recheck", "planned", site="skull"),
    ),
)


@pytest.mark.parametrize(
    ("item", "entry_id"),
    [
        (one("exam.overall", "normal", site="hip"), "look.skin"),
        (one("exam.overall", "normal", site="skull"), "look.sutures"),
        (one("tissue.tension", "tight", site="masseter"), "look.scm"),
    ],
)
def test_one_structure_does_not_count_for_another(item: Item, entry_id: str) -> None:
    assert entry(coverage((item,), old(weeks=6), NORMS), entry_id).state is State.NOT_MENTIONED


def test_a_follow_up_looks_at_the_dangers_and_at_what_the_last_visit_left_open() -> None:
    now = spread(
        one("symptom.latch", "good", site="mouth"),
        one("sign.plagiocephaly", "present", site="skull", side="right"),
    )

    found = coverage(now, old(weeks=8), NORMS, previous=(LAST,))

    assert found.visit == "follow_up"
    assert entry(found, "again:symptom.latch:mouth").state is State.LOOKED_AT
    assert entry(found, "again:skull").state is State.LOOKED_AT
    assert entry(found, "again:tissue.tension:sternocleidomastoid:left").state is State.NOT_MENTIONED
    assert "again:reflex.moro:whole_body" not in ids(found)
    assert "look.moro" not in ids(found)
    assert {e.id for e in found.entries if e.danger} >= {"look.fever", "look.breathing", "look.feeding"}


def test_what_was_not_heard_and_the_safety_net_are_shown() -> None:
    gap = Dropped(start_ms=4000, end_ms=9000, reason="noise")
    advice = one("advice.return_if", "given", quote="ring me today if the colour changes")

    found = coverage((advice,), old(weeks=6), NORMS, dropped=(gap,))

    assert found.unheard == (gap,)
    assert {part.id for part in found.safety_net if part.said} == {"net.what", "net.how_soon", "net.whom"}
    assert all(part.spans == advice.evidence for part in found.safety_net)


def test_after_every_utterance_the_answer_is_that_of_all_items_so_far() -> None:
    items: list[Item] = []
    for item in spread(*LAST.items, one("fontanelle.anterior", "normal"), one("sign.cyanosis", "absent")):
        items.append(item)
        before = coverage(items, old(weeks=6), NORMS)
        assert before == coverage(tuple(reversed(items)), old(weeks=6), NORMS)
