"""The record's way out into open formats, and in again."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines, ready


class Form(StrEnum):
    """What ``--as`` takes."""

    FHIR = "fhir"
    JSON = "json"
    CSV = "csv"
    PARQUET = "parquet"
    VTT = "vtt"


@app.command()
def export(
    form: Annotated[Form, typer.Option("--as", help="The format.")],
    to: Annotated[Path, typer.Option(help="Where the files go.", metavar="FOLDER")],
    key: Annotated[
        str | None,
        typer.Argument(metavar="VISIT|INFANT", help="A visit's id or an infant's code name; all if not given."),
    ] = None,
    audio: Annotated[bool, typer.Option("--audio", help="Carry the recordings too (fhir, json).")] = False,
    nameless: Annotated[
        bool, typer.Option("--nameless", help="Without names, words and sound, days shifted (fhir, csv, parquet).")
    ] = False,
    suggest: Annotated[
        bool, typer.Option("--suggest-codes", help="Put ICD-10-CM codes beside findings, as suggestions (fhir).")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write visits in an open format: FHIR R4, JSON, CSV, Parquet or WebVTT."""
    from pipeline.exchange import Wish
    from pipeline.exchange import export as run_export
    from pipeline.show import exported_json, exported_lines

    config, stages = ready()
    done = run_export(key, Wish(form.value, sound=audio, nameless=nameless, suggest=suggest), to, config, stages)
    print_lines([json_text(exported_json(done))] if as_json else exported_lines(done))


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="RECORD.json", help="A record that export wrote as json.")],
    destroy: Annotated[
        bool, typer.Option("--destroy", help="Destroy here too what it says was destroyed (see redact).")
    ] = False,
    as_json: Json = False,
) -> None:
    """Take a record written by export into the record here, as a whole or not at all."""
    from pipeline.exchange import import_file
    from pipeline.show import imported_json, imported_lines

    config, stages = ready()
    done = import_file(file, config, stages, destroy=destroy)
    print_lines([json_text(imported_json(done))] if as_json else imported_lines(done))
