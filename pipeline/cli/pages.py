"""The pages on this computer."""

from typing import Annotated

import typer

from pipeline.cli.app import app, print_lines, ready
from pipeline.cli.safe import at_terminal


@app.command()
def review(
    visit: Annotated[str | None, typer.Argument(metavar="VISIT", help="A visit's id; all visits if none.")] = None,
    port: Annotated[int, typer.Option(help="A fixed port; 0 takes a free one.", min=0, max=65535)] = 0,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only show the link.")] = False,
) -> None:
    """Put drafts right and sign them, in the browser on this computer; Ctrl-C ends it."""
    from pipeline.review import path_of
    from pipeline.show import link_lines
    from pipeline.vault import ask_with, keys_of
    from pipeline.web import serve

    config, stages = ready()
    if at_terminal():
        keys_of(config.home)
    ask_with(None)  # from here on the page asks
    to = path_of(config, visit) if visit is not None else "/"
    serve(config, stages, to=to, port=port, show=lambda link: print_lines(link_lines(link)), browse=not no_browser)
