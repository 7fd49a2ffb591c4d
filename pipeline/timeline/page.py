"""The infant's course as one page that needs nothing beside it: made to be opened, printed and kept."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from pipeline.resources import data_path
from pipeline.safe import html_templates
from pipeline.timeline.charts import growth_chart, growth_title, motion_chart
from pipeline.timeline.course import lines_of
from pipeline.timeline.growth import centile_told
from pipeline.times import age, clock, fragment

if TYPE_CHECKING:
    from pipeline.timeline import Timeline

NOTE_PAGE = "note.html"


def page(course: "Timeline") -> str:
    """The page, with its styles in it; its times lead to the notes as files, where there are any."""

    def link(visit: str, start_ms: int, end_ms: int) -> str:
        if course.notes is None:
            return ""
        return f"{note(visit)}#{fragment(start_ms, end_ms)}"

    def note(visit: str) -> str:
        return "" if course.notes is None else (course.notes / visit / NOTE_PAGE).absolute().as_uri()

    sheets = ("paper.css", "web/static/timeline.css")
    styles = Markup("\n").join(Markup((data_path("templates") / name).read_text(encoding="utf-8")) for name in sheets)
    return html_templates().get_template("timeline.html.j2").render(styles=styles, **shown(course, link, note))


def words(link: Callable[[str, int, int], str], note: Callable[[str], str]) -> SimpleNamespace:
    """What the templates say numbers with; ``link``: what plays a stretch of a visit; ``note``: where its note is."""
    return SimpleNamespace(link=link, note=note, clock=clock, age=age, centile=centile_told, lines_of=lines_of)


def shown(course: "Timeline", link: Callable[[str, int, int], str], note: Callable[[str], str]) -> dict[str, Any]:
    """What the templates show, with ``words(link, note)``. The charts are ours, their words escaped."""
    return {
        "say": words(link, note),
        "course": course,
        "infant": course.infant,
        "glance": course.glance,
        "growth": [
            (growth_title(course.infant, one), one, Markup(growth_chart(course.infant, one))) for one in course.growth
        ],
        "motion": [(one.label, one, Markup(motion_chart(course.infant, one))) for one in course.motion],
    }
