"""Plans and the safety net: when to come again, what to look at again, what to come back for."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.extract.clauses import Clause, place_of
from pipeline.extract.drafts import Draft, without_flag
from pipeline.extract.filing import Filing
from pipeline.extract.focus import Target
from pipeline.extract.frames import Frame, FrameBuilder
from pipeline.extract.ledger import extend
from pipeline.extract.marks import Mark
from pipeline.model import span_of


class Plans(Filing):
    """Reads what is planned."""

    def _timed(self, drafts: Sequence[Draft], clause: Clause, marks: Sequence[Mark]) -> list[Draft]:
        """ "Three weeks, and then I'll see you again": the interval stands in the clause before or after."""
        state = self._state
        out = []
        for draft in drafts:
            loose = state.loose
            if draft.concept == "plan.next_visit" and draft.value is None and loose and state.clause - loose[0] <= 1:
                draft = replace(draft, result="value", value=loose[1], unit=loose[2])
            out.append(draft)
        times = [m.number for m in marks if m.number is not None and m.number.unit in ("d", "wk", "mo")]
        if times and not drafts:
            number = times[-1]
            state.loose = (state.clause, round(number.value, 2), number.unit)
            for record in state.ledger.last(state.last):
                item = record.item
                if item.concept == "plan.next_visit" and item.value is None and state.clause - record.clause <= 1:
                    span = span_of(self._words, *self._range(clause.a, clause.b))
                    slots = {"result": "value", "value": round(number.value, 2), "unit": number.unit}
                    state.ledger.amend(item.id, state.clause, None, evidence=extend(item, span), **slots)
        return out

    def _rechecked(self, drafts: Sequence[Draft], frames: Sequence[Frame], own: Sequence[Target]) -> list[Draft]:
        """What is to be looked at again: every structure named in the clause, or where the finding named was found."""
        if not any(d.concept == "plan.recheck" for d in drafts):
            return list(drafts)
        named = list(own) + [t for f in frames for t in self._resolver.targets(f) if t not in own]
        for mark in (m for f in frames for m in f.concepts):
            concept = self._resolver.named(mark, None, frozenset({"finding"}))
            place = self._found_at(concept) if concept is not None else None
            if place is not None and place.site not in {t.site for t in named}:
                named.append(place)
        lines = [set(self._vocab.site_line(t.site)) - {t.site} for t in named if t.site]
        named = [t for t in named if not any(t.site in line for line in lines)]  # the flat spot, not the whole head
        first = next(d for d in drafts if d.concept == "plan.recheck")
        rest = [d for d in drafts if d.concept != "plan.recheck"]
        if not named:
            return [*rest, first]
        return [*rest, *(self._again(first, t) for t in named)]

    def _referred(self, drafts: Sequence[Draft], frames: Sequence[Frame], clause: Clause) -> list[Draft]:
        """ "I'm writing to them about the tone in her legs", "I want that tongue seen to, so I'm referring her"."""
        if not any(d.concept == "plan.refer" and d.site is None for d in drafts):
            return list(drafts)
        first = min(d.a for d in drafts)
        about = [f for f in frames if f.sites and self._about(f.sites[0], first, clause)]
        asked = self._wanted(clause)
        named = [t for f in about for t in self._resolver.own(f, self._state.focus)] or asked
        if len(named) != 1:
            return list(drafts)
        return [self._again(d, named[0]) if d.concept == "plan.refer" and d.site is None else d for d in drafts]

    def _sided_before(self, draft: Draft, clause: Clause) -> Draft:
        """ "Anything fun goes on her right, so she turns that way", "For the left breast, bring her in under ..."."""
        if draft.side != "none" or draft.concept not in self._vocab.listed("advice_by_side") or clause.hard:
            return draft
        n = first = place_of(clause, self._clauses)
        while first > 0 and not self._clauses[first].hard:
            first -= 1
        before = self._marked.within(self._clauses[first].a, self._clauses[n].a)
        sides = {m.side for m in before if m.kind == "side" and m.side in ("left", "right")}
        return replace(draft, side=sides.pop()) if len(sides) == 1 else draft

    def _on_its_side(self, draft: Draft) -> Draft:
        """ "I'll leave the shoulder alone", "an X-ray of that one": of the only side where something was found."""
        if draft.concept not in self._vocab.listed("of_the_one_found") or draft.side != "none" or draft.site is None:
            return draft
        definite = self._marked.words(max(0, draft.a - 1), draft.b + 1) & {"the", "that", "his", "her"}
        if not definite or not self._vocab.sites[draft.site].paired:
            return draft
        side = self._state.focus.troubled.get(draft.site, "")
        return replace(draft, side=side, flags=without_flag(draft.flags, "side_missing")) if side else draft

    def _about(self, site: Mark, after: int, clause: Clause) -> bool:
        """The structure follows the referral as what it is about."""
        led = self._marked.words(max(clause.a, site.a - 6), site.a)
        return site.a >= after and bool(led & self._vocab.listed("referred_about"))

    def _wanted(self, clause: Clause) -> list[Target]:
        """The structure that the same sentence, just before, wants somebody to see."""
        n = place_of(clause, self._clauses)
        if clause.hard or n == 0:
            return []
        before = self._clauses[n - 1]
        if not self._marked.words(before.a, before.b) & {"seen", "see", "look", "looked", "checked", "examined"}:
            return []
        frames = FrameBuilder(self._vocab, self._marked, before).build()
        return [t for f in frames for t in self._resolver.own(f, self._state.focus)]

    def _again(self, draft: Draft, target: Target) -> Draft:
        site = self._vocab.sites[target.site or "whole_body"]
        side = target.side if site.paired and target.side in ("left", "right", "both") else ""
        if not side and target.plural and site.paired:
            side = "both"
        return replace(draft, site=site.id, side=side or "none", level=target.level)

    def _found_at(self, concept: str) -> Target | None:
        """Where this visit last found it, else its default site."""
        found = self._state.ledger.of(concept)
        if found:
            return Target(found[0].item.site, found[0].item.side, found[0].item.level)
        site = self._vocab.concepts[concept].site
        return Target(site) if site else None

    def _return_if(self, clause: Clause) -> list[str]:
        """A condition with somebody to call is advice on what to come back for."""
        marked = self._marked
        n = place_of(clause, self._clauses)
        first = n
        while first > 0 and not self._clauses[first].hard:
            first -= 1
        last = n
        while last + 1 < len(self._clauses) and not self._clauses[last + 1].hard:
            last += 1
        a, b = self._clauses[first].a, self._clauses[last].b
        cues = marked.acts(a, b)
        words = marked.words(a, b)
        conditional = bool(words & self._vocab.listed("conditions"))
        unreal = "would" in words and "you" not in words  # "that would be an emergency" is an explanation
        asked = marked.tokens[b - 1].stop == "?"
        if not {"contact", "watch_for"} & cues or not conditional or unreal or asked:
            return []
        step = ("concept", "advice.return_if", "condition and contact", a, b)
        draft = Draft("advice.return_if", None, "none", None, "given", a, b, steps=(step,))
        return self._file([draft], replace(clause, a=a, b=b))
