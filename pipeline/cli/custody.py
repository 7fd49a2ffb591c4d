"""The record looked after."""

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines, ready, say


@app.command()
def verify(
    head: Annotated[
        str | None,
        typer.Option(help="The newest event as noted at an earlier time: proves all before it.", metavar="SEQ:HASH"),
    ] = None,
    as_json: Json = False,
) -> None:
    """Check everything on record against everything; say what is damaged and what to do."""
    from pipeline.custody import verify as check
    from pipeline.show import verified_lines

    config, stages = ready(record=False)
    found = check(config, stages, head=head, step=lambda what: say(f"looking at the {what}"))
    print_lines([json_text(found.model_dump(mode="json"))] if as_json else verified_lines(found))
    if not found.sound:
        raise typer.Exit(1)


@app.command()
def rebuild(as_json: Json = False) -> None:
    """Make all that is derived again, from the events and the stored files alone."""
    from pipeline.custody import rebuild as make_again
    from pipeline.show import rebuilt_json, rebuilt_lines

    config, stages = ready(record=False)
    made = make_again(config, stages)
    print_lines([json_text(rebuilt_json(made))] if as_json else rebuilt_lines(made))


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file, best on another disk (.zip).")],
) -> None:
    """Write the whole record, sound included, to one checked file; others may go on working."""
    from pipeline.config import load_config
    from pipeline.custody import backup as back_up
    from pipeline.show import backup_lines

    print_lines(backup_lines(back_up(file, load_config(), now=datetime.now().astimezone())))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
) -> None:
    """Bring a backup back into an empty place (see HANDSPOKEN_HOME); overwrites nothing."""
    from pipeline.config import load_config
    from pipeline.custody import restore as bring_back
    from pipeline.redaction import redactions
    from pipeline.show import restored_lines

    config = load_config()
    found = bring_back(file, config, step=lambda what: say(f"checking the {what}"))
    print_lines(restored_lines(found, len(redactions(config)), config))


@app.command()
def redact(
    visit: Annotated[
        str | None, typer.Argument(metavar="VISIT", help="The visit's id, or its last letters; none lists.")
    ] = None,
    start: Annotated[str | None, typer.Argument(metavar="FROM", help="Minutes:seconds, as the note has them.")] = None,
    end: Annotated[str | None, typer.Argument(metavar="TO", help="Likewise, like 1:12.5.")] = None,
    line: Annotated[str | None, typer.Option(help="Instead: words of one line of the note.", metavar="WORDS")] = None,
    reason: Annotated[str, typer.Option(help="Why: see the list.", metavar="REASON")] = "",
    by: Annotated[str, typer.Option(help="Who does it; who has signed in if none.", metavar="NAME")] = "",
    yes: Annotated[bool, typer.Option("--yes", help="Destroy it; without, it is only shown what would go.")] = False,
    as_json: Json = False,
) -> None:
    """Destroy a stretch of a recording for a stated reason, wherever it is kept; a tombstone says so.

    Without --yes nothing is changed. Without VISIT it lists what was destroyed, and finishes what was broken off.
    """
    from pipeline import redaction
    from pipeline.practitioners import acting
    from pipeline.show import destroyed_lines, redactions_lines

    config, stages = ready()
    if visit is None:
        finished, found = redaction.resume(config, stages), redaction.redactions(config)
        shown = [one.model_dump(mode="json") for one in found]
        print_lines([json_text(shown)] if as_json else redactions_lines(found, redaction.reasons(), finished))
        return
    where, now = redaction.Where(start, end, line), datetime.now().astimezone()
    goes = (
        redaction.redact(visit, where, reason, acting(config, by), config, stages, now=now)
        if yes
        else redaction.preview(visit, where, reason, config, stages, now=now)
    )
    print_lines([json_text(goes.model_dump(mode="json") | {"done": yes})] if as_json else destroyed_lines(goes, yes))


@app.command()
def retention(
    destroy: Annotated[
        str | None, typer.Option(help="Destroy the sound of this visit, as proposed; its lines stay.", metavar="VISIT")
    ] = None,
    destroy_record: Annotated[
        str | None, typer.Option(help="Destroy all of this infant's record, as proposed.", metavar="INFANT")
    ] = None,
    hold: Annotated[
        str | None, typer.Option(help="A legal hold: nothing of this infant may be destroyed.", metavar="INFANT")
    ] = None,
    lift: Annotated[str | None, typer.Option(help="Lift the legal hold on this infant.", metavar="INFANT")] = None,
    reason: Annotated[str, typer.Option(help="Why a hold is set or lifted.", metavar="TEXT")] = "",
    by: Annotated[str, typer.Option(help="Who does it; who has signed in if none.", metavar="NAME")] = "",
    as_json: Json = False,
) -> None:
    """List how long what is kept, whose time has come, and legal holds. Destroys only what is named and proposed."""
    from pipeline import retention as keeping
    from pipeline.practitioners import acting
    from pipeline.show import retention_lines

    if sum(given is not None for given in (destroy, destroy_record, hold, lift)) > 1:
        raise typer.BadParameter("give one of --destroy, --destroy-record, --hold and --lift")
    config, stages = ready()
    if destroy is not None:
        keeping.destroy_sound(destroy, acting(config, by), config, stages, today=date.today())
    elif destroy_record is not None:
        keeping.destroy_record(destroy_record, acting(config, by), config, stages, today=date.today())
    elif (key := hold or lift) is not None:
        keeping.hold(key, reason, acting(config, by), config, lift=hold is None)
    found = keeping.retention(config, today=date.today())
    print_lines([found.model_dump_json()] if as_json else retention_lines(found))
