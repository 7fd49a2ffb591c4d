"""Practitioners: a passphrase of their own tells who is at work; every event carries it; a locum's last day ends it."""

import os
import tempfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from invented import PlainStages
from vaulting import CHEAP, PASSPHRASE, encrypted
from webbing import Pages

from pipeline import infants, practitioners, safekeeping
from pipeline.config import Config, Settings
from pipeline.errors import InputError, LockedError
from pipeline.infants import Facts
from pipeline.model import Practitioner, Transcript
from pipeline.ownwords import add_own_word, own_words
from pipeline.practitioners import Told
from pipeline.store import Store
from pipeline.store.events import PractitionerEntered
from pipeline.store.transfer import events_of
from pipeline.vault import forget, keyfile, keys_of
from pipeline.vocabulary import load_vocabulary

OWN, HERS = "four brown paper kites", "nine quiet copper bells"
TODAY = date.today()


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Config]:
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    encrypted(tmp_path / "home")
    yield Config(home=tmp_path / "home", settings=Settings())
    forget()


def enter(
    config: Config, name: str, passphrase: str, *, by: str = PASSPHRASE, me: bool = False, until: date | None = None
) -> None:
    opened = practitioners.sign_in(config, by)
    given = Told(name=name, role="chiropractor", until=until)
    practitioners.add(given, config, opened, passphrase, today=TODAY, me=me, cost=CHEAP)


def known(config: Config) -> dict[str, tuple[Practitioner, bool]]:
    return {one.practitioner.name: (one.practitioner, one.opens) for one in practitioners.listed(config, today=TODAY)}


def authors(config: Config) -> list[tuple[str, str]]:
    """Kind and author of every event, by name."""
    names = {one.id: name for name, (one, _) in known(config).items()}
    with Store(config.home) as store:
        return [(event.payload.type, names.get(event.author, event.author)) for event in store.events()]


def test_what_somebody_does_carries_the_name_of_whose_passphrase_opened_the_record(config: Config) -> None:
    infants.add(Facts(code_name="Wren"), config, today=TODAY)
    assert practitioners.at_work(config) is None
    enter(config, "Ann Invented", OWN, me=True)
    enter(config, "Lou Locum", HERS, by=OWN)
    with pytest.raises(InputError, match="does not open"):
        practitioners.sign_in(config, PASSPHRASE)  # the owner's slot went over to Ann
    with pytest.raises(InputError, match="entered already"):
        enter(config, "lou  LOCUM", "six other spoken words", by=OWN)
    with pytest.raises(InputError, match="choose another"):
        enter(config, "Kit", HERS, by=OWN)
    for passphrase, name in ((HERS, "Robin"), (OWN, "Martin")):
        practitioners.sign_in(config, passphrase)
        infants.add(Facts(code_name=name), config, today=TODAY)

    ann, lou = "Ann Invented", "Lou Locum"
    assert authors(config) == [
        ("infant_entered", ""), ("practitioner_entered", ""), ("practitioner_entered", ann),
        ("infant_entered", lou), ("infant_entered", ann),
    ]  # fmt: skip
    at_work = practitioners.at_work(config)
    assert at_work is not None
    assert at_work.name == ann


