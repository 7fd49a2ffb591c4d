"""Infants, visits and contacts: who is who, and what belongs where."""

import sys
from datetime import date, datetime, time
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.app import AgeOption, Gestation, Json, Sex, app, at_record, json_text, print_lines, ready, say
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.infants import Facts

infant = typer.Typer(help="Infants on record: enter, put right, list, merge and split.", no_args_is_help=True)
visit = typer.Typer(help="Visits: list, open and write by hand, move, cut between infants.", no_args_is_help=True)
contact = typer.Typer(help="Contacts that are no visits, with their files.", no_args_is_help=True)
app.add_typer(infant, name="infant")
app.add_typer(visit, name="visit")
app.add_typer(contact, name="contact")

InfantKey = Annotated[str, typer.Argument(metavar="INFANT", help="Code name or id.")]
VisitKey = Annotated[str, typer.Argument(metavar="VISIT", help="The visit's id, or its last letters.")]
LegalName = Annotated[str | None, typer.Option("--legal-name", help="Name by law.", metavar="NAME")]
Born = Annotated[str | None, typer.Option(help="Birth date, year-month-day.", metavar="DATE")]
SexOption = Annotated[Sex | None, typer.Option(help="For the growth standards.")]
BirthWeight = Annotated[float | None, typer.Option("--birth-weight", help="Kilograms.", metavar="KG")]
Risks = Annotated[
    list[str] | None,
    typer.Option("--risk", help='Known risk, such as "breech" or "family hip dysplasia"; may be repeated.'),
]
Carers = Annotated[
    list[str] | None,
    typer.Option("--carer", help='"NAME, ROLE, may consent" (or "may not consent"); may be repeated.'),
]
Day = Annotated[str | None, typer.Option("--on", help="The day; today if not given.", metavar="DATE")]
At = Annotated[str | None, typer.Option("--at", help="The time of day, like 10:00.", metavar="TIME")]


class Unknown(StrEnum):
    """What ``--unknown`` takes."""

    LEGAL_NAME = "legal-name"
    BORN = "born"
    SEX = "sex"
    GESTATION = "gestation"
    BIRTH_WEIGHT = "birth-weight"
    RISK = "risk"
    CARER = "carer"


_FIELDS = {"gestation": "gestation_weeks", "birth-weight": "birth_weight_kg", "risk": "risk_factors", "carer": "carers"}


class ContactKind(StrEnum):
    """What a contact was."""

    CALL = "call"
    REPORT = "report"
    REFERRAL_ANSWER = "referral-answer"
    MISSED_VISIT = "missed-visit"
    OTHER = "other"


_KINDS: dict[ContactKind, Any] = {
    ContactKind.REFERRAL_ANSWER: "referral_answer",
    ContactKind.MISSED_VISIT: "visit_missed",
}


@infant.command("add")
def infant_add(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Code name.")] = None,
    legal_name: LegalName = None,
    born: Born = None,
    sex: SexOption = None,
    gestation: Gestation = None,
    birth_weight: BirthWeight = None,
    risk: Risks = None,
    carer: Carers = None,
    as_json: Json = False,
) -> None:
    """Enter an infant; one name is enough."""
    from pipeline.infants import add
    from pipeline.show import infant_lines

    facts = _facts(name, legal_name, born, sex, gestation, birth_weight, risk, carer)
    entered = add(facts, at_record(), today=date.today())
    print_lines([entered.model_dump_json()] if as_json else infant_lines(entered))


@infant.command("edit")
def infant_edit(
    infant: InfantKey,
    name: Annotated[str | None, typer.Option("--name", help="New code name.")] = None,
    legal_name: LegalName = None,
    born: Born = None,
    sex: SexOption = None,
    gestation: Gestation = None,
    birth_weight: BirthWeight = None,
    risk: Risks = None,
    carer: Carers = None,
    unknown: Annotated[list[Unknown] | None, typer.Option(help="Take a fact back; may be repeated.")] = None,
    as_json: Json = False,
) -> None:
    """Put right what is known of an infant; its visits are drafted again. Risks and carers replace those before."""
    from pipeline.infants import edit
    from pipeline.show import infant_lines, redrafted_lines

    facts = _facts(name, legal_name, born, sex, gestation, birth_weight, risk, carer, unknown or ())
    config, stages = ready()
    known, days = edit(infant, facts, config, stages, today=date.today())
    print_lines([known.model_dump_json()] if as_json else [*infant_lines(known), *redrafted_lines(days)])


