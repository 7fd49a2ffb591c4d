"""The program at the command line: where it starts, how it ends, and what all commands share.

Exit codes: 0 done, 1 bad input, 2 wrong usage, 3 partly done (a torn recording, or one file of several).
"""

import gc
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from pipeline import __version__
from pipeline.errors import HandspokenError

if TYPE_CHECKING:
    from pipeline.config import Config
    from pipeline.stages import ShippedStages

PARTLY = 3
SELDOM = 100_000  # new objects between two looks for rubbish
app = typer.Typer(
    name="handspoken",
    help="From a spoken infant examination to a chart note in which every line plays its second of audio.",
    rich_markup_mode=None,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Gestation = Annotated[int | None, typer.Option(help="Completed weeks of gestation at birth.", metavar="WEEKS")]
Model = Annotated[str | None, typer.Option("--model", help="Another speech model: its name, or a folder.")]
AgeOption = Annotated[str | None, typer.Option(help='Age at the visit, such as "9 weeks" or "3 months corrected".')]


class Sex(StrEnum):
    """What ``--sex`` takes."""

    FEMALE = "female"
    MALE = "male"


Progress = Callable[[int, int], None]


def main(args: Sequence[str] | None = None) -> NoReturn:
    """Run a command; what is expected to go wrong is one line on stderr, never a traceback."""
    from pipeline.cli.safe import ask_passphrase, at_terminal
    from pipeline.vault import ask_with

    gc.set_threshold(SELDOM, 50, 50)  # what a command loads stays: looking through it costs a twelfth of its start
    ask_with(ask_passphrase if at_terminal() else None)
    try:
        app(args)
    except HandspokenError as error:
        say(f"handspoken: {error}")
        sys.exit(error.exit_code)
    except OSError as error:
        say(f"handspoken: {error.filename or 'output'}: {error.strerror or error}. Nothing was kept; try again.")
        sys.exit(HandspokenError.exit_code)
    sys.exit(0)


@app.callback(invoke_without_command=True)
def _handspoken(
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.", is_eager=True)] = False,
) -> None:
    if version:
        print_lines([f"handspoken {__version__}"])
        raise typer.Exit


def ready(model: str | None = None, *, record: bool = True) -> tuple["Config", "ShippedStages"]:
    """Settings and stages; ``model`` goes before the one in the settings. record: False where none is made."""
    from pipeline.stages import shipped_stages

    config = at_record(model) if record else configured(model)
    return config, shipped_stages(config)


def at_record(model: str | None = None) -> "Config":
    """Settings, for a command that makes a record where there is none: it gets its keys first. Raises InputError."""
    from pipeline.cli.safe import protect_new

    config = configured(model)
    protect_new(config)
    return config


def configured(model: str | None = None) -> "Config":
    """Settings; ``model`` goes before the one in them."""
    from dataclasses import replace

    from pipeline.config import load_config

    config = load_config()
    if model is None:
        return config
    return replace(config, settings=config.settings.model_copy(update={"model": model}))


@contextmanager
def progress_bar(label: str) -> Iterator[Progress]:
    """A bar on stderr, shown from the first report on."""
    with ExitStack() as stack:
        bar: Any = None

        def report(done: int, total: int) -> None:
            nonlocal bar
            if bar is None:
                bar = stack.enter_context(typer.progressbar(length=max(total, 1), label=label, file=sys.stderr))
            bar.length = max(total, done, 1)
            bar.update(done - bar.pos)

        yield report


def end_torn(source: Path, torn: str) -> None:
    """A torn recording was used as far as it goes: say so, and end as partly done."""
    if torn:
        say(f"handspoken: {source}: {torn}. What is there was kept and used.")
        raise typer.Exit(PARTLY)


def end_folder(results: Iterable[tuple[Path, HandspokenError | None]]) -> None:
    """Report a folder's files one by one; partly done where some failed, bad input where all did."""
    errors = []
    for path, error in results:
        say(f"{path.name}: done" if error is None else f"handspoken: {error}")
        errors.append(error)
    failed = sum(error is not None for error in errors)
    if failed:
        say(f"handspoken: {failed} of {len(errors)} transcripts could not be used.")
        raise typer.Exit(HandspokenError.exit_code if failed == len(errors) else PARTLY)


def print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line)


def say(line: str) -> None:
    typer.echo(line, err=True)


def json_text(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=1)
