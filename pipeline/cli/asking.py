"""Asking the record."""

from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines


@app.command()
def search(
    question: Annotated[list[str], typer.Argument(metavar="QUESTION", help="As a colleague would ask it.")],
    as_json: Json = False,
) -> None:
    """Find what was said and found over all stored visits."""
    from pipeline.config import load_config
    from pipeline.search import ask
    from pipeline.show import found_json, found_lines

    config = load_config()
    found = ask(" ".join(question), config)
    print_lines([json_text(found_json(found, config))] if as_json else found_lines(found, config))
