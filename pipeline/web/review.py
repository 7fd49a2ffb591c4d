"""The page on which a draft is put right: the note in the order of the hands, its points, its words."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from fastapi import Path as InPath
from pydantic import Field, StringConstraints
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.model import Frozen, Note
from pipeline.ownwords import OwnWord, add_own_word
from pipeline.readings import note_read
from pipeline.review import Candidate, Change, HeardWord, Offer, PartCard, Sheet, named, words_around
from pipeline.safe import html_templates
from pipeline.web.pages import AtDesk, Desk, PageSet, Sent, page
from pipeline.web.signing import signed_page
from pipeline.web.sound import VisitId

router = APIRouter(tags=["review"])
PAGES = PageSet(router)
FRAGMENTS = "web/_sheet.html.j2"

WordNumber = Annotated[int, Query(ge=0, le=10_000_000)]
SomeWord = Annotated[int | None, Query(ge=0, le=10_000_000)]
Typed = Annotated[str, Query(max_length=300)]
LineKey = Annotated[str, Query(min_length=1, max_length=300)]


class Wanted(Sent):
    """A change, and the version of the sheet it was made on."""

    version: int
    change: Change


class Shown(Frozen):
    """What a page shows anew: pieces of it by the id of their element; ``order``: the ids of all parts."""

    version: int
    open: int
    blocking: int
    can_undo: bool
    can_redo: bool
    order: tuple[str, ...]
    pieces: dict[str, str]


class Named(Frozen):
    """An entry of the vocabulary; ``results``: what may be found of a concept, by id."""

    id: str
    label: str
    results: dict[str, str] = Field(default_factory=dict)
    unit: str = ""
    sided: bool = False


@router.get("/visits/{visit}", response_class=HTMLResponse)
def review(request: Request, visit: VisitId, desk: AtDesk) -> Response:
    """The note of a visit, to be read and put right; the signed note where it is signed."""
    note_read(desk.config, "note", "page", visit=visit)
    if (signed := signed_page(request, visit, desk)) is not None:
        return signed
    sheet = desk.sheets.sheet(visit)
    return page(
        request,
        "review.html.j2",
        sheet=sheet,
        page=desk.stages.outline(sheet.note),
        parts=desk.stages.parts(),
        sound=desk.sheets.sounds(visit),
    )


@router.get("/visits/{visit}/sheet")
def fresh(visit: VisitId, desk: AtDesk) -> Shown:
    """The whole sheet as it stands now: for a page that another window has overtaken."""
    return _shown(desk, None, desk.sheets.sheet(visit))


@router.post("/visits/{visit}/changes")
def change(visit: VisitId, wanted: Wanted, desk: AtDesk) -> Shown:
    """Do one change; the answer is sent when it is on disk."""
    before, after = desk.sheets.put_right(visit, wanted.version, wanted.change)
    return _shown(desk, before, after)


@router.get("/visits/{visit}/words")
def words(visit: VisitId, desk: AtDesk, i0: WordNumber, i1: WordNumber) -> tuple[HeardWord, ...]:
    """The words around a stretch."""
    return words_around(desk.sheets.draft_of(visit), i0, i1)


@router.get("/visits/{visit}/offers")
def may_mean(visit: VisitId, desk: AtDesk, line: LineKey, word: SomeWord = None) -> tuple[Offer, ...]:
    """What a line may mean otherwise; or what the sentence of a word near it may mean."""
    return desk.sheets.offers(visit, line, word)


@router.get("/visits/{visit}/lines")
def lines(visit: VisitId, desk: AtDesk, q: Typed, beside: Typed = "") -> tuple[Candidate, ...]:
    """The lines that typed words may mean; ``beside``: the line they are typed at, which tells what they leave out."""
    return desk.sheets.read_typed(visit, q, beside)


class Learnt(Sent):
    """What was put right, to be kept for next time."""

    heard: Annotated[str, StringConstraints(max_length=200)]
    meant: Annotated[str, StringConstraints(max_length=200)]


@router.post("/vocabulary/own")
def learn(learnt: Learnt, desk: AtDesk) -> OwnWord:
    """Keep "heard X, meant Y" as one of the clinician's own words."""
    return add_own_word(desk.config, desk.stages.vocab, learnt.heard, learnt.meant)


@router.get("/vocabulary/{what}")
def entries(
    what: Annotated[str, InPath(pattern="^(concepts|sites)$")], desk: AtDesk, q: Typed = "", key: Typed = ""
) -> tuple[Named, ...]:
    """Concepts or sites called like ``q``; or the one whose id is ``key``."""
    vocab = desk.stages.vocab
    ids = [key] if key else [found for found, _ in named(q, vocab, what)]
    if what == "sites":
        return tuple(
            Named(id=i, label=vocab.sites[i].label, sided=vocab.sites[i].paired) for i in ids if i in vocab.sites
        )
    return tuple(
        Named(
            id=i,
            label=vocab.concepts[i].label,
            results={key: form.label for key, form in vocab.concepts[i].results.items()},
            unit=measure.unit if (measure := vocab.concepts[i].measure) else "",
            sided=vocab.concepts[i].sided,
        )
        for i in ids
        if i in vocab.concepts
    )


def _shown(desk: Desk, before: Sheet | None, after: Sheet) -> Shown:
    """What differs between two sheets, as pieces of the page; all of it where there is no sheet before.

    In a part that changed, a line that did not stands as an empty one marked ``data-same``: the page has it already.
    """
    macros: Any = html_templates().get_template(FRAGMENTS).make_module()
    old = {line.id: line for line in before.lines()} if before else {}
    same = {line.id for line in after.lines() if old.get(line.id) == line}
    known = {part.id: _order(part) for part in before.parts} if before else {}
    pieces = {
        f"part-{part.id}": macros.part(part, same)
        for part in after.parts
        if known.get(part.id) != _order(part) or any(line.id not in same for line in part.all_lines())
    }
    if before is None or _top(before) != _top(after):
        pieces["top"] = macros.top(after)
    drawn = _drawn(after)
    if before is None or _drawn(before) != drawn:
        pieces["figure"] = html_templates().get_template("figure.svg.j2").render(page=desk.stages.outline(drawn))
    if before is None or before.not_looked_at != after.not_looked_at:
        pieces["unseen"] = macros.unseen(after)
    return Shown(
        version=after.version,
        open=after.open_points,
        blocking=after.blocking,
        can_undo=after.can_undo,
        can_redo=after.can_redo,
        order=tuple(f"part-{part.id}" for part in after.parts),
        pieces=pieces,
    )


def _order(part: PartCard) -> tuple[object, ...]:
    return tuple(line.id for line in part.lines), tuple((inner.id, _order(inner)) for inner in part.parts)


def _drawn(sheet: Sheet) -> Note:
    """Only what the infant's outline is drawn from."""
    places = tuple(section for section in sheet.note.sections if section.id == "places")
    return sheet.note.model_copy(update={"sections": places, "remarks": ()})


def _top(sheet: Sheet) -> object:
    return sheet.top, sheet.whole, sheet.loose_edits