@infant.command("list")
def infant_list(as_json: Json = False) -> None:
    """List the infants with what is known of them."""
    from pipeline.infants import listed
    from pipeline.show import infants_lines

    found = listed(at_record())
    print_lines([json_text([one.model_dump(mode="json") for one in found])] if as_json else infants_lines(found))


@infant.command("log")
def infant_log(infant: InfantKey, as_json: Json = False) -> None:
    """Show who read and who changed what is on record of an infant, oldest first."""
    from dataclasses import asdict

    from pipeline.readings import log
    from pipeline.show import log_lines

    who, found = log(infant, at_record())
    shown = [asdict(one) | {"at": one.at.isoformat()} for one in found]
    print_lines([json_text(shown)] if as_json else log_lines(who, found))


@infant.command("merge")
def infant_merge(
    infant: InfantKey,
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The entry that is the same infant.")],
) -> None:
    """Two entries are one infant: OTHER's visits go to INFANT. Both histories are kept; split undoes it."""
    from pipeline.infants import merge
    from pipeline.show import infant_lines, redrafted_lines

    config, stages = ready()
    kept, days = merge(infant, other, config, stages)
    print_lines([*infant_lines(kept), *redrafted_lines(days)])


@infant.command("split")
def infant_split(
    entry: Annotated[str, typer.Argument(metavar="ENTRY", help="The entry that was merged, by its code name or id.")],
) -> None:
    """Undo a merge: the entry stands by itself again, with the visits filed to it."""
    from pipeline.infants import split
    from pipeline.show import infant_lines, redrafted_lines

    config, stages = ready()
    apart, kept, days = split(entry, config, stages)
    print_lines([*infant_lines(kept), *infant_lines(apart), *redrafted_lines(days)])


@visit.command("list")
def visit_list(as_json: Json = False) -> None:
    """List the visits, newest first."""
    from pipeline.review import visits
    from pipeline.show import visits_lines

    found = visits(at_record())
    print_lines([json_text([one.model_dump(mode="json") for one in found])] if as_json else visits_lines(found))


@visit.command("open")
def visit_open(infant: InfantKey, on: Day = None, at: At = None, age: AgeOption = None, as_json: Json = False) -> None:
    """Open a visit without a recording; its words come later: `visit write`, or `draft --visit`."""
    from pipeline.handwritten import open_visit
    from pipeline.show import opened_lines

    opened = open_visit(infant, at_record(), today=date.today(), on=_day(on), at=_time(at), age=age)
    print_lines([opened.model_dump_json()] if as_json else opened_lines(opened))


@visit.command("write")
def visit_write(
    visit: VisitKey,
    text: Annotated[Path, typer.Argument(metavar="TEXT|-", help="A plain text (UTF-8); - reads what is typed.")],
) -> None:
    """Write what a visit without a recording held; drafted like a spoken one, and stamped when it was written."""
    from pipeline.handwritten import write_visit
    from pipeline.show import written_lines

    try:
        said = sys.stdin.read() if str(text) == "-" else text.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{text}: not UTF-8 text (byte {error.start}); save it as plain text.") from error
    except OSError as error:
        raise InputError(f"{text}: cannot be read ({error.strerror}).") from error
    config, stages = ready()
    print_lines(written_lines(write_visit(visit, said, config, stages, now=datetime.now().astimezone())))


@visit.command("move")
def visit_move(
    visit: VisitKey,
    to: Annotated[str, typer.Argument(metavar="INFANT", help="Whom it belongs to: code name or id.")],
    reason: Annotated[str, typer.Option(help="Why, for the record.", metavar="TEXT")] = "",
) -> None:
    """File a visit to another infant: it was filed to the wrong one. The drafts of both are made again."""
    from pipeline.moves import move
    from pipeline.show import moved_lines

    config, stages = ready()
    print_lines(moved_lines(move(visit, to, config, stages, reason=reason)))


