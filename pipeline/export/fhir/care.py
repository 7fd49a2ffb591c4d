"""What was done, planned, consented to, and the dangers, each as its resource (Procedure, CarePlan, Flag ...).

Nothing here orders anything: requests are plans, drafts while the note is unsigned.
"""

from collections.abc import Iterable

from pipeline.export.coding import Codes, Coding
from pipeline.export.fhir.findings import Findings, quantity
from pipeline.export.fhir.parts import (
    Entries,
    Json,
    coded,
    extension,
    extensions,
    named_information,
    own_code,
    reference,
)
from pipeline.export.fhir.people import People
from pipeline.export.fhir.sound import Sound
from pipeline.export.visit import VisitDocument
from pipeline.model import Item, Line, Remark, Urgency
from pipeline.times import clock

DANGERS = (Urgency.EMERGENCY, Urgency.SAME_DAY, Urgency.REFER)
# FHIR R4 event-status by result of a treatment; what was held back was not done.
_DONE = {"withheld": "not-done", "not_tolerated": "stopped"}
_CONSENT = {"given": "active", "declined": "rejected", "withdrawn": "inactive"}  # FHIR R4 consent-state-codes
_SCOPES = "http://terminology.hl7.org/CodeSystem/consentscope"  # from memory
_SCOPE = {"record": ("patient-privacy", "Privacy Consent")}
_TREATMENT = ("treatment", "Treatment")
_MISSED = "visit_missed"
_POLICY = "As told at the visit; local law decides what it allows."
REQUESTS = ("plan.refer", "plan.imaging")
PLAN = "plan"


