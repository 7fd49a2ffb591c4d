"""A question as a colleague would ask it -> the stored lines that answer it.

The vocabulary is asked first: "tight left SCM" names a result, a side and a structure. What it does not know is
searched as words in what was said. How the question was understood is always part of the answer.
"""

from pipeline.search.answer import Answer, Options, Search, ask
from pipeline.search.exact import Exact
from pipeline.search.lexicon import Lexicon, compile_lexicon, load_lexicon
from pipeline.store.find import Count, Hit

__all__ = ["Answer", "Count", "Exact", "Hit", "Lexicon", "Options", "Search", "ask", "compile_lexicon", "load_lexicon"]
