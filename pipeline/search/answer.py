"""Asks the record: understands the question, goes through the lines, then through what was said."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice
from typing import Literal

from pipeline.config import Config
from pipeline.search.exact import Exact, narrowed
from pipeline.search.lexicon import Lexicon, key_of, load_lexicon
from pipeline.search.understand import By, Understanding, Understood
from pipeline.store.find import (
    COUNTED,
    MARK_OFF,
    MARK_ON,
    Count,
    Found,
    Hit,
    Wanted,
    count_items,
    find_items,
    find_words,
    hits_of,
    infants_named,
    passages_of,
)
from pipeline.store.reading import Reader

LIMIT = 50
MAX_QUESTION = 500
_ALIKE = 82.0  # of 100 (rapidfuzz ratio): a slip of one letter in six
_SUGGESTED = 3


@dataclass(frozen=True)
class Options:
    """How to answer. ``by``: what one answer is (None: as the question says, else a visit); ``all``: count them all."""

    by: By | None = None
    order: Literal["newest", "oldest"] = "newest"
    limit: int = LIMIT
    all: bool = False


@dataclass(frozen=True)
class Answer:
    """``understood``: how the question was understood. ``hits``: the first answers, one a line, visit or infant
    (``by``). ``total``: all answers that there are, and ``count`` their lines, visits and infants, as far as they were
    counted. ``suggestions``: words of the vocabulary that may have been meant."""

    question: str
    understood: tuple[str, ...]
    by: By
    hits: tuple[Hit, ...]
    count: Count
    suggestions: tuple[str, ...] = ()

    @property
    def total(self) -> int | None:
        """How many answers there are in all; None where they were not counted."""
        return {"line": self.count.lines, "visit": self.count.visits, "infant": self.count.infants}[self.by]


def ask(
    question: str, config: Config, *, today: date, options: Options | None = None, exact: Exact | None = None
) -> Answer:
    """Answer one question from the person's record. Raises NotFoundError where there is none yet, InputError where an
    exact filter names what is not known, StoreError."""
    with Reader(config.home) as reader:
        search = Search(load_lexicon(config))
        return search.ask(reader, question, today=today, options=options, exact=exact)


class Search:
    """Answers questions. Build once, ask often."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._understanding = Understanding(lexicon)

    def understand(self, question: str, today: date) -> Understood:
        """How a question is understood, without a record to know infants by."""
        return self._understanding.understand(_clean(question), today)

    def ask(
        self,
        reader: Reader,
        question: str,
        *,
        today: date,
        options: Options | None = None,
        exact: Exact | None = None,
    ) -> Answer:
        """Answer a question from the record. Raises InputError, StoreError as ``ask`` does."""
        options = options or Options()
        question = _clean(question)
        understood = self._understanding.understand(question, today, lambda words: infants_named(reader, words))
        if exact is not None:
            understood = narrowed(understood, exact, self._lexicon, reader, asked=bool(question))
        by: By = options.by or understood.by or "visit"
        hits, count, how = self._lines(reader, understood, options, by)
        if not hits:
            hits, count = self._said(reader, understood, options, by)
            if hits and understood.wanted is not None:
                words = understood.said.words
                how = (*understood.how, f"no line of a note answers that: shown where the words {words!r} were said")
        suggestions = () if hits and not understood.unknown else tuple(self._suggestions(reader, understood))
        return Answer(question, how, by, tuple(hits), count, suggestions)

    def _lines(
        self, reader: Reader, understood: Understood, options: Options, by: By
    ) -> tuple[list[Hit], Count, tuple[str, ...]]:
        """Lines of notes: with the words that the vocabulary does not know, and where none has them, without."""
        wanted, how = understood.wanted, understood.how
        if wanted is None:
            return [], Count(0, 0, 0, True), how
        hits, count = self._shown(reader, wanted, options, by)
        if not hits and wanted.words != understood.own:
            hits, count = self._shown(reader, replace(wanted, words=understood.own), options, by)
            if hits:
                how = (*how[:-1], f"no line has the words {wanted.words!r} too: shown without them")
        return hits, count, how

    @staticmethod
    def _shown(reader: Reader, wanted: Wanted, options: Options, by: By) -> tuple[list[Hit], Count]:
        found: Iterable[Found] = find_items(reader, wanted, oldest_first=options.order == "oldest")
        upto = None if options.all else COUNTED
        if wanted.words:  # looking for the words costs more than reading the lines: once is enough
            found = list(islice(found, None if upto is None else upto + 1))
        first, others = _grouped(found, by, options.limit)
        if not first:
            return [], Count(0, 0, 0, True)
        hits = [replace(hit, others=n) for hit, n in zip(hits_of(reader, first), others, strict=True)]
        return hits, _count(found, upto) if isinstance(found, list) else count_items(reader, wanted, upto)

    def _said(self, reader: Reader, understood: Understood, options: Options, by: By) -> tuple[list[Hit], Count]:
        """Utterances and typed lines that hold the words, in the same polarity."""
        found = find_words(reader, understood.said, oldest_first=options.order == "oldest")
        upto = None if options.all else COUNTED
        fitting = (f for f in found if self._understanding.parser.denied(f.marked, MARKS) is understood.denied)
        kept = list(islice(fitting, None if upto is None else upto + 1))
        first, others = _grouped(kept, by, options.limit)
        hits = passages_of(reader, first) if first else []
        return [replace(hit, others=n) for hit, n in zip(hits, others, strict=True)], _count(kept, upto)

    def _suggestions(self, reader: Reader, understood: Understood) -> Iterator[str]:
        """Spoken forms of the vocabulary that a word never said is nearly one of."""
        from rapidfuzz import fuzz, process

        for word in understood.unknown[:8]:
            if len(word) < 4 or key_of(word.lower()) in self._lexicon.forms:
                continue
            if next(find_words(reader, Wanted(words=word)), None) is not None:
                continue
            near = process.extract(
                word.lower(), self._lexicon.terms.keys(), scorer=fuzz.ratio, score_cutoff=_ALIKE, limit=_SUGGESTED
            )
            yield from (f"“{term}” for “{word}”" for term, _, _ in near)


MARKS = (MARK_ON, MARK_OFF)


def _clean(question: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in question[:MAX_QUESTION]).split())


def _count(found: list[Found], upto: int | None) -> Count:
    """Counts of what was met, as far as ``upto``."""
    if upto is not None and len(found) > upto:
        return Count(upto, None, None, all=False)
    return Count(len(found), len({f.visit for f in found}), len({f.infant for f in found}), all=True)


def _grouped(found: Iterable[Found], by: By, limit: int) -> tuple[list[Found], list[int]]:
    """The first line of each of the first ``limit`` groups, and how many more lines of it were met.

    The lines of a visit follow one another; of an infant only the visit met first is counted.
    """
    first: dict[object, Found] = {}
    others: dict[object, int] = {}
    for one in found:
        key = {"line": one.row, "visit": one.visit, "infant": one.infant}[by]
        if key in first:
            others[key] += one.visit == first[key].visit
        elif len(first) == limit:
            break
        else:
            first[key], others[key] = one, 0
    return list(first.values()), list(others.values())
