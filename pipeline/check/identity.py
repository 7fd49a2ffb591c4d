"""Is the open chart that of the infant on the table? Asked before anything is filed."""

from collections.abc import Iterator, Mapping, Sequence

from pipeline.ages import DAYS
from pipeline.check.ages import both_shown
from pipeline.check.facts import Fact, Facts
from pipeline.check.growth import STEMS, Sex, Visit
from pipeline.check.norms import Norms
from pipeline.check.remarks import cited, items_of, spans_of
from pipeline.check.rows import Tolerance
from pipeline.model import Age, Infant, Remark, Span, Urgency, Word, span_of
from pipeline.times import clock

SHORTEST_NAME = 3  # letters
CHOICES = ("the right infant, the chart is wrong", "the right infant, misheard", "the wrong chart is open")


def wrong_infant(
    facts: Facts,
    infant: Infant,
    age: Age | None,
    norms: Norms,
    earlier: Sequence[Visit],
    words: Sequence[Word] = (),
    known_names: Mapping[str, str] | None = None,
) -> Iterator[Remark]:
    """One blocking question for each kind of disagreement between what was said and the chart.

    words: the words of the visit; known_names: spoken names of the practice's infants -> infant id.
    """
    rows = {row.id: row for row in norms.tolerances}
    yield from _age(facts, infant, age, rows["identity.age"], rows["identity.age.days"])
    yield from _told(facts, "history.gestation", infant.gestation_weeks, "weeks", rows["identity.gestation"])
    yield from _told(facts, "history.birth_weight", infant.birth_weight_kg, "kg", rows["identity.birth_weight"])
    yield from _sex(facts, infant, norms, rows["identity.sex"])
    yield from _trend(facts, age, rows, earlier)
    yield from _names(infant, words, known_names or {}, rows["identity.names"])


def _ask(row: Tolerance, reason: str, facts: Sequence[Fact] = (), spans: tuple[Span, ...] = ()) -> Remark:
    return Remark(
        id=row.id.upper(),
        rule=row.id.upper(),
        urgency=Urgency.ASK,
        title="Is this the right infant's chart?",
        reason=reason,
        action="Look at the name on the open chart before anything is filed.",
        source=cited(row),
        mark=row.mark,
        items=items_of(facts),
        spans=spans or spans_of(facts),
        blocks_signing=True,
        choices=CHOICES,
    )


def turned(turns: Sequence[Span], norms: Norms) -> Iterator[Remark]:
    """One blocking question where a twin seems to be examined in the same recording: whose lines follow?"""
    if not turns:
        return
    row = next(row for row in norms.tolerances if row.id == "identity.turns")
    yield Remark(
        id=row.id.upper(),
        rule=row.id.upper(),
        urgency=Urgency.ASK,
        title="Is another infant examined here too?",
        reason=f"“{turns[0].quote}” was said at {clock(turns[0].start_ms)}; what follows stands in this infant's note.",
        action="Where it is so, give each infant its stretch: handspoken visit cut.",
        source=cited(row),
        mark=row.mark,
        spans=tuple(turns),
        blocks_signing=True,
        choices=("only this infant", "another infant too; the recording is cut"),
    )


def _age(facts: Facts, infant: Infant, age: Age | None, share: Tolerance, least: Tolerance) -> Iterator[Remark]:
    if age is None:
        return
    if infant.born is None and any(age.as_said and age.as_said.lower() in f.text for f in facts.of("history.age")):
        return  # not known otherwise than by what was said
    charted = [days for days in (age.days, age.corrected_days) if days is not None]
    for fact in facts.of("history.age"):
        if fact.value is None or fact.unit not in DAYS:
            continue
        start, length = fact.value * DAYS[fact.unit], DAYS[fact.unit]
        slack = max(least.value, share.value / 100 * start)
        if not any(start - slack <= days < start + length + slack for days in charted):
            said = f"{fact.value:g} {fact.unit}"
            yield _ask(share, f"The age said is {said}; on record it is {both_shown(age)}.", (fact,))


def _told(facts: Facts, concept: str, charted: float | None, what: str, row: Tolerance) -> Iterator[Remark]:
    for fact in facts.of(concept):
        if charted is not None and fact.value is not None and abs(fact.value - charted) > row.value:
            yield _ask(row, f"{fact.value:g} {what} at birth was said; the chart has {charted:g}.", (fact,))


def _sex(facts: Facts, infant: Infant, norms: Norms, row: Tolerance) -> Iterator[Remark]:
    """Words that tell a sex in the infant's own lines ("boy"); one of the chart's own sex silences the question."""
    if infant.sex is None:
        return
    heard = {row.sex: [f for f in facts if not f.earlier and _tells(f, row.words)] for row in norms.sex_words}
    other: Sex = "male" if infant.sex == "female" else "female"
    word = "boy" if other == "male" else "girl"
    if heard[other] and not heard[infant.sex]:
        yield _ask(row, f"A {word} is spoken of; the chart says otherwise.", heard[other])


def _tells(fact: Fact, words: Sequence[str]) -> bool:
    return not set(words).isdisjoint(fact.text.replace(",", " ").replace(".", " ").split())


def _trend(facts: Facts, age: Age | None, rows: Mapping[str, Tolerance], earlier: Sequence[Visit]) -> Iterator[Remark]:
    """A weight, length or head that no infant reaches from the last one measured."""
    if age is None:
        return
    for concept, stem in STEMS.items():
        past = [(v.age.days, f) for v in earlier for f in v.facts if f.concept == concept and f.value]
        now = [f for f in facts.of(concept) if f.value]
        if not past or not now:
            continue
        days, before = past[-1]
        value, start = now[-1].value or 0, before.value or 0
        shrunk, grown = rows[f"identity.{stem}.shrunk"], rows[f"identity.{stem}.grown"]
        most = grown.value / 100 * start + grown.value / 100 * start * (age.days - days) / 30
        less = value < start * (1 - shrunk.value / 100)
        if less or value > start + most:
            reason = f"{stem.capitalize()} {value:g} today, {start:g} {age.days - days} days ago."
            yield _ask(shrunk if less else grown, reason, (now[-1],))


def _names(infant: Infant, words: Sequence[Word], known: Mapping[str, str], row: Tolerance) -> Iterator[Remark]:
    """Another infant's name is said, written as a name, and this infant's is not. Initials and numbers are no names."""
    heard = [_bare(word.text) for word in words]
    written = [word.text.lstrip("'\"“‘")[:1].isupper() for word in words]
    own = {part for name in (infant.code_name, infant.legal_name or "") for part in name.lower().split()}
    if not own.isdisjoint(heard):
        return
    for name, owner in sorted(known.items()):
        parts = name.lower().split()
        if not name[:1].isalpha() or len(name) < SHORTEST_NAME:
            continue
        at = next((i for i in range(len(heard)) if heard[i : i + len(parts)] == parts and written[i]), None)
        if owner != infant.id and own.isdisjoint(parts) and at is not None:
            span = span_of(words, at, at + len(parts))
            yield _ask(row, f"The name {name} is said; it belongs to another infant.", (), (span,))
            return


def _bare(text: str) -> str:
    return text.lower().strip(".,;:!?'\"").removesuffix("'s").removesuffix("’s")
