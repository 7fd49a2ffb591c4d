"""The record looked after."""

from datetime import datetime
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

    config, stages = ready()
    found = check(config, stages, head=head, step=lambda what: say(f"looking at the {what}"))
    print_lines([json_text(found.model_dump(mode="json"))] if as_json else verified_lines(found))
    if not found.sound:
        raise typer.Exit(1)


@app.command()
def rebuild(as_json: Json = False) -> None:
    """Make all that is derived again, from the events and the stored files alone."""
    from pipeline.custody import rebuild as make_again
    from pipeline.show import rebuilt_json, rebuilt_lines

    config, stages = ready()
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
    from pipeline.show import restored_lines

    config = load_config()
    print_lines(restored_lines(bring_back(file, config, step=lambda what: say(f"checking the {what}")), config))
