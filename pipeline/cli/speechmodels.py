"""Speech models beside the one that comes with the program."""

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines, say

model_app = typer.Typer(
    help="Larger speech models: which there are, add one from a folder, fetch one.", no_args_is_help=True
)
app.add_typer(model_app, name="model")


@model_app.command("list")
def list_(as_json: Json = False) -> None:
    """Show the speech models on this computer, and which one is used."""
    from pipeline.config import load_config
    from pipeline.show import model_lines
    from pipeline.speechmodels import list_models

    models = list_models(load_config())
    print_lines([json_text([m.model_dump() for m in models])] if as_json else model_lines(models))
    if any(m.fault for m in models):
        raise typer.Exit(1)


@model_app.command()
def add(
    folder: Annotated[Path, typer.Argument(metavar="PATH", help="A folder that holds a model in CTranslate2 form.")],
    name: Annotated[str, typer.Option(help="The name to keep it under; the folder's if not given.")] = "",
) -> None:
    """Keep a copy of a speech model that lies on this computer."""
    from pipeline.config import load_config
    from pipeline.show import kept_lines
    from pipeline.speechmodels import add_model

    print_lines(kept_lines(add_model(folder, name, load_config())))


@model_app.command()
def fetch(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Which; the names are listed if none.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Fetch a speech model over the network: the only command that uses it, and it asks first."""
    from pipeline.config import load_config
    from pipeline.show import kept_lines
    from pipeline.speechmodels import fetch as run_fetch
    from pipeline.speechmodels import names_to_fetch

    if name is None:
        print_lines(names_to_fetch())
        return
    if not yes and name in names_to_fetch():
        typer.confirm(
            f"This uses the network: the speech model {name} is fetched from the public hub huggingface.co "
            "(75 MB to 3 GB). Nothing of yours is sent. Go on?",
            abort=True,
        )
    say("Fetching ...")
    print_lines(kept_lines(run_fetch(name, load_config())))
