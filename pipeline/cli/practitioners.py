"""Who works here."""

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.app import Json, app, configured, json_text, print_lines
from pipeline.cli.safe import at_terminal, type_new, typed_secret
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.config import Config
    from pipeline.vault.keyfile import Unlocked

practitioner = typer.Typer(help="Who works here, each with a passphrase of their own.", no_args_is_help=True)
app.add_typer(practitioner, name="practitioner")

Who = Annotated[str, typer.Argument(metavar="NAME", help="The name, or the id.")]
Until = Annotated[str | None, typer.Option(help="The last day, of a locum.", metavar="DAY")]


@practitioner.command()
def add(
    name: Annotated[str, typer.Argument(metavar="NAME", help="In full, as it stands under a note.")],
    role: Annotated[str, typer.Option(help="Such as chiropractor, student.", metavar="ROLE")],
    initials: Annotated[str, typer.Option(help="As they initial notes.", metavar="XY")] = "",
    start: Annotated[str | None, typer.Option("--from", help="The first day; today if none.", metavar="DAY")] = None,
    until: Until = None,
    me: Annotated[
        bool, typer.Option("--me", help="It is you, who made the record: your passphrase gets your name.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Enter a practitioner, who chooses a passphrase; what they do from then on carries their name."""
    from pipeline.practitioners import Told
    from pipeline.practitioners import add as enter
    from pipeline.show import practitioner_line

    config = configured()
    told = Told(name=name, role=role, initials=initials, start=_day(start), until=_day(until))
    one = enter(told, config, _signed_in(config), _chosen(name), today=date.today(), me=me)
    print_lines([one.model_dump_json() if as_json else practitioner_line(one)])


@practitioner.command()
def leave(
    name: Who,
    on: Annotated[
        str | None, typer.Option(help="The last day; without it their passphrase opens nothing now.", metavar="DAY")
    ] = None,
    as_json: Json = False,
) -> None:
    """Note somebody's last day; after it their passphrase opens nothing. What they signed stays."""
    from pipeline.practitioners import leave as end
    from pipeline.show import practitioner_line

    config = configured()
    one = end(name, config, _signed_in(config), on=_day(on), today=date.today())
    print_lines([one.model_dump_json() if as_json else practitioner_line(one)])


@practitioner.command("return")
def come_back(name: Who, until: Until = None, as_json: Json = False) -> None:
    """Somebody comes back, or has lost their passphrase: they choose a new one."""
    from pipeline.practitioners import come_back as back
    from pipeline.show import practitioner_line

    config = configured()
    one = back(name, _day(until), config, _signed_in(config), _chosen(name), today=date.today())
    print_lines([one.model_dump_json() if as_json else practitioner_line(one)])


@practitioner.command("list")
def list_(as_json: Json = False) -> None:
    """List who works or worked here, and whether their passphrase opens the record."""
    from pipeline.practitioners import listed
    from pipeline.show import practitioner_lines

    found = listed(configured(), today=date.today())
    shown = [one.model_dump(mode="json") for one in found]
    print_lines([json_text(shown)] if as_json else practitioner_lines(found))


def _signed_in(config: "Config") -> "Unlocked":
    from pipeline.practitioners import sign_in

    return sign_in(config, typed_secret(config))


def _chosen(of: str) -> str:
    if not at_terminal():
        raise InputError("a passphrase is chosen at a terminal, by whose it is; run this there.")
    return type_new(of)


def _day(text: str | None) -> date | None:
    from pipeline.ages import parse_date

    return parse_date(text, "day") if text is not None else None
