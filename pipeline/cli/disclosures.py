"""What is given out of an infant's record."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, at_record, json_text, print_lines, ready

disclosure = typer.Typer(help="What is given out of a record: a copy for a request, and the log.", no_args_is_help=True)
app.add_typer(disclosure, name="disclosure")

InfantKey = Annotated[str, typer.Argument(metavar="INFANT", help="Code name or id.")]
For = Annotated[str, typer.Option("--for", help="To whom it is given.", metavar="NAME")]
Ground = Annotated[str, typer.Option(help="On what ground: who asked, or which law.", metavar="TEXT")]
By = Annotated[str, typer.Option(help="Who answers for it; who is at work if none.", metavar="NAME")]


@disclosure.command()
def copy(
    infant: InfantKey,
    to: Annotated[Path, typer.Option(help="A new folder.", metavar="FOLDER")],
    recipient: For,
    ground: Ground,
    by: By = "",
    audio: Annotated[bool, typer.Option("--audio", help="Carry the sound too.")] = False,
    third_party: Annotated[
        str | None, typer.Option("--release-third-party", help="Hold back nothing of others, because.", metavar="WHY")
    ] = None,
    safeguarding: Annotated[
        str | None, typer.Option("--release-safeguarding", help="Give what concerns it too, because.", metavar="WHY")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write everything of an infant for a request, and note it in the log.

    What tells of somebody else (visit hold-back) and what concerns safeguarding is held back unless it is released.
    """
    from pipeline.disclosures import Kept, Request
    from pipeline.disclosures import copy as copy_record
    from pipeline.practitioners import acting
    from pipeline.show import copied_json, copied_lines

    given: dict[Kept, str | None] = {"third-party": third_party, "safeguarding": safeguarding}
    released: dict[Kept, str] = {kind: why for kind, why in given.items() if why is not None}
    config, stages = ready()
    request = Request(recipient, ground, acting(config, by), released, audio)
    done = copy_record(infant, request, to, config, stages, on=date.today())
    print_lines([json_text(copied_json(done))] if as_json else copied_lines(done))


@disclosure.command()
def add(
    infant: InfantKey,
    what: Annotated[str, typer.Argument(metavar="WHAT", help="Such as: letter to the paediatrician, by post.")],
    recipient: For,
    ground: Ground,
    by: By = "",
    on: Annotated[str | None, typer.Option(help="The day; today if none.", metavar="DAY")] = None,
    as_json: Json = False,
) -> None:
    """Note in the log what was given by other means."""
    from pipeline.ages import parse_date
    from pipeline.disclosures import Request, note
    from pipeline.practitioners import acting
    from pipeline.show import disclosed_line

    day = parse_date(on, "day") if on is not None else date.today()
    config = at_record()
    told = note(infant, what, Request(recipient, ground, acting(config, by)), config, on=day)
    print_lines([told.model_dump_json() if as_json else disclosed_line(told)])


@disclosure.command("list")
def list_(
    infant: Annotated[str | None, typer.Argument(metavar="INFANT", help="Code name or id; all if none.")] = None,
    as_json: Json = False,
) -> None:
    """List what was given, to whom, when and on what ground, oldest first."""
    from pipeline.disclosures import disclosures
    from pipeline.show import disclosed_line

    found = disclosures(at_record(), infant)
    shown = [one.model_dump(mode="json") for one in found]
    lines = [f"{one.infant}: {disclosed_line(one.disclosed)}" for one in found] or ["Nothing was given out."]
    print_lines([json_text(shown)] if as_json else lines)
