"""Charts as SVG by matplotlib: growth on centile curves, motion by side.

Made to be read in print (lines differ by form, not by colour alone) and by a screen reader (title and description; a
table stands behind each on the page). Ink and paper are those of the page (``currentColor``); styles are attributes, as
a page that forbids inline styles needs it.
"""

import io
import re
from typing import Any
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pipeline.store.past import Baby
from pipeline.timeline.growth import Motion, Series, centile_told, curves

_SVG = "http://www.w3.org/2000/svg"
_INK = "#010101"  # becomes the page's own colour
_WEEK = 7
_SIZE = (5.2, 3.4)  # inches of 72 units: on the page of a phone the letters stay readable
_DAYS_SHOWN = 10  # under the axis; all stand in the table
_SETTINGS: Any = {
    "svg.fonttype": "none", "svg.hashsalt": "handspoken", "font.family": "serif", "font.size": 10,
    "text.color": _INK, "axes.edgecolor": _INK, "axes.labelcolor": _INK, "xtick.color": _INK, "ytick.color": _INK,
    "axes.spines.top": False, "axes.spines.right": False,
}  # fmt: skip
_MARKS = {"left": ("o", "-"), "right": ("s", "--"), "none": ("^", ":")}
_NAMESPACES = {"": _SVG, "xlink": "http://www.w3.org/1999/xlink"}


def growth_chart(baby: Baby, measured: Series) -> str:
    """Measurements over corrected age in weeks on the curves for the sex; without them where the sex is not known."""
    points = [p for p in measured.points if p.corrected_days is not None]
    sex = "female" if baby.sex == "female" else "male" if baby.sex == "male" else None
    upto = max([p.corrected_days or 0 for p in points] + [13 * _WEEK]) + 4 * _WEEK
    with mpl.rc_context(_SETTINGS):
        figure, axes = _sheet()
        if sex is not None:
            for share, line in curves(measured.concept, "female" if sex == "female" else "male", upto):
                days, values = [d / _WEEK for d, _ in line], [v for _, v in line]
                axes.plot(days, values, color=_INK, linewidth=1.4 if share == 50 else 0.6, alpha=0.55)
                axes.annotate(f"{share}", (days[-1], values[-1]), (4, -3), textcoords="offset points", fontsize=8)
        axes.plot([(p.corrected_days or 0) / _WEEK for p in points], [p.value for p in points], "o-", color=_INK,
                  markersize=6, linewidth=1.6)  # fmt: skip
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("corrected age in weeks")
        axes.set_ylabel(measured.points[-1].unit)
        return _svg(figure, f"growth-{measured.concept.partition('.')[2]}", growth_title(baby, measured),
                    growth_description(measured))  # fmt: skip


def growth_title(baby: Baby, measured: Series) -> str:
    """What the chart shows."""
    on = {"female": " on the WHO 2006 curves for girls", "male": " on the WHO 2006 curves for boys"}
    return f"{measured.label[:1].upper()}{measured.label[1:]} of {baby.code_name}{on.get(baby.sex or '', '')}"


def growth_description(measured: Series) -> str:
    """The same in words: first and last measurement."""
    first, last = measured.points[0], measured.points[-1]
    told = [
        f"{p.value:g} {p.unit}" + (f", {centile_told(p.centile)} centile" if p.centile is not None else "")
        for p in (first, last)
    ]
    if len(measured.points) == 1:
        return f"One measurement, on {last.day}: {told[1]}."
    return f"{len(measured.points)} measurements, from {told[0]} on {first.day} to {told[1]} on {last.day}."


def motion_chart(baby: Baby, motion: Motion) -> str:
    """Degrees by visit: a full line with discs is the left side, a broken one with squares the right."""
    days = sorted({point.day for point in motion.points})
    with mpl.rc_context(_SETTINGS):
        figure, axes = _sheet()
        for side, (mark, line) in _MARKS.items():
            of_side = [(days.index(p.day), p.degrees) for p in motion.points if p.side == side]
            if of_side:
                at, values = zip(*of_side, strict=True)
                label = side if side != "none" else "no side said"
                axes.plot(at, values, marker=mark, linestyle=line, color=_INK, label=label, markersize=6)
        shown = range(0, len(days), -(-len(days) // _DAYS_SHOWN))
        axes.set_xticks(shown, [f"{days[n]:%d %b %Y}" for n in shown], rotation=0 if len(days) < 5 else 45)
        axes.set_xlim(-0.5, len(days) - 0.5)
        axes.set_ylim(0, max(p.degrees for p in motion.points) * 1.2)
        axes.set_ylabel("degrees")
        axes.legend(frameon=False, ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
        name = re.sub(r"\W+", "-", f"motion-{motion.concept}-{motion.site}")
        return _svg(figure, name, f"{motion.label} of {baby.code_name}, in degrees by side",
                    motion_description(motion))  # fmt: skip


def motion_description(motion: Motion) -> str:
    """The same in words: each side, first to last."""
    told = []
    for side in _MARKS:
        values = [p.degrees for p in motion.points if p.side == side]
        if values:
            path = " to ".join(f"{value:g}" for value in values)
            told.append(f"{side if side != 'none' else 'no side said'}: {path} degrees")
    return "; ".join(told) + "."


def _sheet() -> tuple[Figure, Any]:
    figure = Figure(figsize=_SIZE, layout="constrained")
    FigureCanvasSVG(figure)
    figure.patch.set_alpha(0)
    axes = figure.add_subplot()
    axes.patch.set_alpha(0)
    return figure, axes


def _svg(figure: Figure, name: str, title: str, description: str) -> str:
    """The figure as one SVG element with title and description, ids of its own, and attributes for styles."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    for prefix, uri in _NAMESPACES.items():
        ElementTree.register_namespace(prefix, uri)
    root = ElementTree.fromstring(out.getvalue())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.rpartition("}")[2] in ("metadata", "style"):
                parent.remove(child)
    for element in root.iter():
        _plain(element, name)
    for tag, text in (("desc", description), ("title", title)):
        told = ElementTree.Element(f"{{{_SVG}}}{tag}", {"id": f"{name}-{tag}"})
        told.text = text
        root.insert(0, told)
    root.attrib.pop("height", None)
    root.set("width", "100%")
    root.set("role", "img")
    root.set("aria-labelledby", f"{name}-title {name}-desc")
    return ElementTree.tostring(root, encoding="unicode").replace(_INK, "currentColor")


def _plain(element: ElementTree.Element, name: str) -> None:
    """Styles as attributes; ids and the references to them with the name of the chart before them."""
    for part in element.attrib.pop("style", "").split(";"):
        key, _, value = (text.strip() for text in part.partition(":"))
        if key == "font":  # "10px 'DejaVu Serif', serif": the page's own letters are taken
            element.set("font-size", value.split()[0])
        elif key:
            element.set(key, value)
    for key, value in list(element.attrib.items()):
        if key == "id":
            element.set(key, f"{name}-{value}")
        elif key.endswith("href") and value.startswith("#"):
            element.set(key, f"#{name}-{value[1:]}")
        elif value.startswith("url(#"):
            element.set(key, f"url(#{name}-{value[5:]}")
