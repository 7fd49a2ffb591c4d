"""Lines that stand once more: what earlier visits left open and what became of it, and the table of P.A.R.T.

All visits are invented.
"""

from datetime import date

from check_visits import NORMS, old, one, spread
from drafting import Spoken, draft, said, section

from pipeline.check import coverage, part_table
from pipeline.model import Item
from pipeline.records import Looked, PastVisit

FIRST = PastVisit(
    id="v1",
    day=date(2026, 11, 1),
    age=old(weeks=6),
    items=spread(
        one("tissue.tension", "tight", site="sternocleidomastoid", side="left"),
        one("motion.rotation", "limited", site="neck", side="left"),
        one("plan.recheck", "planned", site="skull"),
    ),
)


def left_open(items: tuple[Item, ...], *previous: PastVisit) -> list[Looked]:
    entries = coverage(items, old(weeks=10), NORMS, previous=previous).entries
    return [
        Looked(label=e.label, state=e.state.name.lower(), why=e.why, past=e.past, day=e.day, items=e.items)
        for e in entries
    ]


def test_a_follow_up_opens_with_what_was_left_open_and_what_became_of_it(spoken: Spoken) -> None:
    transcript = spoken("SCM soft now. Neck not today, asleep.")
    soft = said(transcript, "SCM soft now.", "tissue.tension", "normal", site="sternocleidomastoid", side="left")
    neck = said(
        transcript,
        "Neck not today,",
        "motion.rotation",
        "not_assessed",
        site="neck",
        side="left",
        reason="asleep",
    )

    note = draft(transcript, soft, neck, coverage=left_open((soft, neck), FIRST))

    assert note.sections[0].id == "again"
    assert [line.text for line in section(note, "again").lines] == [
        "1 November 2026: Look again next time: skull. Not looked at in this visit.",
        "1 November 2026: Sternocleidomastoid muscle, left: tight. Looked at now: "
        "Sternocleidomastoid muscle, left: tension normal.",
        "1 November 2026: Neck, rotation to the left: restricted. Left out now: “asleep”.",
    ]
    assert [line.items for line in section(note, "again").lines] == [(), (soft.id,), (neck.id,)]
    assert section(note, "again").lines[1].spans == soft.evidence


def test_what_is_open_waits_until_it_is_looked_at() -> None:
    forgot = PastVisit(
        id="v2",
        day=date(2026, 11, 8),
        age=old(weeks=8),
        items=spread(one("tissue.tension", "normal", site="sternocleidomastoid", side="left")),
    )

    labels = [part.past.concept for part in left_open((), FIRST, forgot) if part.past is not None]

    assert labels == ["plan.recheck", "motion.rotation"]


def test_the_other_side_does_not_answer_for_this_one() -> None:
    right = one("tissue.tension", "tight", site="sternocleidomastoid", side="right")

    states = {part.past.concept: part.state for part in left_open((right,), FIRST) if part.past is not None}

    assert states["tissue.tension"] == "not_mentioned"


def test_a_first_visit_opens_with_nothing_left_open(spoken: Spoken) -> None:
    transcript = spoken("Hips fine.")

    assert all(part.id != "again" for part in draft(transcript, coverage=left_open(())).sections)


def test_the_table_sorts_the_findings_under_the_letters_where_it_is_wanted(spoken: Spoken) -> None:
    transcript = spoken("SCM tender, neck stiff.")
    items = (
        said(transcript, "SCM tender,", "tissue.tenderness", "present", site="sternocleidomastoid", side="left"),
        said(transcript, "neck stiff.", "motion.rotation", "limited", site="neck", side="right"),
    )

    note = draft(transcript, *items, letters=part_table(items, NORMS))

    lines = section(note, "part").lines
    assert [line.text for line in lines[:4]] == [
        "P, pain or tenderness: Sternocleidomastoid muscle, left: tender or dislikes touch",
        "A, asymmetry or misalignment: nothing said",
        "R, range of motion: Neck, rotation to the right: restricted",
        "T, tissue or tone: nothing said",
    ]
    assert lines[4].text.endswith("met, P and R are supported")
    assert lines[0].spans == items[0].evidence
    assert all(part.id != "part" for part in draft(transcript, *items).sections)
