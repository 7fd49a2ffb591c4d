"""How long records and sound are kept: rules and what they propose, legal holds, sound destroyed by an explicit act."""

from collections.abc import Iterator
from datetime import UTC, date, timedelta
from functools import lru_cache
from typing import Literal

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError, VocabularyError
from pipeline.infants import checked_text, found
from pipeline.model import Destroyed, Frozen, Mark
from pipeline.redaction import finish, note_due, resume
from pipeline.resources import data_path
from pipeline.run import derive
from pipeline.stages import Stages
from pipeline.store import Store, Writing
from pipeline.store.events import Hold, RecordDestroyed, SoundDestroyed, kind_of
from pipeline.store.holds import Held, holds, refuse_held
from pipeline.store.people import entries_of
from pipeline.store.tombstones import DESTROYS, destroyed_files, in_place_of, put_in_place
from pipeline.store.transfer import files_of
from pipeline.times import day
from pipeline.vocabulary import Entry, read_rows

_LONGEST = 400
UNTOUCHED = (*DESTROYS, Hold)  # events that tell what was destroyed and held stay when a record is destroyed


class Rule(Entry):
    """One row of vocab/retention.yaml."""

    id: str
    what: Literal["records", "sound", "told"]
    say: str
    until_age: int | None = None
    after_years: int | None = None
    source: str
    mark: Mark


class Proposal(Frozen):
    """What its time has come for. ``key``: the visit whose sound it is, or the infant whose record."""

    what: Literal["sound", "record"]
    key: str
    infant: str
    since: date
    why: str


class Kept(Frozen):
    """The rules in force in words, each with its source; what is proposed; what is held; rules of other places."""

    rules: tuple[tuple[str, str], ...]
    proposals: tuple[Proposal, ...]
    held: tuple[Held, ...]
    told: tuple[tuple[str, str], ...]


@lru_cache(maxsize=1)
def rules() -> dict[str, Rule]:
    """All rules by id. Raises VocabularyError."""
    faults: list[str] = []
    rows = read_rows(data_path("vocab") / "retention.yaml", Rule, faults)
    if faults:
        raise VocabularyError("The vocabulary has faults:\n  " + "\n  ".join(faults))
    return {rule.id: rule for _, rule in rows}


def retention(config: Config, *, today: date) -> Kept:
    """The rules, and what they propose today; destroys nothing. Raises StoreError."""
    records, sound = rules()["records.default"], rules()["sound.default"]
    age, years, days = _times(config)
    own = "settings.toml"
    changed = (age, years) != (records.until_age, records.after_years)
    said = f"until birthday {age}, or {years} years after the last entry where that is later"
    listed = f"{records.source} ({records.mark})"
    in_force = (
        (f"records: {said if changed else records.say}", own if changed else listed),
        (
            f"sound: {sound.say if days is None else f'{days} days after signing'}",
            sound.source if days is None else own,
        ),
    )
    told = tuple((rule.say, f"{rule.source} ({rule.mark})") for rule in rules().values() if rule.what == "told")
    if not Store.exists(config.home):
        return Kept(rules=in_force, proposals=(), held=(), told=told)
    with Store(config.home) as store, store.writing() as unit:
        held = holds(unit.connection)
        proposals = (*_sounds(unit, days, set(held), today), *_records(store, unit, age, years, set(held), today))
        return Kept(rules=in_force, proposals=proposals, held=tuple(held.values()), told=told)


def destroy_sound(key: str, by: str, config: Config, stages: Stages, *, today: date) -> Proposal:
    """Destroy the sound of a visit that is proposed for it; its words and lines stay.

    Raises NotFoundError, InputError where it is not proposed or under a hold, StoreError. Broken off, ``redact`` or
    this finishes it.
    """
    who = checked_text(by, "--by", 120)
    resume(config, stages)
    _, _, days = _times(config)
    with _open(config) as store:
        with store.writing() as unit:
            entry = unit.find_visit(key)
            on_it = unit.visits_of(recording=entry.recording.id) if entry.recording else []
            refuse_held(unit.connection, [visit.id for visit in on_it])
            mine = {visit.id for visit in on_it}
            proposal = next((one for one in _sounds(unit, days, set(), today) if one.key in mine), None)
            if proposal is None or entry.recording is None:
                raise InputError(f"visit {entry.id}: destroying its sound is not proposed; see `handspoken retention`.")
            note_due(config, sorted(mine))
            recording = entry.recording
            for visit in on_it:
                told = SoundDestroyed(
                    recording=recording.id, rule=proposal.why, by=who, replaced={recording.sha256: ""}
                )
                unit.append(told, visit=visit.id, infant=visit.infant.id)
            for visit in on_it:
                record = unit.record(visit.id)
                unit.put_draft(record, derive(record, stages))
        finish(store, config, stages)
    return proposal