def test_after_the_last_day_a_passphrase_opens_nothing_and_what_was_done_stays(
    config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    enter(config, "Lou Locum", HERS, until=TODAY)
    practitioners.sign_in(config, HERS)
    infants.add(Facts(code_name="Robin"), config, today=TODAY)

    class Tomorrow(date):
        @classmethod
        def today(cls) -> "Tomorrow":
            return cls.fromordinal(TODAY.toordinal() + 1)

    monkeypatch.setattr("pipeline.vault.opened.date", Tomorrow)
    monkeypatch.setattr(keyfile, "date", Tomorrow)
    with pytest.raises(LockedError, match=f"until {TODAY}"):
        keys_of(config.home)  # still at hand in this process
    forget()
    with pytest.raises(LockedError, match=f"until {TODAY}"):
        practitioners.sign_in(config, HERS)
    practitioners.sign_in(config, PASSPHRASE)
    assert ("infant_entered", "Lou Locum") in authors(config)


def test_leaving_closes_the_slot_and_coming_back_gives_another(config: Config) -> None:
    enter(config, "Ann Invented", OWN, me=True)
    enter(config, "Lou Locum", HERS, by=OWN)
    opened = practitioners.sign_in(config, OWN)
    practitioners.leave("Lou Locum", config, opened, on=None, today=TODAY)
    with pytest.raises(InputError, match="nobody would be left"):
        practitioners.leave("Ann Invented", config, opened, on=None, today=TODAY)
    with pytest.raises(InputError, match="does not open"):
        practitioners.sign_in(config, HERS)
    lou, opens = known(config)["Lou Locum"]
    assert (lou.until, opens) == (TODAY, False)

    again = "two slow wooden boats"
    practitioners.come_back(
        lou.id.lower(), TODAY, config, practitioners.sign_in(config, OWN), again, today=TODAY, cost=CHEAP
    )
    assert practitioners.sign_in(config, again).keys.until == TODAY.isoformat()
    safekeeping.change_passphrase(config, practitioners.sign_in(config, again), HERS, cost=CHEAP)
    assert practitioners.sign_in(config, HERS).keys.until == TODAY.isoformat()
    told = (config.home / "keys.json").read_text()
    (config.home / "keys.json").write_text(told.replace(TODAY.isoformat(), "2999-12-31"))
    with pytest.raises(Exception, match="altered"):
        practitioners.sign_in(config, HERS)


def test_who_has_opened_it_is_remembered_with_the_keys_and_nowhere_else(
    config: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not os.access("/dev/shm", os.W_OK):
        pytest.skip("this computer has no folder in memory at /dev/shm")
    enter(config, "Lou Locum", HERS)
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        safekeeping.hold_open(config, practitioners.sign_in(config, HERS))
        forget()
        at_work = practitioners.at_work(config)
        assert at_work is not None
        assert at_work.name == "Lou Locum"
        forget()
        safekeeping.close(config)
        assert practitioners.at_work(config) is None


def test_every_page_shows_who_is_at_work_and_somebody_may_take_over(
    config: Config, spoken: Callable[[str], Transcript]
) -> None:
    enter(config, "Ann Invented", OWN, me=True)
    enter(config, "Lou <i>Locum</i>", HERS, by=OWN)
    practitioners.sign_in(config, OWN)
    client = Pages(config.home, PlainStages(spoken))
    assert "Ann Invented" in client.get("/").text
    assert client.post("/unlock", json={"passphrase": HERS}).status_code == 204
    for path in ("/", "/search", "/at-work"):
        shown = client.get(path).text
        assert "Lou &lt;i&gt;Locum&lt;/i&gt;" in shown
        assert "Ann" not in shown


def test_nobody_signs_in_to_a_record_in_clear(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="safe on"):
        practitioners.sign_in(Config(home=tmp_path, settings=Settings()), OWN)


def test_what_is_destroyed_or_given_out_carries_who_is_at_work(config: Config) -> None:
    practitioners.sign_in(config, PASSPHRASE)
    assert practitioners.acting(config, "Sam Owner") == "Sam Owner"
    enter(config, "Ann Invented", OWN, me=True)
    practitioners.sign_in(config, OWN)
    assert practitioners.acting(config, "") == "Ann Invented"
    assert practitioners.acting(config, "ann  invented") == "Ann Invented"
    with pytest.raises(InputError, match="Ann Invented has opened the record"):
        practitioners.acting(config, "Sam Owner")


def test_each_has_own_words_over_those_of_the_practice(config: Config) -> None:
    vocab = load_vocabulary()
    practitioners.sign_in(config, PASSPHRASE)
    add_own_word(config, vocab, "so us", "psoas")
    enter(config, "Ann Invented", OWN, me=True)
    enter(config, "Lou Locum", HERS, by=OWN)

    practitioners.sign_in(config, OWN)
    add_own_word(config, vocab, "so us", "masseter")
    add_own_word(config, vocab, "barr loaf", "Barlow")
    practitioners.sign_in(config, HERS)
    assert own_words(config) == []
    add_own_word(config, vocab, "or to lanny", "Ortolani")

    def heard_for(secret: str) -> dict[str, str]:
        practitioners.sign_in(config, secret)
        meant = load_vocabulary(personal=config.own_words)
        entries = [*meant.concepts.values(), *meant.sites.values()]
        wanted = ("so us", "barr loaf", "or to lanny")
        return {form: entry.id for entry in entries for form in entry.misheard if form in wanted}

    assert heard_for(OWN) == {"so us": "masseter", "barr loaf": "test.barlow"}
    assert heard_for(HERS) == {"so us": "psoas", "or to lanny": "test.ortolani"}


def test_a_practitioner_goes_along_with_what_they_did(config: Config) -> None:
    enter(config, "Ann Invented", OWN, me=True)
    enter(config, "Lou Locum", HERS, by=OWN)
    practitioners.sign_in(config, OWN)
    wren = infants.add(Facts(code_name="Wren"), config, today=TODAY)
    with Store(config.home) as store, store.reading() as connection:
        chosen = events_of(connection, set(), wren.id, store.events())

    told = (event.payload for event in chosen)
    assert [one.practitioner.name for one in told if isinstance(one, PractitionerEntered)] == ["Ann Invented"]
