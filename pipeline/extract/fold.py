"""The fold over utterances: ``step(state, words, utterance) -> (state, events)``; batch and live run the same steps.

Inside an utterance: tokens -> clauses -> marks -> spoken corrections -> acts -> frames -> drafts -> items. Between
utterances only the state goes on: the structure under the hands, an open question, a treatment under way, the ledger.
"""

from collections.abc import Sequence

from pipeline.commands import Commands
from pipeline.extract.acts import acts_of
from pipeline.extract.clauses import Clause, Splitter
from pipeline.extract.corrections import mend
from pipeline.extract.ledger import Ledger
from pipeline.extract.lexicon import Lexicon
from pipeline.extract.marks import Marker
from pipeline.extract.resolve import Resolver
from pipeline.extract.state import State
from pipeline.extract.stops import Stops
from pipeline.extract.tokens import Token, Tokeniser
from pipeline.extract.turn import Turn
from pipeline.extract.values import NumberReader
from pipeline.model import Age, ClauseAccount, ClauseClass, Extraction, ItemEvent, Transcript, Word, WordRange
from pipeline.vocabulary import Vocabulary


class Extractor:
    """Finds the items of a narration. Build once for a vocabulary, use for any number of transcripts."""

    def __init__(self, vocab: Vocabulary) -> None:
        self._vocab = vocab
        self._tokeniser = Tokeniser(vocab)
        lexicon = Lexicon(vocab, self._tokeniser)
        self._splitter = Splitter(lexicon)
        self._marker = Marker(lexicon, NumberReader(vocab))
        self._resolver = Resolver(vocab)
        self._commands = Commands(vocab)
        self._stops = Stops(lexicon)
        self._doubting = vocab.listed("doubting")

    def start(self, recording: str, *, age: Age | None = None) -> State:
        """The state before the first utterance of a recording."""
        return State(recording, age, Ledger(recording))

    def extract(self, transcript: Transcript, *, age: Age | None = None) -> Extraction:
        """All items of a transcript: the fold over all its utterances."""
        state = self.start(transcript.recording, age=age)
        for utterance in transcript.utterances:
            self.step(state, transcript.words, utterance)
        return self.result(state)

    def result(self, state: State) -> Extraction:
        """Items, account of the clauses and traces as the state has them now."""
        records = state.ledger.records
        return Extraction(
            items=state.ledger.items(),
            clauses=tuple(
                a.model_copy(update={"items": tuple(i for i in a.items if i in records)}) for a in state.accounts
            ),
            trace={identity: record.steps for identity, record in records.items()},
        )

    def step(self, state: State, words: Sequence[Word], utterance: WordRange) -> tuple[State, list[ItemEvent]]:
        """Take one more utterance, the words ``i0 <= i < i1``; returns the state and what changed among the items."""
        command = self._commands.of(word.text for word in words[utterance[0] : utterance[1]])
        if command is not None:
            account = ClauseAccount(words=utterance, clause_class=ClauseClass.COMMAND, why=f"command: {command}")
            state.accounts.append(account)
            return state, []
        region = state.focus.targets[0].site if state.focus.targets else None
        tokens = self._tokeniser(words[utterance[0] : utterance[1]])
        if len(tokens) > 1 and not any(t.stop for t in tokens):
            everywhere = frozenset(range(len(tokens)))
            tokens = self._stops(self._marker(tokens, everywhere, frozenset({len(tokens) - 1}), region))
        clauses = self._splitter(tokens)
        marked = self._marker(
            tokens,
            frozenset(k for c in clauses for k in range(c.a, c.head + 1)),
            frozenset(c.b - 1 for c in clauses),
            region,
        )
        mended = mend(marked, self._doubting)
        acts = acts_of(mended.marked, clauses)
        turn = Turn(self._vocab, self._resolver, state, words, mended, clauses)
        for clause, act in zip(clauses, acts, strict=True):
            turn.take(clause, act)
        self._account(state, turn, tokens, clauses, utterance)
        return state, state.ledger.take_events()

    def _account(
        self, state: State, turn: "Turn", tokens: Sequence[Token], clauses: Sequence[Clause], utterance: WordRange
    ) -> None:
        """Every word of the utterance falls into one clause, also words without a token."""
        if not clauses:
            if utterance[1] > utterance[0]:
                state.accounts.append(ClauseAccount(words=utterance, clause_class=ClauseClass.CHAT, why="no words"))
            return
        at = utterance[0]
        for n, (kind, why, items, terms) in enumerate(turn.classes):
            last = n + 1 == len(clauses)
            end = utterance[1] if last else max(at, tokens[clauses[n + 1].a].word)
            if end > at:
                state.accounts.append(
                    ClauseAccount(words=(at, end), clause_class=kind, why=why, items=items, terms=terms)
                )
            at = end