def destroy_record(key: str, by: str, config: Config, stages: Stages, *, today: date) -> Proposal:
    """Destroy all that is on record of an infant that is proposed for it. That it was there, and when each entry was
    made, stays: the chain of events needs it.

    Raises NotFoundError, InputError where it is not proposed, under a hold, or tied to another infant's, StoreError.
    """
    who = checked_text(by, "--by", 120)
    resume(config, stages)
    age, years, _ = _times(config)
    with _open(config) as store:
        with store.writing() as unit:
            infant = found(unit, key)
            due = _records(store, unit, age, years, set(holds(unit.connection)), today)
            proposal = next((one for one in due if one.key == infant.id), None)
            if proposal is None:
                told = f"{infant.code_name}: destroying its record is not proposed; see `handspoken retention`."
                raise InputError(told)
            family = (infant.id, *(entry.id for entry in entries_of(unit.connection, infant.id)))
            visits = [visit.id for visit in unit.visits_of(infant=infant.id)]
            _refuse_tied(unit, family, visits)
            events = [e for visit in visits for e in unit.events(visit=visit)]
            events += [e for one in family for e in unit.events(infant=one)]
            events = [e for e in events if not isinstance(e.payload, UNTOUCHED)]
            files = {sha256 for e in events for sha256, _ in files_of(e.payload)}
            replaced = destroyed_files(unit.connection)
            files |= {now for one in files if (now := in_place_of(one, replaced))}
            note_due(config, visits)
            instead = {e.id: Destroyed(was=kind_of(e.payload)) for e in events}
            told_of = RecordDestroyed(
                infants=family,
                rule=proposal.why,
                by=who,
                replaced=dict.fromkeys(files, ""),
                events=put_in_place(unit.connection, instead),
            )
            unit.append(told_of, infant=infant.id)
        finish(store, config, stages)
    return proposal


def _refuse_tied(unit: Writing, family: tuple[str, ...], visits: list[str]) -> None:
    """Raises InputError where another infant's record cannot stand without this one."""
    recordings = {entry.recording.id for entry in map(unit.visit, visits) if entry.recording is not None}
    shared = {visit.id for one in recordings for visit in unit.visits_of(recording=one)} - set(visits)
    filed = {e.visit for e in unit.events() if getattr(e.payload, "infant", None) in family and e.visit} - set(visits)
    if shared | filed:
        raise InputError(
            f"visits of another infant were recorded or filed together with it ({', '.join(sorted(shared | filed))}); "
            "its record cannot be destroyed by itself."
        )


def hold(key: str, reason: str, by: str, config: Config, *, lift: bool = False) -> Held | None:
    """Set a legal hold on an infant, or lift it; returns the one that stands then.

    Raises NotFoundError, InputError where there is none to lift or one stands already, StoreError.
    """
    why, who = checked_text(reason, "the reason", _LONGEST), checked_text(by, "--by", 120)
    with _open(config) as store, store.writing() as unit:
        infant = found(unit, key)
        stands = infant.id in holds(unit.connection)
        if stands != lift:
            raise InputError(f"{infant.code_name}: {'no hold stands on it' if lift else 'a hold stands already'}.")
        unit.append(Hold(state="lifted" if lift else "set", reason=why, by=who), infant=infant.id)
        return holds(unit.connection).get(infant.id)


def _times(config: Config) -> tuple[int, int, int | None]:
    """Years of age, years after the last entry, and days after signing (None: kept)."""
    chosen, default = config.settings, rules()["records.default"]
    age = default.until_age if chosen.keep_records_until_age is None else chosen.keep_records_until_age
    years = default.after_years if chosen.keep_records_years is None else chosen.keep_records_years
    assert age is not None
    assert years is not None
    return age, years, chosen.keep_sound_days


def _sounds(unit: Writing, days: int | None, held: set[str], today: date) -> Iterator[Proposal]:
    """Sound whose visits are all signed and long enough ago, one for each recording."""
    seen: set[str] = set()
    for entry in map(unit.visit, unit.visits_with_words()) if days is not None else ():
        recording = entry.recording
        if recording is None or recording.gone or recording.id in seen or not recording.spoken:
            continue
        seen.add(recording.id)
        on_it = unit.visits_of(recording=recording.id)
        signed = [_signed_on(unit, visit.id) for visit in on_it]
        if held & {visit.infant.id for visit in on_it} or not unit.blob(recording.sha256).exists():
            continue
        last = max((at for at in signed if at is not None), default=None)
        if last is not None and None not in signed and (since := last + timedelta(days=days or 0)) <= today:
            why = f"kept {days} days after signing on {day(last)}"
            yield Proposal(what="sound", key=entry.id, infant=entry.infant.code_name, since=since, why=why)


def _records(store: Store, unit: Writing, age: int, years: int, held: set[str], today: date) -> Iterator[Proposal]:
    """Infants whose birthday has come and whose last entry is long enough ago; not those whose birth day is unknown."""
    for infant, _, _ in store.infants():
        if infant.born is None or infant.id in held:
            continue
        visits = unit.visits_of(infant=infant.id)
        made = [event.at.date() for visit in visits for event in unit.events(visit=visit.id)]
        made += [event.at.date() for event in unit.events(infant=infant.id)]
        last = max([*(visit.day for visit in visits), *(c.day for c in store.contacts(infant.id)), *made])
        since = max(_years_on(infant.born, age), _years_on(last, years))
        if since <= today:
            why = f"born on {day(infant.born)}, last entry on {day(last)}"
            yield Proposal(what="record", key=infant.id, infant=infant.code_name, since=since, why=why)


def _signed_on(unit: Writing, visit: str) -> date | None:
    at = [event.at for event in unit.events(visit=visit) if event.payload.type == "signed"]
    return max(at).astimezone(UTC).date() if at else None


def _years_on(start: date, years: int) -> date:
    try:
        return start.replace(year=start.year + years)
    except ValueError:  # 29 February
        return date(start.year + years, 3, 1)


def _open(config: Config) -> Store:
    if not Store.exists(config.home):
        raise NotFoundError(f"{config.home}: holds no record yet.")
    return Store(config.home)
