"""Invented items for the tests of the check: one line each, no transcript, nobody real."""

from itertools import count

from pipeline.ages import corrected
from pipeline.check import Norms, Options, check, load_norms
from pipeline.check.ages import MONTH
from pipeline.model import Age, Infant, Item, Kind, Onset, Remark, Side, Span, Urgency
from pipeline.records import PastVisit

NORMS: Norms = load_norms()
GIRL = Infant(id="i1", code_name="Wren", sex="female", gestation_weeks=40)
NOT_WORTH_A_WORD = (Urgency.EXPECTED, Urgency.NOT_INFORMATIVE)

_KINDS: dict[str, Kind] = {
    "history": "history",
    "symptom": "history",
    "milestone": "history",
    "technique": "treatment",
    "advice": "advice",
    "plan": "plan",
}


def one(
    concept: str,
    result: str | None = None,
    *,
    site: str | None = None,
    side: Side = "none",
    value: float | None = None,
    unit: str | None = None,
    quote: str = "",
    at: int = 0,
    onset: Onset | None = None,
    **more: object,
) -> Item:
    """One item; ``at`` = second at which it was said, ``quote`` its words (the concept's name by default)."""
    words = quote or concept.replace(".", " ").replace("_", " ")
    span = Span(role="said", start_ms=1000 * at, end_ms=1000 * at + 900, words=(at, at + 1), quote=words)
    return Item.model_validate(
        {
            "id": f"{concept}/{site}/{side}/{result}/{value}/{at}/{words}",
            "kind": _KINDS.get(concept.split(".")[0], "finding"),
            "concept": concept,
            "site": site,
            "side": side,
            "result": result or ("value" if value is not None else None),
            "value": value,
            "unit": unit,
            "onset": onset,
            "evidence": (span,),
            **more,
        }
    )


def spread(*items: Item) -> tuple[Item, ...]:
    """The same items, said one second after the other."""
    clock = count()
    return tuple(
        item.model_copy(
            update={
                "id": f"{item.id}@{second}",
                "evidence": tuple(
                    span.model_copy(
                        update={"start_ms": 1000 * second, "end_ms": 1000 * second + 900, "words": (second, second + 1)}
                    )
                    for span in item.evidence
                ),
            }
        )
        for item in items
        for second in [next(clock)]
    )


def old(days: float = 0, *, weeks: float = 0, months: float = 0, born_at: int | None = 40) -> Age:
    """An age; ``born_at`` = weeks of gestation (None: not known)."""
    whole = int(days + 7 * weeks + months * MONTH + 0.999)
    return Age(days=whole, corrected_days=corrected(whole, born_at))


def raised(
    *items: Item,
    age: Age | None,
    infant: Infant | None = None,
    previous: tuple[PastVisit, ...] = (),
    options: Options | None = None,
) -> tuple[Remark, ...]:
    """The remarks on these items, of a term girl unless told otherwise."""
    return check(
        spread(*items), infant=infant or GIRL, age=age, norms=NORMS, previous=previous, options=options or Options()
    )


def rules(remarks: tuple[Remark, ...]) -> set[str]:
    """The rules that were raised."""
    return {remark.rule for remark in remarks}


def verdict(remarks: tuple[Remark, ...]) -> str:
    """The most pressing of the remarks about findings: its urgency; ``no_flag`` where there is none."""
    apart = ("SAFETY_NET", "HOLD", "LAW", "ASK.")
    about = [r for r in remarks if not r.rule.startswith(apart)]
    return about[0].urgency.value if about else "no_flag"


def seek(remarks: tuple[Remark, ...], rule: str) -> list[Remark]:
    """The remarks of one rule."""
    return [remark for remark in remarks if remark.rule == rule]


def seen(concept: str, result: str = "present", site: str | None = None, **more: object) -> Item:
    """A finding or a told fact that is there unless told otherwise."""
    return one(concept, result, site=site, **more)  # type: ignore[arg-type]


def number(concept: str, value: float, unit: str, site: str = "whole_body") -> Item:
    """A measurement."""
    return one(concept, site=site, value=value, unit=unit)


def weighed(kilos: float) -> Item:
    """A weight in kilograms."""
    return number("measure.weight", kilos, "kg")


def warm(degrees: float) -> Item:
    """A temperature in degrees Celsius."""
    return number("measure.temperature", degrees, "Cel")


def head(centimetres: float) -> Item:
    """A head circumference."""
    return number("measure.head_circumference", centimetres, "cm", "skull")


def before(days: int, *items: Item) -> tuple[PastVisit, ...]:
    """One earlier visit, at that age of a term infant."""
    return (PastVisit(id="v1", age=Age(days=days, corrected_days=days), items=items),)


def flag_raised(remarks: tuple[Remark, ...], flag: str) -> list[Remark]:
    """The remarks of a danger sign that press: what only asks or watches beside the flag itself is none."""
    pressing = (Urgency.REFER, Urgency.SAME_DAY, Urgency.EMERGENCY)
    least = (Urgency.WATCH, *pressing) if flag in ("RF47", "RF48") else pressing
    return [r for r in remarks if r.rule == flag and (r.urgency in least or flag == "C04")]
