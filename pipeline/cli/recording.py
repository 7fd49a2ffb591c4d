"""Recording a visit at the terminal, and finding again what a crash left."""

import shutil
import sys
import time
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.app import PARTLY, AgeOption, Gestation, Sex, app, print_lines, ready, say
from pipeline.cli.keys import ended_by_signal, raw_keys

if TYPE_CHECKING:
    from pipeline.capture import Capture, Kept
    from pipeline.config import Config


@app.command()
def record(
    infant: Annotated[str | None, typer.Option(help="Code name of the infant.", metavar="ID")] = None,
    age: AgeOption = None,
    born: Annotated[str | None, typer.Option(help="Birth date, year-month-day.", metavar="DATE")] = None,
    sex: Annotated[Sex | None, typer.Option(help="For the growth standards; asked for where it matters.")] = None,
    gestation: Gestation = None,
    consent: Annotated[
        str | None, typer.Option(help="Who agreed to being recorded, and in what role; asked for if left out.")
    ] = None,
    device: Annotated[str | None, typer.Option(help="Number or name of the microphone.", metavar="NAME")] = None,
    devices: Annotated[bool, typer.Option("--devices", help="Only list the microphones.")] = False,
    silent_minutes: Annotated[
        float, typer.Option(help="End by itself after so many minutes of silence; 0 = never.", min=0)
    ] = 10.0,
    no_draft: Annotated[bool, typer.Option("--no-draft", help="Only record; listen and draft later.")] = False,
) -> None:
    """Record a visit; it is heard while you speak, and drafted when it ends."""
    if age is not None and born is not None:
        raise typer.BadParameter("give --age or --born, not both.")
    from datetime import date

    from pipeline.ages import parse_date
    from pipeline.capture import another_microphone, begin, list_microphones, microphone, start_hearer
    from pipeline.show import device_lines
    from pipeline.visits import Told

    if devices:
        print_lines(device_lines(list_microphones()))
        return
    told = Told(
        infant=infant,
        age=age,
        born=parse_date(born, "birth date") if born is not None else None,
        sex=sex.value if sex is not None else None,
        gestation_weeks=gestation,
    )
    config, _ = ready()
    _offer_recovery(config)
    source = microphone(device)
    try:
        capture = begin(config, told, _agreed(consent), today=date.today(), silent_minutes=silent_minutes)
    except BaseException:
        source.close()
        raise
    if not no_draft:
        start_hearer(config)
    thread = capture.run(source, another_microphone)
    try:
        _watch(config, capture, source.name, hearing=not no_draft)
    finally:
        thread.join()
    _after(config, capture, hear=not no_draft)


def _agreed(consent: str | None) -> str:
    """Who agreed to being recorded; asked for where nobody was named."""
    if consent is not None:
        return consent
    if not sys.stdin.isatty():
        raise typer.BadParameter("--consent: say who agreed to being recorded, and in what role.")
    say("Before you record: has somebody who may decide for the infant agreed to it? Local law decides what is needed.")
    return str(typer.prompt("Who agreed, and in what role (for example: Ana, mother)", err=True))


def _watch(config: "Config", capture: "Capture", source: str, *, hearing: bool) -> None:
    """Show how the recording stands, and do what keys ask, until it has ended."""
    from pipeline.capture import start_hearer
    from pipeline.show import KEYS, RecordingScreen

    screen = RecordingScreen(source, colours=sys.stderr.isatty())
    with raw_keys() as keys, ended_by_signal() as ended:
        looked = time.monotonic()
        while capture.recorder.state != "ended":
            for key in keys(0.2):
                if (asked := KEYS.asked(key, capture.recorder.shown())) is not None:
                    capture.ask(asked)
            if ended():
                capture.ask(KEYS.end)
            if sys.stderr.isatty():
                sys.stderr.write(screen.text(capture.recorder.shown(), shutil.get_terminal_size().columns))
                sys.stderr.flush()
            elif (change := screen.change(capture.recorder.shown())) is not None:
                say(change)
            if hearing and time.monotonic() - looked > 10:
                start_hearer(config)  # does nothing where it is at work
                looked = time.monotonic()
    if sys.stderr.isatty():
        sys.stderr.write("\n")


