"""How words sound and how far sounds are apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.sound import (
    coarse,
    dictionary_sounds,
    encode,
    is_known,
    own_sounds,
    similarities,
    similarity,
    sounds_of,
    spell_out,
    table_of,
)

PHONEMES = "AA AE AH B CH D ER F G IY K L M N OW P R S SH T TH V Z"
SOUND = st.lists(st.sampled_from(PHONEMES.split()), min_size=1, max_size=14).map(lambda parts: encode(" ".join(parts)))


def said(words: str) -> str:
    return "".join(sounds_of(word)[0] for word in words.split())


@pytest.mark.parametrize(
    ("word", "arpabet"),
    [
        ("hip", "HH IH P"),
        ("zyuganov", "Z Y UW G AA N AA V"),  # near the end of the file
        ("'bout", "B AW T"),  # its first line
        ("occipital", "AA K S IH P AH T AH L"),
    ],
)
def test_the_dictionary_is_searched_from_end_to_end(word: str, arpabet: str) -> None:
    assert encode(arpabet) in dictionary_sounds(word)


def test_a_word_with_two_pronunciations_has_both() -> None:
    assert {encode("AH"), encode("EY")} == set(dictionary_sounds("a"))


def test_our_own_pronunciations_go_before_the_dictionary() -> None:
    assert len(own_sounds()) > 100
    assert sounds_of("psoas") == (encode("S OW AE S"),)
    assert sounds_of("scalenes's") == (encode("S K EY L IY N Z Z"),)  # and carry endings


@pytest.mark.parametrize("word", ["", "zzzzqq", "naïve", "\x00", "hip hip", "(2)", "aaaaaaaaaaaaaaaaaaaaaa"])
def test_what_is_not_in_the_dictionary_has_no_entry(word: str) -> None:
    assert dictionary_sounds(word) == ()


@pytest.mark.parametrize(
    ("word", "arpabet"),
    [
        ("palate's", "P AE L AH T Z"),
        ("side-bend", "S AY D B EH N D"),
        ("scm", "EH S S IY EH M"),  # no vowel: spoken as letters
        ("tolani", "T AA L AE N IY"),
        ("pseudoknob", "S UW D AA K N AA B"),
    ],
)
def test_words_the_dictionary_lacks(word: str, arpabet: str) -> None:
    assert similarity(sounds_of(word)[0], encode(arpabet)) >= 0.9


def test_letter_rules_follow_the_dictionary_on_words_it_has() -> None:
    """The rules are for unknown words; on known ones their mean likeness to the dictionary shows that they hold."""
    words = "abdomen muscle tension rotation bilateral plantar thorax physical chronic pelvis spine sacred diagram"
    alike = [similarity(spell_out(word), (dictionary_sounds(word) or (spell_out(word),))[0]) for word in words.split()]

    assert sum(alike) / len(alike) >= 0.85


@pytest.mark.parametrize(
    ("heard", "term", "other"),
    [
        ("serve a cool", "cervical", "clavicle"),
        ("mass eater", "masseter", "mastoid"),
        ("font on l", "fontanelle", "frenulum"),
        ("barber in ski", "babinski", "galeazzi"),
    ],
)
def test_a_mishearing_is_nearer_to_its_term_than_to_another(heard: str, term: str, other: str) -> None:
    assert similarity(said(heard), said(term)) >= 0.8
    assert similarity(said(heard), said(term)) > similarity(said(heard), said(other)) + 0.1


def test_voicing_costs_less_than_place_and_a_vowel_less_than_a_consonant() -> None:
    bad = encode("B AE D")

    assert similarity(bad, encode("P AE D")) > similarity(bad, encode("K AE D"))
    assert similarity(bad, encode("B EH D")) > similarity(bad, encode("B AE M"))


def test_unknown_phonemes_are_refused() -> None:
    with pytest.raises(KeyError):
        encode("HH QQ")


@given(SOUND, SOUND)
def test_likeness_is_symmetric_bounded_and_one_only_for_equal_sounds(a: str, b: str) -> None:
    alike = similarity(a, b)

    assert alike == pytest.approx(similarity(b, a), abs=1e-5)
    assert 0.0 <= alike <= 1.0
    assert (alike > 0.9999) == (a == b)


@given(st.lists(st.tuples(SOUND, SOUND), min_size=1, max_size=8))
def test_many_pairs_at_once_give_what_each_gives_alone(pairs: list[tuple[str, str]]) -> None:
    together = similarities(table_of([a for a, _ in pairs]), table_of([b for _, b in pairs]))

    assert together.tolist() == pytest.approx([similarity(a, b) for a, b in pairs], abs=1e-5)


def test_an_empty_sound_is_like_nothing() -> None:
    assert similarity("", encode("HH IH P")) == 0.0
    assert similarity("", "") == 0.0


@given(SOUND)
def test_coarse_sounds_keep_their_length(sound: str) -> None:
    assert len(coarse(sound)) == len(sound)
    assert coarse(coarse(sound)) == coarse(sound)


@given(st.text(max_size=40))
def test_any_text_has_a_sound_or_none(text: str) -> None:
    for sound in sounds_of(text.lower()):
        assert similarity(sound, sound) == 1.0
    assert is_known(text.lower()) in (True, False)
