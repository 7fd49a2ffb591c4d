"""Findings, told facts and impressions as Observation.

A result is a coded value with its words; a denied one says so in its value and is never a missing value. What was not
assessed has no value and the reason why. Nothing that was not said is filled in.
"""

from pipeline.export.coding import Codes, Coding, leaves
from pipeline.export.fhir.parts import Json, coded, extension, extensions, own_code
from pipeline.export.fhir.people import People
from pipeline.export.fhir.sound import Sound
from pipeline.export.visit import VisitDocument
from pipeline.model import Item, Line
from pipeline.vocabulary import Vocabulary

UCUM = "http://unitsofmeasure.org"
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
_CATEGORIES = {
    kind: Coding(system=_CATEGORY, code=code, display=display)  # FHIR R4 observation-category, from memory
    for kind, code, display in (
        ("measure", "vital-signs", "Vital Signs"),
        ("told", "survey", "Survey"),
        ("found", "exam", "Exam"),
    )
}
_NOT_ASSESSED, _NUMBER = "not_assessed", "value"
_UNIT_WORDS = {"Cel": "°C", "/min": "per minute", "deg": "°"}


class Findings:
    """Makes the codes, the places and the Observations of one visit."""

    def __init__(
        self, document: VisitDocument, vocab: Vocabulary, codes: Codes, people: People, sound: Sound, *, suggest: bool
    ) -> None:
        self._document, self._vocab, self._codes = document, vocab, codes
        self._people, self._sound, self._suggest = people, sound, suggest
        age = document.note.age
        self._age_days = age.days if age else None

    def observation(self, item: Item, line: Line | None, status: str) -> Json:
        """The Observation of a finding, a told fact or an impression; ``line``: where the note words it."""
        amount, category = quantity(item), _category(item)
        numbered = amount and item.result in (_NUMBER, None)
        value = {"valueQuantity": amount} if numbered else self._value(item)
        return {
            "extension": extensions([*self.slots(item, line), *self._sound.spans(item), *self._suggestions(item)]),
            "status": status,
            "category": [coded(category.display, category)],
            "code": self.code(item),
            "subject": self._people.patient,
            "effectiveDateTime": self._document.record.day.isoformat(),
            "performer": self._people.teller(item),
            **value,
            "interpretation": [coded(code.display, code) for code in self._interpretations(item)],
            "note": [{"text": item.detail}] if item.detail else [],
            "bodySite": self.place(item),
            "derivedFrom": self._sound.references,
            "component": [] if numbered or not amount else [{"code": coded("amount"), "valueQuantity": amount}],
        }

    def code(self, item: Item) -> Json:
        """What was looked at, told, done, advised or planned."""
        label = self.label(item)
        return coded(label, self._codes.term("code", item.concept), own_code("concept", item.concept, label))

    def label(self, item: Item) -> str:
        """The words for an item's concept."""
        known = self._vocab.concepts.get(item.concept)
        return known.label if known else item.concept.replace(".", " ").replace("_", " ")

    def result(self, item: Item) -> str:
        """The words for an item's result, with its degree; "" where there is none."""
        known = self._vocab.concepts.get(item.concept)
        form = known.results.get(item.result or "") if known else None
        words = form.label if form else (item.result or "").replace("_", " ")
        return f"{words} ({item.degree})" if words and item.degree else words

    def place(self, item: Item) -> Json | None:
        """The structure with its side and level, where any was said or goes without saying."""
        if item.site is None:
            return None
        known = self._vocab.sites.get(item.site)
        label = known.label if known else item.site.replace("_", " ")
        sided = {"none": label, "both": f"{label}, both sides"}.get(item.side, f"{item.side} {label}")
        body = coded(f"{sided}, {item.level}" if item.level else sided, own_code("site", item.site, label))
        body["extension"] = extensions(
            [
                extension("laterality", valueCodeableConcept=coded(item.side, own_code("side", item.side, item.side)))
                if item.side != "none"
                else None,
                extension("level", valueString=item.level) if item.level else None,
            ]
        )
        return body

    def slots(self, item: Item, line: Line | None) -> list[Json]:
        """What R4 has no element for; a side without a structure too."""
        onset, dose = item.onset, item.dose
        since = quantity_of(onset.value, onset.unit) if onset and onset.value is not None else None
        told = ({"valueBoolean": True},) if onset and onset.sudden else ()
        amounts = dose.model_dump(exclude_none=True) if dose else {}
        parts = [(name, {"valueString" if name == "per" else "valueDecimal": value}) for name, value in amounts.items()]
        return extensions(
            [
                extension("side", valueCode=item.side) if item.site is None and item.side != "none" else None,
                extension("degree", valueCode=item.degree) if item.degree else None,
                extension("change", valueCode=item.change) if item.change else None,
                extension("onset", valueQuantity=since) if since else None,
                *(extension("sudden", **one) for one in told),
                extension("dose", parts=parts) if parts else None,
                *(extension("flag", valueCode=flag) for flag in item.flags),
                *(extension("to-check", valueString=text) for text in (line.checks if line else ())),
            ]
        )

    def _value(self, item: Item) -> Json:
        if item.result in (_NOT_ASSESSED, _NUMBER, None):
            left_out = item.result == _NOT_ASSESSED
            key, text = ("not_assessed", "not assessed") if left_out else ("unsaid", "result not said")
            why = f"{text}: {item.reason}" if item.reason else text
            return {"dataAbsentReason": coded(why, self._codes.term("absent", key))}
        words = self.result(item)
        return {"valueCodeableConcept": coded(words, own_code("result", item.result, words))}

    def _interpretations(self, item: Item) -> list[Coding]:
        found = (self._codes.interpretation(item.concept, item.result), self._codes.term("change", item.change))
        return [code for code in found if code]

    def _suggestions(self, item: Item) -> list[Json]:
        """Codes that may go with the finding; extensions, so that no reader takes one for the finding's code."""
        if not self._suggest:
            return []
        codes = self._codes.suggested(item, self._age_days, self._vocab)
        return [
            extension("suggestions", valueCoding={**code.model_dump(), "userSelected": False}) for code in leaves(codes)
        ]


def quantity(item: Item) -> Json | None:
    """An item's number with its UCUM unit."""
    return quantity_of(item.value, item.unit) if item.value is not None else None


def quantity_of(value: float | None, unit: str | None) -> Json:
    """A Quantity in UCUM; a bare number counts in units of one."""
    code = unit or "1"
    return {"value": value, "unit": _UNIT_WORDS.get(code, code), "system": UCUM, "code": code}


def _category(item: Item) -> Coding:
    if item.kind == "history":
        return _CATEGORIES["told"]
    return _CATEGORIES["measure" if item.concept.startswith("measure.") else "found"]
