"""All page sets, in the order of the navigation. A new one is a module beside this, with a row here."""

from pipeline.web import asking, board, door, home, papers, recording, review, signing, sound, unlock
from pipeline.web.pages import PageSet

PAGE_SETS: tuple[PageSet, ...] = (
    *(door.PAGES, unlock.PAGES, sound.PAGES, home.PAGES, recording.PAGES, board.PAGES),
    *(review.PAGES, signing.PAGES, papers.PAGES),
    *(asking.PAGES, asking.INFANTS, asking.DUE),
)
