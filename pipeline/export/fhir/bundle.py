"""A visit as a FHIR R4 document: Composition first, then everything that it refers to.

Rules of documents: FHIR R4 (4.0.1), "Documents" (3.3) and the invariants of Bundle and Composition. The structure goes
through the models of ``fhir.resources``; codes and invariants have their tests, since those models take any code.
"""

from collections.abc import Iterator

from pipeline.errors import InputError
from pipeline.export.coding import Codes, load_codes
from pipeline.export.fhir.care import PLAN, REQUESTS, Care
from pipeline.export.fhir.findings import Findings
from pipeline.export.fhir.parts import (
    OWN,
    Entries,
    Json,
    coded,
    extension,
    extensions,
    narrative,
    own_code,
    reference,
    row_uuid,
    tidy,
)
from pipeline.export.fhir.people import People
from pipeline.export.fhir.sound import Sound
from pipeline.export.visit import VisitDocument
from pipeline.model import Item, Line, Section
from pipeline.prompts import PROMPT_SECTIONS
from pipeline.times import clock
from pipeline.vocabulary import Vocabulary

_NOT_LOOKED_AT = "not_looked_at"  # what was not mentioned is shown before signing only
_CONSENT = "treatment.consent"
_DRAFT = "Draft, to be checked and signed by a licensed clinician."


def document_bundle(
    document: VisitDocument, vocab: Vocabulary, *, sound: bytes | None = None, suggest: bool = False
) -> bytes:
    """The document of one visit as JSON.

    sound: the recording's bytes, to be carried inside; else it is referred to by its hash. suggest: put ICD-10-CM codes
    beside findings, as suggestions. Raises InputError where the visit gives no valid structure.
    """
    from fhir.resources.R4B.bundle import Bundle  # 0.4 s: only where a document is made
    from pydantic import ValidationError

    built = _Document(document, vocab, load_codes(), sound, suggest=suggest).bundle()
    try:
        return (Bundle.model_validate(built).model_dump_json(indent=1) + "\n").encode()
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(map(str, fault["loc"]))
        raise InputError(
            f"visit {document.record.visit}: cannot be written as FHIR ({where}: {fault['msg']}). Export it as json."
        ) from error


