"""A person's edits: applied in order, taken back and done again, and found again after a re-run. All invented."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import item

from pipeline.amend import amend, correct, standing
from pipeline.model import (
    Anchor,
    Answer,
    Changes,
    Edit,
    Extraction,
    Item,
    LineEdit,
    Redo,
    Transcript,
    Undo,
    WordCorrection,
)

Spoken = Callable[[str], Transcript]
TEXT = "The left hip is tight. No clunk on the right. The neck turns well to both sides. Good."


@pytest.fixture
def words(spoken: Spoken) -> Transcript:
    return spoken(TEXT)


@pytest.fixture
def found(words: Transcript) -> Extraction:
    hip = item(words, (0, 5), "tissue.tension", "tight", site="hip", side="left")
    clunk = item(words, (5, 10), "joint.clunk", "absent", site="hip", side="right")
    neck = item(words, (10, 17), "motion.rotation", "normal", site="neck", side="both")
    return Extraction(items=(hip, clunk, neck), clauses=())


def edit(on: Item, action: str, after: dict[str, Any] | None = None, **more: Any) -> LineEdit:
    """An edit as the page makes it."""
    after = after or {}
    now = on.model_dump(mode="json")
    before = {slot: now.get(slot) for slot in (after or ("concept", "site", "side", "result")) if slot != "part"}
    anchor = Anchor(kind=on.kind, concept=on.concept, site=on.site, start_ms=on.start_ms, end_ms=on.end_ms)
    return LineEdit.model_validate(
        {"item_id": on.id, "anchor": anchor, "action": action, "before": before, "after": after, **more}
    )


def by_concept(extraction: Extraction) -> dict[str, Item]:
    return {item.concept: item for item in extraction.items}


def test_a_slot_is_put_right_and_its_flag_goes(words: Transcript, found: Extraction) -> None:
    hip = found.items[0].model_copy(update={"side": "none", "flags": ("side_missing", "corrected")})
    before = found.model_copy(update={"items": (hip, *found.items[1:])})

    after, changes = amend(before, words, [edit(hip, "change", {"side": "left"})])

    assert by_concept(after)["tissue.tension"].side == "left"
    assert by_concept(after)["tissue.tension"].flags == ("corrected",)
    assert changes.settles(hip.id, "side?")
    assert not changes.settles(hip.id, "number?")


def test_a_struck_line_is_kept_apart_and_can_be_put_back(words: Transcript, found: Extraction) -> None:
    hip = found.items[0]

    struck, changes = amend(found, words, [edit(hip, "strike")])
    back, _ = amend(found, words, [edit(hip, "strike"), edit(hip, "restore")])

    assert hip not in struck.items
    assert changes.struck == (hip,)
    assert back.items == found.items


def test_a_line_is_added_from_words_and_typed(words: Transcript, found: Extraction) -> None:
    slots = {"kind": "finding", "concept": "exam.overall", "site": "knee", "result": "normal", "part": "found.leg"}
    heard = Anchor(kind="finding", concept="exam.overall", site="knee", start_ms=8500, end_ms=9000)
    typed = heard.model_copy(update={"start_ms": 4000, "end_ms": 4000})
    at = "2026-11-25T18:40:00+01:00"

    after, changes = amend(
        found,
        words,
        [
            LineEdit.model_validate({"item_id": "a", "anchor": heard, "action": "add", "after": slots, "at": at}),
            LineEdit.model_validate({"item_id": "b", "anchor": typed, "action": "add", "after": slots, "at": at}),
        ],
    )

    (from_words,) = (item for item in after.items if item.id == "a")
    (written,) = (item for item in after.items if item.id == "b")
    assert from_words.quote == "Good."
    assert (written.quote, written.start_ms) == ("", 4000)
    assert changes.written == {"a": "added 18:40 from these words", "b": "written 18:40 for 0:04"}
    assert changes.moved == {"a": "found.leg", "b": "found.leg"}
    assert [item.start_ms for item in after.items] == sorted(item.start_ms for item in after.items)


@pytest.mark.parametrize("slots", [{"side": "upwards"}, {"result": 3}, {"kind": "poem"}, {"unknown": 1}])
def test_an_edit_that_cannot_be_read_is_kept_and_shown(
    slots: dict[str, Any], words: Transcript, found: Extraction
) -> None:
    after, changes = amend(found, words, [edit(found.items[0], "change", slots)])

    assert after.items == found.items
    assert len(changes.unattached) == 1


def test_no_edit_moves_evidence_or_id(words: Transcript, found: Extraction) -> None:
    after, _ = amend(found, words, [edit(found.items[0], "change", {"id": "x", "evidence": [], "side": "right"})])

    assert (after.items[0].id, after.items[0].evidence) == (found.items[0].id, found.items[0].evidence)


# ---------------------------------------------------------------- a later run


def heard_again(extraction: Extraction, shift_ms: int = 200, **slots: Any) -> Extraction:
    """The same lines with other ids, a little later, as a newer program would find them."""

    def again(old: Item) -> Item:
        spans = tuple(
            s.model_copy(update={"start_ms": s.start_ms + shift_ms, "end_ms": s.end_ms + shift_ms})
            for s in old.evidence
        )
        return old.model_copy(update={"id": f"new-{old.id}", "evidence": spans, **slots})

    return extraction.model_copy(update={"items": tuple(again(item) for item in extraction.items)})


def test_edits_hold_after_a_run_that_gives_other_ids(words: Transcript, found: Extraction) -> None:
    hip, clunk, _ = found.items
    edits: list[Edit] = [
        edit(hip, "change", {"side": "right"}),
        edit(hip.model_copy(update={"side": "right"}), "change", {"result": "normal"}),
        edit(clunk, "strike"),
        Answer(remark_id=f"side?:{hip.id}", choice="right", anchor=edit(hip, "strike").anchor),
    ]

    after, changes = amend(heard_again(found), words, edits)

    now = by_concept(after)["tissue.tension"]
    assert (now.side, now.result) == ("right", "normal")
    assert "joint.clunk" not in by_concept(after)
    assert changes.answer(f"side?:new-{hip.id}") == "right"
    assert changes.unattached == ()


@pytest.mark.parametrize("again", [{"shift_ms": 60_000}, {"side": "right"}, {"kind": "history"}])
def test_an_edit_whose_line_is_gone_or_says_another_thing_is_listed(
    again: dict[str, Any], words: Transcript, found: Extraction
) -> None:
    hip = found.items[0]

    after, changes = amend(heard_again(found, **again), words, [edit(hip, "change", {"side": "both"})])

    assert "both" not in [item.side for item in after.items if item.concept == "tissue.tension"]
    (loose,) = changes.unattached
    assert loose.edit.anchor.concept == "tissue.tension"  # type: ignore[union-attr]
    _, gone = amend(heard_again(found, **again), words, [loose.edit, Answer(remark_id=loose.id, choice="let go")])
    assert gone.unattached == (), "an answer lets it go"


# ---------------------------------------------------------------- undo and redo

SOME_EDITS = st.lists(
    st.builds(
        Answer, remark_id=st.sampled_from("abc"), choice=st.text(max_size=3), step=st.sampled_from(["", "s1", "s2"])
    ),
    max_size=12,
)


@given(SOME_EDITS, st.integers(0, 15))
def test_as_many_redos_as_undos_change_nothing(edits: list[Edit], times: int) -> None:
    assert standing([*edits, *[Undo()] * times, *[Redo()] * times]) == tuple(edits)


@given(SOME_EDITS)
def test_undo_takes_back_one_step_and_at_last_all(edits: list[Edit]) -> None:
    once = standing([*edits, Undo()])

    assert once == tuple(edits)[: len(once)]
    taken = edits[len(once) :]
    assert len({getattr(e, "step", "") for e in taken}) <= 1, "what is taken back together is of one step"
    assert standing([*edits, *[Undo()] * len(edits)]) == ()


def test_a_new_edit_ends_what_can_be_redone() -> None:
    one, two = Answer(remark_id="a", choice="1"), Answer(remark_id="b", choice="2")

    assert standing([one, Undo(), two, Redo()]) == (two,)


@given(st.lists(st.sampled_from(["side", "result", "strike", "restore", "undo", "redo"]), max_size=14), st.data())
def test_the_same_lines_come_of_the_same_events_whatever_the_ids(kinds: list[str], data: st.DataObject) -> None:
    """What a person did is found again after a re-run: the lines say the same, or the edit is listed."""
    words, extraction = _visit()
    edits: list[Edit] = []
    for kind in kinds:
        now, changes = amend(extraction, words, standing(edits))
        pool = [*now.items, *changes.struck]
        line = data.draw(st.sampled_from(pool))
        if kind in ("undo", "redo"):
            edits.append(Undo() if kind == "undo" else Redo())
        elif kind in ("strike", "restore"):
            edits.append(edit(line, kind))
        else:
            value = data.draw(st.sampled_from(["left", "right"] if kind == "side" else ["normal", "limited"]))
            edits.append(edit(line, "change", {kind: value}))

    first, changes = amend(extraction, words, standing(edits))
    second, again = amend(heard_again(extraction, 100), words, standing(edits))

    def told(result: Extraction) -> list[tuple[str, str, str | None]]:
        return [(item.concept, item.side, item.result) for item in result.items]

    assert changes.unattached == again.unattached == ()
    assert told(first) == told(second)
    assert len(first.items) + len(changes.struck) == len(extraction.items)


def _visit() -> tuple[Transcript, Extraction]:
    from conftest import _spoken

    words = _spoken(TEXT)
    items = (
        item(words, (0, 5), "tissue.tension", "tight", site="hip", side="left"),
        item(words, (5, 10), "joint.clunk", "absent", site="hip", side="right"),
        item(words, (10, 17), "motion.rotation", "normal", site="neck", side="both"),
    )
    return words, Extraction(items=items, clauses=())


# ---------------------------------------------------------------- words


def correction(words: Transcript, i0: int, i1: int, meant: str) -> WordCorrection:
    part = words.words[i0:i1]
    return WordCorrection(
        start_ms=part[0].start_ms, end_ms=part[-1].end_ms, heard=" ".join(w.text for w in part), meant=meant
    )


def test_words_are_put_right_and_keep_what_was_heard(words: Transcript) -> None:
    after, loose = correct(words, [correction(words, 1, 3, "right greater trochanter")])

    assert loose == ()
    assert after.quote((0, 6)) == "The right greater trochanter is tight."
    assert [w.source for w in after.words[:5]] == ["given", "edited", "edited", "edited", "given"]
    assert after.words[1].heard[0].text == "left hip"
    assert (after.words[1].start_ms, after.words[3].end_ms) == (500, 1500)


@given(st.integers(0, 16), st.integers(1, 8), st.lists(st.text("abc", min_size=1, max_size=4), max_size=6))
def test_utterances_go_on_covering_all_words(i0: int, length: int, meant: list[str]) -> None:
    words, _ = _visit()
    i1 = min(i0 + length, len(words.words))

    after, loose = correct(words, [correction(words, i0, i1, " ".join(meant))])

    assert loose == ()
    assert [word.i for word in after.words] == list(range(len(after.words)))
    covered = [i for a, b in after.utterances for i in range(a, b)]
    assert covered == list(range(len(after.words)))
    assert all(w.start_ms <= w.end_ms for w in after.words)


def test_a_correction_of_words_that_are_heard_rightly_now_is_done(words: Transcript) -> None:
    fixed = correction(words, 2, 3, "shoulder")
    heard = words.model_copy(
        update={"words": tuple(replace(w, text="shoulder") if w.i == 2 else w for w in words.words)}
    )

    after, loose = correct(heard, [fixed])

    assert (after, loose) == (heard, ())


def test_a_correction_of_other_words_is_listed(words: Transcript, found: Extraction) -> None:
    fixed = correction(words, 2, 3, "shoulder")
    heard = words.model_copy(update={"words": tuple(replace(w, text="ankle") if w.i == 2 else w for w in words.words)})

    after, loose = correct(heard, [fixed])
    _, changes = amend(found, heard, [fixed], loose)

    assert after == heard
    assert [u.edit for u in changes.unattached] == [fixed]


def test_nothing_done_leaves_everything(words: Transcript, found: Extraction) -> None:
    assert correct(words, ()) == (words, ())
    assert amend(found, words, ()) == (found, Changes())
