"""A person's own template of a paper: may come from anybody, so only a closed part of Jinja is taken.

It says words, loops over what a paper holds, and leaves out by condition. Calls, sums, macros, includes and variables
of its own are refused before anything runs: what is left can neither reach into the program nor run on for ever.
"""

from collections.abc import Iterator
from pathlib import Path

from jinja2 import TemplateError, nodes

from pipeline.errors import InputError
from pipeline.render.papers import Paper
from pipeline.safe import html_templates

LONGEST = 256 << 10  # bytes
_LOOPS, _DEPTH = 3, 40  # one in another: papers hold lines in blocks
_TAKEN = (
    nodes.Template, nodes.Output, nodes.TemplateData, nodes.Name, nodes.Getattr, nodes.Getitem, nodes.Const,
    nodes.For, nodes.If, nodes.CondExpr, nodes.Compare, nodes.Operand, nodes.And, nodes.Or, nodes.Not, nodes.Tuple,
    nodes.List, nodes.Concat, nodes.Filter, nodes.Test, nodes.Keyword,
)  # fmt: skip
_FILTERS = frozenset({"day", "default", "first", "join", "last", "length", "lower", "moment", "stop", "title", "upper"})


def own_paper(path: Path, paper: Paper) -> str:
    """The HTML that the template at ``path`` makes of a paper. Raises InputError, with its line where one is known."""
    try:
        if path.stat().st_size > LONGEST:
            raise InputError(f"{path}: a template has at most {LONGEST >> 10} KiB.")
        text = path.read_text(encoding="utf-8")
        for refused in _refused(html_templates().parse(text)):
            raise InputError(f"{path}: {refused}; see paper.html.j2 for all that is needed.")
        return html_templates().from_string(text).render(paper=paper)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from error
    except (
        *(TemplateError, TypeError, ValueError, ArithmeticError, LookupError, AttributeError),
        *(RecursionError, SyntaxError),  # what nests too deeply to be compiled
    ) as error:
        line = f", line {lineno}" if (lineno := getattr(error, "lineno", None)) else ""
        raise InputError(
            f"{path}{line}: the template cannot be used ({' '.join(str(error).split())[:200]})."
        ) from error


def _refused(node: nodes.Node, loops: int = 0, depth: int = 0) -> Iterator[str]:
    """What in a template is not of the part that is taken."""
    loops += isinstance(node, nodes.For)
    name = type(node).__name__.lower()
    if not isinstance(node, _TAKEN):
        yield f"line {node.lineno}: {name!r} is not for a template of your own"
    elif isinstance(node, nodes.Filter) and node.name not in _FILTERS:
        yield f"line {node.lineno}: the filter {node.name[:40]!r} is not for a template of your own"
    elif loops > _LOOPS or depth > _DEPTH:
        yield f"line {node.lineno}: it nests too deeply"
    else:
        for child in node.iter_child_nodes():
            yield from _refused(child, loops, depth + 1)
