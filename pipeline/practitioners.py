"""Who works here: practitioners entered, each with a passphrase of their own; who is at work; who has left.

The passphrase that opens the record tells who is at work: its slot in ``keys.json`` has the practitioner's id as its
name. Every event that is appended then carries that id. What somebody signed stays when they leave.
"""

from dataclasses import dataclass
from datetime import date

from pipeline.config import Config
from pipeline.errors import InputError, NotFoundError
from pipeline.infants import checked_text
from pipeline.model import Frozen, Practitioner
from pipeline.safekeeping import OWNER, Cost, Unlocked, chosen, close, opened, slots
from pipeline.store import Store, Writing, new_id
from pipeline.store.events import PractitionerEntered, PractitionerRevised
from pipeline.store.practitioners import practitioners
from pipeline.vault import keys_of, locked, use

_LONGEST = 80


@dataclass(frozen=True)
class Told:
    """What the person said of a practitioner. ``until``: the last day, of a locum."""

    name: str
    role: str
    initials: str = ""
    start: date | None = None
    until: date | None = None


class Listed(Frozen):
    """A practitioner as the list shows them; ``opens``: whether they can open the record on that day."""

    practitioner: Practitioner
    opens: bool


def sign_in(config: Config, secret: str) -> Unlocked:
    """Open the record by a passphrase; from here on this process works for whose it is.

    Raises InputError where it opens none or the record is in clear, LockedError where their last day is over.
    """
    if not config.encrypted:
        raise InputError(
            f"{config.home}: is in clear, so nobody can sign in to it; `handspoken safe on` encrypts it first."
        )
    unlocked = opened(config, secret)
    use(unlocked.keys)
    return unlocked


def add(
    told: Told, config: Config, unlocked: Unlocked, passphrase: str, *, today: date, me: bool = False,
    cost: Cost | None = None,
) -> Practitioner:  # fmt: skip
    """Enter a practitioner, who opens the record by a passphrase of their own from now on.

    me: they are who has opened the record just now, as its owner; that passphrase goes. Raises InputError where a name
    is taken, a day or a passphrase cannot be, StoreError.
    """
    one = Practitioner(
        id=new_id(),
        name=checked_text(told.name, "name of a practitioner", _LONGEST),
        role=checked_text(told.role, "role of a practitioner", _LONGEST),
        initials=checked_text(told.initials, "initials", 12) if told.initials else "",
        start=told.start or today,
        until=_last_day(told.until, told.start or today, today),
    )
    if me and unlocked.slot.name != OWNER:
        raise InputError("whoever opened the record just now is entered already; leave out --me.")
    chosen(passphrase)
    with Store(config.home) as store, store.writing() as unit:
        if any(_same(known.name, one.name) for known in practitioners(unit.connection).values()):
            raise InputError(f"{one.name}: somebody of this name is entered already; give the name in full.")
        unlocked.put(one.id, "passphrase", passphrase, cost, until=one.until, old=OWNER if me else "")
        unit.append(PractitionerEntered(practitioner=one))
    unlocked.write(config.home)
    return one


def leave(key: str, config: Config, unlocked: Unlocked, *, on: date | None, today: date) -> Practitioner:
    """Note somebody's last day. Up to a day that is still to come their passphrase opens the record; otherwise it opens
    nothing from now on.

    Raises NotFoundError, InputError where nobody would be left who can open it for good, StoreError.
    """
    with Store(config.home) as store, store.writing() as unit:
        one = _found(unit, key)
        left = one.model_copy(update={"until": on or today})
        if ends_later := on is not None and on >= today:
            unlocked.end(one.id, on)
        elif any(slot.name == one.id for slot in unlocked.file.slots):
            unlocked.remove(one.id)
        unit.append(PractitionerRevised(practitioner=left))
        unlocked.write(config.home)
        at_work = store.keys is not None and store.keys.who == one.id
    if at_work and not ends_later:
        close(config)
    return left


def come_back(
    key: str, until: date | None, config: Config, unlocked: Unlocked, passphrase: str, *, today: date,
    cost: Cost | None = None,
) -> Practitioner:  # fmt: skip
    """Somebody who left, or has lost their passphrase, opens the record by a new one, until a day or for good.

    Raises NotFoundError, InputError, StoreError.
    """
    chosen(passphrase)
    with Store(config.home) as store, store.writing() as unit:
        before = _found(unit, key)
        one = before.model_copy(update={"until": _last_day(until, today, today)})
        unlocked.put(one.id, "passphrase", passphrase, cost, until=one.until)
        unit.append(PractitionerRevised(practitioner=one))
    unlocked.write(config.home)
    return one


def listed(config: Config, *, today: date) -> list[Listed]:
    """All practitioners in the order they were entered; none where there is no record yet. Raises StoreError."""
    if not Store.exists(config.home):
        return []
    with Store(config.home) as store, store.reading() as connection:
        known = practitioners(connection)
    open_to = {slot.name for slot in slots(config) if slot.until is None or slot.until >= today}
    return [Listed(practitioner=one, opens=one.id in open_to) for one in known.values()]


def at_work(config: Config) -> Practitioner | None:
    """Who has opened the record; None where it is locked, in clear, or was opened by its owner or the recovery key.

    Asks nobody. Raises StoreError.
    """
    if not config.encrypted or locked(config.home) or not Store.exists(config.home):
        return None
    keys = keys_of(config.home)
    if keys is None or not keys.who:
        return None
    with Store(config.home) as store, store.reading() as connection:
        return practitioners(connection).get(keys.who)


def acting(config: Config, by: str) -> str:
    """Who does something for the record: the practitioner at work; where nobody has signed in, ``by``, as it was given.

    Raises InputError where it names somebody other than whoever is at work, StoreError.
    """
    one = at_work(config)
    if one is None:
        return by
    if by and not _same(by, one.name):
        raise InputError(f"--by: {one.name} has opened the record, so nobody else can be named; leave it out.")
    return one.name


def _found(unit: Writing, key: str) -> Practitioner:
    known = practitioners(unit.connection)
    mine = [one for one in known.values() if one.id == key.strip().upper() or _same(one.name, key)]
    if not mine:
        raise NotFoundError(f'practitioner "{key.strip()[:_LONGEST]}": none of this name is on record.')
    return mine[0]


def _last_day(until: date | None, start: date, today: date) -> date | None:
    if until is not None and until < max(start, today):
        raise InputError(f"the last day {until} is before the first or over already.")
    return until


def _same(name: str, other: str) -> bool:
    return " ".join(name.casefold().split()) == " ".join(other.casefold().split())
