"""The sheets of visits under review, and each change as events that are on disk before they are told as saved."""

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Any

from pipeline.config import Config
from pipeline.errors import ConflictError, InputError, NotFoundError
from pipeline.infants import count_ages
from pipeline.model import Age, Anchor, Answer, Edit, Infant, Item, LineEdit, Redo, Undo, WordCorrection
from pipeline.records import Drafted, VisitRecord
from pipeline.review.cards import LineCard, PointCard, Sheet, lay_out
from pipeline.review.choices import Choice
from pipeline.review.facts import told_age, told_fact
from pipeline.review.find import Candidate, read_typed
from pipeline.review.offers import Offer, offers
from pipeline.review.requests import (
    Add,
    Change,
    Choose,
    PutWords,
    Reopen,
    Restore,
    SetSlots,
    StepAgain,
    StepBack,
    Strike,
)
from pipeline.review.slots import checked
from pipeline.run import derive
from pipeline.safe import clean
from pipeline.stages import Stages
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import InfantRevised, VisitRevised
from pipeline.visits import draft_others

KEPT = 4  # visits kept between requests
SAID_OF_A_STRUCK_LINE = ("concept", "site", "side", "level", "result", "value")


@dataclass(frozen=True)
class Standing:
    """A visit as it stands at one version: what is on record, its draft, and how that is laid out."""

    version: int
    record: VisitRecord
    drafted: Drafted
    sheet: Sheet


class Sheets:
    """Opens visits for review and writes what is done to them. Holds the last few; the record holds the rest."""

    def __init__(self, config: Config, stages: Stages, now: Callable[[], datetime]) -> None:
        self._config, self.stages, self.now = config, stages, now
        self._kept: OrderedDict[str, Standing] = OrderedDict()
        self._lock = Lock()

    def sheet(self, visit: str) -> Sheet:
        """The visit as it stands. Raises NotFoundError, StoreError."""
        with self.open() as store:
            return self.standing(store, visit).sheet

    def note_folder(self, visit: str) -> Path | None:
        """Where the files of the visit's note lie in clear; None where none do."""
        return self._config.note_folder(visit)

    def version(self, visit: str) -> int:
        """Names the state of the visit."""
        with self.open() as store:
            return store.version(visit)

    def sounds(self, visit: str) -> bool:
        """Whether there is sound to play."""
        with self.open() as store:
            recording = self.standing(store, visit).record.recording
        return recording.spoken and not recording.gone

    def sound_gone(self, visit: str) -> str:
        """When, by whom and why the sound was destroyed; "" where it was not."""
        with self.open() as store:
            return self.standing(store, visit).record.recording.gone

    def draft_of(self, visit: str) -> Drafted:
        """The draft behind the sheet. Raises NotFoundError, StoreError."""
        with self.open() as store:
            return self.standing(store, visit).drafted

    def offers(self, visit: str, line: str, word: int | None = None) -> tuple[Offer, ...]:
        """What a line may mean otherwise, or the sentence of a word near it.

        Raises NotFoundError where the sheet has no such line, StoreError.
        """
        with self.open() as store:
            standing = self.standing(store, visit)
        card = standing.sheet.line(line)
        if card is None:
            raise NotFoundError("the note has no such line now.")
        return offers(standing.drafted, standing.sheet, card, word, self.stages)

    def read_typed(self, visit: str, text: str, beside: str) -> tuple[Candidate, ...]:
        """What was typed at a line ("" or one that is gone: at none) as lines. Raises NotFoundError, StoreError."""
        with self.open() as store:
            card = self.standing(store, visit).sheet.line(beside)
        return read_typed(text, self.stages, card.slots if card else None)

    def put_right(self, visit: str, version: int, change: Change) -> tuple[Sheet, Sheet]:
        """Do one change and return the sheet before and after it, which is on disk then.

        version: of the sheet the change was made on. Raises ConflictError where the visit was changed elsewhere
        meanwhile or is signed, InputError where the change cannot be, NotFoundError, StoreError; nothing is kept then.
        """
        with self.open() as store, store.writing() as unit:
            if unit.visit(visit).signed:
                raise ConflictError("this note is signed; add to it by an addendum.")
            if unit.version(visit) != version:
                raise ConflictError("this visit was changed in another window meanwhile; look at it, then save again.")
            before = self.standing(unit, visit)
            record = before.record
            maker = _Maker(before.sheet, self.stages, self.now())
            edits = maker.edits(change)
            for edit in edits:
                unit.append(edit, visit=visit, infant=record.infant.id)
            if maker.age is not None:
                unit.append(VisitRevised(day=record.day, age=maker.age), visit=visit, infant=record.infant.id)
            known = maker.infant(record)
            revised = known != record.infant
            if revised:
                unit.append(InfantRevised(infant=known), infant=known.id)
                count_ages(unit, known)
            if revised or maker.age is not None:
                record = unit.record(visit)
            else:  # the transcript and all else are as they were
                kept = (type(edit).model_validate_json(edit.model_dump_json()) for edit in edits)
                record = record.model_copy(update={"edits": (*record.edits, *kept)})
            after = self._stand(record, unit.version(visit))
            unit.put_draft(after.record, after.drafted)
            draft_others(unit, after.record, self.stages, everything=revised)
        self._keep(after)
        return before.sheet, after.sheet

    def standing(self, store: Store | Writing, visit: str) -> Standing:
        """The visit as it stands, kept from the last time where it is the same. Raises NotFoundError, StoreError."""
        version = store.version(visit)
        known = self._kept.get(visit)
        if known is None or known.version != version:
            known = self._stand(store.record(visit), version)
            if isinstance(store, Store):  # what a writer sees may still be taken back
                self._keep(known)
        return known

    def _keep(self, standing: Standing) -> None:
        with self._lock:
            self._kept[standing.record.visit] = standing
            self._kept.move_to_end(standing.record.visit)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)

    def _stand(self, record: VisitRecord, version: int) -> Standing:
        drafted = derive(record, self.stages)
        steps = self.stages.standing(record.edits)
        redo = len(self.stages.standing((*record.edits, Redo()))) > len(steps)
        sheet = lay_out(drafted, self.stages.vocab, version, undo=bool(steps), redo=redo)
        return Standing(version, record, drafted, sheet)

    def open(self) -> Store:
        """The record. Raises NotFoundError where there is none."""
        if not Store.exists(self._config.home):
            raise NotFoundError("there is no record yet; draft a visit first.")
        return Store(self._config.home)


