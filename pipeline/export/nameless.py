"""Visits for teaching or audit, without what tells who they were.

Kept: what was found, where, with which result and number; ages, sex and gestation. Gone: every name, every word that
was said or typed, sound, hashes and ids (replaced by keyed ones), exact days (one shift for each infant, so that the
time between its visits stays). What remains is drawn from the shipped vocabulary and from numbers inside plain limits;
a term of the clinician's own might be a name and is left out with its line.

Keys and shifts: HMAC-SHA-256 (RFC 2104) over the id. Who holds the key can match the copies of one infant; nobody else.
"""

import hashlib
import hmac
import re
from datetime import date
from uuid import UUID

from pipeline.model import Age, Dose, Infant, Item, Onset
from pipeline.records import FiledVisit
from pipeline.vocabulary import Vocabulary

SHIFT_DAYS = (366, 3652)  # back in time by one to ten years
_LEVEL = re.compile(r"[CTLS]\d{1,2}(-[CTLS]\d{1,2})?")
_GESTATION = range(24, 43)  # completed weeks; rarer ones tell who it was (our choice of limits)
_OPEN = ("not_assessed", "value")
# The largest number believed of a dose or an onset: a telephone number or a date heard as a number ends here.
_MOST = {"seconds": 7200.0, "times": 60.0, "days": 366.0, "value": 366.0}
_PLAIN = 1000.0  # of a concept without limits of its own
_UNITS = frozenset({"1", "kg", "cm", "mm", "Cel", "/min", "deg", "h", "d", "wk", "mo"})


class Nameless:
    """Takes visits and gives what may be shown of them. ``key``: secret, at least 16 bytes."""

    def __init__(self, key: bytes, vocab: Vocabulary) -> None:
        self._key, self._vocab = key, vocab

    def visit(self, filed: FiledVisit) -> FiledVisit:
        """The visit without what tells whose it was; lines with a term of the clinician's own are left out."""
        return FiledVisit(
            visit=self.name("visit", filed.visit),
            infant=self.infant(filed.infant),
            day=self.day(filed.day, filed.infant.id),
            age=Age(days=filed.age.days, corrected_days=filed.age.corrected_days) if filed.age else None,
            recording="",
            signed=filed.signed,
            items=tuple(self._item(item) for item in filed.items if item.concept in self._vocab.concepts),
        )

    def infant(self, infant: Infant) -> Infant:
        """The infant under a keyed name: sex, gestation, a rounded birth weight, the birth date shifted."""
        name = self.name("infant", infant.id)
        return Infant(
            id=name,
            code_name=f"infant-{name[:8]}",
            born=self.day(infant.born, infant.id) if infant.born else None,
            sex=infant.sex,
            gestation_weeks=infant.gestation_weeks if infant.gestation_weeks in _GESTATION else None,
            birth_weight_kg=round(infant.birth_weight_kg, 1) if infant.birth_weight_kg is not None else None,
        )

    def name(self, kind: str, row: str) -> str:
        """The keyed name of a row: the same in every copy made with this key."""
        return hmac.digest(self._key, f"{kind}|{row}".encode(), hashlib.sha256).hex()[:26]

    def day(self, day: date, infant: str) -> date:
        """A day of an infant's record, moved back by the infant's own shift."""
        low, high = SHIFT_DAYS
        digest = hmac.digest(self._key, f"shift|{infant}".encode(), hashlib.sha256)
        back = low + int.from_bytes(digest[:8], "big") % (high - low + 1)
        return date.fromordinal(max(day.toordinal() - back, 1))

    def _item(self, item: Item) -> Item:
        concept = self._vocab.concepts[item.concept]
        low, high = (concept.measure.low, concept.measure.high) if concept.measure else (-_PLAIN, _PLAIN)
        believed = item.value is not None and low <= item.value <= high and (item.unit or "1") in _UNITS
        return Item(
            id=str(UUID(self.name("item", item.id).ljust(32, "0"))),
            kind=item.kind,
            concept=item.concept,
            site=item.site if item.site in self._vocab.sites else None,
            side=item.side,
            level=item.level if item.level and _LEVEL.fullmatch(item.level) else None,
            result=item.result if item.result in (*concept.results, *_OPEN) else None,
            value=item.value if believed else None,
            unit=item.unit if believed else None,
            degree=item.degree,
            reporter=item.reporter,
            source_role=item.source_role,
            change=item.change,
            dose=Dose(**_bounded(item.dose)) if item.dose else None,
            onset=Onset(**_bounded(item.onset)) if item.onset else None,
            evidence=tuple(span.model_copy(update={"quote": "", "words": (0, 0)}) for span in item.evidence),
        )


def _bounded(part: Dose | Onset) -> dict[str, object]:
    told = part.model_dump()
    return {
        name: None if isinstance(value, float) and not 0 <= value <= _MOST.get(name, _PLAIN) else value
        for name, value in told.items()
    }
