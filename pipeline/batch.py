"""Old recordings: a folder of them drafted, several at once; what is done is skipped, so that it resumes by itself."""

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, Literal

from pipeline.ages import parse_date
from pipeline.config import Config
from pipeline.errors import HandspokenError, InputError
from pipeline.files import blocks_of, sha256_of
from pipeline.model import Frozen
from pipeline.run import TRANSCRIPT_SUFFIX, read_beside
from pipeline.stages import Stages
from pipeline.store import Store
from pipeline.vault import Keys, keys_of, use
from pipeline.visits import Told, draft

SOUND_SUFFIXES = frozenset(
    {".wav", ".w64", ".flac", ".mp3", ".aac", ".m4a", ".ogg", ".oga", ".opus", ".webm", ".mka", ".mkv", ".mov"}
    | {".mp4", ".3gp", ".3g2", ".avi", ".mpg", ".mpeg", ".ts", ".aif", ".aiff", ".caf"}
)
MOST_JOBS = 64
NOTE = "note.html"  # a visit whose page is not there was broken off after it was filed
_TEXTS = ("infant", "code_name", "age", "born", "sex", "on")
_stages: Stages  # of a worker process, made once by _begin


class Outcome(Frozen):
    """What became of one file: drafted, torn (drafted as far as it goes), skipped or failed, and why."""

    file: str
    state: Literal["drafted", "torn", "skipped", "failed"]
    what: str
    visit: str = ""


def draft_folder(
    folder: Path, told: Told, config: Config, make: Callable[[Config], Stages], *, today: date, jobs: int = 1
) -> Iterator[tuple[int, int, Outcome]]:
    """Draft every recording and transcript in a folder; yields (number done, number in all, outcome) as they end.

    What is told of a file stands in ``NAME.json`` beside it (infant, age, born, sex, gestation_weeks, on), else in
    ``told``; the day, where nobody says it, is that of the file. A file whose bytes are on record and drafted is
    skipped. make: builds the stages, once a process. Raises InputError where there is nothing to do.
    """
    if not 1 <= jobs <= MOST_JOBS:
        raise InputError(f"--jobs {jobs}: give 1 to {MOST_JOBS}.")
    paths, outcomes = _sorted_out(folder, config)
    total, done = len(paths) + len(outcomes), 0
    if not total:
        raise InputError(f"{folder}: holds no recording and no transcript.")
    work = partial(_draft_one, told=told, config=config, today=today)
    for outcome in outcomes:
        done += 1
        yield done, total, outcome
    for outcome in _one_by_one(paths, config, make, work) if jobs == 1 else _at_once(paths, config, make, work, jobs):
        done += 1
        yield done, total, outcome


def told_beside(path: Path, told: Told) -> Told:
    """What the JSON beside a file tells, over what was told for all. Raises InputError where it cannot be read."""
    data = read_beside(path)
    where = path.with_suffix(".json")
    odd = [key for key in _TEXTS if not isinstance(data.get(key), str | None)]
    weeks = data.get("gestation_weeks")
    if odd or not (weeks is None or type(weeks) is int):
        raise InputError(f'{where}: "{(odd or ["gestation_weeks"])[0]}" is not of the form that it must have.')
    if data.get("sex") not in (None, "female", "male"):
        raise InputError(f'{where}: "sex" is "female" or "male".')
    said: dict[str, Any] = {
        "infant": data.get("infant") or data.get("code_name"),
        "age": data.get("age"),
        "born": parse_date(data["born"], f"{where}: birth date") if data.get("born") else None,
        "sex": data.get("sex"),
        "gestation_weeks": weeks,
        "on": parse_date(data["on"], f"{where}: day") if data.get("on") else None,
    }
    return replace(told, **{name: value for name, value in said.items() if value is not None})


