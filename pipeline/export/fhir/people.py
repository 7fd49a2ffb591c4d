"""Who and what took part: Patient, Practitioner, RelatedPerson, and the program as Device."""

from pipeline.export.coding import Codes
from pipeline.export.fhir.parts import OWN, Entries, Json, coded, extension, extensions
from pipeline.export.visit import VisitDocument
from pipeline.model import Item, SpeechModel

_CLINICIANS = ("student", "second_practitioner")
_CARERS = ("mother", "father", "other_carer", "interpreter")


class People:
    """Those of one bundle; each is put in when first referred to."""

    def __init__(self, document: VisitDocument, codes: Codes, entries: Entries) -> None:
        self._document, self._codes, self._entries = document, codes, entries
        self.patient = self._patient()
        self.device = self._device()

    def practitioner(self, key: str, name: str, role: str = "") -> Json:
        """A Practitioner by name; ``key`` tells two of one name and role apart from nobody else."""
        body = {"name": [{"text": name}], "qualification": [{"code": coded(role)}] if role else []}
        return self._entries.add("Practitioner", f"{key}|{name}|{role}", body)

    def signers(self) -> list[Json]:
        """Those who signed, in their order."""
        return [self.practitioner("signer", one.name, one.role) for one in self._document.signatures]

    def teller(self, item: Item) -> list[Json]:
        """Who found or told an item: the signer, a student or a second practitioner, or somebody near the infant."""
        role = item.source_role
        if role in _CLINICIANS:
            return [self.practitioner(self._document.record.visit, role.replace("_", " "))]
        if item.reporter == "caregiver" or role in _CARERS:
            return [self.near(role or "caregiver")]
        return self.signers()[:1]

    def near(self, role: str) -> Json:
        """Somebody near the infant by their role at the visit (mother, father ...)."""
        label = role.replace("_", " ")
        body = {"patient": self.patient, "relationship": [coded(label, self._codes.term("relationship", role))]}
        return self._entries.add("RelatedPerson", f"{self._document.record.visit}|{role}", body)

    def _patient(self) -> Json:
        infant = self._document.record.infant
        names = [{"use": "official", "text": infant.legal_name}] if infant.legal_name else []
        weeks, weight = infant.gestation_weeks, infant.birth_weight_kg
        body = {
            "extension": extensions(
                [
                    extension("gestation-weeks", valueInteger=weeks) if weeks is not None else None,
                    extension("birth-weight", valueQuantity=_kilograms(weight)) if weight is not None else None,
                    *(extension("risk-factor", valueString=factor) for factor in infant.risk_factors),
                ]
            ),
            "identifier": [{"system": f"{OWN}infant", "value": infant.id}],
            "name": [*names, {"use": "usual", "text": infant.code_name}],
            "gender": infant.sex or "unknown",
            "birthDate": infant.born.isoformat() if infant.born else None,
            "contact": [
                {
                    "extension": extensions(
                        [
                            extension("may-consent", valueBoolean=carer.may_consent)
                            if carer.may_consent is not None
                            else None
                        ]
                    ),
                    "relationship": [coded(carer.role, self._codes.term("relationship", carer.role.lower()))]
                    if carer.role
                    else [],
                    "name": {"text": carer.name},
                }
                for carer in infant.carers
            ],
        }
        return self._entries.add("Patient", infant.id, body)

    def _device(self) -> Json:
        note, words = self._document.note, self._document.record.transcript
        heard: SpeechModel = note.speech_model or words.model
        versions = (
            ("program", note.program or self._document.program),
            ("vocabulary (SHA-256)", note.vocab_hash),
            ("speech model", heard.name),
            ("speech model (SHA-256)", heard.sha256),
            ("norms (SHA-256)", self._document.norms_sha256),
            ("transcript (SHA-256)", self._document.record.transcript_sha256),
        )
        body = {
            "deviceName": [{"name": "handspoken", "type": "user-friendly-name"}],
            "type": coded("software"),
            "version": [{"type": coded(what), "value": value} for what, value in versions if value],
        }
        return self._entries.add("Device", f"{self._document.record.visit}|program", body)


def _kilograms(value: float) -> Json:
    return {"value": value, "unit": "kg", "system": "http://unitsofmeasure.org", "code": "kg"}
