"""The note: which line stands where, and in which order."""

from collections.abc import Iterable, Sequence
from datetime import date

from pipeline.draft.lines import LineWriter, words_of_value
from pipeline.draft.places import place_lines
from pipeline.draft.points import absent_points, loose_points, points_of, remark_points, resting_on, unsure_words
from pipeline.draft.presence import present_lines
from pipeline.draft.regrouped import LOOKED_AT, again_lines, part_lines
from pipeline.draft.wording import Part, Wording, load_wording
from pipeline.model import (
    Age,
    Changes,
    Extraction,
    Infant,
    Item,
    Line,
    Note,
    Point,
    Remark,
    Section,
    Transcript,
    Urgency,
)
from pipeline.records import Looked, PartTable
from pipeline.vocabulary import Vocabulary

_MARKING = (Urgency.WATCH, Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)
CHECK = "check:"  # before the id of a remark or a point: its line among the points to check
_CONFLICT, _FORCE = "conflict", "force_unsaid"  # a remark that asks about it says it with more words


def draft_note(
    extraction: Extraction,
    remarks: Sequence[Remark],
    transcript: Transcript,
    *,
    infant: Infant,
    age: Age | None,
    on: date,
    visit: str,
    vocab: Vocabulary,
    wording: Wording | None = None,
    coverage: Iterable[Looked] = (),
    letters: PartTable | None = None,
    changes: Changes | None = None,
    cautions: tuple[str, ...] = (),
    audio_sha256: str | None = None,
    audio_type: str | None = None,
    program: str = "",
    written: str | None = None,
) -> Note:
    """Draft the note of one visit. Pure: the same input gives the same note; every line rests on its item's spans.

    Sections without a line are left out, their order is that of vocab/wording/sections.yaml. The section ``check``
    repeats every point to check with its line; ``places`` holds the state of every place of the infant's outline
    (line ids ``place:<state>:<place>:<side>``); a line made from one item has that item's id.

    wording: the shipped one where None. coverage: what the visit should have looked at. What earlier visits left open
    opens the note, with what became of it (section ``again``); of the rest, what is ``looked_at`` is left out.
    letters: the findings under the letters of P.A.R.T., where a practice wants them so (section ``part``).
    changes: what a person did; an answered point is not repeated in ``check``. cautions: the one over the whole note
    first. Remarks of the safeguarding class stay in ``Note.remarks`` for the review page and appear in no line.
    written: when, and for when, where the whole visit was typed and not spoken.
    """
    wording = wording or load_wording()
    writer = LineWriter(vocab, wording)
    parts = _Parts(wording, vocab)
    done = changes or Changes()
    placed = [(item, parts.of(item, done.moved.get(item.id))) for item in extraction.items]
    late = _after_treatment(extraction.items)
    compared = {item for r in remarks if r.urgency is Urgency.ASK and len(r.items) > 1 for item in r.items}
    forced = {item for r in remarks if r.rule.startswith("LAW.") and r.choices for item in r.items}
    asked = {_CONFLICT: compared, _FORCE: forced}
    lines: dict[str, list[tuple[Item, Line]]] = {}
    for item, part in placed:
        own = item.id in done.written or "value" in done.edited.get(item.id, ())  # who typed it has looked at it
        unsure = unsure_words(item, transcript)
        weighty = resting_on(item, unsure, extraction.trace.get(item.id, ()), transcript)
        points = points_of(
            item, () if own else weighty, transcript, wording, lacks_structure=writer.lacks_structure(item)
        )
        line = Line(
            id=item.id,
            text=writer.text(
                item,
                as_said="" if own else words_of_value(item, extraction, transcript),
                told=part.partition(".")[0] in ("told", "visit"),
                after_treatment=item.id in late,
            ),
            items=(item.id,),
            spans=item.evidence,
            points=tuple(
                Point(id=(key := f"{code}:{item.id}"), code=code, text=text, answer=done.answer(key))
                for code, text in points.items()
                if item.id not in asked.get(code, ()) and not done.settles(item.id, code)
            ),
            unsure_words=unsure,
            written=done.written.get(item.id) or written,
        )
        lines.setdefault(part, []).append((item, line))
    present = present_lines(extraction.items, transcript, wording)
    made: dict[str, tuple[Line, ...]] = {part: parts.ordered(part, pairs) for part, pairs in lines.items()}
    made["struck"] = tuple(_struck(item, writer, extraction, transcript) for item in done.struck)
    told = done.answer("presence")
    made["present"] = (*present, Line(id="present:told", text=told, written="said when put right")) if told else present
    made["check"] = (
        *remark_points(remarks),
        *_line_points(parts, made),
        *(
            line
            for line in (
                *absent_points(extraction.items, someone_named=bool(present), wording=wording),
                *loose_points(extraction, transcript, wording),
            )
            if not done.answer(line.id.removeprefix(CHECK))
        ),
    )
    seen, written_lines = tuple(coverage), [line for pairs in lines.values() for _, line in pairs]
    made["again"] = again_lines(seen, written_lines, writer, wording)
    made["part"] = part_lines(letters, written_lines, wording) if letters else ()
    made["not_looked_at"] = _not_looked_at(seen, wording)
    made["places"] = _places(extraction.items, remarks, writer, vocab, wording)
    return Note(
        visit=visit,
        recording=transcript.recording,
        infant=infant,
        age=age,
        on=on,
        duration_ms=transcript.duration_ms,
        audio_sha256=audio_sha256,
        audio_type=audio_type,
        sections=parts.sections(made),
        remarks=tuple(remarks),
        cautions=cautions,
        program=program,
        vocab_hash=vocab.hash,
        speech_model=transcript.model,
        written=written,
    )


