"""One item -> one line in clear words: only slots that were said, in conventional order."""

import re

from pipeline.draft.wording import Wording
from pipeline.model import Dose, Extraction, Item, Onset, Transcript
from pipeline.patterns import fill, needs, quoted
from pipeline.vocabulary import Vocabulary

_OPEN = "not_assessed"
_PLAIN = re.compile(r"[^\w\s]+")
_NUMBER = "value"
_MINUTES_FROM = 120  # seconds; below it seconds are what is said
_HALVES = "\n"  # between head and body of a pattern; speech cannot reach a pattern


class LineWriter:
    """Words items as lines. Built once a note from the vocabulary and the wording; holds nothing else."""

    def __init__(self, vocab: Vocabulary, wording: Wording) -> None:
        self._vocab = vocab
        self._wording = wording

    def text(self, item: Item, *, as_said: str, told: bool = False, after_treatment: bool = False) -> str:
        """The line of an item.

        as_said: the words that gave the number, "" where there is none. told: the section already says that the
        caregiver is the source. after_treatment: the state was said after a treatment of the same structure.
        """
        pattern = self._pattern(item)
        slots = self._slots(item, pattern, as_said)
        head, body = (fill(half, slots).removeprefix(", ").strip() for half in pattern.split(_HALVES))
        line = ": ".join(half for half in (head, body) if half)
        words = [line, *self._left_out(line, slots), *self._tails(item, pattern, slots)]
        if after_treatment:
            words.append(self._wording.word("line", "after_treatment"))
        words.append(self._source(item, told=told))
        text = ", ".join(word for word in words if word)
        return text[:1].upper() + text[1:]

    def short(self, item: Item, *, veiled: bool = False) -> str:
        """Structure, side and result alone, for a screen that others see; ``veiled`` leaves the result out.

        What is running speech by its nature reads as the label of what it is about.
        """
        pattern = self._pattern(item)
        slots = self._slots(item, pattern, "")
        head, body = (fill(half, slots).removeprefix(", ").strip() for half in pattern.split(_HALVES))
        place = ", ".join(part for part in (self._site_label(item.site) if item.site else "", slots["own"]) if part)
        if veiled or "{words}" in pattern:
            text = place or slots["label"]
        else:
            line = ": ".join(half for half in (head, body) if half)
            amount = slots["amount"] if "{value}" not in pattern and "{amount}" not in pattern else ""
            text = ", ".join(word for word in (line, amount, *self._left_out(line, slots)) if word)
        return text[:1].upper() + text[1:]

    def lacks_structure(self, item: Item) -> bool:
        """Whether the line speaks about a structure and none was said."""
        return item.site is None and needs(self._pattern(item), "site")

    def state(self, item: Item) -> str:
        """What the line makes of its place on the outline: ``open``, ``found`` or ``looked``."""
        if item.result == _OPEN:
            return "open"
        quiet = (*self._wording.phrase(item.concept).quiet, _NUMBER, None)
        return "looked" if item.result in quiet else "found"

    def _site_label(self, site: str) -> str:
        """How a site reads inside a line; a site the vocabulary does not hold reads as its id in plain letters."""
        if site in self._wording.sites:
            return self._wording.sites[site]
        known = self._vocab.sites.get(site)
        return known.label if known else site.replace("_", " ")

    def _pattern(self, item: Item) -> str:
        """Head and body of a line as one pattern, ``_HALVES`` between them."""
        phrase = self._wording.phrase(item.concept)
        result, head = item.result, phrase.head
        if result in phrase.whole:
            return _HALVES + phrase.whole[result]
        if result == _OPEN or result is None:
            if "{label}" not in head and not phrase.names:
                head = f"{head}, {{label}}" if head else "{label}"
            body = self._wording.word("line", _OPEN if result else "no_result")
        else:
            body = phrase.results.get(result, "{amount}" if result == _NUMBER else "{result}")
            head = head if head or result in phrase.results else "{label}"
        return f"{head}{_HALVES}{body}"

    def _slots(self, item: Item, pattern: str, as_said: str) -> dict[str, str]:
        word = self._wording.word
        concept = self._vocab.concepts.get(item.concept)
        form = concept.results.get(item.result or "") if concept else None
        site = self._site_label(item.site) if item.site else ""
        optional = (
            "" if item.site == "whole_body" else site
        )  # "of the whole body" says nothing where it may be left out
        side = item.side if item.side != "none" else None
        known = self._vocab.sites.get(item.site or "")
        paired = known is not None and known.paired
        return {
            "label": concept.label if concept else item.concept.rpartition(".")[2].replace("_", " "),
            "result": form.label if form else (item.result or "").replace("_", " "),
            "site": site or word("line", "no_site") if needs(pattern, "site") else optional,
            "elsewhere": "" if concept and concept.site == item.site else optional,
            "level": item.level or "",
            "side": word("side", side),
            "to": word("to", side),
            "on": word("on", side),
            "own": word("side", side) if paired else "",
            "toward": "" if paired else word("to", side),
            "amount": self._amount(item.value, item.unit) if item.value is not None else "",
            "value": self._value(item, as_said),
            "words": quoted(item.detail or item.quote),
        }

    def _left_out(self, line: str, slots: dict[str, str]) -> list[str]:
        """A site, level or side that was said and that the pattern has no room for."""
        sides = [slots[slot] for slot in ("side", "to", "on")]
        told = f" {_PLAIN.sub(' ', line)} "  # "left" does not stand in "cleft"
        return [
            slots["elsewhere"] if slots["elsewhere"].lower() not in line.lower() else "",
            slots["level"] if slots["level"] not in line else "",
            slots["side"] if not any(f" {side} " in told for side in sides) else "",
        ]

    def _tails(self, item: Item, pattern: str, slots: dict[str, str]) -> list[str]:
        """What else was said, each part only where it was said and not yet in the line."""
        word = self._wording.word
        found = self.state(item) == "found"  # "not tight, marked" would say nothing true; the words stand beside
        tails: list[str] = [item.degree or "" if found else ""]
        if "{value}" not in pattern and "{amount}" not in pattern:
            tails.append(slots["amount"])
        tails.append(word("change", item.change if item.change != item.result else None))
        tails.append(self._dose(item.dose) if item.dose else "")
        tails.append(self._onset(item.onset) if item.onset else "")
        if item.detail and "{words}" not in pattern:
            tails.append(quoted(item.detail))
        if item.reason:
            tails.append(fill(word("line", "reason"), {"words": quoted(item.reason)}))
        return tails

    def _value(self, item: Item, as_said: str) -> str:
        """The number as said, then converted; once only where both are the same."""
        if item.value is None:
            return ""
        number = self._amount(item.value, item.unit)
        if not as_said or f"{item.value:g}" in as_said.split():
            return number
        return f"{quoted(as_said)} = {number}"

    def _amount(self, value: float, unit: str | None) -> str:
        """A number with its unit as a person reads it; ``37.28 °C``, ``1 week``."""
        one = self._wording.words["unit_one"].get(unit or "") if value == 1 else None
        return f"{value:g}{one or self._wording.words['unit'].get(unit or '', f' {unit}' if unit else '')}"

    def _dose(self, dose: Dose) -> str:
        words, said = self._wording.words["line"], []
        if dose.seconds is not None:
            whole = dose.seconds >= _MINUTES_FROM and dose.seconds % 60 == 0
            code = "minutes" if whole else "second" if dose.seconds == 1 else "seconds"
            said.append(fill(words[code], {"value": f"{dose.seconds / 60 if whole else dose.seconds:g}"}))
        if dose.times is not None:
            few = {1.0: words["once"], 2.0: words["twice"]}.get(dose.times)
            said.append(few or fill(words["times"], {"value": f"{dose.times:g}"}))
        if dose.per:
            said[-1:] = [" ".join([*said[-1:], self._wording.words["per"][dose.per]])]
        if dose.days is not None:
            said.append(fill(words["days"], {"value": self._amount(dose.days, "d")}))
        return ", ".join(said)

    def _onset(self, onset: Onset) -> str:
        words = self._wording.words["line"]
        since = (
            fill(words["since"], {"value": self._amount(onset.value, onset.unit)}) if onset.value is not None else ""
        )
        return ", ".join(part for part in (words["sudden"] if onset.sudden else "", since) if part)

    def _source(self, item: Item, *, told: bool) -> str:
        """Who told or found it, where that is not the clinician and the section does not say it already."""
        told_by = self._wording.words["told_by"]
        if item.source_role in told_by:
            return told_by[item.source_role]
        return told_by["caregiver"] if item.reporter == "caregiver" and not told else ""


def words_of_value(item: Item, extraction: Extraction, transcript: Transcript) -> str:
    """The words that gave an item its number: by the trace where it tells, else the item's spoken words."""
    if item.value is None:
        return ""
    for step in extraction.trace.get(item.id, ()):
        if step.slot == "value" and 0 <= step.words[0] < step.words[1] <= len(transcript.words):
            return transcript.quote(step.words).strip(" .,;:!?")
    return " ".join(span.quote for span in item.spoken).strip(" .,;:!?")