@visit.command("cut")
def visit_cut(
    visit: VisitKey,
    give: Annotated[
        list[str] | None, typer.Option(help="A stretch and its infant; may be repeated.", metavar="FROM-TO=INFANT")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show where a recording goes over to another infant (twins); with --give, cut it: a visit for each.

    A stretch that is given to nobody belongs to nobody. Said again, it replaces the cut before.
    """
    from pipeline.moves import give_stretches, propose_cuts
    from pipeline.show import parts_lines, proposed_lines

    config, stages = ready()
    if give:
        parts = give_stretches(visit, give, config, stages)
        shown = [part.model_dump(mode="json") for part in parts]
        print_lines([json_text(shown)] if as_json else parts_lines(parts, config))
    else:
        proposed = propose_cuts(visit, config, stages)
        print_lines([proposed.model_dump_json()] if as_json else proposed_lines(proposed))


@visit.command("hold-back")
def visit_hold_back(
    visit: VisitKey,
    start: Annotated[str, typer.Argument(metavar="FROM", help="Minutes:seconds, as the note has them.")],
    end: Annotated[str, typer.Argument(metavar="TO", help="Likewise, like 1:12.5.")],
    reason: Annotated[str, typer.Option(help="Of whom it tells, or who is heard.", metavar="TEXT")],
) -> None:
    """Mark a stretch that tells of somebody else: no copy for a request holds it unless it is released."""
    from pipeline.disclosures import hold_back

    held = hold_back(visit, start, end, reason, at_record())
    print_lines([f"Held back in copies for a request: {start} to {end}, {held.why}."])


@visit.command("then")
def visit_then(
    visit: VisitKey,
    when: Annotated[str, typer.Argument(metavar="WHEN", help='A day, or a minute like "2026-11-25 18:40".')],
    as_json: Json = False,
) -> None:
    """Show a visit's note as it stood at an earlier time, what was asked then, and what had been answered."""
    from pipeline.earlier import stood
    from pipeline.readings import note_read
    from pipeline.show import stood_lines

    config, stages = ready()
    found = stood(visit, when, config, stages, now=datetime.now().astimezone())
    note_read(config, "earlier note", "command", visit=found.visit)
    print_lines([found.model_dump_json()] if as_json else stood_lines(found))


@contact.command("add")
def contact_add(
    infant: InfantKey,
    what: Annotated[ContactKind, typer.Argument(metavar="WHAT", help=", ".join(ContactKind) + ".")],
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What was said or came.")],
    on: Day = None,
    at: At = None,
    visit: Annotated[str | None, typer.Option(help="The visit that it belongs to.", metavar="VISIT")] = None,
    file: Annotated[list[Path] | None, typer.Option(help="A file that came with it; may be repeated.")] = None,
    as_json: Json = False,
) -> None:
    """Enter a contact that is no visit: a call, a report, an answered referral, a missed visit."""
    from pipeline.contacts import add
    from pipeline.show import contact_lines

    config = at_record()
    who, entered = add(
        infant, _KINDS.get(what, what.value), text, config,
        today=date.today(), on=_day(on), at=_time(at), visit=visit, files=file or (),
    )  # fmt: skip
    print_lines([entered.model_dump_json()] if as_json else contact_lines(who, [entered], config))


@contact.command("list")
def contact_list(
    infant: InfantKey,
    to: Annotated[Path | None, typer.Option(help="A folder for copies of their files.", metavar="FOLDER")] = None,
    as_json: Json = False,
) -> None:
    """List the contacts of an infant, oldest first, with where their files lie."""
    from pipeline.contacts import contacts, copy_files
    from pipeline.readings import note_read
    from pipeline.show import contact_lines

    config = at_record()
    who, found = contacts(infant, config)
    if to is not None:
        for path in copy_files(found, to, config):
            say(f"Written: {path}")
    note_read(config, "contacts", "command", infant=who.id)
    shown = [one.model_dump(mode="json") for one in found]
    print_lines([json_text(shown)] if as_json else contact_lines(who, found, config))


def _facts(
    name: str | None,
    legal_name: str | None,
    born: str | None,
    sex: Sex | None,
    gestation: int | None,
    birth_weight: float | None,
    risks: list[str] | None,
    carers: list[str] | None,
    unknown: "list[Unknown] | tuple[()]" = (),
) -> "Facts":
    from pipeline.ages import parse_date
    from pipeline.infants import Facts, parse_carer

    return Facts(
        code_name=name,
        legal_name=legal_name,
        born=parse_date(born, "birth date") if born is not None else None,
        sex=sex.value if sex is not None else None,
        gestation_weeks=gestation,
        birth_weight_kg=birth_weight,
        risk_factors=tuple(risks) if risks else None,
        carers=tuple(map(parse_carer, carers)) if carers else None,
        unknown=tuple(_FIELDS.get(field.value, field.value.replace("-", "_")) for field in unknown),
    )


def _day(text: str | None) -> date | None:
    from pipeline.ages import parse_date

    return parse_date(text, "day") if text is not None else None


def _time(text: str | None) -> time | None:
    if text is None:
        return None
    try:
        return time.fromisoformat(text.strip().zfill(5)).replace(second=0, microsecond=0, tzinfo=None)
    except ValueError as error:
        raise InputError(f'time "{text[:20]}" is none; write it as hours:minutes, like 10:00.') from error
