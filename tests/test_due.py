"""What is due and unfinished, and the calendar of it."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import file_visit, infant, item, record_of

from pipeline.config import Config, Settings
from pipeline.due import Due, due, write_calendar
from pipeline.due.calendar import calendar
from pipeline.errors import InputError, NotFoundError
from pipeline.model import Infant, Item, Side, Transcript
from pipeline.store import Store
from pipeline.store.events import Contact, Signed

Spoken = Callable[[str], Transcript]
DAY = date(2026, 11, 25)  # a Wednesday


class Record:
    """A record that a test fills."""

    def __init__(self, home: Path, spoken: Spoken) -> None:
        self.config, self._spoken = Config(home=home, settings=Settings()), spoken

    def visit(self, who: Infant, day: date, said: str, *plans: tuple[str, str | None, Side]) -> str:
        """A visit whose words are the evidence of every plan or finding given as (concept, site, side)."""
        words = self._spoken(f"{said} {day} {who.code_name}.")
        with Store(self.config.home) as store:
            record = record_of(words, who, day)
            return file_visit(store, record, *(self._item(words, n, *plan) for n, plan in enumerate(plans))).visit

    def _item(self, words: Transcript, at: int, concept: str, site: str | None, side: Side) -> Item:
        kind = "plan" if concept.startswith("plan.") else "finding"
        made = item(words, (at, len(words.words) - 2), concept, "planned", site=site, side=side)
        return made.model_copy(update={"kind": kind, "id": f"{made.id[:-2]}{at:02d}"})

    def contact(self, who: Infant, what: str, day: date) -> None:
        with Store(self.config.home) as store, store.writing() as unit:
            unit.append(Contact(day=day, what=what, text="invented"), infant=who.id)

    def sign(self, who: Infant, visit: str) -> None:
        with Store(self.config.home) as store, store.writing() as unit:
            signed = Signed(note="n", renderings={}, signer="invented", program="p", vocab_hash="v")
            unit.append(signed, visit=visit, infant=who.id)

    def open(self, key: str | None = None) -> list[tuple[str, str, str | None]]:
        """What is open less the unsigned notes: infant, what, first day."""
        found = due(self.config, key)
        return [
            (one.infant, one.what, one.first.isoformat() if one.first else None) for one in found if one.what[0] != "u"
        ]


@pytest.fixture
def record(tmp_path: Path, spoken: Spoken) -> Record:
    return Record(tmp_path / "home", spoken)


NEXT, AGAIN, REFER, IMAGE = "plan.next_visit", "plan.recheck", "plan.refer", "plan.imaging"


@pytest.mark.parametrize(
    ("said", "day"),
    [
        ("See you in two weeks,", "2026-12-09"),
        ("Back in a month,", "2026-12-25"),
        ("Next visit on Tuesday,", "2026-12-01"),
        ("Tomorrow again,", "2026-11-26"),
        ("See you next week,", "2026-11-30"),
        ("See you some time,", None),
    ],
)
def test_days_are_counted_from_the_day_of_the_visit(said: str, day: str | None, record: Record) -> None:
    robin = infant("robin")
    record.visit(robin, DAY, said, (NEXT, "whole_body", "none"))

    assert [("robin", "next visit", day)] == record.open()


def test_a_next_visit_is_done_when_the_infant_was_seen_again(record: Record) -> None:
    robin, wren = infant("robin"), infant("wren")
    record.visit(robin, DAY, "In two weeks,", (NEXT, "whole_body", "none"))
    record.visit(wren, DAY, "In two weeks,", (NEXT, "whole_body", "none"))
    record.visit(robin, date(2026, 12, 1), "All well,")

    assert [("wren", "next visit", "2026-12-09")] == record.open()
    assert [] == record.open("Robin")
    with pytest.raises(NotFoundError):
        record.open("nobody")


def test_what_is_to_be_looked_at_again_is_open_until_it_was(record: Record) -> None:
    robin = infant("robin")
    plans: tuple[tuple[str, str, Side], ...] = (
        (NEXT, "whole_body", "none"),
        (AGAIN, "hip", "left"),
        (AGAIN, "jaw", "none"),
    )
    record.visit(robin, DAY, "In two weeks look at the hip and the jaw again", *plans)
    assert {("look again", "2026-12-09")} == {(what, day) for _, what, day in record.open() if what == "look again"}

    record.visit(robin, date(2026, 12, 9), "The right hip is fine,", ("joint.clunk", "hip", "right"))
    assert 2 == sum(what == "look again" for _, what, _ in record.open()), "the other side is not the side"
    record.visit(robin, date(2026, 12, 10), "Masseter and hips are fine,", ("tissue.tension", "masseter", "left"),
                 ("joint.clunk", "hip", "both"))  # fmt: skip
    assert [] == record.open()


def test_a_referral_is_open_until_it_was_answered_the_oldest_first(record: Record) -> None:
    robin = infant("robin")
    record.visit(robin, DAY, "To the hip clinic,", (REFER, "hip", "none"), (REFER, None, "none"))
    record.visit(robin, date(2026, 12, 1), "A scan and a letter,", (IMAGE, "skull", "none"))
    record.visit(robin, date(2026, 12, 2), "Another letter,", (REFER, "skull", "none"))
    assert ["referral", "imaging", "referral"] == [what for _, what, _ in record.open()]

    record.contact(robin, "referral_answer", date(2026, 12, 3))
    assert ["imaging", "referral"] == [what for _, what, _ in record.open()]
    record.contact(robin, "call", date(2026, 12, 4))
    assert ["imaging", "referral"] == [what for _, what, _ in record.open()], "a call is no answer"
    record.contact(robin, "report", date(2026, 12, 4))
    assert ["referral"] == [what for _, what, _ in record.open()]


def test_an_answer_from_before_answers_nothing(record: Record) -> None:
    robin = infant("robin")
    record.visit(robin, date(2026, 11, 1), "All well,")
    record.contact(robin, "report", date(2026, 11, 2))
    record.visit(robin, DAY, "To the hip clinic,", (REFER, "hip", "none"))

    assert ["referral"] == [what for _, what, _ in record.open()]


def test_unsigned_notes_and_missed_visits_are_unfinished(record: Record) -> None:
    robin = infant("robin")
    first, second = (record.visit(robin, day, "All well,") for day in (DAY, date(2026, 11, 26)))
    record.sign(robin, first)
    record.contact(robin, "visit_missed", date(2026, 12, 1))

    assert [("unsigned note", second), ("missed visit", second)] == [(o.what, o.visit) for o in due(record.config)]


@pytest.fixture
def entries(record: Record) -> list[Due]:
    who = infant("robin;,\\ evil\r\nX-A:1".replace("\r\n", " "))
    record.visit(who, DAY, "See you in two weeks, the hip again,", (NEXT, "whole_body", "none"), (AGAIN, "hip", "left"))
    return due(record.config)


def test_the_calendar_is_valid_and_holds_no_clinical_text(entries: list[Due]) -> None:
    made = icalendar.Calendar.from_ical(calendar(entries, DAY))

    assert ("2.0", True) == (str(made["version"]), bool(made["prodid"]))
    events, todos = made.walk("VEVENT"), made.walk("VTODO")
    assert [(date(2026, 12, 9), date(2026, 12, 10))] == [(e.decoded("dtstart"), e.decoded("dtend")) for e in events]
    assert [date(2026, 12, 9)] == [t.decoded("due") for t in todos if "look" in str(t["summary"])]
    for part in (*events, *todos):
        assert part["uid"]
        assert part["dtstamp"]
        assert "description" not in part
        assert "hip" not in str(part["summary"])
    assert {str(e["summary"]) for e in events} == {"robin;,\\ evil X-A:1: next visit"}


def test_the_calendar_holds_the_lines_where_that_is_asked_for(entries: list[Due]) -> None:
    made = icalendar.Calendar.from_ical(calendar(entries, DAY, with_text=True))

    assert any("plan.recheck" in str(part.get("description", "")) for part in made.walk("VTODO"))


def test_an_entry_keeps_its_uid_from_day_to_day(entries: list[Due], record: Record) -> None:
    def uids(today: date, found: list[Due]) -> set[str]:
        return {
            str(part["uid"]) for part in icalendar.Calendar.from_ical(calendar(found, today)).walk() if "uid" in part
        }

    assert uids(DAY, entries) == uids(date(2026, 12, 1), due(record.config))
    assert 3 == len(uids(DAY, entries))
    assert calendar(entries, DAY) == calendar(entries, DAY)


@given(text=st.text(max_size=80))
def test_no_text_breaks_the_calendar(text: str) -> None:
    one = Due("id", "look again", text, "V", DAY, DAY, DAY, line=text)
    made = icalendar.Calendar.from_ical(calendar([one], DAY, with_text=True))

    assert ["VCALENDAR", "VTODO"] == [part.name for part in made.walk()]


def test_a_calendar_is_written_whole_or_refused(entries: list[Due], tmp_path: Path) -> None:
    write_calendar(entries, tmp_path / "due.ics", DAY)
    assert (tmp_path / "due.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")
    with pytest.raises(InputError, match="no folder"):
        write_calendar(entries, tmp_path / "nowhere" / "due.ics", DAY)
