"""What a line, or a stretch that became none, may mean otherwise: the most probable first, each done by one key."""

from collections.abc import Iterator

from pipeline.model import Frozen, Item, WordRange
from pipeline.records import Drafted
from pipeline.review.cards import LineCard, Sheet
from pipeline.review.find import Candidate, is_told, named_sites, read_as_said, read_typed, said_of
from pipeline.review.requests import Add, SetSlots
from pipeline.stages import Stages
from pipeline.vocabulary import Concept, Vocabulary

MOST = 9  # one for each digit
_RESULTS = 4  # of these at most
_PLACES = 4
_READ = 3  # readings of one stretch by itself
_BEFORE = 4  # lines said before that words may go on about
NEXT_VISIT = "plan.next_visit"  # every note should tell it
_AROUND = 14  # words before and after a line in which a structure may have been named
_LONGEST = 25  # words of a stretch that are read as a line
_ENDS = (".", "?", "!")
_SAME = {"kind", "concept", "site", "result", "value", "unit", "level"}
_OTHER_SIDE = {"left": "right", "right": "left"}


class Offer(Frozen):
    """One thing that may have been meant: as words, and as the change that makes it so."""

    say: str
    change: SetSlots | Add


def offers(drafted: Drafted, sheet: Sheet, line: LineCard, word: int | None, stages: Stages) -> tuple[Offer, ...]:
    """What may be meant instead of a line (its results, its structures), and beside it; or by the sentence of a word.

    word: its number, where one is chosen.
    """
    vocab = stages.vocab
    found: list[Offer] = []
    if word is not None:
        found += _readings(drafted, _sentence(drafted, word), line, stages)
    elif line.state == "loose":
        found += _readings(drafted, line.words, line, stages)
    elif line.slots is not None and line.slots.concept in vocab.concepts:
        concept = vocab.concepts[line.slots.concept]
        found += list(_results(line.slots, concept))[:_RESULTS]
        found += list(_places(line.slots, concept, drafted, vocab))[:_PLACES]
        found += _other_side(line.slots, sheet, vocab)
    once: dict[str, Offer] = {}
    for offer in found:
        once.setdefault(offer.say, offer)
    return tuple(once.values())[:MOST]


def _results(item: Item, concept: Concept) -> Iterator[Offer]:
    """The other results of the concept, those whose words stand in the line first."""
    text = f" {item.quote.casefold()} "
    others = {key: form for key, form in concept.results.items() if key not in (item.result, "value")}
    heard = [key for key, form in others.items() if any(f" {say.casefold()} " in text for say in form.say)]
    for key in dict.fromkeys((*heard, *others)):
        yield Offer(say=others[key].label, change=SetSlots(line=item.id, slots={"result": key}))


def _places(item: Item, concept: Concept, drafted: Drafted, vocab: Vocabulary) -> Iterator[Offer]:
    """Other structures: named in the line, what it is part of, named around it, of the lines before, its parts."""
    first, last = min(s.words[0] for s in item.evidence), max(s.words[1] for s in item.evidence)
    words = drafted.transcript.words
    near = " ".join(word.text for word in words[max(0, first - _AROUND) : last + _AROUND])
    before = [other.site for other in drafted.extraction.items if other.start_ms <= item.start_ms][-5:-1]
    parent = vocab.sites[item.site].parent if item.site in vocab.sites else None
    kin = [site.id for site in vocab.sites.values() if site.parent == item.site]
    own = named_sites(item.quote, vocab)
    for site in dict.fromkeys((*own, parent, *named_sites(near, vocab), *reversed(before), *kin)):
        if site is None or site == item.site or site == "whole_body" or not said_of(concept, site, vocab):
            continue
        yield Offer(say=vocab.sites[site].label, change=SetSlots(line=item.id, slots={"site": site}))


def _other_side(item: Item, sheet: Sheet, vocab: Vocabulary) -> list[Offer]:
    """The same of the other side, where no line says anything of it."""
    side = _OTHER_SIDE.get(item.side)
    same = (item.concept, item.site, side)
    if side is None or any(
        (line.slots.concept, line.slots.site, line.slots.side) == same
        for line in sheet.lines()
        if line.slots and line.state != "struck"
    ):
        return []
    data = item.model_dump(mode="json", include=_SAME) | {"side": side}
    slots = {slot: value for slot, value in data.items() if value is not None}
    return [_added(Candidate.worded(slots, vocab), item.start_ms, item.end_ms)]


def _readings(drafted: Drafted, stretch: WordRange, line: LineCard, stages: Stages) -> Iterator[Offer]:
    """The words of a stretch as lines: after what was spoken of just before, then by themselves."""
    words, vocab = drafted.transcript, stages.vocab
    i0, i1 = max(stretch[0], stretch[1] - _LONGEST), stretch[1]
    start, end = words.words[i0].start_ms, words.words[i1 - 1].end_ms
    closes = line.points[0].id if line.state == "loose" and line.points else ""
    text = words.quote((i0, i1))
    there = {_told_as(item) for item in drafted.extraction.items}
    for topic, concept in _topics(drafted, start, line, vocab):
        for item in _about(topic, text, concept, stages):
            if _told_as(item) not in there:
                yield _added(Candidate.of(item, vocab), start, end, closes)
    told = [c for c in read_typed(text, stages, line.slots) if is_told(text, c.slots["concept"], vocab)]
    for candidate in told[:_READ]:
        yield _added(candidate, start, end, closes)


def _about(topic: str, text: str, concept: str, stages: Stages) -> list[Item]:
    """What words say of a topic; of the next visit its day may stand anywhere in them."""
    parts = text.split()
    starts = range(len(parts)) if concept == NEXT_VISIT else range(1)
    found: list[Item] = []
    for start in starts:
        read = read_as_said(" ".join([topic, *parts[start:]]), stages)
        found = [item for item in read if item.concept == concept] or found
        if any(item.value is not None for item in found):
            break
    return found


def _topics(drafted: Drafted, start_ms: int, line: LineCard, vocab: Vocabulary) -> Iterator[tuple[str, str]]:
    """What words may go on about, as words and by its concept: what was said last, the line, what no line tells yet."""
    items = drafted.extraction.items
    before = [item for item in items if item.start_ms <= start_ms][-_BEFORE:]
    about = [*reversed(before), *([line.slots] if line.slots else ())]
    for concept, site in dict.fromkeys((item.concept, item.site) for item in about):
        if concept in vocab.concepts:
            own = site == vocab.concepts[concept].site or site not in vocab.sites
            name = (*vocab.concepts[concept].say, vocab.concepts[concept].label)[0]
            yield f"{'' if own else vocab.sites[site or ''].label} {name}", concept
    if all(item.concept != NEXT_VISIT for item in items):
        yield vocab.concepts[NEXT_VISIT].label, NEXT_VISIT


def _sentence(drafted: Drafted, word: int) -> WordRange:
    """The sentence that a word stands in."""
    words = drafted.transcript.words
    first = last = min(max(word, 0), len(words) - 1)
    while first > 0 and not words[first - 1].text.endswith(_ENDS):
        first -= 1
    while last + 1 < len(words) and not words[last].text.endswith(_ENDS):
        last += 1
    return first, last + 1


def _told_as(item: Item) -> tuple[object, ...]:
    return item.concept, item.site, item.side, item.level, item.result, item.value


def _added(candidate: Candidate, start_ms: int, end_ms: int, closes: str = "") -> Offer:
    change = Add(slots=candidate.slots, start_ms=start_ms, end_ms=end_ms, closes=closes)
    return Offer(say=f"add: {candidate.say}", change=change)