class Care:
    """Makes these resources for one visit."""

    def __init__(
        self, document: VisitDocument, findings: Findings, codes: Codes, people: People, sound: Sound, entries: Entries
    ) -> None:
        self._document, self._findings, self._codes = document, findings, codes
        self._people, self._sound, self._entries = people, sound, entries
        self._visit, self._day = document.record.visit, document.record.day.isoformat()
        self._signed = bool(document.signatures)

    def procedure(self, item: Item, line: Line | None) -> Json:
        """A treatment done, or held back."""
        result = self._findings.result(item)
        status = _DONE.get(item.result or "", "completed")
        why = coded(item.reason or result) if status != "completed" and (item.reason or result) else None
        return {
            "extension": extensions([*self._findings.slots(item, line), *self._sound.spans(item)]),
            "status": status,
            "statusReason": why,
            "code": self._findings.code(item),
            "subject": self._people.patient,
            "performedDateTime": self._day,
            "performer": [{"actor": actor} for actor in self._people.teller(item)],
            "bodySite": [place] if (place := self._findings.place(item)) else [],
            "outcome": coded(result, own_code("result", item.result, result)) if result else None,
            "note": [{"text": item.detail}] if item.detail else [],
        }

    def request(self, item: Item, line: Line | None) -> Json:
        """A referral or an imaging that is planned; how urgent it is stands in its words, as said."""
        return {
            "extension": extensions([*self._findings.slots(item, line), *self._sound.spans(item)]),
            "status": "active" if self._signed else "draft",
            "intent": "plan",
            "code": self._findings.code(item),
            "subject": self._people.patient,
            "authoredOn": self._day,
            "requester": next(iter(self._people.signers()), None),
            "bodySite": [place] if (place := self._findings.place(item)) else [],
            "note": [{"text": item.detail}] if item.detail else [],
            "reasonCode": [coded(item.reason)] if item.reason else [],
        }

    def plan(self, items: Iterable[tuple[Item, Line | None]], requests: dict[str, Json]) -> Json:
        """Advice and plan as one CarePlan; requests are referred to from it."""
        return self._entries.add(
            "CarePlan",
            f"{self._visit}|{PLAN}",
            {
                "status": "active" if self._signed else "draft",
                "intent": "plan",
                "title": "Advice and plan",
                "subject": self._people.patient,
                "created": self._day,
                "author": next(iter(self._people.signers()), None),
                "activity": [
                    {"reference": requests[item.id]} if item.id in requests else {"detail": self._activity(item, line)}
                    for item, line in items
                ],
            },
        )

    def consent(self, item: Item, line: Line | None) -> Json:
        """Consent to treatment as heard at the visit."""
        giver = self._people.near(item.source_role) if item.source_role else None
        return self._consent("treat", item.result or "given", giver) | {
            "extension": extensions([*self._findings.slots(item, line), *self._sound.spans(item)]),
            "dateTime": self._day,
        }

    def consents_on_record(self) -> list[Json]:
        """Consents kept beside the words of the visit."""
        return [
            self._entries.add(
                "Consent",
                told.id,
                self._consent(told.scope, told.state, {"display": told.giver} if told.giver else None)
                | {"dateTime": told.at.isoformat()},
            )
            for told in self._document.consents
        ]

    def contacts(self) -> list[Json]:
        """What was no visit as Communications; the files that came are named by their content."""
        return [
            self._entries.add(
                "Communication",
                contact.id,
                {
                    "status": "not-done" if contact.what == _MISSED else "completed",
                    "category": [
                        coded(contact.what.replace("_", " "), own_code("contact", contact.what, contact.what))
                    ],
                    "subject": self._people.patient,
                    "sent": contact.day.isoformat(),
                    "payload": [
                        {"contentString": contact.text},
                        *(
                            {"contentAttachment": {"title": name, "size": size, "url": named_information(sha256)}}
                            for sha256, name, size in contact.files
                        ),
                    ],
                },
            )
            for contact in self._document.contacts
        ]

    @staticmethod
    def shown(remarks: Iterable[Remark]) -> list[Remark]:
        """The dangers; what concerns safeguarding is held back, as from every ordinary copy."""
        return [remark for remark in remarks if remark.urgency in DANGERS and not remark.safeguarding]

    def flags(self, remarks: Iterable[Remark], referred: set[str]) -> list[Json]:
        """The dangers as Flags, each with its reason, its source and the answer given."""
        return [
            self._entries.add("Flag", f"{self._visit}|{remark.id}", self._flag(remark, referred))
            for remark in self.shown(remarks)
        ]

    def _activity(self, item: Item, line: Line | None) -> Json:
        amount = quantity(item)
        words = line.text if line else self._findings.label(item)
        return {
            "extension": extensions([*self._findings.slots(item, line), *self._sound.spans(item)]),
            "code": self._findings.code(item),
            "status": "not-started",
            "scheduledString": f"in {amount['value']:g} {amount['unit']}" if amount and item.kind == "plan" else None,
            "description": words,
        }

    def _consent(self, scope: str, state: str, giver: Json | None) -> Json:
        code, display = _SCOPE.get(scope, _TREATMENT)
        return {
            "status": _CONSENT[state],
            "scope": coded(f"{scope}: {state}", Coding(system=_SCOPES, code=code, display=display)),
            "category": [coded("consent told at the visit", self._codes.term("document", "consent"))],
            "patient": self._people.patient,
            "performer": [giver] if giver else [],
            "policyRule": {"text": _POLICY},
        }

    def _flag(self, remark: Remark, referred: set[str]) -> Json:
        when = ", ".join(clock(span.start_ms) for span in remark.spans)
        return {
            "extension": extensions(
                [
                    extension("urgency", valueCode=str(remark.urgency)),
                    extension("reason", valueString=remark.reason) if remark.reason else None,
                    extension("action", valueString=remark.action) if remark.action else None,
                    extension("source", valueString=f"{remark.source} ({remark.mark})"),
                    extension("answer", valueString=remark.answer) if remark.answer else None,
                    extension("said-at", valueString=when) if when else None,
                    *(
                        extension("rests-on", valueReference=reference("Observation", item))
                        for item in remark.items
                        if item in referred
                    ),
                ]
            ),
            "status": "active",
            "category": [coded("danger sign")],
            "code": coded(remark.title, own_code("rule", remark.rule, remark.title)),
            "subject": self._people.patient,
            "period": {"start": self._day},
            "author": self._people.device,
        }
