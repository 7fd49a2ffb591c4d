"""The check: all items of a visit held against all rules. Order of the items does not matter."""

from collections.abc import Sequence

from pipeline.ages import corrected
from pipeline.check import ages, growth, tables
from pipeline.check.contradictions import contradictions
from pipeline.check.facts import Fact, Facts, fact_of, without
from pipeline.check.hold import hold_question
from pipeline.check.identity import turned, wrong_infant
from pipeline.check.law import law_remarks
from pipeline.check.norms import Norms
from pipeline.check.plausible import implausible
from pipeline.check.remarks import ORDER, Waiting, apply_rules, questions
from pipeline.check.rows import RedFlag, Rule
from pipeline.check.safety_net import net_remark
from pipeline.check.visit import Options
from pipeline.model import Age, Infant, Item, Remark, Urgency
from pipeline.records import PastVisit

_DEFAULT = Options()
WORRY = "RF48"
EARLY_DAYS = 28  # loss and regain of birth weight are looked at in these days (NICE NG75: back by three weeks)
RAISED = (Urgency.WATCH, Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)


def check(
    items: Sequence[Item],
    *,
    infant: Infant,
    age: Age | None,
    norms: Norms,
    previous: Sequence[PastVisit] = (),
    options: Options = _DEFAULT,
) -> tuple[Remark, ...]:
    """All remarks on a visit, most pressing first; safeguarding remarks are marked and shown to the clinician alone.

    age: at this visit (``ages.age_at_visit``); None = unknown, which makes rules ask. previous: earlier visits,
    oldest first. No option, template or earlier telling leaves out a danger sign.
    """
    weeks = ages.gestation(infant, items)
    age = _with_correction(age, weeks)
    facts = Facts([fact_of(item) for item in items], norms.parents)
    doubted = [
        (fact, remark) for fact, remark in implausible(facts, infant, age, norms) if remark.id not in options.confirmed
    ]
    believed = Facts(without(facts, frozenset(i for fact, _ in doubted for i in fact.items)), norms.parents)
    told_then = [tuple(fact_of(item, earlier=True) for item in visit.items) for visit in previous]
    past = [fact for then in told_then for fact in then]
    dated = [_dated(visit, then, weeks) for visit, then in zip(previous, told_then, strict=True)]
    earlier = [visit for visit in dated if visit is not None]
    full = Facts([*believed, *past, *_of_chart(infant)], norms.parents)
    computed = [*growth.growth_facts(full, infant, age, norms, earlier), *tables.table_facts(full, age, norms)]
    full = Facts([*full, *computed], norms.parents)
    full = Facts([*full, *tables.scale_facts(full, norms)], norms.parents)

    raised, waiting = apply_rules((*norms.red_flags, *norms.rules), full, infant, age, weeks, norms)
    _ask_for_growth(full, infant, age, waiting)
    remarks = [remark for remark, _ in raised] + [remark for _, remark in doubted]
    remarks = _worried(remarks, raised)
    remarks = [r for r in remarks if not _gainsaid(r, raised)]
    told = {rule for visit in previous for rule in visit.told}
    remarks = [r for r in remarks if not _told_before(r, raised, told)]
    remarks += hold_question(raised, full)
    remarks += questions(waiting)
    remarks += (r for r in law_remarks(full, age, norms, options.jurisdiction) if not _once(r, norms, told))
    last = Facts([fact_of(i) for i in previous[-1].items] if previous else [], norms.parents)
    remarks += contradictions(believed, last, norms)
    remarks += wrong_infant(believed, infant, age, norms, earlier, options.words, options.known_names)
    remarks += turned(options.turns, norms)
    remarks += net_remark(full, norms, remarks)
    unique = {remark.id: remark for remark in reversed(remarks)}
    return tuple(sorted(unique.values(), key=lambda r: (-ORDER[r.urgency], r.id)))


def _with_correction(age: Age | None, weeks: int | None) -> Age | None:
    if age is None or age.corrected_days is not None:
        return age
    return age.model_copy(update={"corrected_days": corrected(age.days, weeks)})


def _dated(visit: PastVisit, facts: tuple[Fact, ...], weeks: int | None) -> growth.Visit | None:
    age = _with_correction(visit.age, weeks)
    return growth.Visit(age=age, facts=facts) if age is not None else None


def _of_chart(infant: Infant) -> list[Fact]:
    return [
        Fact("infant.risk_factor", site="whole_body", result="present", text=risk.lower(), start_ms=-1)
        for risk in infant.risk_factors
    ]


def _ask_for_growth(facts: Facts, infant: Infant, age: Age | None, waiting: dict[str, Waiting]) -> None:
    measured = facts.of(*growth.TABLES)
    if not measured:
        return
    if infant.sex is None:
        waiting["sex"].add(measured)
    if age is None:
        waiting["age"].add(measured)
    elif age.corrected_days is None:
        waiting["gestation"].add(measured)
    weighed = facts.of("measure.weight")
    if weighed and age is not None and age.days <= EARLY_DAYS and growth.birth_weight(facts, infant) is None:
        waiting["birth_weight"].add(weighed)


def _worried(remarks: list[Remark], raised: Sequence[tuple[Remark, Rule]]) -> list[Remark]:
    """A very worried carer lifts the concern one level above the most pressing sign of illness."""
    signs = [r for r, rule in raised if isinstance(rule, RedFlag) and rule.withhold and rule.withhold.everything]
    open_signs = [r for r in signs if not r.safeguarding and r.rule != WORRY]
    if not open_signs:
        return remarks
    worst = max(open_signs, key=lambda r: (ORDER[r.urgency], r.id))
    level = RAISED[min(RAISED.index(worst.urgency) + 1, len(RAISED) - 1)] if worst.urgency in RAISED else Urgency.WATCH
    return [
        r.model_copy(
            update={
                "urgency": level,
                "reason": f"{r.reason} With this sign it weighs one level more: {worst.title}.",
                "items": tuple(sorted({*r.items, *worst.items})),
            }
        )
        if r.rule == WORRY
        else r
        for r in remarks
    ]


def _gainsaid(remark: Remark, raised: Sequence[tuple[Remark, Rule]]) -> bool:
    """ "Expected" beside a referral on the same finding: one toe up and one down are not each as they should be."""
    return remark.urgency is Urgency.EXPECTED and any(
        ORDER[other.urgency] >= ORDER[Urgency.REFER] and {*remark.items} <= {*other.items} and _plain(rule)
        for other, rule in raised
    )


def _plain(rule: Rule) -> bool:
    """Whether a rule judges what was found, not a number computed from it, which tells more beside the number."""
    return not any(concept.startswith("computed.") for concept in rule.when.concepts)


def _told_before(remark: Remark, raised: Sequence[tuple[Remark, Rule]], told: set[str]) -> bool:
    """What is expected, or asks to be told once, is not repeated, whatever the side; a danger sign always is.

    So is what tells a new number: where weight, length and head lie today.
    """
    rule = next((rule for other, rule in raised if other.id == remark.id), None)
    if rule is None or isinstance(rule, RedFlag) or remark.rule not in {name.split(":")[0] for name in told}:
        return False
    return rule.once or (remark.urgency is Urgency.EXPECTED and "{note}" not in rule.reason)


def _once(remark: Remark, norms: Norms, told: set[str]) -> bool:
    return remark.id in told and any(row.once for row in norms.laws if row.id == remark.rule)
