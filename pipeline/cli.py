"""The commands: read what was typed, call run or search, show what came back. No logic.

Exit codes: 0 done, 1 bad input, 2 wrong usage, 3 partly done (a torn recording, or one file of several).
"""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import date
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
AgeOption = Annotated[str | None, typer.Option(help='Age at the visit, such as "9 weeks" or "3 months corrected".')]


class Sex(StrEnum):
    """What ``--sex`` takes."""

    FEMALE = "female"
    MALE = "male"


Progress = Callable[[int, int], None]


def main(args: Sequence[str] | None = None) -> NoReturn:
    """Run a command; what is expected to go wrong is one line on stderr, never a traceback."""
    try:
        app(args)
    except HandspokenError as error:
        _say(f"handspoken: {error}")
        sys.exit(error.exit_code)
    except OSError as error:
        _say(f"handspoken: {error.filename or 'output'}: {error.strerror or error}. Nothing was kept; try again.")
        sys.exit(HandspokenError.exit_code)
    sys.exit(0)


@app.callback(invoke_without_command=True)
def _handspoken(
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.", is_eager=True)] = False,
) -> None:
    if version:
        _print([f"handspoken {__version__}"])
        raise typer.Exit


@app.command()
def draft(
    source: Annotated[Path, typer.Argument(metavar="AUDIO|TRANSCRIPT.vtt", help="What was said at the visit.")],
    infant: Annotated[str | None, typer.Option(help="Code name of the infant.", metavar="ID")] = None,
    age: AgeOption = None,
    born: Annotated[str | None, typer.Option(help="Birth date, year-month-day.", metavar="DATE")] = None,
    sex: Annotated[Sex | None, typer.Option(help="For the growth standards; asked for where it matters.")] = None,
    gestation: Gestation = None,
    on: Annotated[str | None, typer.Option(help="Day of the visit; today if not given.", metavar="DATE")] = None,
    to: Annotated[Path | None, typer.Option(help="A folder for a copy of the note's files.", metavar="FOLDER")] = None,
    as_json: Json = False,
) -> None:
    """Draft the note of a visit and keep the visit on record."""
    if age is not None and born is not None:
        raise typer.BadParameter("give --age or --born, not both.")
    from pipeline.ages import parse_date
    from pipeline.visits import Told
    from pipeline.visits import draft as run_draft

    told = Told(
        infant=infant,
        age=age,
        born=parse_date(born, "birth date") if born is not None else None,
        sex=sex.value if sex is not None else None,
        gestation_weeks=gestation,
        on=parse_date(on, "visit date") if on is not None else None,
    )
    config, stages = _ready()
    with _progress("Listening") as progress:
        done = run_draft(source, told, config, stages, today=date.today(), to=to, on_progress=progress)
    from pipeline.show import done_lines

    _print([_json(done.as_json())] if as_json else done_lines(done))
    _end_torn(source, done.torn)


@app.command()
def transcribe(
    audio: Annotated[Path, typer.Argument(metavar="AUDIO", help="A sound or video file.")],
    output: Annotated[Path | None, typer.Option("--output", "-o", metavar="WORDS.vtt", help="Write WebVTT.")] = None,
    as_json: Json = False,
) -> None:
    """Write down the words of a recording with their times."""
    from pipeline.run import transcribe as run_transcribe
    from pipeline.vtt import write_vtt

    _, stages = _ready()
    with _progress("Listening") as progress:
        source = run_transcribe(audio, output, stages, progress)
    if as_json:
        _print([source.transcript.model_dump_json()])
    elif output is None:
        _print([write_vtt(source.transcript).rstrip("\n")])
    else:
        _say(f"{len(source.transcript.words)} words in {output}")
    _end_torn(audio, source.recording.torn)


@app.command()
def extract(
    source: Annotated[Path, typer.Argument(metavar="TRANSCRIPT.vtt|FOLDER", help="A transcript, or a folder of them.")],
    age: AgeOption = None,
    gestation: Gestation = None,
    to: Annotated[Path | None, typer.Option(help="For a folder: where the results go.", metavar="FOLDER")] = None,
    explain: Annotated[bool, typer.Option(help="Show which rule gave what, and every clause.")] = False,
    as_json: Json = False,
) -> None:
    """Find what was observed, told, treated, advised and planned; nothing is stored."""
    from pipeline.run import extract_file, extract_folder, extraction_json

    folder = source.is_dir()
    if folder and to is None:
        raise typer.BadParameter("a folder of transcripts needs --to FOLDER for the results.")
    if not folder and to is not None:
        raise typer.BadParameter("--to goes with a folder of transcripts.")
    _, stages = _ready()
    if to is not None:
        _end_folder(extract_folder(source, to, age, gestation, stages, explain=explain))
        return
    words, extraction = extract_file(source, age, gestation, stages)
    from pipeline.show import explained_lines, item_lines

    if as_json:
        _print([_json(extraction_json(extraction, explain=explain))])
    else:
        _print(explained_lines(extraction, words) if explain else item_lines(extraction))


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
    _print([_json(found_json(found, config))] if as_json else found_lines(found, config))


@app.command()
def demo(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="Which invented visit; the shortest if none.")
    ] = None,
    to: Annotated[Path, typer.Option(help="Where the note and a record of its own go.", metavar="FOLDER")] = Path(
        "handspoken-demo"
    ),
    as_json: Json = False,
) -> None:
    """Draft the note of an invented visit that comes with the program; your own record is left alone."""
    from pipeline.demo import run_demo
    from pipeline.show import done_lines

    config, stages = _ready()
    with _progress("Listening") as progress:
        done = run_demo(name, to, config, stages, today=date.today(), on_progress=progress)
    _print([_json(done.as_json())] if as_json else done_lines(done))


@app.command()
def doctor(as_json: Json = False) -> None:
    """Show what is installed, which speech model is used, where your data lies, and the free disk."""
    from pipeline.config import load_config
    from pipeline.doctor import examine
    from pipeline.show import finding_lines

    findings = examine(load_config())
    _print([_json([f.model_dump() for f in findings])] if as_json else finding_lines(findings))
    if not all(finding.good for finding in findings):
        raise typer.Exit(1)


def _ready() -> tuple["Config", "ShippedStages"]:
    from pipeline.config import load_config
    from pipeline.stages import ShippedStages
    from pipeline.vocabulary import load_vocabulary

    config = load_config()
    return config, ShippedStages(load_vocabulary(personal=config.own_words), config)


@contextmanager
def _progress(label: str) -> Iterator[Progress]:
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


def _end_torn(source: Path, torn: str) -> None:
    """A torn recording was used as far as it goes: say so, and end as partly done."""
    if torn:
        _say(f"handspoken: {source}: {torn}. What is there was kept and used.")
        raise typer.Exit(PARTLY)


def _end_folder(results: Iterable[tuple[Path, HandspokenError | None]]) -> None:
    """Report a folder's files one by one; partly done where some failed, bad input where all did."""
    errors = []
    for path, error in results:
        _say(f"{path.name}: done" if error is None else f"handspoken: {error}")
        errors.append(error)
    failed = sum(error is not None for error in errors)
    if failed:
        _say(f"handspoken: {failed} of {len(errors)} transcripts could not be used.")
        raise typer.Exit(HandspokenError.exit_code if failed == len(errors) else PARTLY)


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line)


def _say(line: str) -> None:
    typer.echo(line, err=True)


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=1)