def part_titles() -> dict[str, str]:
    """The parts that a line may be moved to, by id, in their order; a subpart with the title of its part."""
    parts = load_wording().parts
    titles = {part.id: part.title for part in parts}
    return {
        part.id: f"{titles[part.parent]}: {part.title}" if part.parent else part.title
        for part in parts
        if part.id not in ("struck", "check", "not_looked_at", "places", "present")
    }


class _Parts:
    """Where items go: by their concept, else its family, else their kind; findings then by the nearest site."""

    def __init__(self, wording: Wording, vocab: Vocabulary) -> None:
        self._vocab = vocab
        self.all = wording.parts
        self._by_id = {part.id: part for part in wording.parts}
        self._concepts = {concept: part.id for part in wording.parts for concept in part.concepts}
        self._kinds = {part.kind: part.id for part in wording.parts if part.kind}
        self._sites = {site: part.id for part in wording.parts for site in part.sites}
        self._concept_order = {concept: place for place, concept in enumerate(vocab.concepts)}
        self._site_order = {site: place for place, site in enumerate(vocab.sites)}

    def of(self, item: Item, moved: str | None) -> str:
        """The id of the part an item's line stands in; ``moved``: where a person put it."""
        if moved in self._by_id:
            return moved
        family = item.concept.partition(".")[0] + ".*"
        part = self._concepts.get(item.concept) or self._concepts.get(family) or self._kinds[item.kind]
        if self._by_id[part].kind == "finding" and item.site in self._vocab.sites:
            line = self._vocab.site_line(item.site)
            part = next((self._sites[site] for site in line if site in self._sites), part)
        return part

    def ordered(self, part: str, pairs: list[tuple[Item, Line]]) -> tuple[Line, ...]:
        """The lines of a part in its order; equal ones in the order spoken."""
        row = self._by_id[part]
        order = self._by_id[row.parent].order if row.parent else row.order

        def key(pair: tuple[Item, Line]) -> tuple[int, int, str]:
            item = pair[0]
            places = {
                "concept": self._concept_order.get(item.concept, len(self._concept_order)),
                "site": self._site_order.get(item.site or "", len(self._site_order)),
                "spoken": 0,
            }
            return (places[order], item.start_ms, item.id)

        return tuple(line for _, line in sorted(pairs, key=key))

    def sections(self, made: dict[str, tuple[Line, ...]]) -> tuple[Section, ...]:
        """All parts that hold lines, children inside their parents."""
        built = []
        for part in self.all:
            if part.parent is None:
                children = tuple(
                    Section(id=child.id, title=child.title, lines=made[child.id])
                    for child in self.children(part)
                    if made.get(child.id)
                )
                if made.get(part.id) or children:
                    section = Section(id=part.id, title=part.title, lines=made.get(part.id, ()), subsections=children)
                    built.append(section)
        return tuple(built)

    def children(self, parent: Part) -> list[Part]:
        """The subsections of a part in their order."""
        return [part for part in self.all if part.parent == parent.id]


def _struck(item: Item, writer: LineWriter, extraction: Extraction, transcript: Transcript) -> Line:
    text = writer.text(item, as_said=words_of_value(item, extraction, transcript))
    return Line(id=item.id, text=text, items=(item.id,), spans=item.evidence)


def _after_treatment(items: Iterable[Item]) -> set[str]:
    """Ids of findings said again of the same structure after a treatment of it (contract, convention 9)."""
    late: set[str] = set()
    found: dict[tuple[str, str | None], int] = {}
    treated: dict[str | None, int] = {}
    for item in sorted(items, key=lambda item: item.start_ms):
        if item.kind == "treatment" and item.result != "withheld":
            treated[item.site] = item.start_ms
        elif item.kind == "finding":
            first = found.setdefault((item.concept, item.site), item.start_ms)
            if first < treated.get(item.site, first) < item.start_ms:
                late.add(item.id)
    return late


def _line_points(parts: _Parts, made: dict[str, tuple[Line, ...]]) -> list[Line]:
    """Every open point of a line, with its line, among the points to check, in the order of the note."""
    return [
        Line(
            id=f"{CHECK}{point.id}",
            text=f"{line.text}: {point.text}",
            items=line.items,
            spans=line.spans,
        )
        for part in parts.all
        for line in made.get(part.id, ())
        for point in line.points
        if not point.answer
    ]


def _not_looked_at(coverage: Iterable[Looked], wording: Wording) -> tuple[Line, ...]:
    """One line for what shares a state and a reason: "Not mentioned: weight, length"."""
    together: dict[tuple[str, str], list[str]] = {}
    for part in coverage:
        if part.state != LOOKED_AT and part.past is None:
            together.setdefault((part.state, part.why), []).append(part.label)
    lines: list[Line] = []
    for (state, reason), labels in together.items():
        head = wording.word("seen", state) + (f" ({reason})" if reason else "")
        text = f"{head[:1].upper()}{head[1:]}: {', '.join(labels)}"
        lines.append(Line(id=f"not_looked_at:{len(lines)}", text=text))
    return tuple(lines)


def _places(
    items: Iterable[Item], remarks: Iterable[Remark], writer: LineWriter, vocab: Vocabulary, wording: Wording
) -> tuple[Line, ...]:
    raised = {item for r in remarks if r.urgency in _MARKING and not r.safeguarding for item in r.items}
    findings = [item for item in items if item.kind == "finding"]
    states = {item.id: "found" if item.id in raised else writer.state(item) for item in findings}
    return place_lines(findings, states, vocab, wording)
