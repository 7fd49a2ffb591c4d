"""The second moment of use: a draft is read, put right and, at last, signed. Jobs of the pages; no page knows how."""

from pipeline.review.cards import PartCard, Sheet
from pipeline.review.find import Candidate, named, read_typed
from pipeline.review.offers import Offer
from pipeline.review.papers import paper_file
from pipeline.review.requests import Change
from pipeline.review.sheets import Sheets
from pipeline.review.signing import (
    Addition,
    Signature,
    SignedNote,
    Signing,
    add,
    before_signing,
    rendering,
    sign,
    signed_note,
)
from pipeline.review.visits import path_of, sound_of, visits
from pipeline.review.words import HeardWord, words_around

__all__ = [
    "Addition",
    "Candidate",
    "Change",
    "HeardWord",
    "Offer",
    "PartCard",
    "Sheet",
    "Sheets",
    "Signature",
    "SignedNote",
    "Signing",
    "add",
    "before_signing",
    "named",
    "paper_file",
    "path_of",
    "read_typed",
    "rendering",
    "sign",
    "signed_note",
    "sound_of",
    "visits",
    "words_around",
]