def _sorted_out(folder: Path, config: Config) -> tuple[list[Path], list[Outcome]]:
    """The files that are still to be drafted, and what is to be said of the others."""
    try:
        there = sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))
    except OSError as error:
        raise InputError(f"{folder}: cannot be read ({error.strerror}).") from error
    sounds = {path.stem: path.name for path in there if path.suffix.lower() in SOUND_SUFFIXES}
    filed = _filed(config)
    todo: list[Path] = []
    outcomes: list[Outcome] = []
    first: dict[str, str] = {}
    for path in there:
        if path.suffix.lower() not in SOUND_SUFFIXES | {TRANSCRIPT_SUFFIX}:
            continue
        try:
            sha256 = sha256_of(blocks_of(path))
        except HandspokenError as error:
            outcomes.append(Outcome(file=path.name, state="failed", what=str(error)))
            continue
        visit = filed.get(sha256, "")
        if path.suffix.lower() == TRANSCRIPT_SUFFIX and path.stem in sounds:
            what = f"its recording is {sounds[path.stem]}"
        elif visit and ((note := config.note_folder(visit)) is None or (note / NOTE).is_file()):
            what = "on record already"
        elif sha256 in first:
            what = f"the same as {first[sha256]}"
        else:
            first[sha256] = path.name
            todo.append(path)
            continue
        outcomes.append(Outcome(file=path.name, state="skipped", what=what, visit=visit))
    return todo, outcomes


def _filed(config: Config) -> Mapping[str, str]:
    if not Store.exists(config.home):
        return {}
    with Store(config.home) as store:
        return store.drafted_by_content()


def _draft_one(path: Path, stages: Stages, *, told: Told, config: Config, today: date) -> Outcome:
    try:
        one = told_beside(path, told)
        day = ""
        if one.on is None:
            one = replace(one, on=min(date.fromtimestamp(path.stat().st_mtime), today))
            day = f"; day by the file: {one.on}"
        done = draft(path, one, config, stages, today=today)
    except (HandspokenError, OSError) as error:
        return Outcome(file=path.name, state="failed", what=" ".join(str(error).split()))
    lines = len(done.drafted.extraction.items)
    what = f"{done.record.infant.code_name}, {done.record.day}, {lines} line{'s' * (lines != 1)}{day}"
    if done.torn:
        return Outcome(file=path.name, state="torn", what=f"{what}; {done.torn}", visit=done.record.visit)
    return Outcome(file=path.name, state="drafted", what=what, visit=done.record.visit)


def _one_by_one(
    paths: list[Path], config: Config, make: Callable[[Config], Stages], work: Callable[[Path, Stages], Outcome]
) -> Iterator[Outcome]:
    if paths:
        stages = make(config)
        yield from (work(path, stages) for path in paths)


def _at_once(
    paths: list[Path],
    config: Config,
    make: Callable[[Config], Stages],
    work: Callable[[Path, Stages], Outcome],
    jobs: int,
) -> Iterator[Outcome]:
    """Each process has a speech model of its own. A process ended from outside takes the files in hand with it."""
    if not paths:
        return
    pool = ProcessPoolExecutor(
        min(jobs, len(paths)),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
        initargs=(config, make, keys_of(config.home)),
    )
    try:
        waiting: dict[Future[Outcome], Path] = {pool.submit(_in_worker, work, path): path for path in paths}
        for future in as_completed(waiting):
            name = waiting[future].name
            try:
                yield future.result()
            except BrokenProcessPool:
                what = "the process was ended from outside, or could not begin; run it again, with fewer --jobs"
                yield Outcome(file=name, state="failed", what=what)
    finally:
        pool.shutdown(cancel_futures=True)


def _begin(config: Config, make: Callable[[Config], Stages], keys: Keys | None) -> None:
    global _stages
    if keys is not None:
        use(keys)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _stages = make(config)


def _end_with_parent() -> None:
    """A worker whose parent was killed would wait for work for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        with suppress(OSError):
            parent.join()
        os._exit(1)


def _in_worker(work: Callable[[Path, Stages], Outcome], path: Path) -> Outcome:
    return work(path, _stages)
