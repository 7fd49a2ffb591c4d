"""Does a plan on the real page as a person with a keyboard and a mouse would, and counts what that takes.

Operator times of the keystroke-level model: Card, Moran, Newell, "The keystroke-level model for user performance time
with interactive systems", CACM 23(7), 1980, and "The Psychology of Human-Computer Interaction", 1983, chapter 8 (from
memory): K 0.28 s for a press (average non-secretary typist), P 1.10 s to point, H 0.40 s to move the hand between
keyboard and mouse, M 1.35 s to prepare mentally; R is what the page took to answer, measured.
"""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from review_plan import AddLine, Put, Step, Strike, fits, queries
from score import CONCEPTS, Slots

K, P, H, M = 0.28, 1.10, 0.40, 1.35
SIDE_KEYS = {"left": "l", "right": "r", "both": "b", "none": "o"}
WAIT_MS = 60_000


@dataclass
class Spent:
    """What was spent. ``keys`` typed or pressed, ``touches`` of the mouse; seconds by the model."""

    edits: int = 0
    keys: int = 0
    touches: int = 0
    seconds: float = 0.0
    waited: float = 0.0

    @property
    def presses(self) -> int:
        return self.keys + self.touches


class Person:
    """One pair of hands on the review page of one visit."""

    def __init__(self, page: Any, names: Callable[[Slots], dict[str, Any]], words: "Spoken") -> None:
        """``names``: the spoken forms of a line's slots; ``words``: when what was said."""
        self.page, self.spent = page, Spent()
        self._names, self._words = names, words
        self._at_mouse = True
        self.told: list[tuple[Step, int]] = []  # each edit with its presses

    def do(self, step: Step) -> None:
        """Do one edit; it is on disk then."""
        before = self.spent.presses
        self._do(step)
        self.spent.edits += 1
        self.told.append((step, self.spent.presses - before))

    def _do(self, step: Step) -> None:
        match step:
            case Strike():
                self._tool(step.line, "x")
            case Put():
                self._put(step.line, dict(step.slots))
            case AddLine():
                self._add(step)

    # ------------------------------------------------------------ hands

    def _touch(self, place: Any, hover: Any = None) -> None:
        """Point and press; where the strip first comes under the pointer, point twice."""
        if not self._at_mouse:
            self.spent.seconds += H
        self._at_mouse = True
        if hover is not None:
            hover.hover()
            self.spent.seconds += P
        self.spent.touches += 1
        self.spent.seconds += P + K
        place.click()

    def _press(self, *keys: str) -> None:
        if self._at_mouse:
            self.spent.seconds += H
        self._at_mouse = False
        for key in keys:
            self.spent.keys += 1
            self.spent.seconds += K
            self.page.keyboard.press(key)

    def _type(self, text: str) -> None:
        if self._at_mouse:
            self.spent.seconds += H
        self._at_mouse = False
        self.spent.keys += len(text)
        self.spent.seconds += K * len(text)
        self.page.keyboard.type(text)

    def _think(self) -> None:
        self.spent.seconds += M

    def _wait(self, what: Callable[[], Any]) -> Any:
        began = time.perf_counter()
        got = what()
        self.spent.waited += time.perf_counter() - began
        return got

    def _saved(self, act: Callable[[], Any]) -> None:
        """Act and wait until it is on disk: a person need not wait, so it is not counted."""
        with self.page.expect_response(
            lambda r: "/changes" in r.url and r.request.method == "POST", timeout=WAIT_MS
        ) as got:
            act()
        if got.value.status != 200:
            raise RuntimeError(got.value.text())
        self.page.wait_for_function("() => document.getElementById('saved').textContent.startsWith('saved')")

    # ------------------------------------------------------------ edits

    def _line(self, key: str) -> Any:
        return self.page.locator(f"[id='line-{key}']")

    def _tool(self, key: str, tool: str) -> None:
        self._think()
        line = self._line(key).locator(".text")
        line.scroll_into_view_if_needed()
        line.hover()
        button = self._line(key).locator(f"[data-tool={tool}]")
        self._saved(lambda: self._touch(button, hover=line))

    def _choose(self, key: str) -> list[dict[str, Any]]:
        """Touch a line; gives what it may mean otherwise."""
        self._think()
        place = self._line(key).locator(".margin")
        place.scroll_into_view_if_needed()
        with self.page.expect_response(
            lambda r: r.url.endswith(f"/offers?line={quote(key, safe=_PLAIN)}"), timeout=WAIT_MS
        ) as got:
            self._touch(place)
            self._wait(lambda: got.value)
        offers: list[dict[str, Any]] = [offer["change"] for offer in got.value.json()]
        if offers:
            self.page.wait_for_selector(".offers")
        return offers

    def _take(self, number: int) -> None:
        self._think()
        self._saved(lambda: self._touch(self.page.locator(f".offers [data-offer='{number}']")))

    def _put(self, key: str, slots: Slots) -> None:
        side = slots.pop("side", None)
        while slots:
            offers = self._choose(key)
            found = next((n for n, o in enumerate(offers) if o["type"] == "slots" and _within(o["slots"], slots)), None)
            if found is None:
                self._form(slots)
                break
            self._take(found)
            for slot in offers[found]["slots"]:
                slots.pop(slot)
        if side is not None:
            self._tool(key, SIDE_KEYS[side])

    def _form(self, slots: Slots) -> None:
        """The form of the line that was touched last: field after field by Tab."""
        self._think()
        self._press("e")
        self.page.wait_for_selector("#slip:not([hidden])")
        order = ("concept", "site", "side", "level", "result", "value")
        at = 0
        for slot in (slot for slot in order if slot in slots):
            self._press(*["Tab"] * (order.index(slot) - at))
            at = order.index(slot)
            self._think()
            self._field(slot, slots[slot])
        self._saved(lambda: self._press("Enter"))

    def _field(self, slot: str, value: Any) -> None:
        if slot == "site" and value:
            label = self._names({"site": value})["site"][0]
            self._type(label[:5])
            options = self.page.locator("#l-site [role=option]")
            self._wait(lambda: options.filter(has_text=re.compile(f"^{re.escape(label)}$")).wait_for())
            self._press(*["ArrowDown"] * options.all_inner_texts().index(label), "Enter")
        elif slot == "result":
            label = self.page.locator(f"#f-result option[value='{value or ''}']").inner_text()
            self._type(label[:3])
            if self.page.input_value("#f-result") != (value or ""):
                self._type(label[3:])
            if self.page.input_value("#f-result") != (value or ""):
                raise RuntimeError(f"no result {value}")
        elif value is None:
            self._press("Delete")
        else:
            self._type(f"{value:g}" if isinstance(value, float) else str(value))

    def _add(self, step: AddLine) -> None:
        key = self._near(step.quote)
        offers = self._choose(key)
        if not self._offered(offers, step):
            offers = self._word(key, step.quote)
            if not self._offered(offers, step):
                self._typed(step.slots, key)

    def _offered(self, offers: list[dict[str, Any]], step: AddLine) -> bool:
        """Take an offered line that is right, or right but for its side: that is one touch more."""
        added = [(n, offer["slots"]) for n, offer in enumerate(offers) if offer["type"] == "add"]
        for n, slots in added:
            if fits(slots, step.slots):
                self._take(n)
                return True
        for n, slots in added:
            if fits(slots | {"side": step.slots["side"]}, step.slots):
                before = self._lines()
                self._take(n)
                self._tool(self._new(before), SIDE_KEYS[step.slots["side"]])
                return True
        return False

    def _word(self, key: str, said: str) -> list[dict[str, Any]]:
        """Touch the last word of what was said, where it is unfolded; gives what its sentence may mean."""
        i = self._words.number(re.findall(r"\w+", said.casefold()))
        self._line(key).locator(".heard-words").wait_for()
        word = self._line(key).locator(f"[data-word='{i}']")
        if not word.count():
            return []
        self._think()
        with self.page.expect_response(lambda r: r.url.endswith(f"&word={i}"), timeout=WAIT_MS) as got:
            self._touch(word)
            self._wait(lambda: got.value)
        offers = [offer["change"] for offer in got.value.json()]
        if offers:
            self.page.wait_for_selector(f".offers[data-of='{i}']")
        return offers

    def _typed(self, wanted: Slots, key: str) -> None:
        names = self._names(wanted)
        if wanted["site"] == (CONCEPTS[wanted["concept"]][3] or None):
            names["site"] = ()
        best: tuple[int, str, int, Slots] | None = None
        for text in dict.fromkeys(filter(None, queries(wanted, names))):
            if best is not None and len(text) >= best[0]:
                continue
            for rank, slots in enumerate(self._found(text, key)):
                away = _away(slots, wanted)
                if away is not None:
                    cost = len(text) + rank + sum(_COSTS[slot] for slot in away)
                    if best is None or cost < best[0]:
                        best = (cost, text, rank, away)
        if best is None:
            raise RuntimeError(f"nothing that is typed finds {wanted}")
        _, text, rank, away = best
        before = self._lines()
        self._think()
        self._press("a")
        self.page.wait_for_selector("#slip:not([hidden])")
        self._think()
        with self.page.expect_response(
            lambda r: "/lines?" in r.url and r.url.endswith(f"q={quote(text, safe=_PLAIN)}")
        ):
            self._type(text)
        self.page.wait_for_timeout(150)
        self._think()
        self._press(*["ArrowDown"] * rank)
        self._saved(lambda: self._press("Enter"))
        if away:
            self._put(self._new(before), away)

    def _found(self, text: str, key: str) -> list[Slots]:
        """What the page would offer for typed words: looked up here only to choose what to type."""
        asked = f"lines?beside={quote(key, safe='')}&q={quote(text, safe='')}"
        path = self.page.url.split("#")[0] + "/" + asked
        return [found["slots"] for found in self.page.evaluate("(p) => fetch(p).then((r) => r.json())", path)]

    def _lines(self) -> set[str]:
        found: list[str] = self.page.evaluate("() => [...document.querySelectorAll('.line')].map(l => l.dataset.line)")
        return set(found)

    def _new(self, before: set[str]) -> str:
        return next(iter(self._lines() - before))

    def _near(self, said: str) -> str:
        """The line that was said where the quote was, or else nearest before it; a stretch that became none first."""
        return str(self.page.evaluate(_NEAR, [self._time_of(said)]))

    def _time_of(self, said: str) -> int:
        return self._words.find(re.findall(r"\w+", said.casefold()))


