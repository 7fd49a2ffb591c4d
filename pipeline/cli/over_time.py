"""The record over time: one infant's course, and what is due."""

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines, say


@app.command()
def timeline(
    infant: Annotated[str, typer.Argument(metavar="INFANT", help="Code name or id of the infant.")],
    to: Annotated[Path | None, typer.Option(help="A folder for a page with the charts.", metavar="FOLDER")] = None,
    as_json: Json = False,
) -> None:
    """Show an infant's course: findings by visit, treatments, growth, motion, and a card for the door."""
    from pipeline.config import load_config
    from pipeline.readings import note_read
    from pipeline.show.over_time import timeline_json, timeline_lines
    from pipeline.timeline import timeline as course_of
    from pipeline.timeline import write_page

    config = load_config()
    course = course_of(infant, config)
    note_read(config, "course", "command", infant=course.infant.id)
    if to is not None:
        say(f"Page: {write_page(course, to)}")
    if as_json:
        print_lines([json_text(timeline_json(course))])
    elif to is None:
        print_lines(timeline_lines(course))


@app.command()
def due(
    infant: Annotated[str | None, typer.Option(help="Of this infant alone.", metavar="ID")] = None,
    ics: Annotated[Path | None, typer.Option(help="Write an iCalendar file.", metavar="FILE")] = None,
    with_text: Annotated[
        bool, typer.Option("--with-text", help="Put the lines of the notes into the calendar too.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Show what is due and unfinished: next visits, what to look at again, referrals, unsigned notes."""
    from datetime import date

    from pipeline.config import load_config
    from pipeline.due import due as open_of
    from pipeline.due import write_calendar
    from pipeline.readings import note_read
    from pipeline.show.over_time import due_json, due_lines

    if with_text and ics is None:
        raise typer.BadParameter("--with-text goes with --ics FILE.")
    today = date.today()
    config = load_config()
    entries = open_of(config, infant)
    note_read(config, "due", "command", visits=(entry.visit for entry in entries))
    if ics is not None:
        write_calendar(entries, ics, today, with_text=with_text)
        say(f"Calendar: {ics} ({len(entries)} entries)")
    if as_json:
        print_lines([json_text(due_json(entries, today))])
    elif ics is None:
        print_lines(due_lines(entries, today))