class _Document:
    """Builds the entries of one document; the Composition is made last and stands first."""

    def __init__(
        self, document: VisitDocument, vocab: Vocabulary, codes: Codes, sound: bytes | None, *, suggest: bool
    ) -> None:
        self._document, self._visit = document, document.record.visit
        self._entries = Entries()
        self._people = People(document, codes, self._entries)
        self._sound = Sound(document, self._people.patient, self._entries, sound)
        self._findings = Findings(document, vocab, codes, self._people, self._sound, suggest=suggest)
        self._care = Care(document, self._findings, codes, self._people, self._sound, self._entries)
        self._items = {item.id: item for item in document.drafted.extraction.items}
        self._made: dict[str, Json] = {}  # item id -> the reference to what was made of it

    @property
    def status(self) -> str:
        """FHIR R4 composition-status: unsigned, signed, or signed and added to."""
        if not self._document.signatures:
            return "preliminary"
        return "amended" if self._document.additions else "final"

    def bundle(self) -> Json:
        """The whole bundle."""
        shown = (_NOT_LOOKED_AT,) if self.status == "preliminary" else ()
        parts = [p for p in self._document.note.sections if p.id in shown or p.id not in PROMPT_SECTIONS]
        self._make(parts)
        sections = [*self._dangers(parts), *filter(None, map(self._section, parts)), *self._beside()]
        sections.append(
            {
                "title": "Recording and origin",
                "code": coded("recording and origin"),
                "text": narrative([self._sound.line, self._document.program]),
                "entry": [*self._sound.references, self._people.device],
            }
        )
        composition = self._composition(sections)
        self._provenance()
        stamp = self._document.changed_at.isoformat()
        rest = list(self._entries)
        first = {"fullUrl": reference("Composition", self._visit)["reference"], "resource": tidy(composition)}
        version = f"{self._visit}|{stamp}|{self.status}"
        return {
            "resourceType": "Bundle",
            "identifier": {"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{row_uuid('Bundle', version)}"},
            "type": "document",
            "timestamp": stamp,
            "entry": [first, *rest],
        }

    def _lines(self, parts: list[Section]) -> Iterator[tuple[Item, Line]]:
        """Every item that a line of these parts rests on, once, with that line.

        Of a signed note only where this program still reads it as it was signed: else the line stands in words alone.
        """
        seen: set[str] = set()
        now = {line.id: line.text for part in self._document.drafted.note.parts() for line in part.lines}
        for part in parts:
            for section in part.parts():
                for line in (line for line in section.lines if now.get(line.id) == line.text):
                    for key in line.items:
                        if key in self._items and key not in seen:
                            seen.add(key)
                            yield self._items[key], line

    def _make(self, parts: list[Section]) -> None:
        """Make a resource of every item that the note holds."""
        planned = []
        for item, line in self._lines(parts):
            if item.concept == _CONSENT:
                self._put("Consent", item, self._care.consent(item, line))
            elif item.kind == "treatment":
                self._put("Procedure", item, self._care.procedure(item, line))
            elif item.kind in ("advice", PLAN):
                planned.append((item, line))
                if item.concept in REQUESTS:
                    self._put("ServiceRequest", item, self._care.request(item, line))
            else:
                status = self.status if self.status != "amended" else "final"  # additions change no finding
                self._put("Observation", item, self._findings.observation(item, line, status))
        if planned:
            plan = self._care.plan(planned, dict(self._made))
            for item, _ in planned:
                self._made.setdefault(item.id, plan)

    def _put(self, kind: str, item: Item, body: Json) -> None:
        self._made[item.id] = self._entries.add(kind, item.id, body)

    def _section(self, part: Section) -> Json | None:
        below = [self._section(section) for section in part.subsections]
        entries = {entry["reference"]: entry for line in part.lines for entry in self._made_of(line)}
        return {
            "title": part.title,
            "code": coded(part.title, own_code("section", part.id, part.title)),
            "text": narrative(map(_worded, part.lines)) if part.lines else None,
            "entry": list(entries.values()),
            "section": [section for section in below if section],
        }

    def _made_of(self, line: Line) -> list[Json]:
        return [self._made[key] for key in line.items if key in self._made]

    def _dangers(self, parts: list[Section]) -> Iterator[Json]:
        observed = {item.id for item, _ in self._lines(parts) if item.kind not in ("treatment", "advice", PLAN)}
        remarks = self._document.note.remarks
        flags = self._care.flags(remarks, observed)
        shown = [f"{r.title}. {r.reason} {r.action}" for r in self._care.shown(remarks)]
        if flags:
            yield {"title": "Dangers", "code": coded("dangers"), "text": narrative(shown), "entry": flags}

    def _beside(self) -> Iterator[Json]:
        """What stands on record beside the words of the visit."""
        document = self._document
        consents = [f"{told.scope}: {told.state} {told.giver}" for told in document.consents]
        contacts = [f"{c.day.isoformat()}, {c.what.replace('_', ' ')}: {c.text}" for c in document.contacts]
        for title, lines, entries in (
            ("Consents on record", consents, self._care.consents_on_record()),
            ("Contacts since the visit before", contacts, self._care.contacts()),
        ):
            if entries:
                yield {"title": title, "code": coded(title.lower()), "text": narrative(lines), "entry": entries}
        yield from self._added()

    def _added(self) -> Iterator[Json]:
        for one in self._document.additions:
            title = f"Added after signing{f' ({one.what})' if one.what else ''}"
            told = [f"{one.at.isoformat()}, {', '.join(filter(None, (one.name, one.role)))}:", one.text]
            told += [f"About: {one.about}"] if one.about else []
            told += [f"Why it was not in the note: {one.reason}"] if one.reason else []
            yield {
                "title": title,
                "code": coded("added after signing", own_code("section", "addendum", title)),
                "author": [self._people.practitioner("signer", one.name, one.role)],
                "text": narrative(told, listed=False),
            }

    def _composition(self, sections: list[Json]) -> Json:
        document, signers = self._document, self._people.signers()
        title = f"Visit of {document.record.day.isoformat()}"
        signed = document.signed_sha256
        return {
            "resourceType": "Composition",
            "id": row_uuid("Composition", self._visit),
            "extension": extensions(
                [
                    extension("signed-note-sha-256", valueString=signed) if signed else None,
                    *(extension("left-open", valueString=point) for point in document.left_open),
                ]
            ),
            "identifier": {"system": f"{OWN}visit", "value": self._visit},
            "status": self.status,
            "type": coded("progress note", load_codes().term("document", "note")),
            "subject": self._people.patient,
            "date": document.changed_at.isoformat(),
            "author": [*signers[:1], self._people.device],
            "title": title if signers else f"{title}. {_DRAFT}",
            "attester": [
                {"mode": "professional" if n else "legal", "time": one.at.isoformat(), "party": party}
                for n, (one, party) in enumerate(zip(document.signatures, signers, strict=True))
            ],
            "event": [{"code": [coded("visit")], "period": {"start": document.record.day.isoformat()}}],
            "section": sections,
        }

    def _provenance(self) -> None:
        """Where the document comes from: the program with its versions, who signed, and the recording."""
        agents = [{"type": coded("assembler"), "who": self._people.device}]
        agents += [{"type": coded("verifier"), "who": party} for party in self._people.signers()]
        body = {
            "target": [reference("Composition", self._visit)],
            "recorded": self._document.changed_at.isoformat(),
            "activity": coded("drafted by the program from what was said or written, checked by a person where signed"),
            "agent": agents,
            "entity": [{"role": "source", "what": recording} for recording in self._sound.references],
        }
        self._entries.add("Provenance", self._visit, body)


def _worded(line: Line) -> str:
    """A line with its time; a line that a person wrote says so."""
    when = f" [{clock(line.spans[0].start_ms)}]" if line.spans else ""
    return f"{line.text}{f' ({line.written})' if line.written else ''}{when}"
