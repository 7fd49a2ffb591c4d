"""Lines that stand once more in another order: what earlier visits left open, and the table of P.A.R.T."""

from collections.abc import Iterable, Sequence

from pipeline.draft.lines import LineWriter
from pipeline.draft.wording import Wording
from pipeline.model import Line
from pipeline.patterns import fill, quoted
from pipeline.records import Looked, PartTable
from pipeline.times import day

LOOKED_AT = "looked_at"


def again_lines(
    coverage: Iterable[Looked], made: Sequence[Line], writer: LineWriter, wording: Wording
) -> tuple[Line, ...]:
    """One line a thing left open: as it was then, and the lines of this visit that answer it, or that none does.

    made: the lines of this visit. A line with an answer plays it; one without has no time, as nothing was said.
    """
    by_item = {item: line for line in made for item in line.items}
    lines: list[Line] = []
    for part in coverage:
        if part.past is None:
            continue
        answers = [by_item[item] for item in part.items if item in by_item]
        slots = {
            "before": writer.text(part.past, as_said=""),
            "day": day(part.day) if part.day else "",
            "now": "; ".join(line.text for line in answers),
            "reason": quoted(part.why),
        }
        lines.append(
            Line(
                id=f"again:{len(lines)}",
                text=fill(wording.words["again"][part.state], slots),
                items=tuple(item for line in answers for item in line.items),
                spans=tuple(span for line in answers for span in line.spans),
            )
        )
    return tuple(lines)


def part_lines(table: PartTable, made: Sequence[Line], wording: Wording) -> tuple[Line, ...]:
    """One line a letter with the findings that support it, and last whether the criteria are met, and why."""
    words = wording.words["part"]
    lines = []
    for letter, items in table.letters.items():
        support = [line for line in made if not {*line.items}.isdisjoint(items)]
        slots = {"letter": letter, "name": words[letter], "lines": "; ".join(line.text for line in support)}
        lines.append(
            Line(
                id=f"part:{letter}",
                text=fill(words["line" if support else "none"], slots),
                items=tuple(item for line in support for item in line.items),
                spans=tuple(span for line in support for span in line.spans),
            )
        )
    text = fill(words["met" if table.met else "not_met"], {"why": table.why})
    return (*lines, Line(id="part:criteria", text=text))
