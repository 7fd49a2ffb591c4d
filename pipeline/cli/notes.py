"""From what was said to words, findings and a note."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.app import (
    PARTLY,
    AgeOption,
    Gestation,
    Json,
    Model,
    Sex,
    app,
    at_record,
    end_folder,
    end_torn,
    json_text,
    print_lines,
    progress_bar,
    ready,
    say,
)
from pipeline.errors import HandspokenError

if TYPE_CHECKING:
    from pipeline.visits import Told


@app.command()
def draft(
    source: Annotated[
        Path, typer.Argument(metavar="AUDIO|TRANSCRIPT.vtt|FOLDER", help="What was said, or a folder of it.")
    ],
    infant: Annotated[str | None, typer.Option(help="Code name of the infant.", metavar="ID")] = None,
    age: AgeOption = None,
    born: Annotated[str | None, typer.Option(help="Birth date, year-month-day.", metavar="DATE")] = None,
    sex: Annotated[Sex | None, typer.Option(help="For the growth standards; asked for where it matters.")] = None,
    gestation: Gestation = None,
    on: Annotated[str | None, typer.Option(help="Day of the visit; today if not given.", metavar="DATE")] = None,
    visit: Annotated[str | None, typer.Option(help="A visit opened by hand that it is of.", metavar="VISIT")] = None,
    to: Annotated[Path | None, typer.Option(help="A folder for a copy of the note's files.", metavar="FOLDER")] = None,
    jobs: Annotated[int, typer.Option(help="For a folder: how many at once.", metavar="N")] = 1,
    model: Model = None,
    as_json: Json = False,
) -> None:
    """Draft the note of a visit and keep the visit on record; of a folder, every one that is not on record yet.

    For a folder, what is known of a file stands in NAME.json beside it (infant, age, born, sex, gestation_weeks, on);
    the options hold for all others. The day of a file is its own where nobody says it.
    """
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
        visit=visit,
    )
    if source.is_dir():
        if to is not None or visit is not None:
            raise typer.BadParameter("--to and --visit go with one recording, not with a folder.")
        _draft_folder(source, told, jobs, model, as_json=as_json)
        return
    config, stages = ready(model)
    with progress_bar("Listening") as progress:
        done = run_draft(source, told, config, stages, today=date.today(), to=to, on_progress=progress)
    from pipeline.show import done_lines

    print_lines([json_text(done.as_json())] if as_json else done_lines(done))
    end_torn(source, done.torn)


def _draft_folder(folder: Path, told: "Told", jobs: int, model: str | None, *, as_json: bool) -> None:
    from functools import partial
    from os import cpu_count

    from pipeline.batch import draft_folder
    from pipeline.show import outcome_line, summary_lines
    from pipeline.stages import shipped_stages

    make = partial(shipped_stages, threads=max((cpu_count() or 1) // max(jobs, 1), 1))
    outcomes = []
    for n, total, outcome in draft_folder(folder, told, at_record(model), make, today=date.today(), jobs=jobs):
        say(outcome_line(n, total, outcome))
        outcomes.append(outcome)
    print_lines([json_text([one.model_dump() for one in outcomes])] if as_json else summary_lines(outcomes))
    failed = sum(one.state == "failed" for one in outcomes)
    if failed == len(outcomes):
        raise typer.Exit(HandspokenError.exit_code)
    if failed or any(one.state == "torn" for one in outcomes):
        raise typer.Exit(PARTLY)


@app.command()
def transcribe(
    audio: Annotated[Path, typer.Argument(metavar="AUDIO", help="A sound or video file.")],
    output: Annotated[Path | None, typer.Option("--output", "-o", metavar="WORDS.vtt", help="Write WebVTT.")] = None,
    model: Model = None,
    as_json: Json = False,
) -> None:
    """Write down the words of a recording with their times."""
    from pipeline.run import transcribe as run_transcribe
    from pipeline.vtt import write_vtt

    _, stages = ready(model, record=False)
    with progress_bar("Listening") as progress:
        source = run_transcribe(audio, output, stages, progress)
    if as_json:
        print_lines([source.transcript.model_dump_json()])
    elif output is None:
        print_lines([write_vtt(source.transcript).rstrip("\n")])
    else:
        say(f"{len(source.transcript.words)} words in {output}")
    end_torn(audio, source.recording.torn)


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
    _, stages = ready(record=False)
    if to is not None:
        end_folder(extract_folder(source, to, age, gestation, stages, explain=explain))
        return
    words, extraction = extract_file(source, age, gestation, stages)
    from pipeline.show import explained_lines, item_lines

    if as_json:
        print_lines([json_text(extraction_json(extraction, stages.vocab, explain=explain))])
    else:
        print_lines(explained_lines(extraction, words) if explain else item_lines(extraction))


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

    config, stages = ready(record=False)
    with progress_bar("Listening") as progress:
        done = run_demo(name, to, config, stages, today=date.today(), on_progress=progress)
    print_lines([json_text(done.as_json())] if as_json else done_lines(done))