def _after(config: "Config", capture: "Capture", *, hear: bool) -> None:
    """Seal, wait for the draft and tell where it is; destroy where consent was withdrawn."""
    from pipeline.capture import discard, find, start_hearer
    from pipeline.errors import LockedError

    ended = capture.recorder.ended
    say(f"Recording ended: {ended}.")
    here = find(capture.folder)
    if capture.recorder.withdrawn and (
        not sys.stdin.isatty() or typer.confirm("Destroy what was recorded?", default=True, err=True)
    ):
        discard(here)
        say("The recording was destroyed; nothing of it is kept.")
        return
    if here.length_ms == 0:
        discard(here)
        say("handspoken: no sound came, so nothing is kept. Check the microphone: handspoken record --devices")
        raise typer.Exit(1)
    try:
        capture.finish()
    except LockedError as error:
        say(f"handspoken: {error} What was recorded is kept, encrypted; then run: handspoken recover")
        raise typer.Exit(PARTLY) from error
    if not hear:
        say("Sealed. It is heard and drafted by: handspoken listen")
        return
    start_hearer(config)
    _wait(config, here)


def _wait(config: "Config", here: "Kept") -> None:
    from pipeline.capture import Awaited
    from pipeline.show import drafted_lines

    say("Drafting. You may close this: it goes on by itself.")
    awaited = Awaited(config, here.folder)
    with ended_by_signal() as ended:
        while (drafted := awaited.look()) is None and not ended():
            time.sleep(0.2)
    if drafted is None:
        say("Not drafted yet. What stands in the way, or that all goes well, is told by: handspoken listen")
        return
    if drafted.fault:
        say(f"handspoken: {drafted.fault}")
        raise typer.Exit(1)
    print_lines(drafted_lines(drafted))


def _offer_recovery(config: "Config") -> None:
    """Say what a crash left open, and offer to seal it."""
    from pipeline.capture import kept
    from pipeline.capture import recover as seal_again
    from pipeline.show import left_open_lines

    left = [found for found in kept(config) if found.state == "open"]
    if not left:
        return
    for line in left_open_lines(left):
        say(line)
    if sys.stdin.isatty() and typer.confirm("Seal and draft what is there?", default=True, err=True):
        for found in left:
            seal_again(found)


@app.command()
def recover() -> None:
    """Seal recordings that a crash or a full disk left open, and draft them."""
    from pipeline.capture import kept, start_hearer
    from pipeline.capture import recover as seal_again
    from pipeline.errors import HandspokenError
    from pipeline.show import left_open_lines
    from pipeline.vault import keys_of

    config, _ = ready()
    keys_of(config.home)
    left = [found for found in kept(config) if found.state == "open"]
    if not left:
        print_lines(["No recording was left open."])
        return
    failed = 0
    for found, line in zip(left, left_open_lines(left), strict=False):
        say(line)
        try:
            told = "sealed" if seal_again(found) else "empty, removed"
        except HandspokenError as error:
            failed += 1
            told = f"handspoken: {error}"
        say(f"{found.folder.name}: {told}")
    start_hearer(config)
    print_lines(["They are heard and drafted now; see: handspoken review"])
    if failed:
        raise typer.Exit(PARTLY)


@app.command()
def listen(
    once: Annotated[bool, typer.Option("--once", help="End when nothing is left instead of waiting a minute.")] = False,
) -> None:
    """Hear what is being recorded and draft what was recorded; recording starts this by itself."""
    from pipeline.live import work

    config, _ = ready()
    work(config, wait_s=0.0 if once else 60.0, note=say)