class Spoken:
    """When words were said."""

    def __init__(self, words: list[tuple[str, int]]) -> None:
        parts = [(part, at, i) for i, (text, at) in enumerate(words) for part in re.findall(r"\w+", text.casefold())]
        self._texts = [text for text, _, _ in parts]
        self._at, self._i = [at for _, at, _ in parts], [i for _, _, i in parts]

    def find(self, wanted: list[str]) -> int:
        """The time of the stretch that shares most with these words in their order."""
        return self._at[self._first(wanted)]

    def number(self, wanted: list[str]) -> int:
        """The number of the last word of that stretch."""
        return self._i[min(self._first(wanted) + len(wanted), len(self._i)) - 1]

    def _first(self, wanted: list[str]) -> int:
        starts = range(max(1, len(self._texts) - len(wanted) + 1))
        return max(starts, key=lambda n: sum(map(str.__eq__, self._texts[n : n + len(wanted)], wanted)))


_COSTS = {"side": 1, "site": 2, "result": 2, "value": 9, "level": 9}  # presses of putting it right afterwards
_PLAIN = "!'()*~"  # what a script leaves as it is in a part of an address
_NEAR = """([at]) => {
  const all = [...document.querySelectorAll('.line:not(.struck)')].filter((l) => l.dataset.start !== undefined);
  const off = (l) => {
    const [a, b] = [Number(l.dataset.start), Number(l.dataset.end)];
    const away = at >= a - 500 && at <= b + 500 ? 0 : Math.min(Math.abs(at - a), Math.abs(at - b));
    return away - (l.classList.contains('loose') ? 1500 : 0);
  };
  return all.sort((x, y) => off(x) - off(y))[0].dataset.line;
}"""


def _within(offered: Slots, wanted: Slots) -> bool:
    return all(slot in wanted and wanted[slot] == value for slot, value in offered.items())


def _away(slots: Slots, wanted: Slots) -> Slots | None:
    """The slots that would still be wrong; None where it is another concept."""
    if slots["concept"] != wanted["concept"]:
        return None
    site = slots.get("site") or CONCEPTS[slots["concept"]][3] or None
    now = {"site": {"cervical_spine": "neck"}.get(site or "", site), "side": slots.get("side") or "none"}
    now |= {slot: slots.get(slot) for slot in ("level", "result", "value")}
    return {slot: wanted[slot] for slot, value in now.items() if value != wanted[slot]}
