"""The papers of a visit as files, made from the signed note where there is one, else from the draft."""

from pipeline.errors import NotFoundError
from pipeline.review.sheets import Sheets
from pipeline.review.signing import rendering, signed_note

_WHY = {
    "parents": "nothing was advised at this visit, so there is no sheet for the parents.",
    "letter": "no referral was planned and no danger sign found, so there is no letter.",
}


def paper_file(sheets: Sheets, visit: str, kind: str, form: str) -> bytes:
    """The bytes of a paper. The note as HTML is the kept rendering of the signed note.

    Raises NotFoundError where the visit gives no reason for the paper, InputError where a PDF cannot be made here.
    """
    signed = signed_note(sheets, visit)
    if signed is not None and kind == "note" and form == "html":
        return rendering(sheets, visit, "note.html")
    drafted = sheets.draft_of(visit)
    note = signed.note if signed is not None else drafted.note
    data = sheets.stages.paper(kind, form, note, drafted.extraction.items)
    if data is None:
        raise NotFoundError(_WHY[kind])
    return data
