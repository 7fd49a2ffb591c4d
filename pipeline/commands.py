"""Spoken commands for the record: known phrases that stand alone as an utterance (vocab/cues/commands.yaml)."""

from collections.abc import Iterable, Mapping

from pipeline.vocabulary import Vocabulary

_MARKS = " .,;:!?\"'…–—-"


class Commands:
    """The phrases of a vocabulary, ready for asking."""

    def __init__(self, vocab: Vocabulary) -> None:
        self._phrases: Mapping[str, str] = {
            _plain(say.split()): cue.gives for cue in vocab.cues.get("commands", ()) for say in cue.say
        }
        listed = (*vocab.words.get("fillers", ()), *vocab.words.get("connectives", ()))
        self._around = frozenset(word for word in listed if " " not in word)

    def of(self, words: Iterable[str]) -> str | None:
        """What an utterance commands (``mark``, ``left``, ``off``, ``on``, ``end`` ...), None for all other speech.

        Fillers before and after do not count: "okay, off the record" is a command, "that stays off the record" is not.
        """
        said = [_plain([word]) for word in words]
        while said and (whole := " ".join(said)) not in self._phrases:
            if said[0] in self._around:
                said = said[1:]
            elif said[-1] in self._around:
                said = said[:-1]
            else:
                return None
        return self._phrases[whole] if said else None


def _plain(words: Iterable[str]) -> str:
    return " ".join(word.lower().replace("’", "'").strip(_MARKS) for word in words).strip()
