"""The clinician's own words."""

from typing import Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines, ready

words = typer.Typer(no_args_is_help=True, help="Your own words: what is heard, and what you mean by it.")
app.add_typer(words, name="words")

Heard = Annotated[str, typer.Argument(metavar="HEARD", help="What the recogniser writes.")]
Meant = Annotated[str, typer.Argument(metavar="MEANT", help="The term you say, as the vocabulary knows it.")]


@words.command("list")
def list_words(as_json: Json = False) -> None:
    """Show what is kept."""
    from pipeline.config import load_config
    from pipeline.ownwords import own_words
    from pipeline.show import own_word_lines

    found = own_words(load_config())
    print_lines([json_text([word.model_dump() for word in found])] if as_json else own_word_lines(found))


@words.command("add")
def add_word(heard: Heard, meant: Meant) -> None:
    """Keep "heard HEARD, meant MEANT": repair and hearing use it from now on."""
    from pipeline.ownwords import add_own_word
    from pipeline.show import own_word_lines

    config, stages = ready(record=False)
    print_lines(own_word_lines([add_own_word(config, stages.vocab, heard, meant)]))


@words.command("edit")
def edit_word(heard: Heard, meant: Meant) -> None:
    """Let HEARD mean something else from now on."""
    from pipeline.ownwords import add_own_word, own_word
    from pipeline.show import own_word_lines

    config, stages = ready(record=False)
    own_word(config, heard)
    print_lines(own_word_lines([add_own_word(config, stages.vocab, heard, meant)]))


@words.command("remove")
def remove_word(heard: Heard) -> None:
    """Forget HEARD."""
    from pipeline.config import load_config
    from pipeline.ownwords import own_words, remove_own_word
    from pipeline.show import own_word_lines

    config = load_config()
    remove_own_word(config, heard)
    print_lines(own_word_lines(own_words(config)))
