"""The clinician's own words."""

from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.app import Json, app, json_text, print_lines

if TYPE_CHECKING:
    from pipeline.config import Config

words = typer.Typer(no_args_is_help=True, help="Your own words: what is heard, and what you mean by it.")
app.add_typer(words, name="words")

Heard = Annotated[str, typer.Argument(metavar="HEARD", help="What the recogniser writes.")]
Meant = Annotated[str, typer.Argument(metavar="MEANT", help="The term you say, as the vocabulary knows it.")]


def _opened() -> "Config":
    """Settings, once the record is open: whose it is opened by, theirs are the words."""
    from pipeline.config import load_config
    from pipeline.vault import keys_of

    config = load_config()
    keys_of(config.home)
    return config


@words.command("list")
def list_words(as_json: Json = False) -> None:
    """Show what is kept."""
    from pipeline.ownwords import own_words
    from pipeline.show import own_word_lines

    found = own_words(_opened())
    print_lines([json_text([word.model_dump() for word in found])] if as_json else own_word_lines(found))


@words.command("add")
def add_word(heard: Heard, meant: Meant) -> None:
    """Keep "heard HEARD, meant MEANT": repair and hearing use it from now on."""
    from pipeline.ownwords import add_own_word
    from pipeline.show import own_word_lines
    from pipeline.vocabulary import load_vocabulary

    config = _opened()
    print_lines(own_word_lines([add_own_word(config, load_vocabulary(personal=config.own_words), heard, meant)]))


@words.command("edit")
def edit_word(heard: Heard, meant: Meant) -> None:
    """Let HEARD mean something else from now on."""
    from pipeline.ownwords import add_own_word, own_word
    from pipeline.show import own_word_lines
    from pipeline.vocabulary import load_vocabulary

    config = _opened()
    own_word(config, heard)
    print_lines(own_word_lines([add_own_word(config, load_vocabulary(personal=config.own_words), heard, meant)]))


@words.command("remove")
def remove_word(heard: Heard) -> None:
    """Forget HEARD."""
    from pipeline.ownwords import own_words, remove_own_word
    from pipeline.show import own_word_lines

    config = _opened()
    remove_own_word(config, heard)
    print_lines(own_word_lines(own_words(config)))
