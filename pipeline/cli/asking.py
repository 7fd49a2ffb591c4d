"""Asking the record."""

from datetime import date
from enum import StrEnum
from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines


class By(StrEnum):
    """What ``--by`` takes."""

    LINE = "line"
    VISIT = "visit"
    INFANT = "infant"


class Order(StrEnum):
    """What ``--order`` takes."""

    NEWEST = "newest"
    OLDEST = "oldest"


class Side(StrEnum):
    """What ``--side`` takes."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"
    NONE = "none"


class Kind(StrEnum):
    """What ``--kind`` takes."""

    FINDING = "finding"
    HISTORY = "history"
    TREATMENT = "treatment"
    ADVICE = "advice"
    PLAN = "plan"
    IMPRESSION = "impression"


def _day(typed: str | None, option: str) -> date | None:
    if typed is None:
        return None
    from pipeline.ages import parse_date

    return parse_date(typed, option)


@app.command()
def search(
    question: Annotated[
        list[str] | None, typer.Argument(metavar="QUESTION", help="As a colleague would ask it.", show_default=False)
    ] = None,
    infant: Annotated[str | None, typer.Option(help="Of this infant alone.", metavar="ID")] = None,
    concept: Annotated[str | None, typer.Option(help="What was looked at, told or done.", metavar="NAME")] = None,
    result: Annotated[str | None, typer.Option(help="The result, such as tight or absent.", metavar="NAME")] = None,
    site: Annotated[str | None, typer.Option(help="The structure, and what belongs to it.", metavar="NAME")] = None,
    side: Annotated[Side | None, typer.Option(help="The side exactly as on record.")] = None,
    kind: Annotated[Kind | None, typer.Option(help="Findings, treatments, plans and so on alone.")] = None,
    since: Annotated[str | None, typer.Option(help="First day, year-month-day.", metavar="DATE")] = None,
    until: Annotated[str | None, typer.Option(help="Last day, year-month-day.", metavar="DATE")] = None,
    age: Annotated[str | None, typer.Option(help='Such as "under 3 months".', metavar="RANGE")] = None,
    corrected_age: Annotated[
        str | None, typer.Option(help="The same, counted from the due date.", metavar="RANGE")
    ] = None,
    words: Annotated[str | None, typer.Option(help="Words that must have been said there.", metavar="TEXT")] = None,
    by: Annotated[By | None, typer.Option(help="One answer a line, a visit or an infant.")] = None,
    order: Annotated[Order, typer.Option(help="Which come first.")] = Order.NEWEST,
    limit: Annotated[int, typer.Option(help="How many to show.", min=1, max=10_000)] = 50,
    count_all: Annotated[bool, typer.Option("--count-all", help="Count beyond a thousand lines.")] = False,
    as_json: Json = False,
) -> None:
    """Find what was said and found over all stored visits."""
    from pipeline.config import load_config
    from pipeline.readings import note_read
    from pipeline.search import Exact, Options, ask
    from pipeline.show.answers import answer_json, answer_lines

    exact = Exact(
        infant=infant, concept=concept, result=result, site=site, side=side, kind=kind, age=age,
        corrected_age=corrected_age, words=words,
        since=_day(since, "--since"), until=_day(until, "--until"),
    )  # fmt: skip
    if not question and not exact.given:
        raise typer.BadParameter("ask a question, or give a filter such as --site hip.")
    config = load_config()
    options = Options(by=by.value if by else None, order=order.value, limit=limit, all=count_all)
    answer = ask(" ".join(question or ()), config, today=date.today(), options=options, exact=exact)
    note_read(config, "lines", "command", visits=(hit.visit for hit in answer.hits))
    print_lines([json_text(answer_json(answer, config))] if as_json else answer_lines(answer, config))
