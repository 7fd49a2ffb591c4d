"""The recorder's screen: one look tells whether it records, how loud it is, and what is wrong."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.show.lines import note_line
from pipeline.times import clock

if TYPE_CHECKING:
    from pipeline.capture import Ask, Drafted, Kept, Shown

_BARS = 20
_BOTTOM_DB = -60.0
FAULTS = {
    "no_sound": "NO SOUND COMES from the microphone.",
    "dead": "NOTHING BUT SILENCE: the microphone is switched off, muted, or the wrong one.",
    "quiet": "VERY QUIET: is this the right microphone, and near enough?",
    "clipping": "TOO LOUD: turn the microphone down or move it away.",
    "little_room": "LITTLE ROOM on the disk.",
}
STATES = {
    "waiting": "NOT RECORDING YET: waiting for the first sound",
    "recording": "RECORDING",
    "paused": "PAUSED: not recording",
    "ended": "ENDED",
}
_HELP = ("any key or pedal: mark   p: pause   q: end", "o: off the record   b: take that back   w: consent withdrawn")
_COLOURS = {"recording": "\x1b[1;97;41m", "paused": "\x1b[1;30;43m", "waiting": "\x1b[1;30;43m"}
_PLAIN, _CLEAR = "\x1b[0m", "\x1b[K"
_LINES = 5


class _Keys:
    """What each key asks for; every key that has no meaning of its own is a mark."""

    @property
    def end(self) -> "Ask":
        return _ask("end")

    def asked(self, key: str, shown: "Shown") -> "Ask | None":
        """What a key asks for as things stand; None for control characters that no person presses."""
        match key.lower():
            case "p":
                return _ask("resume" if shown.state == "paused" else "pause")
            case "o":
                return _ask("keep" if shown.off_record else "drop")
            case "b":
                return _ask("take_back")
            case "w":
                return _ask("withdraw")
            case "q" | "\x04":
                return _ask("end")
            case _:
                return _ask("mark")


KEYS = _Keys()


def _ask(what: str) -> "Ask":
    from pipeline.capture import Ask

    return Ask.model_validate({"what": what})


@dataclass
class RecordingScreen:
    """Draws the state over itself on a terminal; elsewhere ``change`` tells each change of state once."""

    source: str
    colours: bool
    _drawn: bool = False
    _told: str = field(default="", repr=False)

    def text(self, shown: "Shown", columns: int) -> str:
        """What to write to a terminal of so many columns now."""
        up = f"\x1b[{_LINES}A\r" if self._drawn else ""
        self._drawn = True
        first, *others = (line[: columns - 1] for line in self._lines(shown))
        colour = self._colour(shown)
        return up + "".join(f"{line}{_CLEAR}\n" for line in (f"{colour}{first}{_PLAIN if colour else ''}", *others))

    def _colour(self, shown: "Shown") -> str:
        if not self.colours:
            return ""
        return "\x1b[1;97;44m" if shown.off_record and shown.state == "recording" else _COLOURS.get(shown.state, "")

    def change(self, shown: "Shown") -> str | None:
        """The state in words where it has changed."""
        told = "; ".join([_state(shown), *(FAULTS[fault] for fault in shown.faults)])
        if told == self._told:
            return None
        self._told = told
        return told

    def _lines(self, shown: "Shown") -> Iterator[str]:
        yield f" {_state(shown)}  {clock(shown.at_ms)} {f'  marks {shown.marks} ' if shown.marks else ''}"
        share = (max(shown.level_db, _BOTTOM_DB) - _BOTTOM_DB) / -_BOTTOM_DB
        bars = round(_BARS * min(share, 1.0))
        hours, minutes = divmod(shown.minutes_left, 60)
        room = f"{hours} h {minutes:02d} min of room" if hours < 100 else "more than 100 h of room"
        yield f" level {'█' * bars}{'░' * (_BARS - bars)}  {room}   {self.source}"
        yield " " + " ".join(FAULTS[fault] for fault in shown.faults)
        yield from (f" {line}" for line in _HELP)


def _state(shown: "Shown") -> str:
    if shown.off_record and shown.state == "recording":
        return "OFF THE RECORD: will be silence"
    return STATES[shown.state]


def device_lines(devices: Iterable[tuple[int, str, bool]]) -> Iterator[str]:
    """The microphones by number."""
    found = False
    for number, name, default in devices:
        found = True
        yield f"{number:>3}  {name}{'  (default)' if default else ''}"
    if not found:
        yield "No microphone was found."


def left_open_lines(left: "Iterable[Kept]") -> Iterator[str]:
    """What a crash left open, a line a recording."""
    for found in left:
        when = found.begun.astimezone().strftime("%Y-%m-%d %H:%M") if found.begun else "unknown time"
        yield f"Left open: {found.told.infant or 'unnamed infant'}, begun {when}, {clock(found.length_ms)} of sound"


def drafted_lines(drafted: "Drafted") -> Iterator[str]:
    """Where the draft is."""
    yield f"Visit {drafted.visit}: {drafted.infant}"
    yield f"{drafted.lines} lines, {drafted.points} points to check before signing"
    yield note_line(drafted.folder, drafted.visit)
    yield "A draft, to be checked and signed by a licensed clinician."