class _Maker:
    """Turns what a page asks into edits on the sheet it was asked on."""

    def __init__(self, sheet: Sheet, stages: Stages, now: datetime) -> None:
        self._sheet, self._stages, self._vocab, self._now = sheet, stages, stages.vocab, now
        self._parts = stages.parts()
        self._step = new_id()
        self.age: Age | None = None  # what the change tells about the visit
        self._facts: dict[str, Any] = {}  # and about the infant
        self._told: tuple[str, str] | None = None

    def edits(self, change: Change) -> list[Edit]:
        """The edits of one step. Raises InputError, NotFoundError."""
        match change:
            case StepBack():
                self._may(self._sheet.can_undo, "there is nothing to undo.")
                return [Undo()]
            case StepAgain():
                self._may(self._sheet.can_redo, "there is nothing to do again.")
                return [Redo()]
            case SetSlots():
                return [self._slots(self._item(change.line), change.slots)]
            case Strike():
                return [self._edit(self._item(change.line), "strike")]
            case Restore():
                return [self._edit(self._item(change.line), "restore")]
            case Add():
                added: list[Edit] = [self._add(change.slots, change.start_ms, change.end_ms)]
                point = self._sheet.point(change.closes) if change.closes else None
                return [*added, self._answer(point, "added as a line")] if point else added
            case PutWords():
                return [self._words(change)]
            case Reopen():
                return [self._answer(self._point(change.point), "")]
            case Choose():
                return self._choose(change)

    def infant(self, record: VisitRecord) -> Infant:
        """What is known of the infant after the change. Raises InputError where it cannot be."""
        known = Infant.model_validate(record.infant.model_dump() | self._facts)
        return told_fact(*self._told, known, record.day, self._stages) if self._told else known

    def _choose(self, change: Choose) -> list[Edit]:
        point = self._point(change.point)
        choice = next((choice for choice in point.choices if choice.say == change.say), None)
        if choice is None or choice.opens:
            raise InputError("the point has no such answer.")
        text = " ".join(clean(change.text).split())
        self._may(not choice.text or bool(text), "say it in a few words.")
        edits = self._doing(choice)
        if choice.tells == "age":
            self.age = told_age(text, self._sheet.note.infant)
        elif choice.tells:
            self._told = (choice.tells, text)
        return edits if choice.settles else [*edits, self._answer(point, choice.say, text)]

    def _doing(self, choice: Choice) -> list[Edit]:
        edits: list[Edit] = [self._slots(self._item(line), slots) for line, slots in choice.slots.items()]
        edits += [self._edit(self._item(line), "strike") for line in choice.strikes]
        if choice.add:
            edits.append(self._add(choice.add, 0, 0))
        self._facts = choice.facts
        if choice.words:
            edits.append(self._words(PutWords.model_validate(choice.words.model_dump())))
        return edits

    def _slots(self, item: Item, slots: dict[str, Any]) -> LineEdit:
        after = checked(slots, item, self._vocab, self._parts)
        self._may(bool(after), "the line says that already.")
        now = item.model_dump(mode="json")
        before = {slot: now.get(slot) for slot in after}
        return self._edit(item, "change", before=before, after=after)

    def _edit(self, item: Item, action: str, **what: Any) -> LineEdit:
        now = item.model_dump(mode="json")
        before = {slot: now[slot] for slot in SAID_OF_A_STRUCK_LINE} if action == "strike" else {}
        return LineEdit.model_validate(
            {"item_id": item.id, "anchor": _anchor(item), "action": action, "before": before, "step": self._step}
            | {"at": self._now}
            | what
        )

    def _add(self, slots: dict[str, Any], start_ms: int, end_ms: int) -> LineEdit:
        after = checked(slots, None, self._vocab, self._parts)
        anchor = Anchor(
            kind=after.get("kind", "finding"),
            concept=after["concept"],
            site=after.get("site"),
            start_ms=start_ms,
            end_ms=max(start_ms, end_ms),
        )
        after.setdefault("kind", anchor.kind)
        return LineEdit(item_id=new_id(), anchor=anchor, action="add", after=after, step=self._step, at=self._now)

    def _words(self, change: PutWords) -> WordCorrection:
        meant = " ".join(clean(change.meant).split())
        self._may(change.start_ms < change.end_ms, "choose the words first.")
        self._may(meant != change.heard, "the words read so already.")
        return WordCorrection(
            start_ms=change.start_ms, end_ms=change.end_ms, heard=change.heard, meant=meant, step=self._step
        )

    def _answer(self, point: PointCard, say: str, text: str = "") -> Answer:
        line = self._sheet.line(point.line) if point.line and point.id.endswith(point.line) else None
        anchor = _anchor(line.slots) if line and line.slots else None
        return Answer(remark_id=point.id, choice=say, text=text, anchor=anchor, step=self._step)

    def _item(self, key: str) -> Item:
        line: LineCard | None = self._sheet.line(key)
        if line is None or line.slots is None:
            raise NotFoundError("the note has no such line now.")
        return line.slots

    def _point(self, key: str) -> PointCard:
        point = self._sheet.point(key)
        if point is None:
            raise NotFoundError("the note has no such point now.")
        return point

    @staticmethod
    def _may(fine: bool, told: str) -> None:
        if not fine:
            raise InputError(told)


def _anchor(item: Item) -> Anchor:
    return Anchor(kind=item.kind, concept=item.concept, site=item.site, start_ms=item.start_ms, end_ms=item.end_ms)
