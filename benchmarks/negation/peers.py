"""Two general libraries as shipped on given spans: JSON rows on stdin, JSON answers by library on stdout.

Runs in an environment of its own (medspaCy pins an older spaCy); started by ``benchmarks/negation.py``.
"""

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import medspacy  # type: ignore[import-not-found,unused-ignore]  # noqa: F401
import spacy
from medspacy.context import ConText  # type: ignore[import-not-found,unused-ignore]
from negspacy.negation import Negex  # type: ignore[import-not-found,unused-ignore]  # noqa: F401  (registers "negex")
from negspacy.termsets import termset  # type: ignore[import-not-found,unused-ignore]
from spacy.language import Language
from spacy.tokens import Doc

Rows = list[tuple[str, int, int]]


def _docs(nlp: Language, rows: Rows) -> list[Doc]:
    docs = []
    for text, start, end in rows:
        doc = nlp.make_doc(text)
        for token in doc:
            token.is_sent_start = token.i == 0
        span = doc.char_span(start, end, label="CONCEPT", alignment_mode="expand")
        doc.ents = [span] if span is not None else []
        docs.append(doc)
    return docs


def _run(component: Callable[[Doc], Doc], docs: list[Doc], flag: str) -> dict[str, Any]:
    began = time.process_time()
    out = [component(doc) for doc in docs]
    seconds = time.process_time() - began
    answers = [bool(doc.ents and getattr(doc.ents[0]._, flag)) for doc in out]
    return {"negated": answers, "sentences_per_second": len(docs) / seconds}


def main() -> None:
    rows: Rows = json.load(sys.stdin)
    nlp = spacy.blank("en")
    context = ConText(nlp, rules="default")
    out = {"medspaCy ConText": _run(context, _docs(nlp, rows), "is_negated")}
    nlp = spacy.blank("en")
    negex = nlp.add_pipe("negex", config={"neg_termset": termset("en_clinical").get_patterns()})
    out["negspaCy"] = _run(negex, _docs(nlp, rows), "negex")
    json.dump(out, sys.stdout)


if __name__ == "__main__":
    main()
